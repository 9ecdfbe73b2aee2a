"""The judges: steps whose reading means something only together with other readings and a piece of science.

A judge turns stored decimals into numbers, asks science, and gives back findings. Where something that it needs was
not recorded it says so ("cannot tell"); it never guesses.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Final

from loopworthy.judgement.book import Book, Item
from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.judgement.outcome import (
    Assessment,
    EffectiveLimit,
    Finding,
    Outcome,
    against,
    assessment,
    in_unit,
    rounded,
    step_in_unit,
)
from loopworthy.judgement.pressure_judge import judge_pressure_test
from loopworthy.judgement.told import Told, told_difference, told_margin, told_value
from loopworthy.science.sensors.agreement import SensorReading
from loopworthy.science.sensors.air import check_return_to_air
from loopworthy.science.sensors.history import compare_with_history
from loopworthy.science.sensors.known_gas import check_known_gas
from loopworthy.science.sensors.oxygen_check import OxygenCheck, check_oxygen_reading, oxygen_coefficient
from loopworthy.science.uncertainty import Decision
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.identity import EventId

SEA_LEVEL_HPA: Final = 1013.25
SET_POINT_BAR: Final = 1.3
"""Set point at which a deviation is shown in bar where the catalogue names none (common practice, no source)."""

_BESIDE_MS: Final = 30 * 60 * 1000
"""Sensors read within half an hour of each other are compared with each other (our choice)."""
_MOST_BESIDE: Final = 64

OXYGEN_ANALYSES: Final = ("D02", "D23")
"""Steps that analyse the oxygen of a calibration: the unit's own cylinder, or one that stands beside the unit."""

_OUTCOME: Final = {
    Decision.INSIDE: Outcome.INSIDE,
    Decision.NEAR_LIMIT: Outcome.NEAR,
    Decision.OUTSIDE: Outcome.OUTSIDE,
}


class NotRecorded(Exception):
    """Something that the judge needs is not there; carries its name."""

    def __init__(self, what: str) -> None:
        super().__init__(what)
        self.what = what


@dataclass(frozen=True, slots=True, kw_only=True)
class Case:
    """One piece of evidence before its judge: the book to look things up in and the limits that hold."""

    book: Book
    catalogue: Catalogue
    item: Item
    step: Step
    limits: Mapping[str, EffectiveLimit]

    def limit(self, name: str) -> EffectiveLimit:
        """The step's limit of that name."""
        limit = self.limits.get(f"{self.step.id}.{name}")
        if limit is None:
            raise NotRecorded(f"limit {name}")
        return limit

    def number(self, name: str, *, item: Item | None = None) -> float:
        """The first reading entered for an input, in the input's own unit."""
        return float(self.decimal(name, item=item))

    def decimal(self, name: str, *, item: Item | None = None) -> Decimal:
        """As `number`, but exactly as typed."""
        item = item or self.item
        readings = item.payload.readings.get(name, ())
        if not readings:
            raise NotRecorded(name)
        step = self.catalogue.steps.get(item.step)
        entered = step.input(name) if step is not None else None
        return in_unit(readings[0], entered.unit if entered is not None else readings[0].unit)

    def resolution(self, name: str, *, item: Item | None = None) -> float:
        """How finely an input was read."""
        readings = (item or self.item).payload.readings.get(name, ())
        if not readings:
            raise NotRecorded(name)
        one = item or self.item
        step = self.catalogue.steps.get(one.step)
        entered = step.input(name) if step is not None else None
        return float(step_in_unit(readings[0], entered.unit if entered is not None else readings[0].unit))

    def used(self, *steps: str) -> Item:
        """The evidence of another step that this one rests on; of the same sensor where there are several.

        Of several steps named the first that was used counts: a unit has one of them. What was read of another sensor
        is never taken for what was read of this one.
        """
        for step in steps:
            found = [
                self.book.items[event]
                for event in self.item.payload.used
                if event in self.book.items and self.book.items[event].step == step
            ]
            if found:
                own = [one for one in found if set(one.things) & set(self.item.things)]
                other = self.catalogue.steps.get(step)
                alike = other is not None and other.scope.each == self.step.scope.each != "unit"
                if own or not alike:
                    return (own or found)[-1]
        raise NotRecorded(steps[0])

    def known(self, event: EventId) -> bool:
        """Whether an event had not been taken back when this evidence was recorded."""
        withdrawal = self.book.withdrawals.get(event)
        return withdrawal is None or withdrawal.order > self.item.order

    def shown(self, name: str) -> str:
        """What was typed for an input."""
        return ", ".join(str(reading) for reading in self.item.payload.readings.get(name, ()))


