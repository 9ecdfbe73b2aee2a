"""Reading a record for a past moment, in two ways that must not be confused.

*As known then*: only what the device had by that time. *With hindsight*: all that is known now about that time.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Callable, Collection, Iterable
from dataclasses import dataclass

from loopworthy.judgement.book import WITHDRAWN, Book
from loopworthy.judgement.catalogue.model import Catalogue, Effect
from loopworthy.judgement.events import EvidenceRecorded, HoldPassed
from loopworthy.judgement.states import View
from loopworthy.judgement.verdict import Verdict, Word, judge_unit
from loopworthy.unit.events import ChangeMade, ThingCreated, ThingsSame
from loopworthy.unit.world import World
from loopworthy.vocabulary.event import GENESIS, Event
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId
from loopworthy.vocabulary.time import Moment

AS_KNOWN = "as known on that device then"
HINDSIGHT = "with hindsight"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """A verdict for a past moment, with the label that says which reading of the record it rests on.

    `rests_on` names the events that were read for it, in total order.
    """

    label: str
    verdict: Verdict
    book: Book
    rests_on: tuple[EventId, ...]

    @property
    def events(self) -> int:
        """How many events it rests on."""
        return len(self.rests_on)


def fold(events: Iterable[Event], catalogue: Catalogue) -> Book:
    """A book from events in any order, each taken once."""
    book = Book()
    for event in in_order(events):
        book.take(event, catalogue)
    return book


def in_order(events: Iterable[Event]) -> list[Event]:
    """Events in the record's total order, each once."""
    return sorted({event.id: event for event in events}.values(), key=lambda event: event.order)


def known_then(events: Iterable[Event], device: DeviceId, moment: Moment) -> list[Event]:
    """The events that a device had at a moment: its own by then, and all that these had seen, in total order.

    Events that reached the device after its own last event by then cannot be told apart from later ones; they are left
    out.
    """
    at_ms = moment.epoch_ms
    known = _Chains(events)
    own = [one for one in known.of(device) if one.envelope.recorded_at.epoch_ms <= at_ms]
    if not own:
        return []
    # A clock that was put back does not take out of the middle what the device had written before.
    last = max(own, key=lambda one: one.envelope.sequence).envelope.sequence
    return known.before([one for one in known.of(device) if one.envelope.sequence <= last])


def known_by(events: Iterable[Event], event: Event) -> list[Event]:
    """The events that the device of an event had when it wrote it, without the event itself, in total order."""
    return [one for one in _Chains(events).before([event]) if one.id != event.id]


class _Chains:
    """Events by identity and by chain."""

    def __init__(self, events: Iterable[Event]) -> None:
        self._by_id = {event.id: event for event in events}
        self._by_device: dict[DeviceId, list[Event]] = {}
        for event in in_order(self._by_id.values()):
            self._by_device.setdefault(event.envelope.device, []).append(event)

    def of(self, device: DeviceId) -> list[Event]:
        """A device's events, in total order."""
        return self._by_device.get(device, [])

    def before(self, events: list[Event]) -> list[Event]:
        """These events and all that they had seen, in total order."""
        found: dict[str, Event] = {}
        for event in events:
            for head in (event.id, *(one.event for one in event.envelope.seen.values())):
                self._back(head, found)
        return in_order(found.values())

    def _back(self, head: str, found: dict[str, Event]) -> None:
        while head in self._by_id and head not in found:
            event = found[head] = self._by_id[head]
            head = event.envelope.previous
            if head not in self._by_id and head != GENESIS:
                head = self._at_hand_before(event)

    def _at_hand_before(self, event: Event) -> str:
        """The event before in the same chain, where a selection of the record leaves some out."""
        earlier = [one for one in self.of(event.envelope.device) if one.envelope.sequence < event.envelope.sequence]
        return max(earlier, key=lambda one: one.envelope.sequence).id if earlier else ""


