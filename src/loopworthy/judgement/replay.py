"""Reading a record for a past moment, in two ways that must not be confused.

*As known then*: only what the device had by that time. *With hindsight*: all that is known now about that time.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from loopworthy.judgement.book import WITHDRAWN, Book
from loopworthy.judgement.catalogue.model import Catalogue, Effect
from loopworthy.judgement.events import EvidenceRecorded, HoldPassed
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.unit.events import ChangeMade
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, ThingId
from loopworthy.vocabulary.time import Moment

AS_KNOWN = "as known on that device then"
HINDSIGHT = "with hindsight"


@dataclass(frozen=True, slots=True, kw_only=True)
class Replay:
    """A verdict for a past moment, with the label that says which reading of the record it rests on."""

    label: str
    verdict: Verdict
    book: Book
    events: int


def fold(events: Iterable[Event], catalogue: Catalogue) -> Book:
    """A book from events in total order."""
    book = Book()
    for event in events:
        book.take(event, catalogue)
    return book


def known_then(events: Iterable[Event], device: DeviceId, moment: Moment) -> list[Event]:
    """The events that a device had at a moment: its own by then, and all that these had seen, in total order.

    Events that reached the device after its own last event by then cannot be told apart from later ones; they are left
    out.
    """
    at_ms = moment.epoch_ms
    by_device: dict[DeviceId, list[Event]] = {}
    for event in events:
        by_device.setdefault(event.envelope.device, []).append(event)
    own = [one for one in by_device.get(device, ()) if one.envelope.recorded_at.epoch_ms <= at_ms]
    known = list(own)
    if own:
        last = max(own, key=lambda one: one.envelope.sequence)
        for other, head in last.envelope.seen.items():
            known.extend(one for one in by_device.get(other, ()) if one.envelope.sequence <= head.sequence)
    return sorted(known, key=lambda one: one.order)


def with_hindsight(events: Iterable[Event], catalogue: Catalogue, moment: Moment) -> list[Event]:
    """What is known now about a moment: all that happened by then, whenever it was declared, and what was found out
    later about it (withdrawals, findings that something had never been true, and the checks of instruments, for what
    was read before a good one stands)."""
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
        return isinstance(event.payload, ChangeMade) and event.payload.change in disproving

    return [event for event in events if concerns(event)]


def replay(
    events: tuple[Event, ...], catalogue: Catalogue, unit: ThingId, moment: Moment, *, device: DeviceId | None
) -> Replay:
    """The verdict at a past moment.

    Parameters
    ----------
    events : tuple of Event
        The whole record in total order.
    device : str or None
        The device whose knowledge of then is asked for; None for hindsight.

    Raises
    ------
    UnknownNameError
        If the unit was not there yet.
    """
    chosen = with_hindsight(events, catalogue, moment) if device is None else known_then(events, device, moment)
    book = fold(chosen, catalogue)
    verdict = judge_unit(book, catalogue, unit, moment)
    return Replay(label=HINDSIGHT if device is None else AS_KNOWN, verdict=verdict, book=book, events=len(chosen))


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """A hold that was passed on a verdict that the record, read again, does not give."""

    event: str
    hold: str
    said: str
    found: str
    catalogue_differs: bool


def check_passings(events: tuple[Event, ...], catalogue: Catalogue, unit: ThingId) -> tuple[Disagreement, ...]:
    """Every hold that was passed, judged again from what its device knew then."""
    found = []
    for event in events:
        passed = event.payload
        if not isinstance(passed, HoldPassed) or passed.unit != unit:
            continue
        known = [
            one for one in known_then(events, event.envelope.device, event.envelope.recorded_at) if one.id != event.id
        ]
        verdict = judge_unit(fold(known, catalogue), catalogue, unit, event.envelope.occurred_at)
        word = next((one.word.value for one in verdict.holds if one.hold.id == passed.hold), verdict.word.value)
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
    return tuple(found)