def judge(case: Case) -> Assessment:
    """What the step's own judge finds; inside, with no finding, for a step without a judge.

    Evidence is judged beside what was on record when it was recorded: a reading that follows, or one that is taken
    back later, does not change what this one said.
    """
    if not case.step.judge:
        return assessment([])
    try:
        return assessment(_JUDGES[case.step.judge](case))
    except NotRecorded as missing:
        return _cannot_tell(case, "needs-reading", {"what": missing.what})
    except LoopworthyError as error:
        return _cannot_tell(case, "outside-science", {"what": error.message})
    except (ArithmeticError, ValueError, LookupError) as error:  # numbers that no instrument of the trade shows
        return _cannot_tell(case, "outside-science", {"what": str(error)})


def _cannot_tell(case: Case, code: str, values: dict[str, str]) -> Assessment:
    finding = Finding(outcome=Outcome.CANNOT_TELL, about=case.step.title, shown="", code=code, values=values)
    return assessment([finding])


# --- air and oxygen -------------------------------------------------------------------------------------------------


def ambient_mbar(case: Case) -> float:
    """Ambient pressure that the reading rests on: the barometer's, not the controller's own."""
    return case.number("barometer_hpa", item=case.used("C01"))


def _climate(case: Case) -> tuple[float, float]:
    surroundings = case.used("C02")
    temperature_c = case.number("temperature_c", item=surroundings)
    return temperature_c, case.number("humidity_percent", item=surroundings) / 100


def _air_reading(case: Case) -> list[Finding]:
    """The usual window is stated for sea level; a sensor's output falls with ambient pressure, so the window does."""
    scale = Decimal(repr(ambient_mbar(case) / SEA_LEVEL_HPA))
    value = case.decimal("air_mv")
    low, high = case.limit("low"), case.limit("high")
    at_sea_level = value / scale
    told = told_value(rounded(float(at_sea_level)), low, high, places=1)
    values = {"at_sea_level": f"{told:f}"}
    findings = []
    for limit in (low, high):
        found = against(limit, rounded(float(at_sea_level)), about=case.step.title, shown=case.shown("air_mv"))
        findings.append(
            Finding(
                outcome=found.outcome,
                about=found.about,
                shown=found.shown,
                limit=limit,
                margin=found.margin,
                told_margin=told_margin(told, limit),
                code="air-at-sea-level",
                values=values,
            )
        )
    if case.item.payload.readings.get("change_mv"):
        drift = abs(case.decimal("change_mv"))
        findings.append(against(case.limit("drift"), drift, about="change in 60 s", shown=case.shown("change_mv")))
    else:
        findings.append(
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about="change in 60 s",
                shown="",
                code="not-entered",
                values={"input": "change in 60 s"},
            )
        )
    return findings