def with_hindsight(events: Iterable[Event], catalogue: Catalogue, moment: Moment) -> list[Event]:
    """What is known now about a moment: all that happened by then, whenever it was declared, and what was found out
    later about it (withdrawals, findings that something had never been true, the checks of instruments, for what was
    read before a good one stands, and that two things are one)."""
    at_ms = moment.epoch_ms
    disproving = {
        change.id for change in catalogue.changes.values() if any(one.effect is Effect.DISPROVE for one in change.rules)
    }
    checks = {step.id for step in catalogue.steps.values() if step.scope.each == "instrument"}

    def concerns(event: Event) -> bool:
        if event.envelope.occurred_at.epoch_ms <= at_ms:
            return True
        if event.envelope.kind == WITHDRAWN:
            return True
        if isinstance(event.payload, EvidenceRecorded):
            return event.payload.step in checks
        if isinstance(event.payload, ThingsSame):
            return True
        return isinstance(event.payload, ChangeMade) and event.payload.change in disproving

    return [event for event in events if concerns(event)]


def replay(
    events: tuple[Event, ...],
    catalogue: Catalogue,
    unit: ThingId,
    moment: Moment,
    *,
    device: DeviceId | None,
    beside: Replay | None = None,
) -> Replay:
    """The verdict at a past moment.

    Parameters
    ----------
    events : tuple of Event
        The whole record in total order.
    device : str or None
        The device whose knowledge of then is asked for; None for hindsight.
    beside : Replay, optional
        The other reading with the same catalogue: where both rest on the same events, they are folded once.

    Raises
    ------
    UnknownNameError
        If the unit was not there yet.
    """
    chosen = with_hindsight(events, catalogue, moment) if device is None else known_then(events, device, moment)
    rests_on = tuple(event.id for event in chosen)
    book = beside.book if beside is not None and beside.rests_on == rests_on else fold(chosen, catalogue)
    view = View.HINDSIGHT if device is None else View.LIVE
    verdict = judge_unit(book, catalogue, unit, moment, view)
    return Replay(label=HINDSIGHT if device is None else AS_KNOWN, verdict=verdict, book=book, rests_on=rests_on)


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """A hold that was passed on a verdict that the record, read again, does not give."""

    event: str
    hold: str
    said: str
    found: str
    catalogue_differs: bool


def check_passings(
    events: tuple[Event, ...], catalogue: Catalogue, unit: ThingId, *, only: Collection[EventId] | None = None
) -> tuple[Disagreement, ...]:
    """Every hold that was passed, judged again from what its device knew then.

    Parameters
    ----------
    only : collection of str, optional
        Only these passings.
    """
    ordered = in_order(events)
    names = _names(ordered)
    sequences: dict[DeviceId, list[int]] = {}
    for event in ordered:
        insort(sequences.setdefault(event.envelope.device, []), event.envelope.sequence)
    forked = any(len(set(one)) != len(one) for one in sequences.values())
    running = Book()
    found = []
    for place, event in enumerate(ordered):
        passed = event.payload
        if isinstance(passed, HoldPassed) and names(passed.unit) == names(unit) and (only is None or event.id in only):
            # What a device knew comes before its event in the total order. Where it is as many, it is the same.
            knew_all = not forked and _count_known(event, sequences) == place
            book = running if knew_all else fold(known_by(ordered, event), catalogue)
            word = _word_for(book, catalogue, passed, event.envelope.occurred_at)
            if word != passed.verdict:
                found.append(
                    Disagreement(
                        event=event.id,
                        hold=passed.hold,
                        said=passed.verdict,
                        found=word,
                        catalogue_differs=passed.catalogue != catalogue.digest,
                    )
                )
        running.take(event, catalogue)
    return tuple(found)


def _word_for(book: Book, catalogue: Catalogue, passed: HoldPassed, moment: Moment) -> str:
    if book.world.canonical(passed.unit) not in book.world.units():
        return Word.UNPROVEN.value  # a hold of a unit that its device did not know
    verdict = judge_unit(book, catalogue, passed.unit, moment)
    return next((one.word.value for one in verdict.holds if one.hold.id == passed.hold), verdict.word.value)


def _count_known(event: Event, sequences: dict[DeviceId, list[int]]) -> int:
    envelope = event.envelope
    own = bisect_left(sequences[envelope.device], envelope.sequence)
    others = (bisect_right(sequences.get(device, []), head.sequence) for device, head in envelope.seen.items())
    return own + sum(others)


def _names(events: Iterable[Event]) -> Callable[[ThingId], ThingId]:
    """Under which identity each thing is known in the end."""
    world = World.empty()
    for event in events:
        if isinstance(event.payload, ThingCreated | ThingsSame):
            world.apply(event)
    return world.canonical
