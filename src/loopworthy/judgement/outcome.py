"""What a reading says against its limits: inside, near, outside, or cannot tell.

Numbers are compared as decimals. A value within the limit's guard, or within half the step in which it was read, on
the good side is near the limit; outside means outside, however little. Limits that hold for a unit: see `limits`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import ROUND_HALF_EVEN, Decimal
from enum import StrEnum

from loopworthy.judgement.book import Item
from loopworthy.judgement.catalogue.model import Input, InputKind, Rule, Step
from loopworthy.judgement.limits import EffectiveLimit, effective_limit
from loopworthy.vocabulary.reading import Reading

__all__ = [
    "Assessment",
    "EffectiveLimit",
    "Finding",
    "Outcome",
    "against",
    "assessment",
    "cannot_tell",
    "compare_entries",
    "compare_plain_limits",
    "effective_limit",
    "in_unit",
    "rounded",
    "step_in_unit",
    "worst",
]

COMPARE_TO = Decimal("0.000001")
"""Computed values are rounded to this, half to even, before they are held against a limit, so that every Python
version and every machine decides alike."""


YES = "yes"
"""What a tick holds; anything else is no tick."""


class Outcome(StrEnum):
    """What the numbers say."""

    INSIDE = "inside"
    NEAR = "near limit"
    OUTSIDE = "outside"
    CANNOT_TELL = "cannot tell"


_WORST_FIRST = (Outcome.OUTSIDE, Outcome.CANNOT_TELL, Outcome.NEAR, Outcome.INSIDE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One comparison: what was read, against which limit, by how much.

    `margin` is positive on the good side, in the limit's unit; None where a margin means nothing. `told_margin` is
    that of the numbers as they are told beside it, where those are rounded (`told.py`).
    """

    outcome: Outcome
    about: str
    shown: str
    limit: EffectiveLimit | None = None
    margin: Decimal | None = None
    told_margin: Decimal | None = None
    code: str = ""
    values: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Assessment:
    """All comparisons of one piece of evidence, and the worst of them."""

    outcome: Outcome
    findings: tuple[Finding, ...]

    @property
    def decisive(self) -> Finding | None:
        """The finding that made the outcome what it is; the smallest margin where several did."""
        ranked = [one for one in self.findings if one.outcome is self.outcome]
        measured = [one for one in ranked if one.margin is not None]
        return min(measured, key=_relative_margin) if measured else (ranked[0] if ranked else None)


def _relative_margin(finding: Finding) -> Decimal:
    margin = finding.margin or Decimal(0)
    if finding.limit is None or finding.limit.limit.rule is Rule.ONE_OF or finding.limit.decimal == 0:
        return margin
    return margin / abs(finding.limit.decimal)


def worst(findings: tuple[Finding, ...]) -> Outcome:
    """The worst outcome among findings; inside when there is nothing to compare."""
    for outcome in _WORST_FIRST:
        if any(finding.outcome is outcome for finding in findings):
            return outcome
    return Outcome.INSIDE


def assessment(findings: list[Finding]) -> Assessment:
    """The findings with the worst outcome."""
    return Assessment(outcome=worst(tuple(findings)), findings=tuple(findings))


def rounded(value: float) -> Decimal:
    """A computed value as the decimal that is held against a limit (see `COMPARE_TO`)."""
    return Decimal(repr(value)).quantize(COMPARE_TO, rounding=ROUND_HALF_EVEN)


def against(limit: EffectiveLimit, value: Decimal, *, about: str, shown: str, step: Decimal = Decimal(0)) -> Finding:
    """A number, read in steps of `step`, against a limit for which higher or lower is better."""
    higher = limit.limit.tighter.value == "higher"
    margin = value - limit.decimal if higher else limit.decimal - value
    inside = margin > 0 if limit.limit.rule is Rule.BELOW else margin >= 0
    outcome = _inside_or_near(limit, margin, step) if inside else Outcome.OUTSIDE
    return Finding(outcome=outcome, about=about, shown=shown, limit=limit, margin=margin)