def oxygen_check(case: Case) -> OxygenCheck:
    """The sensor's oxygen reading against what its own air reading foretold, with the day's numbers.

    Raises
    ------
    NotRecorded
        If one of the readings that it rests on is not among those used.
    InputError
        If a number lies outside the range in which the formula holds.
    """
    air, flush, analysis = case.used("C03"), case.used("C05"), case.used(*OXYGEN_ANALYSES)
    temperature_c, humidity = _climate(case)
    set_point = case.limits.get(f"{case.step.id}.set_point")
    return check_oxygen_reading(
        air_mv=case.number("air_mv", item=air),
        oxygen_mv=case.number("oxygen_mv"),
        ambient_pressure_mbar=ambient_mbar(case),
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        oxygen_fraction=case.number("oxygen_percent", item=analysis) / 100,
        oxygen_is_humid=flush.payload.answers.get("oxygen_is") != "dry",
        tolerance_mv=float(case.limit("tolerance").value),
        resolution_mv=max(case.resolution("oxygen_mv"), case.resolution("air_mv", item=air)),
        set_point_bar=float(set_point.value) if set_point is not None else SET_POINT_BAR,
    )


def oxygen_told(case: Case, check: OxygenCheck) -> Told:
    """Expectation, difference and margin of an oxygen reading in the digits in which they are told. [mV]"""
    return told_difference(case.decimal("oxygen_mv"), check.expected_mv, case.limit("tolerance"), places=1)


def _oxygen_reading(case: Case) -> list[Finding]:
    check = oxygen_check(case)
    tolerance = case.limit("tolerance")
    told = oxygen_told(case, check)
    outcome = _OUTCOME[check.decision]
    if outcome is Outcome.NEAR and not check.can_decide:
        outcome = Outcome.CANNOT_TELL
    return [
        Finding(
            outcome=outcome,
            about=case.step.title,
            shown=case.shown("oxygen_mv"),
            limit=tolerance,
            margin=tolerance.decimal - abs(rounded(check.difference_mv)),
            told_margin=told.margin,
            code="oxygen-against-expected" if check.can_decide else "oxygen-cannot-decide",
            values={
                "expected": f"{told.expected:f}",
                "difference": f"{told.difference:+f}",
                "percent": f"{check.difference_fraction * 100:+.1f}",
                "at_set_point": f"{check.difference_at_set_point_bar:+.3f}",
                "uncertainty": f"{check.uncertainty_mv:.1f}",
                "coefficient": f"{check.coefficient:.3f}",
                "why": check.reason,
            },
        )
    ]


def factor_of(case: Case, item: Item) -> float:
    """The sensor's factor in mV per bar, from an oxygen reading on record."""
    step = case.catalogue.step(item.step)
    inner = Case(book=case.book, catalogue=case.catalogue, item=item, step=step, limits={})
    temperature_c, humidity = _climate(inner)
    flush, analysis = inner.used("C05"), inner.used(*OXYGEN_ANALYSES)
    coefficient = oxygen_coefficient(
        ambient_pressure_mbar=ambient_mbar(inner),
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        oxygen_fraction=inner.number("oxygen_percent", item=analysis) / 100,
        oxygen_is_humid=flush.payload.answers.get("oxygen_is") != "dry",
    )
    return inner.number("oxygen_mv") / coefficient.oxygen_bar


def earlier_factors(case: Case, reading: Item, count: int = 10) -> list[float]:
    """The last normalised factors of the same serial before this reading, oldest first."""
    factors: list[float] = []
    for event in reversed(case.book.by_subject.get(f"{reading.step} {reading.subject}", ())):
        item = case.book.items[event]
        if item.order < reading.order and case.known(event):
            factor = _remembered_factor(case, item)
            if factor is not None:
                factors.append(factor)
                if len(factors) == count:
                    break
    return factors[::-1]


def _remembered_factor(case: Case, item: Item) -> float | None:
    remembered = case.book.memo.factors
    if item.event not in remembered:
        try:
            remembered[item.event] = factor_of(case, item)
        except (NotRecorded, LoopworthyError, ArithmeticError, ValueError):
            remembered[item.event] = None
    return remembered[item.event]


