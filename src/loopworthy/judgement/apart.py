"""Entries that lie beside the record, as far as they may undo evidence: whose, why, and which units they reach.

They count for nothing, so no verdict changes by them. They may be the change or the failed reading that a verdict
lacks, though, and therefore each verdict that they may reach carries a caution for as long as they lie there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from loopworthy.judgement.book import WITHDRAWN, Book
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.events import EvidenceRecorded, HoldPassed
from loopworthy.unit.events import PERSON, ChangeMade, ThingCreated
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, ThingId

_BEYOND_ITS_UNIT = frozenset({"record", "instrument"})
"""Scopes of a change that reach evidence of other units."""


class Apart(StrEnum):
    """Why an entry lies beside the record."""

    MISSING = "missing"
    NOT_VOUCHED = "not vouched"
    AHEAD = "clock ahead"
    DUE = "due"
    FAULTY = "faulty"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """What has to be shown with a verdict: entries of one device that lie beside the record for one reason.

    Attributes
    ----------
    device, why, count
        Whose, why, and how many.
    named : bool
        Whether they name this unit, or something on it; else they may be about any.
    """

    device: DeviceId
    why: Apart
    count: int
    named: bool


def cautions(
    book: Book, catalogue: Catalogue, unit: ThingId, apart: Iterable[tuple[Apart, Event]]
) -> tuple[Caution, ...]:
    """The cautions that a verdict on a unit has to carry, those that name it first."""
    unit = book.world.canonical(unit)
    counts: Counter[tuple[bool, DeviceId, Apart]] = Counter()
    for why, event in apart:
        reach = reach_of(book, catalogue, event)
        if unit in reach.units or reach.anywhere:
            counts[unit not in reach.units, event.envelope.device, why] += 1
    return tuple(
        Caution(device=device, why=why, count=count, named=not anywhere)
        for (anywhere, device, why), count in sorted(counts.items())
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """The units whose evidence an entry may undo, if it came to count.

    Attributes
    ----------
    units : frozenset of str
        Those that it names, or something on them.
    anywhere : bool
        Whether others may be among them, because nobody can tell, or because it reaches beyond its unit.
    """

    units: frozenset[ThingId] = frozenset()
    anywhere: bool = False


def reach_of(book: Book, catalogue: Catalogue, event: Event) -> Reach:
    """What an entry beside the record may undo."""
    kind, payload = event.envelope.kind, event.payload
    if payload is None:  # of a newer program, or damaged
        return Reach(anywhere=True)
    if kind == WITHDRAWN:
        return _of_withdrawn(book, catalogue, getattr(payload, "event", ""))
    if kind.startswith("record.") or isinstance(payload, HoldPassed | ThingCreated):
        return Reach()
    world = book.world
    named = {world.canonical(one) for one in (getattr(payload, "unit", ""), *event.envelope.subjects) if one}
    units = (named & set(world.units())) | {place for one in named if (place := _place(book, one))}
    beyond = (
        _reaches_on(catalogue, payload.change) or any(_is_person(book, one) for one in named)
        if isinstance(payload, ChangeMade)
        else isinstance(payload, EvidenceRecorded) and _about_instrument(catalogue, payload.step)
    )
    return Reach(units=frozenset(units), anywhere=beyond or not units)


def _of_withdrawn(book: Book, catalogue: Catalogue, event: str) -> Reach:
    item, change = book.items.get(event), book.changes.entries.get(event)
    if item is not None and item.unit:
        unit = book.world.canonical(item.unit)
        return Reach(units=frozenset({unit}), anywhere=_about_instrument(catalogue, item.step))
    if change is not None and change.unit:
        unit = book.world.canonical(change.unit)
        return Reach(units=frozenset({unit}), anywhere=_reaches_on(catalogue, change.change))
    return Reach(anywhere=True)


def _reaches_on(catalogue: Catalogue, change: str) -> bool:
    known = catalogue.changes.get(change)
    return known is None or any(rule.scope in _BEYOND_ITS_UNIT for rule in known.rules)


def _about_instrument(catalogue: Catalogue, step: str) -> bool:
    known = catalogue.steps.get(step)
    return known is None or known.scope.each == "instrument"


def _is_person(book: Book, thing: ThingId) -> bool:
    return thing in book.world.things and book.world.things[thing].kind == PERSON


def _place(book: Book, thing: ThingId) -> ThingId:
    """The unit that a part, or the content of one, is on now; '' where it is on none."""
    world = book.world
    if thing not in world.things or _is_person(book, thing):
        return ""
    place = world.place_of(world.container_of(thing) or thing)
    return world.canonical(place[0]) if place is not None else ""