def _inside_or_near(limit: EffectiveLimit, margin: Decimal, step: Decimal) -> Outcome:
    # A limit without a guard is no number that a second reading could settle: a count, a date, a tick.
    if not limit.limit.guard:
        return Outcome.INSIDE
    return Outcome.NEAR if margin < max(Decimal(limit.limit.guard), step / 2) else Outcome.INSIDE


def compare_entries(step: Step, item: Item) -> list[Finding]:
    """What was entered at all: every required field, and ticks that say yes.

    A missing answer is never a good answer, and an honest no is a finding outside its limit.
    """
    findings: list[Finding] = []
    payload = item.payload
    for entered in step.inputs:
        kind = entered.kind
        if kind in (InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT):
            there = len(payload.readings.get(entered.name, ())) >= (entered.count if kind is InputKind.NUMBERS else 1)
        elif kind is InputKind.TRACE:
            there = entered.name in payload.traces
        elif kind is InputKind.FILE:
            there = bool(payload.files.get(entered.name))
        else:
            answer = payload.answers.get(entered.name, "")
            there = bool(answer)
            if kind is InputKind.TICK and there and answer != YES:
                values = {"input": entered.label, "answer": answer}
                findings.append(
                    Finding(
                        outcome=Outcome.OUTSIDE, about=entered.label, shown=answer, code="answered-no", values=values
                    )
                )
        if not there and entered.required:
            findings.append(cannot_tell(entered.label, "not-entered", input=entered.label))
    return findings


def cannot_tell(about: str, code: str, **values: str) -> Finding:
    """The finding that something cannot be told, with the reason."""
    return Finding(outcome=Outcome.CANNOT_TELL, about=about, shown="", code=code, values=values)


def compare_plain_limits(
    step: Step, item: Item, limits: Mapping[str, EffectiveLimit], *, today: date, read_on: date
) -> list[Finding]:
    """Every limit of the step that compares an entry directly; limits for a judge are left to it.

    Raises
    ------
    ValueError
        If a reading's unit cannot be turned into the one that the step asks for.
    """
    findings: list[Finding] = []
    for limit in step.limits:
        if limit.rule is Rule.JUDGE:
            continue
        effective = limits[limit.id]
        entered = step.input(limit.on)
        if entered is None:
            continue
        if limit.rule is Rule.ONE_OF:
            findings.extend(_choice(entered, item, effective))
        elif limit.rule in (Rule.DAYS_LEFT, Rule.DAYS_SINCE):
            findings.extend(_date(entered, item, effective, today=today, read_on=read_on))
        else:
            findings.extend(_numbers(entered, item, effective))
    return findings


def _choice(entered: Input, item: Item, effective: EffectiveLimit) -> list[Finding]:
    answer = item.payload.answers.get(entered.name)
    if not answer:
        return []
    allowed = [part.strip() for part in effective.value.split(",")]
    outcome = Outcome.INSIDE if answer in allowed else Outcome.OUTSIDE
    return [Finding(outcome=outcome, about=entered.label, shown=answer, limit=effective)]


def _date(entered: Input, item: Item, effective: EffectiveLimit, *, today: date, read_on: date) -> list[Finding]:
    answer = item.payload.answers.get(entered.name)
    if not answer:
        return []
    try:
        stated = date.fromisoformat(answer)
    except ValueError:
        return [
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about=entered.label,
                shown=answer,
                limit=effective,
                code="date-unreadable",
                values={"input": entered.label, "answer": answer},
            )
        ]
    if effective.limit.rule is Rule.DAYS_SINCE and stated > read_on:
        # What has not happened yet says nothing; a year with a slip of the pen would stand for decades.
        values = {"input": entered.label, "answer": answer}
        return [
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about=entered.label,
                shown=answer,
                limit=effective,
                code="date-ahead",
                values=values,
            )
        ]
    days = (stated - today).days if effective.limit.rule is Rule.DAYS_LEFT else (today - stated).days
    wanted = int(effective.decimal)
    margin = days - wanted if effective.limit.rule is Rule.DAYS_LEFT else wanted - days
    at_reading = margin + (today - read_on).days
    if margin >= 0:
        outcome, code = Outcome.INSIDE, ""
    elif at_reading >= 0:  # it was inside when it was read; that it has ended since is the clock's business
        outcome, code = Outcome.INSIDE, "date-passed"
    else:
        outcome, code = Outcome.OUTSIDE, ""
    return [
        Finding(
            outcome=outcome,
            about=entered.label,
            shown=answer,
            limit=effective,
            margin=Decimal(margin),
            code=code,
            values={"input": entered.label, "answer": answer},
        )
    ]