def _factor_history(case: Case) -> list[Finding]:
    reading = case.used("C06")
    step = case.limit("step")
    compared = compare_with_history(
        factor_of(case, reading), earlier_factors(case, reading), step_limit_fraction=float(step.value) / 100
    )
    if compared.step_fraction is None:
        return [
            Finding(
                outcome=Outcome.INSIDE,
                about=case.step.title,
                shown=f"{compared.factor_mv_per_bar:.1f} mV/bar",
                limit=step,
                code="no-history",
            )
        ]
    percent = rounded(abs(compared.step_fraction) * 100)
    told = told_value(percent, step, places=1)
    signed = told.copy_sign(Decimal(repr(compared.step_fraction)))
    found = against(step, percent, about=case.step.title, shown=f"{compared.factor_mv_per_bar:.1f} mV/bar")
    return [
        Finding(
            outcome=found.outcome,
            about=found.about,
            shown=found.shown,
            limit=step,
            margin=found.margin,
            told_margin=told_margin(told, step),
            code="factor-step",
            values={"step": f"{signed:+f}", "compared": str(compared.compared_with)},
        )
    ]


def _stored_factor(case: Case) -> list[Finding]:
    reading = case.used("C06")
    limit = case.limit("step")
    own = factor_of(case, reading)
    findings = []
    earlier = earlier_factors(case, reading, count=1)
    if earlier:
        percent = abs(own / earlier[-1] - 1) * 100
        findings.append(against(limit, rounded(percent), about=case.step.title, shown=f"{own:.1f} mV/bar"))
    if case.item.payload.readings.get("factor"):
        stored = case.number("factor")
        percent = abs(stored / own - 1) * 100
        findings.append(against(limit, rounded(percent), about="factor shown", shown=case.shown("factor")))
    return findings or [
        Finding(
            outcome=Outcome.INSIDE, about=case.step.title, shown=f"{own:.1f} mV/bar", limit=limit, code="no-history"
        )
    ]


def _factor_agreement(case: Case) -> list[Finding]:
    if not case.item.payload.readings.get("factor"):
        return [Finding(outcome=Outcome.INSIDE, about=case.step.title, shown="", code="factor-not-shown")]
    first = case.used("C08")
    reference = (
        case.number("factor", item=first) if first.payload.readings.get("factor") else factor_of(case, case.used("C06"))
    )
    percent = abs(case.number("factor") / reference - 1) * 100
    return [against(case.limit("difference"), rounded(percent), about=case.step.title, shown=case.shown("factor"))]


# --- a known gas ----------------------------------------------------------------------------------------------------


def _beside(case: Case, name: str) -> list[tuple[str, float]]:
    """The same reading of the other sensors of the unit: of each the latest before this one, if not long before."""
    latest: dict[str, Item] = {}
    filed = case.book.by_unit.get(f"{case.item.step} {case.item.unit}", [])
    before = bisect_left(filed, case.item.order, key=lambda event: case.book.items[event].order)
    for event in reversed(filed[max(0, before - _MOST_BESIDE) : before]):
        item = case.book.items[event]
        near_in_time = abs(item.occurred_ms - case.item.occurred_ms) <= _BESIDE_MS
        if near_in_time and item.subject != case.item.subject and case.known(event) and item.payload.readings.get(name):
            latest.setdefault(item.position, item)
    return [(position, case.number(name, item=item)) for position, item in sorted(latest.items())]


def _return_to_air(case: Case) -> list[Finding]:
    temperature_c, humidity = _climate(case)
    mine = case.number("po2_bar")
    readings = [SensorReading(serial="this sensor", oxygen_bar=mine)]
    readings += [SensorReading(serial=name, oxygen_bar=value) for name, value in _beside(case, "po2_bar")]
    tolerance, spread = case.limit("tolerance"), case.limit("spread")
    check = check_return_to_air(
        readings,
        ambient_pressure_mbar=ambient_mbar(case),
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        tolerance_bar=float(tolerance.value),
        spread_limit_bar=float(spread.value),
        resolution_bar=case.resolution("po2_bar"),
    )
    own = check.sensors[0]
    told = told_difference(case.decimal("po2_bar"), check.expected_bar, tolerance, places=3)
    apart = rounded(check.spread_bar)
    apart_told = told_value(apart, spread, places=3)
    return [
        Finding(
            outcome=_OUTCOME[own.decision],
            about=case.step.title,
            shown=case.shown("po2_bar"),
            limit=tolerance,
            margin=tolerance.decimal - abs(rounded(own.difference_bar)),
            told_margin=told.margin,
            code="against-known-gas",
            values={
                "expected": f"{told.expected:f}",
                "difference": f"{told.difference:+f}",
                "uncertainty": f"{check.uncertainty_bar:.3f}",
            },
        ),
        replace(
            against(spread, apart, about="spread between sensors", shown=f"{apart_told:f} bar"),
            told_margin=told_margin(apart_told, spread),
        ),
    ]


