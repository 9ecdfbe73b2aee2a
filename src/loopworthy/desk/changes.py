"""“I changed something”: what would fall, and recording the change with what came into the unit by it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field

from loopworthy.desk.late import check_moment
from loopworthy.desk.rehearsals import batch_in_thought, shifts
from loopworthy.desk.steps import refuse_if_frozen
from loopworthy.desk.units import NewThing, fit, fit_new, place_content
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.catalogue.model import Change
from loopworthy.judgement.merged import UnitShift
from loopworthy.judgement.preview import Preview, preview_change
from loopworthy.record.chain import Batch, Draft
from loopworthy.unit.configuration import Configuration
from loopworthy.unit.events import ChangeMade, ConfigurationSet, EpisodeEnded
from loopworthy.unit.positions import Position, part_kind, positions
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Declared:
    """A change as somebody declares it.

    Attributes
    ----------
    change : str
        The catalogue's change.
    positions : tuple of str
        Where.
    things : tuple of str
        Things without a position that it is about (an analyser found bad).
    answers : mapping
        Question to answer; what is left out counts as its worst answer.
    arrivals : mapping
        Position to the thing that is there now: a new one, or one already in the record.
    fills : mapping
        Position to what is known of the new gas or absorbent in it.
    configuration : Configuration or None
        The new configuration, where the change is one of parts added or left off.
    """

    change: str
    positions: tuple[str, ...] = ()
    things: tuple[ThingId, ...] = ()
    answers: Mapping[str, str] = field(default_factory=dict)
    arrivals: Mapping[str, NewThing | ThingId] = field(default_factory=dict)
    fills: Mapping[str, NewThing] = field(default_factory=dict)
    configuration: Configuration | None = None
    note: str = ""


def positions_for(workplace: Workplace, unit: ThingId, change: Change) -> tuple[Position, ...]:
    """The positions that somebody may pick for a change."""
    if not change.part:
        return ()
    return tuple(
        one
        for one in workplace.world.positions(unit)
        if one.kind == change.part and (not change.places or one.id.startswith(change.places))
    )


def often_used(workplace: Workplace, *, most: int = 6) -> tuple[Change, ...]:
    """The changes that people have declared most often, the most frequent first."""
    entries = workplace.book().changes.entries.values()
    counted = Counter(entry.change for entry in entries if not entry.timed and not entry.inferred)
    known = workplace.catalogue.changes
    order = {change: place for place, change in enumerate(known)}
    ranked = sorted((one for one in counted if one in known), key=lambda one: (-counted[one], order[one]))
    return tuple(known[one] for one in ranked[:most])


def preview(workplace: Workplace, unit: ThingId, declared: Declared) -> Preview:
    """What would fall, before anything is saved."""
    change = _checked(workplace, unit, declared, complete=False)
    return preview_change(
        workplace.book(),
        workplace.catalogue,
        unit,
        change,
        workplace.now(),
        positions=declared.positions,
        things=declared.things,
        answers=dict(declared.answers),
    )


def record_change(
    workplace: Workplace,
    unit: ThingId,
    declared: Declared,
    *,
    person: ThingId,
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> tuple[Event, ...]:
    """Record a change and what came into the unit by it, all or nothing.

    Raises
    ------
    InputError
        If a position, answer or arrival is missing or does not fit the change.
    LateMomentError
        If the moment has to be looked at again.
    RefusedError
        If the unit is frozen.
    """
    change = _checked(workplace, unit, declared, complete=True)
    refuse_if_frozen(workplace, unit)
    if not person:
        raise InputError("person", person, "the person who did it", next_step="Choose who you are")
    there = [thing for one in declared.positions if (thing := workplace.world.at(unit, one)) is not None]
    check_moment(workplace, occurred_at, units=(unit,), things=there, confirmed=moment_confirmed)
    with workplace.writer().batch() as batch:
        _add(workplace, batch, unit, change, declared, person, typed_by or person, occurred_at)
        return batch.events


def preview_configuration(workplace: Workplace, unit: ThingId, configuration: Configuration) -> tuple[UnitShift, ...]:
    """How units would stand if this one were built so: what falls, what is asked for only then, what no longer is."""
    batch = batch_in_thought(workplace)
    change = reconfiguring(workplace)
    declared = Declared(change=change.id, configuration=configuration)
    _add(workplace, batch, unit, change, declared, "", "", None)
    return shifts(workplace, batch, (unit,))


def reconfiguring(workplace: Workplace) -> Change:
    """The change that says that a unit is built otherwise now.

    Raises
    ------
    RefusedError
        If the catalogue has none.
    """
    found = next((one for one in workplace.catalogue.changes.values() if one.does == "reconfigures"), None)
    if found is None:
        raise RefusedError("The catalogue has no change for a unit that is built otherwise")
    return found


def _add(
    workplace: Workplace,
    batch: Batch,
    unit: ThingId,
    change: Change,
    declared: Declared,
    person: ThingId,
    typed_by: ThingId,
    occurred_at: Moment | None,
) -> None:
    known = [thing for thing in declared.arrivals.values() if not isinstance(thing, NewThing)]
    payload = ChangeMade(
        change=change.id,
        positions=declared.positions,
        answers=dict(declared.answers),
        note=wording.note("note", declared.note),
    )
    batch.add(
        Draft(
            kind="unit.change-made",
            payload=payload,
            subjects=(unit, *declared.things, *known),
            occurred_at=occurred_at,
            read_by=person,
            typed_by=typed_by,
        )
    )
    _follow(workplace, batch, unit, change, declared, person, occurred_at)
    if change.does == "ends dive" and workplace.world.episode(unit, "dive") is not None:
        batch.add(
            Draft(
                kind="unit.episode-ended",
                payload=EpisodeEnded(episode="dive"),
                subjects=(unit,),
                occurred_at=occurred_at,
                read_by=person,
                typed_by=typed_by,
            )
        )


def _follow(
    workplace: Workplace,
    batch: Batch,
    unit: ThingId,
    change: Change,
    declared: Declared,
    person: ThingId,
    occurred_at: Moment | None,
) -> None:
    world = workplace.world
    kinds = {one.id: one for one in world.positions(unit)}
    if change.does == "swaps parts":
        first, second = declared.positions
        things = world.at(unit, first), world.at(unit, second)
        for position, thing in ((first, things[1]), (second, things[0])):
            if thing is not None:
                fit(batch, unit, position, thing, typed_by=person, occurred_at=occurred_at)
        return
    for position, arrival in declared.arrivals.items():
        place = kinds[position]
        if isinstance(arrival, NewThing):
            thing = fit_new(batch, unit, position, place.kind, arrival, typed_by=person, occurred_at=occurred_at)
        else:
            thing = arrival
            fit(batch, unit, position, thing, typed_by=person, occurred_at=occurred_at)
        if place.content_kind and position not in declared.fills and world.content_of(thing) is None:
            place_content(batch, thing, place.content_kind, NewThing(), typed_by=person, occurred_at=occurred_at)
        if position in declared.fills:
            place_content(
                batch, thing, place.content_kind, declared.fills[position], typed_by=person, occurred_at=occurred_at
            )
    if change.does in ("new gas", "new absorbent"):
        for position in declared.positions:
            container = world.at(unit, position)
            if container is not None and position not in declared.arrivals:
                place_content(
                    batch,
                    container,
                    kinds[position].content_kind,
                    declared.fills.get(position, NewThing()),
                    typed_by=person,
                    occurred_at=occurred_at,
                )
    if declared.configuration is not None:
        chosen = declared.configuration
        batch.add(
            Draft(
                kind="unit.configured",
                payload=ConfigurationSet(name=chosen.name, title=chosen.title, choices=dict(chosen.choices)),
                subjects=(unit,),
                occurred_at=occurred_at,
                read_by=person,
                typed_by=person,
            )
        )
        _build_in(workplace, batch, unit, chosen, person, occurred_at)


def _build_in(
    workplace: Workplace,
    batch: Batch,
    unit: ThingId,
    configuration: Configuration,
    person: ThingId,
    occurred_at: Moment | None,
) -> None:
    """Parts that are made with the unit are there with their position, their serials not read yet."""
    fitted = workplace.world.fitted(unit)
    for place in positions(configuration):
        if place.id in fitted or not part_kind(place.kind).built_in:
            continue
        part = fit_new(batch, unit, place.id, place.kind, NewThing(), typed_by=person, occurred_at=occurred_at)
        if place.content_kind:
            place_content(batch, part, place.content_kind, NewThing(), typed_by=person, occurred_at=occurred_at)


def _checked(workplace: Workplace, unit: ThingId, declared: Declared, *, complete: bool) -> Change:
    change = workplace.catalogue.change(declared.change)
    allowed = {one.id for one in positions_for(workplace, unit, change)}
    for position in declared.positions:
        if position not in allowed:
            raise UnknownNameError("position", position, tuple(sorted(allowed)))
    questions = {question.id: question for question in change.questions}
    for name, answer in declared.answers.items():
        question = questions.get(name)
        if question is None:
            raise UnknownNameError("question", name, tuple(questions))
        if answer not in question.answers:
            raise InputError(name, answer, f"one of {', '.join(question.answers)}")
    if not complete:
        return change
    if change.does == "swaps parts" and len(declared.positions) != 2:
        raise InputError("positions", declared.positions, "exactly two")
    if change.part and allowed and not declared.positions:
        raise InputError("positions", (), f"one of {', '.join(sorted(allowed))}", next_step="Pick which one it was")
    if not change.several and change.does != "swaps parts" and len(declared.positions) > 1:
        raise InputError("positions", declared.positions, "one only", next_step="Record the others separately")
    if change.does in ("replaces part", "new diver"):
        for position in declared.positions:
            if position not in declared.arrivals:
                raise InputError("arrivals", position, "with the thing that is there now")
    if change.does == "finds instrument bad" and not declared.things:
        raise InputError("things", (), "the instrument that was found bad")
    if change.does == "reconfigures" and declared.configuration is None:
        raise InputError("configuration", None, "the configuration as it is now")
    for position in (*declared.arrivals, *declared.fills):
        if position not in declared.positions:
            raise InputError("arrivals", position, "at one of the positions changed")
    for position, arrival in declared.arrivals.items():
        if not isinstance(arrival, NewThing):
            kinds = {one.id: one.kind for one in workplace.world.positions(unit)}
            thing = workplace.world.thing(arrival)
            if thing.kind != kinds[position]:
                raise RefusedError(f"{workplace.name(arrival)} is a {thing.kind}, not a {kinds[position]}")
    return change
