"""The form of a change: which fields it has, and the change that somebody declares with it.

Two steps share it. Before saving it says where and answers questions, so that what falls can be shown; at saving it
also says what is there now. Names of the second step begin with ``kept-`` where they repeat what the first step said.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loopworthy.desk.changes import Declared, positions_for
from loopworthy.desk.parts import spares
from loopworthy.desk.units import NewThing
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, person_choices, select, text_field
from loopworthy.judgement.catalogue.model import Change
from loopworthy.unit.axes import axes
from loopworthy.unit.configuration import (
    Configuration,
    configuration_from_choices,
    load_configuration,
    ready_configurations,
)
from loopworthy.unit.positions import Position, part_kind
from loopworthy.vocabulary.errors import InputError, RefusedError
from loopworthy.vocabulary.identity import ThingId

NEW, SAME = "new", "same"
ANSWERS_AT_ONCE = 3
"""How many answers of a configuration can be changed in one form."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A position or an instrument that somebody may pick.

    Attributes
    ----------
    value, text : str
        What is sent; the position with what is in it.
    picked : bool
    """

    value: str
    text: str
    picked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Picked:
    """Where a change was made, as far as it was said."""

    positions: tuple[str, ...] = ()
    things: tuple[ThingId, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """What is in one position now.

    Attributes
    ----------
    position, title : str
        Its name in the form, and its words.
    was : str
        What the record has there, '' for nothing.
    fields : tuple of Field
    """

    position: str
    title: str
    was: str
    fields: tuple[Field, ...]


# --- where, and answers ---------------------------------------------------------------------------------------------


def asks_instrument(change: Change) -> bool:
    """Whether a change is about an instrument, which has no position."""
    return change.part == "instrument"


def picks_several(change: Change) -> bool:
    """Whether more than one position may be picked."""
    return change.several or change.does == "swaps parts"


def picked_in(asked: Asked, unit: ThingId, change: Change, form: Form, *, kept: bool = False) -> Picked:
    """What a form says about where, and its answers; the only place there is counts as picked.

    Raises
    ------
    InputError
        If an instrument is not one of the record's.
    """
    prefix = "kept-" if kept else ""
    given = [*form.all(f"{prefix}position"), *(one for one in form.get("positions").split(",") if one)]
    allowed = [one.id for one in positions_for(asked.workplace, unit, change)]
    positions = tuple(dict.fromkeys(one for one in given if one in allowed or kept))
    if not positions and len(allowed) == 1:
        positions = (allowed[0],)
    instruments = {value for value, _ in _instruments(asked, change)}
    things = tuple(dict.fromkeys(form.all(f"{prefix}thing")))
    for thing in things:
        if thing not in instruments:
            raise InputError("instrument", thing, "one of the instruments in the record")
    if asks_instrument(change) and not things and len(instruments) == 1:
        things = tuple(instruments)
    answers = {one.id: form.get(f"{prefix}answer-{one.id}") for one in change.questions}
    return Picked(positions=positions, things=things, answers={key: text for key, text in answers.items() if text})


def is_picked(change: Change, picked: Picked, places: tuple[Place, ...]) -> bool:
    """Whether enough was said to show what falls."""
    if change.does == "swaps parts":
        return len(picked.positions) == 2
    return not places or bool(picked.positions or picked.things)


def places_of(asked: Asked, unit: ThingId, change: Change, picked: Picked) -> tuple[Place, ...]:
    """The positions, or instruments, to pick from."""
    if asks_instrument(change):
        return tuple(
            Place(value=value, text=text, picked=value in picked.things) for value, text in _instruments(asked, change)
        )
    return tuple(
        Place(value=one.id, text=_with_thing(asked, unit, one), picked=one.id in picked.positions)
        for one in positions_for(asked.workplace, unit, change)
    )


def question_fields(asked: Asked, change: Change, picked: Picked) -> tuple[Field, ...]:
    """The questions, each with an honest "not known" that counts as the worst answer."""
    say = asked.say
    return tuple(
        Field(
            name=f"answer-{one.id}",
            label=one.text,
            kind="choice",
            value=picked.answers.get(one.id, ""),
            choices=(*((answer, answer) for answer in one.answers), ("", say("change.not_known", answer=one.worst))),
        )
        for one in change.questions
    )


def _instruments(asked: Asked, change: Change) -> tuple[tuple[str, str], ...]:
    return tuple(
        (one.id, asked.workplace.name(one.id))
        for one in asked.workplace.world.of_kind("instrument")
        if not one.retired and (not change.places or one.attributes.get("instrument") in change.places)
    )


def _with_thing(asked: Asked, unit: ThingId, place: Position) -> str:
    there = asked.workplace.world.at(unit, place.id)
    if there is None:
        return asked.say("change.place_empty", place=place.title)
    name = Telling(asked.words).name(there)
    return place.title if name == place.title else f"{place.title}: {name}"


# --- what is there now ----------------------------------------------------------------------------------------------


def arrivals_of(asked: Asked, unit: ThingId, change: Change, picked: Picked, form: Form) -> tuple[Arrival, ...]:
    """For each picked position the fields that say what is there now; none where a change brings nothing in."""
    if change.does not in ("replaces part", "new diver", "new gas", "new absorbent"):
        return ()
    places = {one.id: one for one in positions_for(asked.workplace, unit, change)}
    found = []
    for position in picked.positions:
        there = asked.workplace.world.at(unit, position)
        found.append(
            Arrival(
                position=position,
                title=places[position].title,
                was=Telling(asked.words).name(there) if there is not None else "",
                fields=_arrival_fields(asked, unit, change, places[position], form),
            )
        )
    return tuple(found)


def _arrival_fields(asked: Asked, unit: ThingId, change: Change, place: Position, form: Form) -> tuple[Field, ...]:
    say = asked.say
    prefix = f"{place.id}-"
    if change.does == "new diver":
        now = asked.workplace.world.at(unit, place.id)
        people = tuple(one for one in person_choices(asked) if one[0] != now)
        return (select(f"{prefix}thing", say("change.who_now"), people, form, required=True),)
    if change.does == "new absorbent":
        return (
            text_field(f"{prefix}fill", say("change.absorbent"), form, help=say("change.absorbent_help")),
            text_field(f"{prefix}fill-batch", say("change.absorbent_batch"), form),
            text_field(f"{prefix}fill-opened", say("change.drum_opened"), form, kind="date"),
        )
    gas = change.does == "new gas"
    known = tuple((one.id, _spare_text(asked, one.id)) for one in spares(asked.workplace, place.kind, unit=unit))
    if gas:
        choices = ((SAME, say("change.same_cylinder")), *known, (NEW, say("change.other_new")))
    else:
        choices = ((NEW, say("change.other_new")), *known)
    which = select(f"{prefix}thing", say("change.which_now"), choices, form, chosen=choices[0][0], required=True)
    label = (
        text_field(f"{prefix}serial", say("parts_page.serial"), form, help=say("change.only_if_new"), scan=True),
        text_field(f"{prefix}batch", say("parts_page.batch"), form),
        text_field(f"{prefix}made-on", say("parts_page.made_on"), form, kind="date"),
    )
    if not gas:
        return (which, *label, text_field(f"{prefix}opened-on", say("parts_page.opened_on"), form, kind="date"))
    fresh = Field(
        name=f"{prefix}fresh",
        label=say("change.fresh"),
        kind="tick",
        value="yes" if form.ticked(f"{prefix}fresh") else None,
        help=say("change.fresh_help"),
    )
    filling = text_field(f"{prefix}fill", say("change.gas"), form, help=say("change.gas_help"))
    return (which, filling, text_field(f"{prefix}fill-batch", say("change.gas_from"), form), fresh, *label[:1])


def _spare_text(asked: Asked, thing: ThingId) -> str:
    world = asked.workplace.world
    name = Telling(asked.words).name(thing)
    place = world.place_of(thing)
    if place is None:
        return asked.say("change.spare", name=name)
    return asked.say("change.taken_from", name=name, unit=asked.workplace.name(place[0]))


def configuration_fields(asked: Asked, unit: ThingId, form: Form) -> tuple[Field, ...]:
    """For a unit that is built otherwise now: single answers, a ready configuration, or a file."""
    say = asked.say
    known = asked.workplace.world.configuration(unit)
    choices = tuple(_other_answers(asked, known))
    answers = tuple(
        select(f"answer-now-{number}", say("change.answer_now", number=number), choices, form)
        for number in range(1, ANSWERS_AT_ONCE + 1)
    )
    ready = tuple((name, one.title) for name, one in ready_configurations().items())
    return (
        *(answers if known is not None else ()),
        select("configuration-ready", say("change.configuration_ready"), ready, form),
        Field(
            name="configuration-file",
            label=say("change.configuration_file"),
            kind="file",
            accept=".toml,text/plain",
            help=say("change.configuration_file_help"),
        ),
    )


def _other_answers(asked: Asked, known: Configuration | None) -> list[tuple[str, str]]:
    found = []
    for axis in axes().values():
        now = known.chosen(axis.id) if known is not None else ()
        for option in axis.options:
            if axis.several:
                sign, key = ("-", "without") if option.id in now else ("+", "with")
                text = asked.say(f"change.answer_{key}", axis=axis.title, option=option.title)
                found.append((f"{axis.id}{sign}{option.id}", text))
            elif option.id not in now:
                found.append((f"{axis.id}={option.id}", f"{axis.title}: {option.title}"))
    return found


# --- the change that is declared ------------------------------------------------------------------------------------


def declared_by(asked: Asked, unit: ThingId, change: Change) -> Declared:
    """The change that a sent form declares.

    Raises
    ------
    InputError, RefusedError, FileEntryError
        If what is there now cannot be what was typed.
    """
    form = asked.form
    picked = picked_in(asked, unit, change, form, kept=True)
    places = {one.id: one for one in positions_for(asked.workplace, unit, change)}
    arrivals: dict[str, NewThing | ThingId] = {}
    fills: dict[str, NewThing] = {}
    if change.does in ("replaces part", "new diver", "new gas"):
        for position in picked.positions:
            if position in places:
                _arrive(asked, change, places[position], arrivals, fills)
    if change.does == "new absorbent":
        fills = {position: _fill(form, position) for position in picked.positions}
    return Declared(
        change=change.id,
        positions=picked.positions,
        things=picked.things,
        answers=picked.answers,
        arrivals=arrivals,
        fills=fills,
        configuration=_configuration(asked, unit) if change.does == "reconfigures" else None,
        note=form.get("note"),
    )


def _arrive(
    asked: Asked, change: Change, place: Position, arrivals: dict[str, NewThing | ThingId], fills: dict[str, NewThing]
) -> None:
    form, prefix = asked.form, f"{place.id}-"
    which = form.get(f"{prefix}thing")
    if not which:
        raise InputError(
            f"{prefix}thing", which, asked.say("change.which_needed", place=place.title),
            next_step=asked.say("change.which_step"),
        )  # fmt: skip
    if which == SAME and change.does == "new gas":
        fills[place.id] = _fill(form, place.id)
        return
    if which == NEW:
        thing = NewThing(
            serial=form.get(f"{prefix}serial"),
            batch=form.get(f"{prefix}batch"),
            made_on=form.get(f"{prefix}made-on"),
            opened_on=form.get(f"{prefix}opened-on"),
        )
        if not thing.serial and not part_kind(place.kind).built_in:
            raise InputError(
                f"{prefix}serial", "", asked.say("change.serial_needed", place=place.title),
                next_step=asked.say("change.serial_step"),
            )  # fmt: skip
        arrivals[place.id] = thing
        if change.does == "new gas":
            fills[place.id] = _fill(form, place.id)
        return
    offered = {one.id for one in spares(asked.workplace, place.kind, unit=asked.unit)}
    if place.kind == "person":
        offered = {one for one, _ in person_choices(asked)}
    if which not in offered:
        raise RefusedError(asked.say("change.not_offered", place=place.title), next_step=asked.say("change.which_step"))
    arrivals[place.id] = which
    if change.does == "new gas" and form.ticked(f"{prefix}fresh"):
        fills[place.id] = _fill(form, place.id)


def _fill(form: Form, position: str) -> NewThing:
    return NewThing(
        name=form.get(f"{position}-fill"),
        batch=form.get(f"{position}-fill-batch"),
        opened_on=form.get(f"{position}-fill-opened"),
    )


def _configuration(asked: Asked, unit: ThingId) -> Configuration:
    form = asked.form
    answers = [form.get(f"answer-now-{number}") for number in range(1, ANSWERS_AT_ONCE + 1)]
    given = [one for one in answers if one]
    ready, file = form.get("configuration-ready"), form.files.get("configuration-file")
    if sum((bool(given), bool(ready), file is not None)) != 1:
        raise InputError(
            "configuration", "several ways" if given or ready or file else "nothing", asked.say("change.one_way"),
            next_step=asked.say("change.one_way_step"),
        )  # fmt: skip
    if file is not None:
        return load_configuration(file.body, file.name)
    if ready:
        if ready not in ready_configurations():
            raise InputError("configuration-ready", ready, "one of the ready configurations")
        return ready_configurations()[ready]
    return _with_answers(asked, unit, given)


def _with_answers(asked: Asked, unit: ThingId, given: list[str]) -> Configuration:
    known = asked.workplace.world.configuration(unit)
    if known is None:
        raise RefusedError(asked.say("change.no_configuration"), next_step=asked.say("change.one_way_step"))
    offered = {value for value, _ in _other_answers(asked, known)}
    choices: dict[str, object] = {axis: list(options) for axis, options in known.choices.items()}
    for one in given:
        if one not in offered:
            raise InputError("answer-now", one, "one of the answers in the list")
        axis, sign, option = _taken_apart(one)
        before = known.chosen(axis)
        if sign == "+":
            choices[axis] = [*before, option]
        elif sign == "-":
            choices[axis] = [other for other in before if other != option]
        else:
            choices[axis] = option
    return configuration_from_choices(known.name, known.title, choices)


def _taken_apart(answer: str) -> tuple[str, str, str]:
    for place, letter in enumerate(answer):
        if letter in "+-=":
            return answer[:place], letter, answer[place + 1 :]
    raise InputError("answer-now", answer, "an axis with its answer")