def _known_gas(case: Case) -> list[Finding]:
    percent = case.number("gas_oxygen_percent")
    names = [name for name in ("oxygen", "air", "tolerance") if f"{case.step.id}.{name}" in case.limits]
    rich = percent > 50 and "oxygen" in names
    tolerance = case.limit("oxygen" if rich else next(name for name in names if name != "oxygen"))
    check = check_known_gas(
        [SensorReading(serial="this sensor", oxygen_bar=case.number("po2_bar"))],
        oxygen_fraction=percent / 100,
        ambient_pressure_bar=case.number("pressure_bar"),
        water_vapour_bar=0.0,
        tolerance_bar=float(tolerance.value),
        spread_limit_bar=1.0,
        resolution_bar=case.resolution("po2_bar"),
    )
    own = check.sensors[0]
    told = told_difference(case.decimal("po2_bar"), check.expected_bar, tolerance, places=3)
    return [
        Finding(
            outcome=_OUTCOME[own.decision],
            about=case.step.title,
            shown=case.shown("po2_bar"),
            limit=tolerance,
            margin=tolerance.decimal - abs(rounded(own.difference_bar)),
            told_margin=told.margin,
            code="against-known-gas",
            values={
                "expected": f"{told.expected:f}",
                "difference": f"{told.difference:+f}",
                "uncertainty": f"{check.uncertainty_bar:.3f}",
            },
        )
    ]


# --- loop and breathing ---------------------------------------------------------------------------------------------


def _pressure_test(case: Case) -> list[Finding]:
    kind = "positive" if case.step.id == "L03" else "negative"
    try:
        ambient: float | None = ambient_mbar(case)
    except NotRecorded:
        ambient = None
    return judge_pressure_test(
        case.item.payload,
        kind=kind,
        about=case.step.title,
        ambient_pressure_mbar=ambient,
        loss=case.limit("loss"),
        hold=case.limit("hold"),
        start=case.limit("start"),
    )


def _pre_breathe(case: Case) -> list[Finding]:
    readings = case.item.payload.readings.get("po2_each_minute", ())
    each_minute = [in_unit(reading, "bar") for reading in readings]
    floor, minutes = case.limit("floor"), case.limit("minutes")
    findings = [
        against(minutes, Decimal(len(readings)), about="minutes with a reading", shown=f"{len(readings)} min"),
    ]
    findings += [
        against(floor, po2_bar, about=f"minute {minute}", shown=str(reading), step=step_in_unit(reading, "bar"))
        for minute, (reading, po2_bar) in enumerate(zip(readings, each_minute, strict=True), start=1)
    ]
    set_point = case.decimal("set_point_bar")
    if each_minute and each_minute[0] >= set_point:
        findings.append(
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about=case.step.title,
                shown=str(readings[0]),
                code="begun-above-set-point",
                values={"set_point": f"{set_point} bar"},
            )
        )
    return findings


_JUDGES: Final[Mapping[str, Callable[[Case], list[Finding]]]] = {
    "air-reading": _air_reading,
    "oxygen-reading": _oxygen_reading,
    "factor-history": _factor_history,
    "stored-factor": _stored_factor,
    "factor-agreement": _factor_agreement,
    "return-to-air": _return_to_air,
    "known-gas": _known_gas,
    "pressure-test": _pressure_test,
    "pre-breathe": _pre_breathe,
}
