"""The form of a work page: which fields it has, what was typed into them, and what is wrong with it.

Everything is checked field by field before anything is recorded, so that the page comes back with all that was typed,
each error and each question at its own field.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Final

import msgspec

from loopworthy.desk.entry import ALTERNATIVE_UNITS, OddValueError, Query, Typed, query_for, read_entry
from loopworthy.desk.steps import StepEntry
from loopworthy.doors.quantities import converted, plain, preferred_unit, unit_choices, unit_shown
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.refusal import told
from loopworthy.judgement.book import Item
from loopworthy.judgement.catalogue.model import Input, InputKind, Rule, Step
from loopworthy.judgement.outcome import EffectiveLimit
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.reading import Reading

TESTS: Final = "pressure-test"
PRE_BREATHE: Final = "pre-breathe"
HELD: Final = "hold_s"
EACH_MINUTE: Final = "po2_each_minute"
FINENESS: Final = {"mV": ("1", "0.1", "0.01"), "mbar": ("1", "0.5", "0.1")}
"""Units whose readings are judged by how finely they were read, with the steps that displays have."""

_KINDS: Final = {
    InputKind.NUMBER: "number",
    InputKind.NUMBERS: "text",
    InputKind.COUNT: "count",
    InputKind.TEXT: "text",
    InputKind.LIST: "text",
    InputKind.CHOICE: "choice",
    InputKind.TICK: "tick",
    InputKind.DATE: "date",
    InputKind.TIME: "time",
    InputKind.TRACE: "longtext",
    InputKind.FILE: "file",
}


def name_of(entry: StepEntry, one: Input) -> str:
    """Name of the field of one input of one entry: ``C03|<subject>|air_mv``."""
    return f"{entry.step.id}|{entry.about}|{one.name}"


def fineness_name(step: Step) -> str:
    """Name of the select for the smallest step that the display shows, for all readings of a step."""
    return f"{step.id}|fineness"


def hold_name(entry: StepEntry) -> str:
    """Name that a hold timer of the entry sends its moments under."""
    return f"{entry.step.id}|{entry.about}|hold"


# --- reading the form -----------------------------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class Checked:
    """What was typed on a page, and what is wrong with it.

    Attributes
    ----------
    typed : list of Typed
        Entries that are not blank, ready to record if there are neither errors nor questions.
    errors : dict
        Field to why it is refused.
    questions : dict
        Field to the question about its odd value.
    kept : dict
        Field to the SHA-256 of a file that has been kept already.
    """

    typed: list[Typed] = field(default_factory=list)
    errors: dict[str, str] = field(default_factory=dict)
    questions: dict[str, str] = field(default_factory=dict)
    kept: dict[str, str] = field(default_factory=dict)

    @property
    def is_right(self) -> bool:
        """Whether it can be recorded."""
        return not self.errors and not self.questions


def check(asked: Asked, entries: tuple[StepEntry, ...]) -> Checked:
    """Read what was typed for each entry; an entry into which nothing was typed is left out."""
    checked = Checked()
    for entry in entries:
        typed = typed_for(asked, entry, checked)
        if typed.is_blank:
            continue
        checked.typed.append(typed)
        for one in entry.step.inputs:
            _check_input(asked, entry, one, typed, checked)
    return checked


def typed_for(asked: Asked, entry: StepEntry, checked: Checked) -> Typed:
    """What was typed for one entry; a held time is taken from its timer, a file is kept and named by its hash."""
    form = asked.form
    texts: dict[str, str] = {}
    units: dict[str, str] = {}
    fineness: dict[str, str] = {}
    confirmed = set()
    for one in entry.step.inputs:
        name = name_of(entry, one)
        texts[one.name] = _text(asked, entry, one, checked)
        if form.get(f"{name}_unit"):
            units[one.name] = form.get(f"{name}_unit")
        if one.unit in FINENESS and form.get(fineness_name(entry.step)):
            fineness[one.name] = form.get(fineness_name(entry.step))
        if form.ticked(f"{name}_confirmed") or any(
            form.ticked(f"{name}.{number}_confirmed") for number in range(1, one.count + 1)
        ):
            confirmed.add(one.name)
    if not any(texts.values()):
        return Typed(step=entry.step.id, about=entry.about, fields={})
    timed = held_for(form, entry)
    if entry.step.judge == TESTS and timed is not None and not texts.get(HELD) and not texts.get("trace"):
        texts[HELD] = f"{timed:.0f}"
    return Typed(
        step=entry.step.id,
        about=entry.about,
        fields=texts,
        units=units,
        resolutions=fineness,
        confirmed=frozenset(confirmed),
        note=hold_note(asked, entry),
    )


def _text(asked: Asked, entry: StepEntry, one: Input, checked: Checked) -> str:
    form, name = asked.form, name_of(entry, one)
    if one.kind is InputKind.FILE:
        upload = form.files.get(name)
        digest = asked.workplace.record.put_blob(upload.body) if upload is not None else form.get(f"{name}_kept")
        if digest:
            checked.kept[name] = digest
        return digest
    if one.kind is InputKind.NUMBERS and not form.get(name):
        return " ".join(filter(None, (form.get(f"{name}.{number}") for number in range(1, one.count + 1))))
    return form.get(name)


def _check_input(asked: Asked, entry: StepEntry, one: Input, typed: Typed, checked: Checked) -> None:
    """Check one input as if it were the step's only one, so that its error is its own."""
    step = msgspec.structs.replace(entry.step, inputs=(one,))
    name = name_of(entry, one)
    alone = Typed(
        step=typed.step,
        about=typed.about,
        fields={one.name: typed.fields[one.name]},
        units=typed.units,
        resolutions=typed.resolutions,
        confirmed=typed.confirmed,
    )
    try:
        read_entry(step, alone)
    except OddValueError as odd:
        _ask(asked, one, name, typed.units.get(one.name, one.unit), odd, checked)
    except InputError as error:
        if error.name.endswith("_unit"):
            checked.errors[name] = error.message
        elif not typed.fields[one.name]:
            checked.errors[name] = asked.say("work.left_empty")
        else:
            values = {"typed": typed.fields[one.name][:40], "limit": error.limit, "step": error.next_step}
            checked.errors[name] = asked.say("work.must_be", **values).strip()


