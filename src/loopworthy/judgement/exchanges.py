"""Parts and fills that were exchanged without anybody saying so.

Exchanging a part is a change that evidence may not survive. Where the record shows that a part left its position, or
that another fill came into a cylinder, and nobody declared the change with it, the change is taken to have happened
with every question unanswered. The first time that a position is filled nothing falls: there was no evidence yet.
"""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.changelog import NOT_UNDERSTOOD
from loopworthy.unit.events import ConfigurationSet, PartFitted, PartRemoved
from loopworthy.unit.positions import all_positions
from loopworthy.unit.world import CONTENT, World
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId

OTHER_PART = "other-part-changed"
"""Change that stands for the exchange of a part that the catalogue has no change of its own for."""

_EXCHANGING = ("replaces part", "new gas", "new absorbent", "new diver")


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """One position of a unit where something else is now, or nothing; '' for the configuration as a whole.

    `leaves` only went away from there: the unit that it left is not what it was, the thing itself is, until it is put
    somewhere.
    """

    unit: ThingId
    position: str
    things: tuple[ThingId, ...]
    leaves: ThingId = ""


class Declared(msgspec.Struct):
    """The changes that a device declared in the batch of events that it wrote last.

    What follows in the same batch (the new part, its position) was declared with it.
    """

    recorded_at: str
    changes: list[tuple[ThingId, tuple[str, ...], frozenset[ThingId]]] = []

    def covers(self, exchange: Exchange, recorded_at: str) -> bool:
        """Whether one of these changes says what was exchanged."""
        return recorded_at == self.recorded_at and any(
            unit == exchange.unit
            and (
                not exchange.position
                or exchange.position in positions
                or things.intersection((*exchange.things, exchange.leaves))
            )
            for unit, positions, things in self.changes
        )


def exchanges(world: World, event: Event) -> tuple[Exchange, ...]:
    """What an event exchanges, seen from the world before it."""
    subjects = [world.canonical(one) for one in event.envelope.subjects]
    payload = event.payload
    if isinstance(payload, PartFitted) and len(subjects) == 2:
        return _fitting(world, subjects[0], payload.position, subjects[1])
    if isinstance(payload, PartRemoved) and len(subjects) == 2 and world.at(subjects[0], payload.position) is not None:
        return (Exchange(unit=subjects[0], position=payload.position, things=(), leaves=subjects[1]),)
    if event.envelope.kind in ("unit.content-placed", "unit.content-removed") and len(subjects) == 2:
        return _content(world, subjects[0], subjects[1])
    if isinstance(payload, ConfigurationSet) and len(subjects) == 1:
        known = world.configuration(subjects[0])
        if known is not None and dict(known.choices) != dict(payload.choices):
            return (Exchange(unit=subjects[0], position="", things=()),)
    return ()


def _fitting(world: World, unit: ThingId, position: str, thing: ThingId) -> tuple[Exchange, ...]:
    found = []
    there = world.at(unit, position)
    if there is not None:
        found.append(Exchange(unit=unit, position=position, things=(there, thing)))
    elif _was_filled(world, unit, position):
        found.append(Exchange(unit=unit, position=position, things=(thing,)))
    left = world.place_of(thing)
    if left is not None and left != (unit, position):
        found.append(Exchange(unit=left[0], position=left[1], things=(), leaves=thing))
    return tuple(found)


def _content(world: World, container: ThingId, content: ThingId) -> tuple[Exchange, ...]:
    place = world.place_of(container)
    if place is None or not _was_filled(world, container, CONTENT):
        return ()
    there = world.content_of(container)
    things = (container, content) if there is None else (container, content, there)
    return (Exchange(unit=place[0], position=place[1], things=things),)


def _was_filled(world: World, holder: ThingId, position: str) -> bool:
    return any(world.spans[number].position == position for number in reversed(world.spans_in.get(holder, [])))


def undeclared_change(catalogue: Catalogue, world: World, exchange: Exchange) -> str:
    """The change that should have been declared; `NOT_UNDERSTOOD` where the catalogue has none for it."""
    changes = catalogue.changes
    if not exchange.position:
        return next((one.id for one in changes.values() if one.does == "reconfigures"), NOT_UNDERSTOOD)
    place = all_positions().get(exchange.position)
    kind = place.kind if place is not None else ""
    fitting = [
        one
        for one in changes.values()
        if one.part and one.part == kind and (not one.places or exchange.position.startswith(one.places))
    ]
    named = [one for one in fitting if one.does in _EXCHANGING] or [one for one in fitting if not one.several]
    if named:
        return named[0].id
    return OTHER_PART if OTHER_PART in changes else NOT_UNDERSTOOD
