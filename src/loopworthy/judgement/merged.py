"""What a record says otherwise once it knows more: evidence that stands differently, and holds passed on less.

Two books of one record are compared at one moment: what a device knew before a merge, and what it knew afterwards. A
hold that somebody passed meanwhile is judged again with what the other side knew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from loopworthy.judgement.book import WITHDRAWN, Book
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.events import EvidenceRecorded, HoldPassed, HoldReleased, RepairMade, WaiverGiven
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.replay import fold, known_by, with_hindsight
from loopworthy.judgement.standing import Bench, View
from loopworthy.judgement.verdict import Requirement, Verdict, judge_unit
from loopworthy.unit.events import (
    ChangeMade,
    ConfigurationSet,
    ContentPlaced,
    ContentRemoved,
    CustodyGiven,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingDescribed,
    ThingsSame,
)
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

_TOUCHES = (ChangeMade, PartFitted, PartRemoved, ContentPlaced, ContentRemoved, ConfigurationSet, ThingsSame)
"""What is done to a unit, as against what is read of it."""

_HARMLESS = (HoldPassed, HoldReleased, RepairMade, WaiverGiven, CustodyGiven, ThingCreated, ThingDescribed)
"""What takes nothing away by itself."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """One requirement that stands otherwise; None where it was not asked for before, or is no longer."""

    before: Requirement | None
    after: Requirement | None

    @property
    def fell(self) -> bool:
        """Whether it counted before and does not now, or is asked for only now and does not count."""
        return (self.before is None or self.before.counts) and self.after is not None and not self.after.counts

    @property
    def rose(self) -> bool:
        """Whether it counts now and did not before."""
        return (self.before is None or not self.before.counts) and self.after is not None and self.after.counts


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitShift:
    """A unit at one moment, as two books tell it.

    Attributes
    ----------
    before : Verdict or None
        None where the unit was not known.
    """

    unit: ThingId
    before: Verdict | None
    after: Verdict
    shifts: tuple[Shift, ...]

    @property
    def differs(self) -> bool:
        """Whether word, end, open holds or any requirement differ."""
        if self.before is None or self.shifts:
            return True
        one, other = self.before, self.after
        return (one.word, one.until_ms, one.code, one.open_holds) != (
            other.word,
            other.until_ms,
            other.code,
            other.open_holds,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """A hold that was passed on a verdict which no longer agrees with what is known about that moment.

    Attributes
    ----------
    passing : Event
        Who passed it, when, on which device.
    hold, said, found : str
        The hold; the verdict that it was passed on; the verdict for the same moment with all that is known now.
    unknown : tuple of str
        What the device did not know, oldest first.
    """

    passing: Event
    hold: str
    said: str
    found: str
    unknown: tuple[EventId, ...]


def unit_shift(before: Book, after: Book, catalogue: Catalogue, unit: ThingId, moment: Moment) -> UnitShift:
    """How a unit stands at a moment in two books of one record, the second of which knows more.

    Raises
    ------
    UnknownNameError
        If the unit is not in the second book.
    """
    now = judge_unit(after, catalogue, unit, moment)
    names = [one for one in before.world.units() if after.world.canonical(one) == now.unit]
    if not names:
        return UnitShift(unit=now.unit, before=None, after=now, shifts=())
    then = judge_unit(before, catalogue, names[0], moment)
    old, new = _by_place(then, after), _by_place(now, after)
    shifts = tuple(
        Shift(before=old.get(key), after=new.get(key))
        for key in dict.fromkeys((*new, *old))
        if _differ(old.get(key), new.get(key))
    )
    return UnitShift(unit=now.unit, before=then, after=now, shifts=shifts)


def _by_place(verdict: Verdict, book: Book) -> dict[tuple[str, str, str], Requirement]:
    """Requirements by kind, step and position: what another part in the place made of it is told as one."""
    return {
        (one.kind, one.step.id, one.subject.position or book.world.canonical(one.subject.key)): one
        for one in verdict.requirements()
    }


def _differ(one: Requirement | None, other: Requirement | None) -> bool:
    if one is None or other is None:
        return one is not other
    first, second = one.standing, other.standing
    if first.state is not second.state:
        return True
    if (first.item.event if first.item else "") != (second.item.event if second.item else ""):
        return True
    return not one.counts and (first.code, first.cause) != (second.code, second.cause)


# --- what people saw --------------------------------------------------------------------------------------------------


def sights(
    events: tuple[Event, ...],
    book: Book,
    catalogue: Catalogue,
    unit: ThingId,
    news: Mapping[EventId, frozenset[EventId]],
) -> tuple[Sight, ...]:
    """Holds of a unit that were passed on less than is known now, oldest first.

    Parameters
    ----------
    events, book : tuple of Event, Book
        All that is known now, in total order and folded.
    news : mapping
        For each passing to look at: the events that came from the other side. Only those its device did not have then
        are named, and only a passing whose verdict they change.
    """
    by_id = {event.id: event for event in events}
    undoing = _Undoing(book, catalogue)
    found = []
    for identity, others in news.items():
        passing = by_id[identity]
        passed = passing.payload
        if not isinstance(passed, HoldPassed):
            continue
        at = passing.envelope.occurred_at
        strange = {one for one in others if one in by_id and not passing.knew_of(by_id[one])}
        if not any(undoing.may(by_id[one]) for one in strange):
            continue  # each passing takes a fold of the record
        hindsight = fold(with_hindsight(events, catalogue, at), catalogue)
        if hindsight.world.canonical(passed.unit) != hindsight.world.canonical(unit):
            continue
        verdict = judge_unit(hindsight, catalogue, unit, at, View.HINDSIGHT)
        word = _word(verdict, passed.hold)
        if word == passed.verdict:
            continue
        known = fold(known_by(events, passing), catalogue)
        if known.world.canonical(passed.unit) in known.world.units():
            then = judge_unit(known, catalogue, passed.unit, at)
            if _word(then, passed.hold) == word:
                continue  # wrong by what its own device knew; that is told elsewhere
        unknown = _causes(verdict, strange) or _touching(hindsight, unit, (by_id[one] for one in strange), at)
        if unknown:
            found.append(
                Sight(
                    passing=passing,
                    hold=passed.hold,
                    said=passed.verdict,
                    found=word,
                    unknown=tuple(sorted(unknown, key=lambda one: by_id[one].envelope.occurred_at.epoch_ms)),
                )
            )
    return tuple(sorted(found, key=lambda one: one.passing.envelope.occurred_at.epoch_ms))


class _Undoing:
    """Tells which events may take something away; good readings do not, unless others are judged by them."""

    def __init__(self, book: Book, catalogue: Catalogue) -> None:
        self._bench = Bench(book, catalogue, moment_from_epoch_ms(book.latest_ms))
        self._checks = set(self._bench.instrument_steps)
        self._contexts = {reading.event for readings in book.contexts.values() for reading in readings}

    def may(self, event: Event) -> bool:
        """Whether an event may make a verdict worse."""
        kind, payload = event.envelope.kind, event.payload
        if isinstance(payload, EvidenceRecorded):
            item = self._bench.book.items.get(event.id)
            if item is None or payload.step in self._checks or event.id in self._contexts:
                return True
            return self._bench.assess(item).outcome is not Outcome.INSIDE
        if kind.startswith("record."):
            return kind == WITHDRAWN
        return not isinstance(payload, _HARMLESS)


def _word(verdict: Verdict, hold: str) -> str:
    return next((one.word.value for one in verdict.holds if one.hold.id == hold), verdict.word.value)


def _causes(verdict: Verdict, strange: set[EventId]) -> set[EventId]:
    """What keeps a unit from being ready, of the events that were not known."""
    named = {one.standing.cause for one in verdict.requirements() if not one.counts}
    named |= {one.standing.item.event for one in verdict.requirements() if not one.counts and one.standing.item}
    named |= {one.event for one in verdict.open_holds}
    return named & strange


def _touching(book: Book, unit: ThingId, events: Iterable[Event], at: Moment) -> set[EventId]:
    """What was done to the unit by then, where no requirement names its cause: another part is in the place."""
    return {
        event.id
        for event in events
        if isinstance(event.payload, _TOUCHES)
        and event.envelope.occurred_at.epoch_ms <= at.epoch_ms
        and concerns(book, event, unit)
    }


def concerns(book: Book, event: Event, unit: ThingId) -> bool:
    """Whether an event is about a unit, about something that is on it, or about what is in that."""
    world = book.world
    unit = world.canonical(unit)
    payload = event.payload
    if payload is not None and world.canonical(getattr(payload, "unit", "") or "") == unit:
        return True
    if event.envelope.kind == WITHDRAWN:
        taken_back = book.items.get(getattr(payload, "event", ""))
        if taken_back is not None:
            return world.canonical(taken_back.unit) == unit
        changed = book.changes.entries.get(getattr(payload, "event", ""))
        return changed is not None and changed.unit == unit
    if isinstance(payload, EvidenceRecorded | RepairMade):
        return False
    for thing in (*event.envelope.subjects, event.id):
        one = world.canonical(thing)
        if one == unit:
            return True
        if one in world.things and world.things[one].kind != "person":
            place = world.place_of(world.container_of(one) or one)
            if place is not None and place[0] == unit:
                return True
    return False