def _ask(asked: Asked, one: Input, name: str, unit: str, odd: OddValueError, checked: Checked) -> None:
    if one.kind is not InputKind.NUMBERS:
        checked.questions[name] = question(asked, one, odd.query, unit)
        return
    for number in range(1, one.count + 1):  # which of several it was is found by asking each
        text = asked.form.get(f"{name}.{number}")
        try:
            query = query_for(one, Reading(value=text.replace(",", "."), unit=unit)) if text else None
        except InputError:
            query = None
        if query is not None and not asked.form.ticked(f"{name}.{number}_confirmed"):
            checked.questions[f"{name}.{number}"] = question(asked, one, query, unit)
    if not any(key.startswith(name) for key in checked.questions):
        checked.questions[name] = question(asked, one, odd.query, unit)


def question(asked: Asked, one: Input, query: Query, unit: str) -> str:
    """The question about an odd value, in the unit in which it was typed."""
    low, high, perhaps = query.low, query.high, query.perhaps or _with_other_sign(one, query)
    if unit != one.unit:
        low, high, perhaps = (_in(value, one.unit, unit) for value in (low, high, perhaps))
    values = {"low": low, "high": high, "unit": unit_shown(unit), "typed": query.text}
    if perhaps:
        return asked.say("parts.odd_with_guess", **values, guess=perhaps)
    return asked.say("parts.odd_without_guess", **values)


def _with_other_sign(one: Input, query: Query) -> str:
    """The same digits with the other sign, where those are usual: 35 for -35 on a gauge that shows no minus."""
    other = -Decimal(query.text)
    usual = Decimal(one.usual_low or "-Infinity") <= other <= Decimal(one.usual_high or "Infinity")
    return plain(other) if usual else ""


