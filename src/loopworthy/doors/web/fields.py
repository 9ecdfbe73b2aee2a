"""Fields of forms, and the fieldset that asks who read, who else looked, with what and when."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from loopworthy.desk import people
from loopworthy.desk.late import refuse_ahead
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment, moment, zone

MOMENT_CONFIRMED = "occurred_at_confirmed"
"""The tick that says: it was then."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field, as templates/parts/field.html draws it; see the sheet at its head.

    Attributes
    ----------
    name, label, kind : str
        ``number``, ``text``, ``longtext``, ``choice``, ``select``, ``tick``, ``time``, ``date``, ``moment``, ``count``
        or ``file``.
    value : str or None
        What was typed, to show it again. Never an earlier reading.
    unit, unit_name, unit_choices, unit_value : str, str, tuple, str
        The unit; where several may be read, the name of the select for them, what it offers (unit, words, usual low and
        high), what is chosen.
    limit_text, origin, last_text : str
    usual_low, usual_high : str
        With both, an odd value is asked about at once.
    odd_query, odd_confirmed : str, bool
        The server's question about an odd value; whether it was confirmed.
    error, help : str
    choices : tuple of (str, str)
        Value and words, for ``choice`` and ``select``.
    required : bool
    resolution_name, resolution_value, resolution_choices
        Select for the smallest step that the display shows.
    compact : bool
        Whether it stands beside others in a row.
    signed : bool
        Whether it may be below zero.
    scan : bool
        Whether a code on the thing may say it, so that a camera can read it.
    """

    name: str
    label: str
    kind: str = "number"
    id: str = ""
    value: str | None = None
    unit: str = ""
    unit_name: str = ""
    unit_choices: tuple[tuple[str, str, str, str], ...] = ()
    unit_value: str = ""
    limit_text: str = ""
    origin: str = ""
    last_text: str = ""
    usual_low: str | None = None
    usual_high: str | None = None
    odd_query: str = ""
    odd_confirmed: bool = False
    error: str = ""
    help: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    required: bool = False
    resolution_name: str = ""
    resolution_value: str = ""
    resolution_choices: tuple[str, ...] = ("1", "0.1", "0.01", "0.001")
    accept: str = ""
    compact: bool = False
    signed: bool = False
    scan: bool = False


def select(
    name: str,
    label: str,
    choices: tuple[tuple[str, str], ...],
    form: Form,
    *,
    chosen: str = "",
    required: bool = False,
    error: str = "",
    help: str = "",
) -> Field:
    """A list to choose one from; what was sent goes before what is proposed."""
    value = form.get(name, chosen)
    return Field(
        name=name, label=label, kind="select", value=value, choices=choices, required=required, error=error, help=help
    )


def text_field(
    name: str,
    label: str,
    form: Form,
    *,
    kind: str = "text",
    required: bool = False,
    error: str = "",
    help: str = "",
    value: str | None = None,
    scan: bool = False,
) -> Field:
    """A field for words, a date or a time."""
    typed = form.get(name) or value
    return Field(name=name, label=label, kind=kind, value=typed, required=required, error=error, help=help, scan=scan)


# --- who, with whom, with what, when --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Who:
    """Who stands behind what is recorded, as parts/who.html asks it.

    Attributes
    ----------
    reader : Field or None
        Who read it; None where nobody is in the record yet.
    second, single_handed : Field or None
        For two-person steps.
    instrument : Field or None
        With what it was read, where a reading rests on an instrument.
    typist, moment : Field
        In the fold: who typed it if somebody else did, and when it was read if not now.
    people_href, instruments_href : str
        Where to add a person, and an instrument.
    open : bool
        Whether the fold is open, because something in it was sent or refused.
    """

    reader: Field | None
    second: Field | None
    single_handed: Field | None
    instrument: Field | None
    typist: Field | None
    moment: Field | None
    people_href: str
    instruments_href: str
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """What a form said about who, with whom, with what and when."""

    reader: ThingId
    typist: ThingId
    second: ThingId
    single_handed: bool
    instruments: tuple[ThingId, ...]
    occurred_at: Moment | None
    moment_confirmed: bool


def moment_field(asked: Asked, form: Form, label: str, *, error: str = "", help: str = "", question: str = "") -> Field:
    """When it happened, if not now; with the question about it, once it was asked and as long as it is confirmed."""
    confirmed = form.ticked(MOMENT_CONFIRMED)
    return Field(
        name="occurred_at",
        label=label,
        kind="moment",
        value=form.get("occurred_at") or None,
        error=error,
        help=help,
        odd_query=question or (asked.say("late.confirmed") if confirmed else ""),
        odd_confirmed=confirmed,
    )


def person_choices(asked: Asked) -> tuple[tuple[str, str], ...]:
    """Everybody who may be chosen, by identity and name."""
    world = asked.workplace.world
    known = (one for one in people.people(asked.workplace) if not world.thing(one).retired)
    return tuple((one, asked.workplace.name(one)) for one in known)


def person_field(
    asked: Asked, name: str, label: str, *, chosen: str = "", required: bool = False, error: str = "", help: str = ""
) -> Field:
    """A list of people to choose one from."""
    return select(
        name, label, person_choices(asked), asked.form, chosen=chosen, required=required, error=error, help=help
    )


def who_fields(
    asked: Asked,
    *,
    second: bool = False,
    instrument_uses: tuple[str, ...] = (),
    late: bool = True,
    errors: Mapping[str, str] | None = None,
    question: str = "",
) -> Who:
    """The questions about who stands behind a form.

    Parameters
    ----------
    second : bool
        Whether a step on it takes two people.
    instrument_uses : tuple of str
        Uses of the instruments that may have been read (``analyser``); empty where none is asked for.
    late : bool
        Whether something read earlier may be entered.
    errors : mapping
        Name of a field to why it was refused.
    question : str
        What has to be asked about the moment that was typed; see `late.question_about`.
    """
    say, wrong = asked.say, dict(errors or {})
    known = person_choices(asked)
    reader = second_field = alone = typist = when = None
    if known:
        error = wrong.get("read_by", "")
        reader = person_field(asked, "read_by", say("who.read_by"), chosen=asked.person, required=True, error=error)
        typist = person_field(asked, "typed_by", say("who.typed_by"), help=say("who.typed_by_help"))
    if second:
        second_field = person_field(asked, "second", say("who.second"), error=wrong.get("second", ""))
        value = "yes" if asked.form.ticked("single_handed") else None
        error = wrong.get("single_handed", "")
        alone = Field(
            name="single_handed", label=say("who.single_handed"), kind="tick", value=value, error=error,
            help=say("who.single_handed_help"),
        )  # fmt: skip
    if late:
        when = moment_field(
            asked,
            asked.form,
            say("who.occurred_at", zone=asked.now.zone),
            error=wrong.get("occurred_at", ""),
            help=say("who.occurred_at_help"),
            question=question,
        )
    return Who(
        reader=reader,
        second=second_field,
        single_handed=alone,
        instrument=_instrument_field(asked, instrument_uses, wrong) if instrument_uses else None,
        typist=typist if late else None,
        moment=when,
        people_href=asked.links.people(back=asked.path),
        instruments_href=asked.links.instruments(back=asked.path),
        open=bool(wrong.get("occurred_at") or asked.form.get("occurred_at") or asked.form.get("typed_by")),
    )


def _instrument_field(asked: Asked, uses: tuple[str, ...], errors: Mapping[str, str]) -> Field:
    known = tuple(
        (one.id, asked.workplace.name(one.id))
        for one in asked.workplace.world.of_kind("instrument")
        if one.attributes.get("instrument") in uses and not one.retired
    )
    only = known[0][0] if len(known) == 1 else ""
    error = errors.get("instruments", "")
    return select("instrument", asked.say("who.instrument"), known, asked.form, chosen=only, error=error)


def given_by(asked: Asked) -> Given:
    """What the form said about who, with whom, with what and when.

    Raises
    ------
    InputError
        If a moment cannot be read, or a person or instrument is not one of the record's.
    """
    form = asked.form
    known = {one for one, _ in person_choices(asked)}
    for name in ("read_by", "typed_by", "second"):
        if form.get(name) and form.get(name) not in known:
            raise InputError(name, form.get(name), "one of the people in the record", next_step="Choose from the list")
    instruments = tuple(asked.workplace.world.thing(one).id for one in form.all("instrument"))
    return Given(
        reader=form.get("read_by") or asked.person,
        typist=form.get("typed_by"),
        second=form.get("second"),
        single_handed=form.ticked("single_handed"),
        instruments=instruments,
        occurred_at=local_moment(asked, form.get("occurred_at")) if form.get("occurred_at") else None,
        moment_confirmed=form.ticked(MOMENT_CONFIRMED),
    )


def local_moment(asked: Asked, text: str, name: str = "occurred_at") -> Moment:
    """A date and time typed on the clocks of the site.

    Raises
    ------
    InputError
        If it is none, or lies ahead.
    """
    try:
        typed = datetime.fromisoformat(text)
    except ValueError as error:
        raise InputError(name, text, "a date and a time", next_step="Write for example 2026-05-14T08:40") from error
    local = typed if typed.tzinfo is not None else typed.replace(tzinfo=zone(asked.now.zone))
    found = moment(local, asked.now.zone)
    refuse_ahead(found, asked.now, name)
    return found