def _numbers(entered: Input, item: Item, effective: EffectiveLimit) -> list[Finding]:
    readings = item.payload.readings.get(entered.name, ())
    if not readings or len(readings) < (entered.count if entered.kind is InputKind.NUMBERS else 1):
        return []
    findings = []
    for reading in readings:
        value = in_unit(reading, entered.unit)
        if effective.limit.rule in (Rule.WITHIN, Rule.TIMES):
            other = item.payload.readings.get(effective.limit.of, ())
            if not other:
                return [cannot_tell(entered.label, "not-entered", input=effective.limit.of)]
            reference = in_unit(other[0], entered.unit)
            step = max(step_in_unit(reading, entered.unit), step_in_unit(other[0], entered.unit))
            findings.append(_against_other(entered, effective, value, reference, str(reading), step))
        else:
            step = step_in_unit(reading, entered.unit)
            findings.append(against(effective, value, about=entered.label, shown=str(reading), step=step))
    return findings


def _against_other(
    entered: Input, effective: EffectiveLimit, value: Decimal, reference: Decimal, shown: str, step: Decimal
) -> Finding:
    if effective.limit.rule is Rule.WITHIN:
        margin = effective.decimal - abs(value - reference)
    else:
        margin = value - effective.decimal * reference
    return Finding(
        outcome=Outcome.OUTSIDE if margin < 0 else _inside_or_near(effective, margin, step),
        about=entered.label,
        shown=shown,
        limit=effective,
        margin=margin,
        values={"reference": f"{reference.normalize():f} {entered.unit}"},
    )


_TO_METRIC: dict[tuple[str, str], tuple[Decimal, Decimal]] = {
    ("psi", "bar"): (Decimal("0.0689475729"), Decimal(0)),
    ("ft", "m"): (Decimal("0.3048"), Decimal(0)),
    ("F", "C"): (Decimal(5) / Decimal(9), Decimal(-160) / Decimal(9)),
    ("mbar", "hPa"): (Decimal(1), Decimal(0)),
    ("hPa", "mbar"): (Decimal(1), Decimal(0)),
    ("bar", "mbar"): (Decimal(1000), Decimal(0)),
    ("bar", "hPa"): (Decimal(1000), Decimal(0)),
    ("mbar", "bar"): (Decimal("0.001"), Decimal(0)),
    ("kPa", "mbar"): (Decimal(10), Decimal(0)),
    ("kPa", "hPa"): (Decimal(10), Decimal(0)),
    ("kg", "g"): (Decimal(1000), Decimal(0)),
    ("g", "kg"): (Decimal("0.001"), Decimal(0)),
    ("h", "min"): (Decimal(60), Decimal(0)),
    ("min", "s"): (Decimal(60), Decimal(0)),
}
"""(unit read, unit wanted) to factor and offset. 1 psi = 6894.75729 Pa and 1 ft = 0.3048 m exactly as in the
international yard and pound agreement; the trade reads US gauges in psi."""


def in_unit(reading: Reading, unit: str) -> Decimal:
    """The reading in another unit, as a decimal.

    Raises
    ------
    ValueError
        If one unit cannot be turned into the other; entry refuses such a reading before it is recorded.
    """
    if not unit or reading.unit == unit:
        return reading.decimal
    conversion = _TO_METRIC.get((reading.unit, unit))
    if conversion is None:
        raise ValueError(f"{reading.unit} cannot be turned into {unit}")
    factor, offset = conversion
    return reading.decimal * factor + offset


def step_in_unit(reading: Reading, unit: str) -> Decimal:
    """How finely a reading was read, in another unit."""
    conversion = _TO_METRIC.get((reading.unit, unit))
    return reading.step if conversion is None else reading.step * conversion[0]