def _in(value: str, unit: str, wanted: str) -> str:
    return plain(converted(Decimal(value), unit, wanted), 0) if value else ""


# --- holds ----------------------------------------------------------------------------------------------------------


def held_for(form: Form, entry: StepEntry) -> float | None:
    """How long the entry's timer ran, start to end; None where it did not. [s]"""
    started, ended = (_moment(form.get(f"{hold_name(entry)}_{end}")) for end in ("started", "ended"))
    if started is None or ended is None:
        return None
    seconds = (ended - started).total_seconds()
    if seconds < 0 and started.tzinfo is None:
        seconds += 24 * 3600  # typed from a watch, past midnight
    return seconds if seconds > 0 else None


def _moment(text: str) -> datetime | None:
    """A moment as a timer sends it, or a time of day typed from a watch."""
    if not text:
        return None
    try:
        return datetime.fromisoformat(text if "T" in text else f"2000-01-01T{text}")
    except ValueError:
        return None


def hold_note(asked: Asked, entry: StepEntry) -> str:
    """What a timer adds to the record: when it ran, attempts that were given up, clocks that differ."""
    form, name = asked.form, hold_name(entry)
    notes = []
    started, ended = (_moment(form.get(f"{name}_{end}")) for end in ("started", "ended"))
    if started is not None and ended is not None:
        notes.append(asked.say("work.held_from", start=f"{started:%H:%M:%S}", end=f"{ended:%H:%M:%S}"))
    for attempt in form.get(f"{name}_given_up").split()[:20]:
        begun, _, left = attempt.partition("/")
        first, last = _moment(begun), _moment(left)
        if first is not None and last is not None:
            seconds = f"{(last - first).total_seconds():.0f}"
            notes.append(asked.say("work.given_up", start=f"{first:%H:%M:%S}", seconds=seconds))
    one, _, other = form.get(f"{name}_clocks").partition(" ")
    if one.isdigit() and other.isdigit():
        notes.append(asked.say("work.clocks_differ", one=one, other=other))
    return " ".join(notes)


# --- drawing the fields ---------------------------------------------------------------------------------------------


def entry_fields(asked: Asked, entry: StepEntry, checked: Checked, *, compact: bool) -> tuple[Field, ...]:
    """The fields of one entry, without those that its timer holds."""
    inputs = [one for one in entry.step.inputs if not (one.name == EACH_MINUTE and entry.step.judge == PRE_BREATHE)]
    return tuple(_field(asked, entry, one, checked, compact=compact) for one in inputs)


def minute_fields(asked: Asked, entry: StepEntry, checked: Checked) -> tuple[Field, ...]:
    """One field for each minute of a pre-breathe."""
    one = entry.step.input(EACH_MINUTE)
    if one is None:
        return ()
    name = name_of(entry, one)
    return tuple(
        Field(
            name=f"{name}.{number}",
            label=asked.say("work.minute", minute=number),
            value=asked.form.get(f"{name}.{number}") or None,
            unit=unit_shown(one.unit),
            usual_low=one.usual_low or None,
            usual_high=one.usual_high or None,
            odd_query=checked.questions.get(f"{name}.{number}", ""),
            odd_confirmed=asked.form.ticked(f"{name}.{number}_confirmed"),
            error=checked.errors.get(name, "") if number == one.count else "",
        )
        for number in range(1, one.count + 1)
    )


