"""Saying more about parts: several positions named at once, and what is learned about a thing later.

Naming a thing for the first time, or writing down what its label says, takes no evidence away. Exchanging it does, and
goes through `changes`.
"""

from __future__ import annotations

from collections.abc import Mapping

from loopworthy.desk.late import check_moment
from loopworthy.desk.units import NewThing, fit, fit_new, place_content
from loopworthy.desk.workplace import Workplace
from loopworthy.unit.events import ThingDescribed
from loopworthy.unit.positions import Position
from loopworthy.unit.things import Thing
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment


def identify_parts(
    workplace: Workplace,
    unit: ThingId,
    things: Mapping[str, NewThing | ThingId],
    *,
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> tuple[ThingId, ...]:
    """Say which things are in empty positions, all or nothing.

    A cylinder or canister comes with a fill of its own, so that its analysis has something to be about.

    Raises
    ------
    InputError
        If no position is named, or one thing is in two places.
    UnknownNameError
        If the unit has no such position.
    RefusedError
        If something is in one already, or a thing is of another kind.
    """
    if not things:
        raise InputError("things", "nothing", "at least one part", next_step="Write down at least one serial number")
    world = workplace.world
    places = {one.id: one for one in world.positions(unit)}
    known = [thing for thing in things.values() if not isinstance(thing, NewThing)]
    if len({world.canonical(thing) for thing in known}) != len(known):
        raise InputError("things", "one thing twice", "each thing in one position only")
    for position, thing in things.items():
        _check(workplace, unit, places, position, thing)
    check_moment(workplace, occurred_at, units=(unit,), confirmed=moment_confirmed)
    named = []
    with workplace.writer().batch() as batch:
        for position, thing in things.items():
            place = places[position]
            if isinstance(thing, NewThing):
                made = fit_new(batch, unit, position, place.kind, thing, typed_by=typed_by, occurred_at=occurred_at)
            else:
                made = thing
                fit(batch, unit, position, made, typed_by=typed_by, occurred_at=occurred_at)
            if place.content_kind and world.content_of(made) is None:
                place_content(batch, made, place.content_kind, NewThing(), typed_by=typed_by, occurred_at=occurred_at)
            named.append(made)
    return tuple(named)


def _check(
    workplace: Workplace,
    unit: ThingId,
    places: Mapping[str, Position],
    position: str,
    thing: NewThing | ThingId,
) -> None:
    world = workplace.world
    place = places.get(position)
    if place is None:
        raise UnknownNameError("position", position, tuple(places))
    there = world.at(unit, position)
    if there is not None:
        raise RefusedError(
            f"{place.title} holds {world.label(there)} already",
            next_step="Record the exchange under “I changed something”, so that what rested on it falls",
        )
    if not isinstance(thing, NewThing) and world.thing(thing).kind != place.kind:
        raise RefusedError(f"{workplace.name(thing)} is a {world.thing(thing).kind}, not a {place.kind}")


def describe_thing(
    workplace: Workplace,
    thing: ThingId,
    *,
    serial: str = "",
    name: str = "",
    batch: str = "",
    made_on: str = "",
    opened_on: str = "",
    attributes: Mapping[str, str | Reading] | None = None,
    typed_by: ThingId = "",
) -> EventId:
    """Write down what a thing's label says; only what differs from what is known is recorded.

    Raises
    ------
    InputError
        If nothing differs.
    """
    known = workplace.world.thing(thing)
    given = {"serial": serial, "name": name, "batch": batch, "made_on": made_on, "opened_on": opened_on}
    words = {key: wording.line(key, value) for key, value in given.items()}
    changed = {key: value for key, value in words.items() if value != getattr(known, key)}
    facts = {
        key: wording.note(key, value) if isinstance(value, str) else value for key, value in (attributes or {}).items()
    }
    new_facts = {key: value for key, value in facts.items() if known.attributes.get(key, "") != value}
    if not changed and not new_facts:
        raise InputError("thing", workplace.name(thing), "described otherwise than it is already")
    payload = ThingDescribed(
        serial=changed.get("serial"),
        name=changed.get("name"),
        batch=changed.get("batch"),
        made_on=changed.get("made_on"),
        opened_on=changed.get("opened_on"),
        attributes=new_facts,
    )
    return (
        workplace.writer()
        .append("unit.thing-described", payload, subjects=(thing,), read_by=typed_by, typed_by=typed_by)
        .id
    )


def retire(workplace: Workplace, thing: ThingId, *, retired: bool, note: str, typed_by: ThingId) -> EventId:
    """Take a person, an instrument or a part out of use for good, or bring it back. Its past stays."""
    payload = ThingDescribed(retired=retired, note=wording.note("note", note))
    return (
        workplace.writer()
        .append("unit.thing-described", payload, subjects=(thing,), read_by=typed_by, typed_by=typed_by)
        .id
    )


def spares(workplace: Workplace, kind: str, *, unit: ThingId) -> tuple[Thing, ...]:
    """Things of a kind that are not on this unit and not retired; those that lie free first."""
    world = workplace.world
    here = {world.canonical(one.thing) for one in world.fitted(unit).values()}
    found = [one for one in world.of_kind(kind) if one.id not in here and not one.retired]
    return tuple(sorted(found, key=lambda one: (world.place_of(one.id) is not None, one.serial or one.name)))
