"""What a book files: evidence, withdrawals, waivers, limits, repairs, releases, surroundings and passings.

Each entry carries the place of its event in its device's chain, so that it can be asked who knew of what. Whether an
entry counts is never stored.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import msgspec

from loopworthy.judgement.events import (
    EvidenceRecorded,
    HoldPassed,
    HoldReleased,
    LimitConfirmed,
    LimitSet,
    RepairMade,
    WaiverGiven,
)
from loopworthy.vocabulary.event import Event, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

T = TypeVar("T")

Order = tuple[int, int, str, int, str]
"""Place in the record's total order."""


class Prerequisite(msgspec.Struct, frozen=True, kw_only=True):
    """What had to be current before a step: the newest evidence of that kind, step and subject at that time.

    `about` is the subject's key, its position where nothing is fitted; `event` is empty where there was no evidence.
    """

    kind: str
    step: str
    about: str
    event: EventId


class Item(msgspec.Struct, frozen=True, kw_only=True):
    """One piece of evidence as it was recorded, with what it is bound to.

    Attributes
    ----------
    occurred_ms : int
        When it was read; never later than it was written down, whatever it claims, so that a claim cannot lengthen its
        life.
    branch : int
        Line of its device's chain (see `lineage`).
    things : tuple of str
        The things that it is about.
    dive_day, assembly, preparation : str
        The episodes that it was read in; empty where none was open.
    dives : int
        How many dives of the unit had ended by then, as far as was known.
    prerequisites : tuple of Prerequisite
        For each kind that the step's order rule names, the newest evidence of each step and subject at that time.
    """

    event: EventId
    order: Order
    device: DeviceId
    branch: int = 0
    sequence: int
    seen: dict[DeviceId, SeenHead]
    occurred: Moment
    occurred_ms: int
    recorded_ms: int
    read_by: ThingId
    typed_by: ThingId
    step: str
    unit: ThingId
    subject: str
    position: str
    things: tuple[ThingId, ...]
    payload: EvidenceRecorded
    dive_day: EventId
    assembly: EventId
    preparation: EventId
    dives: int
    prerequisites: tuple[Prerequisite, ...] = ()

    @property
    def when(self) -> tuple[int, Order]:
        """Key of the order in time, in which evidence is looked at."""
        return (self.occurred_ms, self.order)


class Withdrawal(msgspec.Struct, frozen=True, kw_only=True):
    """An event taken back: by which event, why, by whom and when. The first one counts."""

    event: EventId
    by: EventId
    reason: str
    person: ThingId
    occurred_ms: int
    order: Order
    device: DeviceId
    branch: int = 0
    sequence: int


class Waiver(msgspec.Struct, frozen=True, kw_only=True):
    """A waiver with the dive that it was given for."""

    event: EventId
    given: WaiverGiven
    person: ThingId
    occurred: Moment
    occurred_ms: int
    order: Order
    device: DeviceId
    branch: int = 0
    sequence: int
    seen: dict[DeviceId, SeenHead]
    dives: int
    dive_day: EventId


class LimitEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A limit that the owner set or confirmed."""

    event: EventId
    limit: str
    value: str
    source: str
    reason: str
    confirmed: bool
    occurred_ms: int
    order: Order
    device: DeviceId
    branch: int = 0
    sequence: int
    seen: dict[DeviceId, SeenHead]


class Repair(msgspec.Struct, frozen=True, kw_only=True):
    """A repair and when it was made."""

    event: EventId
    made: RepairMade
    person: ThingId
    occurred_ms: int
    order: Order
    device: DeviceId
    branch: int = 0
    sequence: int


class Release(msgspec.Struct, frozen=True, kw_only=True):
    """A hold released, by whom, and who typed it."""

    event: EventId
    released: HoldReleased
    person: ThingId
    typed_by: ThingId
    occurred_ms: int


class ContextReading(msgspec.Struct, frozen=True, kw_only=True):
    """The surroundings as somebody measured them."""

    reading: Reading
    occurred_ms: int
    event: EventId


class DiveEnd(msgspec.Struct, frozen=True, kw_only=True):
    """A dive, by the event that said so, and when it ended."""

    event: EventId
    ended_ms: int


class Passing(msgspec.Struct, frozen=True, kw_only=True):
    """A hold point that somebody passed."""

    event: EventId
    passed: HoldPassed
    person: ThingId
    occurred: Moment


def waiver(event: Event, branch: int, given: WaiverGiven, *, dives: int, dive_day: EventId) -> Waiver:
    """A waiver as it is filed, with how many dives had ended by then and the dive day that was open."""
    envelope = event.envelope
    return Waiver(
        event=event.id,
        given=given,
        person=envelope.read_by,
        occurred=envelope.occurred_at,
        occurred_ms=envelope.occurred_at.epoch_ms,
        order=event.order,
        device=envelope.device,
        branch=branch,
        sequence=envelope.sequence,
        seen=envelope.seen,
        dives=dives,
        dive_day=dive_day,
    )


def limit_entry(event: Event, branch: int, payload: LimitSet | LimitConfirmed) -> LimitEntry:
    """A limit as it is filed."""
    envelope = event.envelope
    return LimitEntry(
        event=event.id,
        limit=payload.limit,
        value=payload.value,
        source=payload.source,
        reason=payload.reason if isinstance(payload, LimitSet) else "",
        confirmed=isinstance(payload, LimitConfirmed),
        occurred_ms=envelope.occurred_at.epoch_ms,
        order=event.order,
        device=envelope.device,
        branch=branch,
        sequence=envelope.sequence,
        seen=envelope.seen,
    )


def repair(event: Event, branch: int, made: RepairMade) -> Repair:
    """A repair as it is filed."""
    envelope = event.envelope
    return Repair(
        event=event.id,
        made=made,
        person=envelope.read_by,
        occurred_ms=envelope.occurred_at.epoch_ms,
        order=event.order,
        device=envelope.device,
        branch=branch,
        sequence=envelope.sequence,
    )


def release(event: Event, released: HoldReleased) -> Release:
    """A release as it is filed."""
    envelope = event.envelope
    return Release(
        event=event.id,
        released=released,
        person=envelope.read_by,
        typed_by=envelope.typed_by,
        occurred_ms=envelope.occurred_at.epoch_ms,
    )


def passing(event: Event, passed: HoldPassed) -> Passing:
    """A passed hold as it is filed."""
    return Passing(event=event.id, passed=passed, person=event.envelope.read_by, occurred=event.envelope.occurred_at)


def joined(
    filed: dict[str, list[T]], name: Callable[[ThingId], ThingId], key: Callable[[T], Any]
) -> dict[str, list[T]]:
    """Lists by thing under the names that things have now, sorted; what they lie under begins with the name."""
    found: dict[str, list[T]] = {}
    for about, entries in filed.items():
        thing, blank, rest = about.partition(" ")
        found.setdefault(f"{name(thing)}{blank}{rest}", []).extend(entries)
    return {about: sorted(entries, key=key) for about, entries in found.items()}