def _field(asked: Asked, entry: StepEntry, one: Input, checked: Checked, *, compact: bool) -> Field:
    name = name_of(entry, one)
    offered = unit_choices(one) if one.kind is InputKind.NUMBER else (one.unit,)
    unit = asked.form.get(f"{name}_unit") or preferred_unit(one, asked.display_units)
    limit = next((limit for limit in entry.limits if limit.limit.on == one.name and _is_plain(limit)), None)
    asks = one.kind in (InputKind.NUMBER, InputKind.COUNT) and bool(one.usual_low and one.usual_high)
    value = checked.kept.get(name) if one.kind is InputKind.FILE else asked.form.get(name) or None
    return Field(
        name=name,
        label=one.label,
        kind=_KINDS[one.kind],
        value=value,
        unit=unit_shown(one.unit),
        unit_name=f"{name}_unit",
        unit_choices=_units(one, offered) if len(offered) > 1 else (),
        unit_value=unit,
        limit_text=asked.words.limit_text(limit) if limit is not None and not compact else "",
        origin=asked.words.origin_text(limit) if limit is not None and not compact else "",
        last_text=_last(asked, entry.last, one),
        usual_low=one.usual_low if asks else None,
        usual_high=one.usual_high if asks else None,
        odd_query=checked.questions.get(name, ""),
        odd_confirmed=asked.form.ticked(f"{name}_confirmed"),
        error=checked.errors.get(name, ""),
        help=_help(asked, one),
        choices=tuple((choice, choice) for choice in one.choices),
        required=False,
        accept="image/*" if one.kind is InputKind.FILE and one.name == "photo" else "",
        signed=one.usual_low.startswith("-"),
        compact=compact or one.name in ("start_mbar", "end_mbar", "start_c", "end_c"),
    )


def _is_plain(limit: EffectiveLimit) -> bool:
    return limit.limit.rule is not Rule.JUDGE


def _units(one: Input, offered: tuple[str, ...]) -> tuple[tuple[str, str, str, str], ...]:
    return tuple(
        (
            unit,
            unit_shown(unit),
            one.usual_low if unit == one.unit else _in(one.usual_low, one.unit, unit),
            one.usual_high if unit == one.unit else _in(one.usual_high, one.unit, unit),
        )
        for unit in offered
        if unit == one.unit or ALTERNATIVE_UNITS.get(one.unit) == unit
    )


def _last(asked: Asked, item: Item | None, one: Input) -> str:
    """The last reading with its moment. A tick of another day says nothing that a person should lean on."""
    if item is None or one.kind in (InputKind.TICK, InputKind.TRACE, InputKind.FILE):
        return ""
    read = asked.words.input_text(item, one.name)
    return asked.say("work.last", read=read, when=asked.words.clock.when(item.occurred_ms)) if read else ""


def _help(asked: Asked, one: Input) -> str:
    if one.kind is InputKind.LIST and not one.help:
        return asked.say("work.list_help")
    return one.help


def step_limits(asked: Asked, entry: StepEntry, *, all_of_them: bool) -> tuple[tuple[str, str], ...]:
    """Limits told for the step as a whole: those for its judge, and all where several subjects stand in rows."""
    labels = {one.name: one.label for one in entry.step.inputs}
    told = []
    for limit in entry.limits:
        if limit.limit.rule is Rule.JUDGE and limit.limit.id.endswith(".start") and Decimal(limit.value) == 0:
            continue  # none is asked for; the answer of the test says so
        if limit.limit.rule is Rule.JUDGE or all_of_them:
            text = asked.words.limit_text(limit)
            label = labels.get(limit.limit.on, "") if limit.limit.rule is not Rule.JUDGE else ""
            told.append((f"{label}: {text}" if label else text, asked.words.origin_text(limit)))
    return tuple(told)


def fineness_field(asked: Asked, step: Step) -> Field | None:
    """The select for how finely a display shows what is judged; None where it does not matter."""
    units = {one.unit for one in step.inputs if one.unit in FINENESS}
    if not step.judge or not units:
        return None
    unit = units.pop()
    name = fineness_name(step)
    choices = tuple((size, f"{size} {unit}") for size in FINENESS[unit])
    return Field(
        name=name,
        label=asked.say("parts.resolution"),
        kind="select",
        value=asked.form.get(name) or None,
        choices=choices,
        help=asked.say("work.fineness_help"),
    )


def errors_of_who(asked: Asked, error: InputError) -> Mapping[str, str]:
    """An error about who, with what or when, at its own field."""
    at = {"read_by": "read_by", "second": "second", "instruments": "instruments", "occurred_at": "occurred_at"}
    if error.name in at:
        return {at[error.name]: ". ".join(one for one in (told(asked, error), error.next_step) if one)}
    return {}
