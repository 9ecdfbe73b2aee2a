"""The fold of a record for judgement: evidence by what it is about, changes, limits, waivers, repairs and holds.

`Book` takes events in the record's total order and only files them. Whether evidence still stands is asked later, for
a moment, by `standing`; so one book answers for now and, with hindsight, for any earlier minute.
"""

from __future__ import annotations

import msgspec

from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.changelog import ChangeEntry, Changelog
from loopworthy.judgement.events import (
    CatalogueAdopted,
    EvidenceRecorded,
    HoldPassed,
    HoldReleased,
    LimitConfirmed,
    LimitSet,
    RepairMade,
    WaiverGiven,
)
from loopworthy.judgement.subjects import Subject, subjects, touched
from loopworthy.unit.events import ChangeMade, EpisodeBegan, EpisodeKind
from loopworthy.unit.world import World
from loopworthy.vocabulary.event import Event, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

UNUSED_CHANGE = "stood-unused"
UNUSED_MS = 30 * 24 * 3600 * 1000
"""After thirty days without a dive day a unit counts as having stood unused (trade practice, no published source)."""

WITHDRAWN = "record.event-withdrawn"


class Item(msgspec.Struct, frozen=True, kw_only=True):
    """One piece of evidence as it was recorded, with what it is bound to.

    `prerequisites` are, for each kind that the step's order rule names, the latest evidence of each step and subject
    at that time (empty identity where there was none).
    """

    event: EventId
    order: tuple[int, int, str, int, str]
    device: DeviceId
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
    prerequisites: tuple[tuple[str, EventId], ...] = ()


class Withdrawal(msgspec.Struct, frozen=True, kw_only=True):
    """An event taken back, why, by whom and when."""

    event: EventId
    by: EventId
    reason: str
    person: ThingId
    occurred_ms: int


class Waiver(msgspec.Struct, frozen=True, kw_only=True):
    """A waiver with the dive that it was given for."""

    event: EventId
    given: WaiverGiven
    person: ThingId
    occurred: Moment
    dives: int


class LimitEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A limit that the owner set or confirmed."""

    event: EventId
    limit: str
    value: str
    source: str
    reason: str
    confirmed: bool
    occurred_ms: int


class Repair(msgspec.Struct, frozen=True, kw_only=True):
    """A repair and when it was made."""

    event: EventId
    made: RepairMade
    person: ThingId
    occurred_ms: int
    order: tuple[int, int, str, int, str]


class Release(msgspec.Struct, frozen=True, kw_only=True):
    """A hold released, and by whom."""

    event: EventId
    released: HoldReleased
    person: ThingId
    occurred_ms: int


class ContextReading(msgspec.Struct, frozen=True, kw_only=True):
    """The surroundings as somebody last measured them."""

    reading: Reading
    occurred_ms: int
    event: EventId


class Passing(msgspec.Struct, frozen=True, kw_only=True):
    """A hold point that somebody passed."""

    event: EventId
    passed: HoldPassed
    person: ThingId
    occurred: Moment


class Book(msgspec.Struct):
    """Everything that a verdict is made from.

    Make one with `Book()`, give it every event in total order with `take`.
    """

    world: World = msgspec.field(default_factory=World.empty)
    items: dict[EventId, Item] = {}
    by_subject: dict[str, list[EventId]] = {}
    by_instrument: dict[ThingId, list[EventId]] = {}
    changes: Changelog = msgspec.field(default_factory=Changelog)
    withdrawals: dict[EventId, Withdrawal] = {}
    waivers: dict[ThingId, list[Waiver]] = {}
    limits: dict[str, list[LimitEntry]] = {}
    repairs: dict[EventId, list[Repair]] = {}
    releases: dict[EventId, list[Release]] = {}
    contexts: dict[str, list[ContextReading]] = {}
    passings: dict[ThingId, list[Passing]] = {}
    adopted: list[tuple[EventId, CatalogueAdopted]] = []
    dives_ended: dict[ThingId, list[int]] = {}
    last_dive_day_ms: dict[ThingId, int] = {}
    last_event_ms: dict[ThingId, int] = {}
    count: int = 0

    def take(self, event: Event, catalogue: Catalogue) -> None:
        """File one event. Events that mean nothing to judgement are only counted."""
        self.count += 1
        payload = event.payload
        kind = event.envelope.kind
        if isinstance(payload, EvidenceRecorded):
            self._evidence(event, payload, catalogue)
            return
        if kind.startswith("unit."):
            self._unit_event(event, catalogue)
        elif kind == WITHDRAWN:
            self._withdrawal(event)
        elif isinstance(payload, WaiverGiven):
            waiver = Waiver(
                event=event.id,
                given=payload,
                person=event.envelope.read_by,
                occurred=event.envelope.occurred_at,
                dives=self.dives_before(payload.unit, event.envelope.occurred_at.epoch_ms),
            )
            self.waivers.setdefault(payload.unit, []).append(waiver)
        elif isinstance(payload, LimitSet | LimitConfirmed):
            entry = LimitEntry(
                event=event.id,
                limit=payload.limit,
                value=payload.value,
                source=payload.source,
                reason=payload.reason if isinstance(payload, LimitSet) else "",
                confirmed=isinstance(payload, LimitConfirmed),
                occurred_ms=event.envelope.occurred_at.epoch_ms,
            )
            self.limits.setdefault(f"{payload.unit} {payload.limit}", []).append(entry)
        elif isinstance(payload, RepairMade):
            repair = Repair(
                event=event.id,
                made=payload,
                person=event.envelope.read_by,
                occurred_ms=event.envelope.occurred_at.epoch_ms,
                order=event.order,
            )
            for mended in payload.mends:
                self.repairs.setdefault(mended, []).append(repair)
        elif isinstance(payload, HoldReleased):
            release = Release(
                event=event.id,
                released=payload,
                person=event.envelope.read_by,
                occurred_ms=event.envelope.occurred_at.epoch_ms,
            )
            self.releases.setdefault(payload.hold, []).append(release)
        elif isinstance(payload, HoldPassed):
            passing = Passing(
                event=event.id, passed=payload, person=event.envelope.read_by, occurred=event.envelope.occurred_at
            )
            self.passings.setdefault(payload.unit, []).append(passing)
        elif isinstance(payload, CatalogueAdopted):
            self.adopted.append((event.id, payload))

    # --- what was filed ---------------------------------------------------------------------------------------------

    def of(self, step: str, subject: str) -> list[Item]:
        """All evidence of a step about a subject, oldest first by the record's order."""
        return [self.items[event] for event in self.by_subject.get(f"{step} {subject}", ())]

    def dives_before(self, unit: ThingId, moment_ms: int) -> int:
        """How many dives of the unit had ended by then."""
        return sum(1 for ended in self.dives_ended.get(unit, ()) if ended <= moment_ms)

    def episode_at(self, unit: ThingId, kind: EpisodeKind, moment_ms: int) -> EventId:
        """The episode of that kind that was open at the moment; empty if none was."""
        for episode in reversed(self.world.episodes(unit, kind)):
            if episode.began.epoch_ms <= moment_ms:
                open_still = episode.ended is None or episode.ended.epoch_ms > moment_ms
                return episode.id if open_still else ""
        return ""

    def context_at(self, unit: ThingId, name: str, moment_ms: int) -> ContextReading | None:
        """The latest reading of the surroundings made by that moment."""
        found = None
        for context in self.contexts.get(f"{unit} {name}", ()):
            if context.occurred_ms <= moment_ms and (found is None or context.occurred_ms >= found.occurred_ms):
                found = context
        return found

    # --- filing -----------------------------------------------------------------------------------------------------

    def _evidence(self, event: Event, payload: EvidenceRecorded, catalogue: Catalogue) -> None:
        envelope = event.envelope
        occurred_ms = envelope.occurred_at.epoch_ms
        unit = self.world.canonical(payload.unit)
        subject = self._key(payload.subject)
        step = catalogue.steps.get(payload.step)
        prerequisites: tuple[tuple[str, EventId], ...] = ()
        if step is not None and step.after:
            prerequisites = self._prerequisites(unit, step.after, payload, catalogue)
        item = Item(
            event=event.id,
            order=event.order,
            device=envelope.device,
            sequence=envelope.sequence,
            seen=envelope.seen,
            occurred=envelope.occurred_at,
            occurred_ms=occurred_ms,
            recorded_ms=envelope.recorded_at.epoch_ms,
            read_by=envelope.read_by,
            typed_by=envelope.typed_by,
            step=payload.step,
            unit=unit,
            subject=subject,
            position=payload.position,
            things=tuple(self.world.canonical(thing) for thing in envelope.subjects),
            payload=payload,
            dive_day=self.episode_at(unit, "dive-day", occurred_ms),
            assembly=self.episode_at(unit, "assembly", occurred_ms),
            preparation=self.episode_at(unit, "preparation", occurred_ms),
            dives=self.dives_before(unit, occurred_ms),
            prerequisites=prerequisites,
        )
        self.items[event.id] = item
        self.by_subject.setdefault(f"{item.step} {subject}", []).append(event.id)
        for instrument in payload.instruments:
            self.by_instrument.setdefault(self.world.canonical(instrument), []).append(event.id)
        if step is not None:
            for one in step.inputs:
                if one.context and one.name in payload.readings:
                    context = ContextReading(
                        reading=payload.readings[one.name][0], occurred_ms=occurred_ms, event=event.id
                    )
                    self.contexts.setdefault(f"{unit} {one.context}", []).append(context)
        self.last_event_ms[unit] = max(occurred_ms, self.last_event_ms.get(unit, 0))

    def _key(self, subject: str) -> str:
        if "~" not in subject:
            return self.world.canonical(subject)
        return "~".join(self.world.canonical(part) for part in subject.split("~"))

    def _prerequisites(
        self, unit: ThingId, kinds: tuple[str, ...], payload: EvidenceRecorded, catalogue: Catalogue
    ) -> tuple[tuple[str, EventId], ...]:
        configuration = self.world.configuration(unit)
        found: list[tuple[str, EventId]] = []
        for kind in kinds:
            for step in catalogue.steps_making[kind]:
                if step.on_request or configuration is None or not step.when.holds(configuration):
                    continue
                abouts: tuple[Subject, ...] = subjects(self.world, unit, step)
                keys = [one.key for one in abouts]
                if step.scope.each == "instrument":
                    keys = [self.world.canonical(one) for one in payload.instruments] or [""]
                for key in keys:
                    events = self.by_subject.get(f"{step.id} {key}", ())
                    found.append((kind, events[-1] if events else ""))
        return tuple(found)

    def _unit_event(self, event: Event, catalogue: Catalogue) -> None:
        payload, envelope = event.payload, event.envelope
        occurred_ms = envelope.occurred_at.epoch_ms
        if isinstance(payload, ChangeMade) and envelope.subjects:
            self._change(event, payload, catalogue)
        if isinstance(payload, EpisodeBegan) and payload.episode == "dive-day":
            for unit in envelope.subjects:
                self._dive_day(unit, event, occurred_ms)
        self.world.apply(event)
        if envelope.kind == "unit.things-same":
            self._file_again()
        for subject in envelope.subjects[:1]:
            self.last_event_ms[subject] = max(occurred_ms, self.last_event_ms.get(subject, 0))

    def _change(self, event: Event, payload: ChangeMade, catalogue: Catalogue) -> None:
        envelope = event.envelope
        unit = self.world.canonical(envelope.subjects[0])
        things, side = touched(self.world, unit, payload.positions, envelope.subjects[1:])
        entry = ChangeEntry(
            event=event.id,
            change=payload.change,
            unit=unit,
            device=envelope.device,
            sequence=envelope.sequence,
            occurred_ms=envelope.occurred_at.epoch_ms,
            things=things,
            side=side,
            answers=dict(payload.answers),
            person=envelope.read_by,
            note=payload.note,
            zone=envelope.occurred_at.zone,
        )
        self.changes.add(entry)
        change = catalogue.changes.get(payload.change)
        if change is not None and change.does == "ends dive":
            self.dives_ended.setdefault(unit, []).append(entry.occurred_ms)

    def _dive_day(self, unit: ThingId, event: Event, began_ms: int) -> None:
        unit = self.world.canonical(unit)
        before = self.last_dive_day_ms.get(unit)
        if before is not None and began_ms - before > UNUSED_MS:
            self.changes.add(
                ChangeEntry(
                    event=f"{event.id}/unused",
                    change=UNUSED_CHANGE,
                    unit=unit,
                    device=event.envelope.device,
                    sequence=event.envelope.sequence,
                    occurred_ms=before + UNUSED_MS,
                    things=frozenset(),
                    side=frozenset(),
                    answers={},
                    zone=event.envelope.occurred_at.zone,
                    timed=True,
                )
            )
        self.last_dive_day_ms[unit] = max(began_ms, before or 0)

    def _withdrawal(self, event: Event) -> None:
        target = getattr(event.payload, "event", "")
        reason = getattr(event.payload, "reason", "")
        self.withdrawals[target] = Withdrawal(
            event=target,
            by=event.id,
            reason=reason,
            person=event.envelope.read_by,
            occurred_ms=event.envelope.occurred_at.epoch_ms,
        )

    def _file_again(self) -> None:
        """Two things turned out to be one: keys are made from identities, so file all evidence under the new ones."""
        self.by_subject.clear()
        self.by_instrument.clear()
        for item in sorted(self.items.values(), key=lambda one: one.order):
            key = self._key(item.subject)
            things = tuple(self.world.canonical(thing) for thing in item.things)
            if key != item.subject or things != item.things:
                self.items[item.event] = msgspec.structs.replace(item, subject=key, things=things)
            self.by_subject.setdefault(f"{item.step} {key}", []).append(item.event)
            for instrument in item.payload.instruments:
                self.by_instrument.setdefault(self.world.canonical(instrument), []).append(item.event)
