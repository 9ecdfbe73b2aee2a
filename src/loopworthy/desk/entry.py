"""Turning what somebody typed for a step into the payload of its evidence, or into one clear query or error.

A value is stored as typed, with its unit. A value far from what is usually read is asked about at once (104 for
10.4); it is taken when the person says that it does read so.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal

from loopworthy.judgement.catalogue.model import Input, InputKind, Step
from loopworthy.judgement.events import Trace
from loopworthy.judgement.outcome import in_unit
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.reading import Reading, parse_number

ALTERNATIVE_UNITS: Mapping[str, str] = {"bar": "psi", "m": "ft", "C": "F"}
"""Metric unit to the US customary one that a reading may be typed in instead."""

TRACE_COLUMNS = ("s", "mbar", "C")
LONGEST_TRACE = 20_000
_TRACE_BREAK = re.compile(r"[;\t ]+|,(?=\s)|,(?!\d)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """What was typed for one step and one subject.

    Attributes
    ----------
    step, about : str
        The step; the subject's key, or its position where nothing is fitted.
    fields : mapping
        Input name to text; for several numbers separated by blanks, semicolons or line breaks.
    units : mapping
        Input name to unit, where another than the catalogue's was read.
    resolutions : mapping
        Input name to the step in which the instrument shows the value.
    confirmed : frozenset of str
        Inputs whose odd value was confirmed.
    """

    step: str
    about: str
    fields: Mapping[str, str]
    units: Mapping[str, str] = field(default_factory=dict)
    resolutions: Mapping[str, str] = field(default_factory=dict)
    confirmed: frozenset[str] = frozenset()
    note: str = ""

    @property
    def is_blank(self) -> bool:
        """Whether nothing at all was typed."""
        return not any(text.strip() for text in self.fields.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Query:
    """A value that has to be looked at again before it is recorded."""

    input: str
    text: str
    low: str
    high: str
    unit: str
    perhaps: str
    """What may have been meant; '' when nothing is near."""


class OddValueError(InputError):
    """A value far from what is usually read; the same form with the value confirmed records it."""

    def __init__(self, query: Query) -> None:
        self.query = query
        meant = f"Was {query.perhaps} meant? " if query.perhaps else ""
        super().__init__(
            query.input,
            query.text,
            f"usually {query.low} to {query.high} {query.unit}",
            next_step=f"{meant}Look again; confirm it if it does read so",
        )


@dataclass(slots=True, kw_only=True)
class Entered:
    """The parts of an evidence payload that come from typing."""

    readings: dict[str, tuple[Reading, ...]] = field(default_factory=dict)
    answers: dict[str, str] = field(default_factory=dict)
    traces: dict[str, Trace] = field(default_factory=dict)
    files: dict[str, str] = field(default_factory=dict)
    confirmed_odd: tuple[str, ...] = ()


def read_entry(step: Step, typed: Typed) -> Entered:
    """Check everything that was typed for a step.

    Raises
    ------
    InputError
        If a required field is empty, or a value cannot be what it should be; names the field.
    OddValueError
        If a value is odd and not confirmed.
    """
    known = {one.name for one in step.inputs}
    for name in typed.fields:
        if name not in known:
            raise InputError(name, typed.fields[name], f"a field of step {step.id}: {', '.join(sorted(known))}")
    entered = Entered()
    odd = []
    for one in step.inputs:
        text = typed.fields.get(one.name, "").strip()
        if not text:
            if one.required:
                raise InputError(one.name, text, f"filled in ({one.label})", next_step="Leave no required field empty")
            continue
        if one.kind in (InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT):
            readings = _numbers(one, text, typed)
            for reading in readings:
                if _ask_about(one, reading, typed):
                    odd.append(one.name)
            entered.readings[one.name] = readings
        elif one.kind is InputKind.TRACE:
            entered.traces[one.name] = read_trace(one.name, text)
        elif one.kind is InputKind.FILE:
            entered.files[one.name] = _file(one, text)
        else:
            entered.answers[one.name] = _answer(one, text)
    entered.confirmed_odd = tuple(dict.fromkeys(odd))
    return entered


def _numbers(one: Input, text: str, typed: Typed) -> tuple[Reading, ...]:
    parts = re.split(r"[;\s]+", text.strip(" ;")) if one.kind is InputKind.NUMBERS else [text]
    unit = typed.units.get(one.name) or one.unit
    if unit != one.unit and ALTERNATIVE_UNITS.get(one.unit) != unit:
        allowed = ", ".join(filter(None, (one.unit, ALTERNATIVE_UNITS.get(one.unit, ""))))
        raise InputError(f"{one.name}_unit", unit, f"one of {allowed}")
    readings = tuple(
        Reading(
            value=parse_number(one.name, part),
            unit=unit,
            resolution=typed.resolutions.get(one.name, "").replace(",", "."),
        )
        for part in parts
    )
    if one.kind is InputKind.NUMBERS and len(readings) != one.count:
        raise InputError(
            one.name, text, f"{one.count} numbers", next_step=f"{len(readings)} were given; separate them by blanks"
        )
    if one.kind is InputKind.COUNT and (readings[0].decimal != int(readings[0].decimal) or readings[0].decimal < 0):
        raise InputError(one.name, text, "a whole number, 0 or more")
    return readings


def _ask_about(one: Input, reading: Reading, typed: Typed) -> bool:
    """Whether the value is odd and was confirmed; raises when it is odd and was not."""
    query = query_for(one, reading)
    if query is None:
        return False
    if one.name in typed.confirmed:
        return True
    raise OddValueError(query)


def query_for(one: Input, reading: Reading) -> Query | None:
    """The question to ask about a value that is far from the usual; None when it is usual."""
    if not one.usual_low and not one.usual_high:
        return None
    value = in_unit(reading, one.unit)
    low = Decimal(one.usual_low) if one.usual_low else None
    high = Decimal(one.usual_high) if one.usual_high else None
    if (low is None or value >= low) and (high is None or value <= high):
        return None
    perhaps = ""
    for shift in (Decimal("0.1"), Decimal(10), Decimal("0.01"), Decimal(100), Decimal("0.001"), Decimal(1000)):
        candidate = value * shift
        if (low is None or candidate >= low) and (high is None or candidate <= high):
            perhaps = f"{candidate.normalize():f}"
            break
    return Query(
        input=one.label, text=reading.value, low=one.usual_low, high=one.usual_high, unit=one.unit, perhaps=perhaps
    )


def read_trace(name: str, text: str) -> Trace:
    """A pressure trace from lines of seconds, mbar and perhaps °C, separated by blanks, tabs or semicolons.

    Decimal comma and point are both taken; a first line of words is passed over.

    Raises
    ------
    InputError
        If a line has other than two or three numbers, or there are more than `LONGEST_TRACE` lines.
    """
    rows: list[tuple[str, ...]] = []
    for number, line in enumerate(text.strip().splitlines(), start=1):
        parts = [part for part in _TRACE_BREAK.split(line.strip()) if part]
        if not parts:
            continue
        if number == 1 and not any(character.isdigit() for character in parts[0]):
            continue
        if len(parts) not in (2, 3):
            raise InputError(
                f"{name} line {number}",
                line,
                "two or three numbers: s, mbar and perhaps C",
                next_step="Separate them by blanks or semicolons",
            )
        rows.append(tuple(parse_number(f"{name} line {number}", part) for part in parts))
    if len(rows) > LONGEST_TRACE:
        raise InputError(name, len(rows), f"at most {LONGEST_TRACE} lines", next_step="Thin it out to one a second")
    widths = {len(row) for row in rows}
    if len(widths) > 1:
        raise InputError(name, f"{min(widths)} and {max(widths)} columns", "the same number of columns in every line")
    return Trace(columns=TRACE_COLUMNS[: widths.pop()] if widths else TRACE_COLUMNS[:2], rows=tuple(rows))


def _file(one: Input, text: str) -> str:
    if not re.fullmatch(r"[0-9a-f]{64}", text):
        raise InputError(one.name, text, "the SHA-256 of a stored file")
    return text


def _answer(one: Input, text: str) -> str:
    if one.kind is InputKind.TICK:
        if text not in ("yes", "on", "true", "1"):
            raise InputError(one.name, text, "ticked, or left out")
        return "yes"
    if one.kind is InputKind.CHOICE:
        if text not in one.choices:
            raise InputError(one.name, text, f"one of {', '.join(one.choices)}")
        return text
    if one.kind is InputKind.DATE:
        try:
            return date.fromisoformat(text).isoformat()
        except ValueError as error:
            raise InputError(one.name, text, "a date", next_step="Write for example 2026-05-14") from error
    if one.kind is InputKind.TIME:
        if not re.fullmatch(r"([01]?\d|2[0-3]):[0-5]\d", text):
            raise InputError(one.name, text, "a time of day", next_step="Write for example 08:40")
        return text.zfill(5)
    return wording.note(one.name, text)
