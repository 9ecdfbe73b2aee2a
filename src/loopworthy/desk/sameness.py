"""Two identities that turn out to be one thing: a sensor that was written down twice, a person under two names."""

from __future__ import annotations

from loopworthy.desk.rehearsals import batch_in_thought, shifts
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.merged import UnitShift
from loopworthy.record.chain import Draft
from loopworthy.unit.events import ThingsSame
from loopworthy.unit.things import Thing
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError
from loopworthy.vocabulary.identity import EventId, ThingId


def may_be_same(workplace: Workplace, thing: ThingId) -> tuple[Thing, ...]:
    """Every other thing of the same kind."""
    known = workplace.world.thing(thing)
    return tuple(one for one in workplace.world.of_kind(known.kind) if one.id != known.id)


def preview_same(workplace: Workplace, one: ThingId, other: ThingId) -> tuple[UnitShift, ...]:
    """How units would stand if both were said to be one thing; those that stay as they are left out."""
    _check(workplace, one, other)
    batch = batch_in_thought(workplace)
    batch.add(_draft(one, other, "", ""))
    return shifts(workplace, batch, workplace.world.units())


def declare_same(workplace: Workplace, one: ThingId, other: ThingId, *, note: str, person: ThingId) -> EventId:
    """Say that two identities are one thing: what was read of either was read of it, what was done to either befell it.

    It is known from then on by the identity that was created first. Nothing takes this back.

    Raises
    ------
    InputError
        If nobody says it, or no reason is given.
    RefusedError
        If they are one already, or of different kinds.
    """
    _check(workplace, one, other)
    if not person:
        raise InputError("person", person, "the person who says so", next_step="Choose who you are")
    draft = _draft(one, other, wording.said("note", note), person)
    return workplace.writer().append_all((draft,))[0].id


def _draft(one: ThingId, other: ThingId, note: str, person: ThingId) -> Draft:
    return Draft(
        kind="unit.things-same",
        payload=ThingsSame(note=note),
        subjects=(one, other),
        read_by=person,
        typed_by=person,
    )


def _check(workplace: Workplace, one: ThingId, other: ThingId) -> None:
    world = workplace.world
    first, second = world.thing(one), world.thing(other)
    if first.id == second.id:
        raise RefusedError(f"{workplace.name(one)} and {workplace.name(other)} are one thing already")
    if first.kind != second.kind:
        raise RefusedError(
            f"{workplace.name(one)} is a {first.kind}, {workplace.name(other)} a {second.kind}",
            next_step="Only things of one kind can turn out to be the same",
        )
