"""The fold of a record for judgement: evidence by what it is about, changes, limits, waivers, repairs and holds.

`Book` takes events in the record's total order and only files them. Whether evidence still stands is asked later, for
a moment, by `standing`. A book that was kept short (see `snapshot`) answers only for moments from `answers_from_ms` on.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterable
from math import inf

import msgspec

from loopworthy.judgement.asked import asked_steps, hold_of
from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.judgement.changelog import EVERYTHING, NOT_UNDERSTOOD, ChangeEntry, Changelog
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
from loopworthy.judgement.exchanges import Declared, Exchange, exchanges, undeclared_change
from loopworthy.judgement.filed import (
    ContextReading,
    DiveEnd,
    Item,
    LimitEntry,
    Order,
    Passing,
    Prerequisite,
    Release,
    Repair,
    Waiver,
    Withdrawal,
    joined,
    limit_entry,
    passing,
    release,
    repair,
    waiver,
)
from loopworthy.judgement.lineage import Lineage
from loopworthy.judgement.memo import Memo
from loopworthy.judgement.reach import require_within
from loopworthy.judgement.subjects import JOIN, key_things, subjects, touched
from loopworthy.unit.events import ChangeMade, EpisodeBegan, EpisodeKind, ThingsSame
from loopworthy.unit.world import World
from loopworthy.vocabulary.errors import RecordError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId

__all__ = [
    "Book",
    "ContextReading",
    "DiveEnd",
    "Item",
    "LimitEntry",
    "Passing",
    "Release",
    "Repair",
    "Waiver",
    "Withdrawal",
]

UNUSED_CHANGE = "stood-unused"
UNUSED_MS = 30 * 24 * 3600 * 1000
"""After thirty days without a dive day a unit counts as having stood unused (trade practice, no published source)."""

WITHDRAWN = "record.event-withdrawn"

_MEANS_SOMETHING = ("unit.", "judgement.", WITHDRAWN)
"""Kinds of event that evidence may depend on; one of them that cannot be read here is never taken for nothing."""


class Book(msgspec.Struct):
    """Everything that a verdict is made from.

    Make one with `Book()`, give it every event in total order with `take`.

    Attributes
    ----------
    by_subject : dict
        Step and subject to the evidence about it, oldest first by the time at which it was read.
    times_of : dict
        As `by_subject`, the times at which they were read.
    by_unit : dict
        Step and unit to the evidence recorded for it, in the record's order.
    withdrawn_of : dict
        As `by_subject`, only what was withdrawn.
    dives_ended : dict
        Unit to its dives in the order in which they ended; a dive that was taken back is still among them.
    end, latest_ms : tuple, int
        Place in the total order of the last event taken; latest time that any event claims.
    answers_from_ms, since, kept_heads : int, set or None, dict
        For a book that was kept short: from which moment on it answers, the events taken since, and the last sequence
        of each chain in it; see `snapshot`.
    """

    world: World = msgspec.field(default_factory=World.empty)
    items: dict[EventId, Item] = {}
    by_subject: dict[str, list[EventId]] = {}
    times_of: dict[str, list[int]] = {}
    by_instrument: dict[ThingId, list[EventId]] = {}
    by_unit: dict[str, list[EventId]] = {}
    changes: Changelog = msgspec.field(default_factory=Changelog)
    lineage: Lineage = msgspec.field(default_factory=Lineage)
    withdrawals: dict[EventId, Withdrawal] = {}
    withdrawn_of: dict[str, list[EventId]] = {}
    waivers: dict[ThingId, list[Waiver]] = {}
    limits: dict[str, list[LimitEntry]] = {}
    repairs: dict[EventId, list[Repair]] = {}
    releases: dict[EventId, list[Release]] = {}
    contexts: dict[str, list[ContextReading]] = {}
    passings: dict[ThingId, list[Passing]] = {}
    adopted: list[tuple[EventId, CatalogueAdopted]] = []
    dives_ended: dict[ThingId, list[DiveEnd]] = {}
    dive_days: dict[ThingId, list[tuple[EventId, int]]] = {}
    last_event_ms: dict[ThingId, int] = {}
    declared: dict[DeviceId, Declared] = {}
    count: int = 0
    end: Order | None = None
    latest_ms: int = 0
    answers_from_ms: int = 0
    since: set[EventId] | None = None
    kept_heads: dict[DeviceId, int] = {}
    memo: Memo = msgspec.field(default_factory=Memo)

    def take(self, event: Event, catalogue: Catalogue) -> None:
        """File one event. Events that mean nothing to judgement are only counted; one taken already is left alone.

        Raises
        ------
        RecordError
            If the event belongs before the last one taken: the record has to be folded anew.
        """
        order = event.order
        if self.end is not None and order <= self.end:
            if order == self.end:
                return
            raise RecordError(
                "An event belongs before the last one that the book has taken", next_step="Fold the record anew"
            )
        if self.since is not None:
            require_within(self, self.since, event)
        branch = self.lineage.take(event)
        self.count += 1
        self.end = order
        if self.since is not None:
            self.since.add(event.id)
        payload = event.payload
        kind = event.envelope.kind
        if isinstance(payload, EvidenceRecorded):
            self._evidence(event, order, branch, payload, catalogue)
            return
        self._reach(event.envelope.occurred_at.epoch_ms, event.envelope.recorded_at.epoch_ms)
        if payload is None and kind.startswith(_MEANS_SOMETHING):
            self._not_understood(event, order, branch)
            if kind.startswith("unit."):
                self.world.apply(event)
        elif kind.startswith("unit."):
            self._unit_event(event, order, branch, catalogue)
        elif kind == WITHDRAWN:
            self._withdrawal(event, order, branch)
        elif isinstance(payload, LimitSet | LimitConfirmed):
            self._limit(event, branch, payload)
        else:
            self._statement(event, branch)

    def _reach(self, *times_ms: int) -> None:
        self.latest_ms = max(self.latest_ms, *times_ms)

    def follows(self, event: Event) -> bool:
        """Whether the event comes after all that were taken, so that the fold can go on with it."""
        return self.end is None or event.order > self.end

    # --- what was filed ---------------------------------------------------------------------------------------------

    def of(self, step: str, subject: str) -> list[Item]:
        """All evidence of a step about a subject, oldest first by the time at which it was read."""
        if not subject:
            return []
        return [self.items[event] for event in self.by_subject.get(f"{step} {subject}", ())]

    def dives_before(self, unit: ThingId, moment_ms: float) -> int:
        """How many dives of the unit had ended by then."""
        return bisect_right(self.dives_ended.get(unit, ()), moment_ms, key=_ended)

    def episode_at(self, unit: ThingId, kind: EpisodeKind, moment_ms: int) -> EventId:
        """The episode of that kind that was open at the moment; empty if none was, or if it was taken back."""
        for episode in reversed(self.world.stretches.get(self.world.canonical(unit), {}).get(kind, ())):
            if episode.began.epoch_ms <= moment_ms:
                ended = episode.ended is not None and episode.ended.epoch_ms <= moment_ms
                return "" if ended or episode.id in self.withdrawals else episode.id
        return ""

    def last_dive_day_ms(self, unit: ThingId, moment_ms: float) -> int | None:
        """When the last dive day that had begun by then began; None if none had.

        A day that was taken back is none, unless there is no other: nothing gets younger by taking it back.
        """
        days = self.dive_days.get(unit, [])
        begun = days[: bisect_right(days, moment_ms, key=_began)]
        standing = next((began for event, began in reversed(begun) if event not in self.withdrawals), None)
        return begun[-1][1] if standing is None and begun else standing

    def context_at(self, unit: ThingId, name: str, moment_ms: float) -> ContextReading | None:
        """The latest reading of the surroundings made by that moment that was not taken back."""
        readings = self.contexts.get(f"{unit} {name}", ())
        for place in range(bisect_right(readings, moment_ms, key=_occurred) - 1, -1, -1):
            if readings[place].event not in self.withdrawals:
                return readings[place]
        return None

    def contexts_from(self, unit: ThingId, name: str, moment_ms: int) -> list[ContextReading]:
        """Readings of the surroundings made then or later, oldest first, those taken back among them."""
        readings = self.contexts.get(f"{unit} {name}", [])
        return readings[bisect_left(readings, moment_ms, key=_occurred) :]

    # --- filing evidence --------------------------------------------------------------------------------------------

    def _evidence(
        self, event: Event, order: Order, branch: int, payload: EvidenceRecorded, catalogue: Catalogue
    ) -> None:
        envelope = event.envelope
        recorded_ms = envelope.recorded_at.epoch_ms
        claimed_ms = recorded_ms if envelope.occurred_at == envelope.recorded_at else envelope.occurred_at.epoch_ms
        occurred_ms = min(claimed_ms, recorded_ms)
        self._reach(claimed_ms, recorded_ms)
        unit = self.world.canonical(payload.unit)
        subject = self._key(payload.subject)
        step = catalogue.steps.get(payload.step)
        about = dict.fromkeys((*(self.world.canonical(one) for one in envelope.subjects), *key_things(subject)))
        item = Item(
            event=event.id,
            order=order,
            device=envelope.device,
            branch=branch,
            sequence=envelope.sequence,
            seen=envelope.seen,
            occurred=envelope.occurred_at,
            occurred_ms=occurred_ms,
            recorded_ms=recorded_ms,
            read_by=envelope.read_by,
            typed_by=envelope.typed_by,
            step=payload.step,
            unit=unit,
            subject=subject,
            position=payload.position,
            things=tuple(about),
            payload=payload,
            dive_day=self._episode_now(unit, "dive-day", occurred_ms),
            assembly=self._episode_now(unit, "assembly", occurred_ms),
            preparation=self._episode_now(unit, "preparation", occurred_ms),
            dives=self.dives_before(unit, occurred_ms),
            prerequisites=self._prerequisites(unit, step, payload, occurred_ms, catalogue),
        )
        self.items[event.id] = item
        self._index(item)
        if event.id in self.withdrawals:  # by a device that cannot have had it, if its clock is to be believed
            self._take_out(item)
        if step is not None:
            for one in step.inputs:
                if one.context and payload.readings.get(one.name):
                    context = ContextReading(
                        reading=payload.readings[one.name][0], occurred_ms=occurred_ms, event=event.id
                    )
                    insort(self.contexts.setdefault(f"{unit} {one.context}", []), context, key=_occurred)
        if occurred_ms > self.last_event_ms.get(unit, 0):
            self.last_event_ms[unit] = occurred_ms

    def _index(self, item: Item) -> None:
        if item.subject:
            key = f"{item.step} {item.subject}"
            filed = self.by_subject.get(key)
            if filed is None:
                filed, times = self.by_subject[key], self.times_of[key] = [], []
            else:
                times = self.times_of[key]
            if times and times[-1] > item.occurred_ms:
                place = bisect_right(times, item.occurred_ms)
                filed.insert(place, item.event)
                times.insert(place, item.occurred_ms)
            else:
                filed.append(item.event)
                times.append(item.occurred_ms)
        self.by_unit.setdefault(f"{item.step} {item.unit}", []).append(item.event)
        for instrument in item.payload.instruments:
            self.by_instrument.setdefault(self.world.canonical(instrument), []).append(item.event)

    def _episode_now(self, unit: ThingId, kind: EpisodeKind, moment_ms: int) -> EventId:
        stretches = self.world.stretches.get(unit, {}).get(kind)
        if not stretches:
            return ""
        began_ms = self.memo.began_ms.get(stretches[-1].id)
        if began_ms is None:
            began_ms = self.memo.began_ms[stretches[-1].id] = stretches[-1].began.epoch_ms
        if stretches[-1].is_open and began_ms <= moment_ms and stretches[-1].id not in self.withdrawals:
            return stretches[-1].id
        return self.episode_at(unit, kind, moment_ms)

    def _key(self, subject: str) -> str:
        if JOIN not in subject:
            return self.world.canonical(subject)
        return JOIN.join(self.world.canonical(part) for part in subject.split(JOIN))

    def _prerequisites(
        self, unit: ThingId, step: Step | None, payload: EvidenceRecorded, occurred_ms: int, catalogue: Catalogue
    ) -> tuple[Prerequisite, ...]:
        if step is None or not step.after:
            return ()
        plan = self.memo.plans.get((unit, step.id))
        if plan is None:
            plan = self.memo.plans[unit, step.id] = self._order_plan(unit, step, catalogue)
        found: list[Prerequisite] = []
        for kind, maker, key, about in plan:
            if maker and not about:  # an instrument: whichever of those used has been checked
                keys = [self.world.canonical(one) for one in payload.instruments]
                checks = {one: self._newest(f"{maker} {one}", occurred_ms) for one in keys}
                good = {one: check for one, check in checks.items() if check} or {"": ""}
                found += [Prerequisite(kind=kind, step=maker, about=one, event=event) for one, event in good.items()]
            else:
                event = self._newest(f"{maker} {key}", occurred_ms) if key else ""
                found.append(Prerequisite(kind=kind, step=maker, about=about, event=event))
        return tuple(found)

    def _order_plan(self, unit: ThingId, step: Step, catalogue: Catalogue) -> tuple[tuple[str, str, str, str], ...]:
        """Kind, step, subject's key and what it is about, of everything that has to be current before a step."""
        configuration = self.world.configuration(unit)
        if configuration is None:
            return tuple((kind, "", "", "") for kind in step.after)
        plan: list[tuple[str, str, str, str]] = []
        for kind in step.after:
            for maker in asked_steps(catalogue, kind, hold_of(catalogue, step), configuration):
                if maker.scope.each == "instrument":
                    plan.append((kind, maker.id, "", ""))
                else:
                    abouts = subjects(self.world, unit, maker)
                    plan.extend((kind, maker.id, one.key, one.key or one.position) for one in abouts)
        return tuple(plan)

    def _newest(self, key: str, moment_ms: int) -> EventId:
        place = bisect_right(self.times_of.get(key, ()), moment_ms)
        return self.by_subject[key][place - 1] if place else ""

    # --- filing what happened to units ------------------------------------------------------------------------------

    def _unit_event(self, event: Event, order: Order, branch: int, catalogue: Catalogue) -> None:
        payload, envelope = event.payload, event.envelope
        if isinstance(payload, ChangeMade):
            if envelope.subjects:
                self._change(event, order, branch, payload, catalogue)
        elif isinstance(payload, EpisodeBegan):
            if payload.episode == "dive-day":
                for unit in dict.fromkeys(self.world.canonical(one) for one in envelope.subjects):
                    self._dive_day(unit, event, order, branch)
        else:
            for exchange in exchanges(self.world, event):
                self._exchanged(exchange, event, order, branch, catalogue)
        self.memo.plans.clear()
        self.world.apply(event)
        if isinstance(payload, ThingsSame):
            self._make_one()
        for subject in envelope.subjects[:1]:
            occurred_ms = envelope.occurred_at.epoch_ms
            self.last_event_ms[subject] = max(occurred_ms, self.last_event_ms.get(subject, 0))

    def _entry(
        self,
        event: Event,
        order: Order,
        branch: int,
        change: str,
        unit: ThingId,
        *,
        occurred_ms: int | None = None,
        things: frozenset[ThingId] = frozenset(),
        side: frozenset[ThingId] = frozenset(),
        answers: dict[str, str] | None = None,
        note: str = "",
        timed: bool = False,
        inferred: bool = False,
    ) -> ChangeEntry:
        envelope = event.envelope
        entry = ChangeEntry(
            event=event.id,
            change=change,
            unit=unit,
            device=envelope.device,
            branch=branch,
            sequence=envelope.sequence,
            order=order,
            occurred_ms=envelope.occurred_at.epoch_ms if occurred_ms is None else occurred_ms,
            things=things,
            side=side,
            answers=answers or {},
            person=envelope.read_by,
            typed_by=envelope.typed_by,
            note=note,
            zone=envelope.occurred_at.zone,
            timed=timed,
            inferred=inferred,
        )
        self.changes.add(entry)
        return entry

    def _change(self, event: Event, order: Order, branch: int, payload: ChangeMade, catalogue: Catalogue) -> None:
        envelope = event.envelope
        unit = self.world.canonical(envelope.subjects[0])
        things, side = touched(self.world, unit, payload.positions, envelope.subjects[1:])
        change = catalogue.changes.get(payload.change)
        entry = self._entry(
            event,
            order,
            branch,
            payload.change if change is not None else NOT_UNDERSTOOD,
            unit,
            things=things,
            side=side,
            answers=dict(payload.answers),
            note=payload.note,
        )
        declared = self.declared.get(envelope.device)
        if declared is None or declared.recorded_at != envelope.recorded_at.at:
            declared = self.declared[envelope.device] = Declared(recorded_at=envelope.recorded_at.at)
        declared.changes.append((unit, payload.positions, things))
        if change is not None and change.does == "ends dive":
            dive = DiveEnd(event=event.id, ended_ms=entry.occurred_ms)
            insort(self.dives_ended.setdefault(unit, []), dive, key=_ended)

    def _exchanged(self, exchange: Exchange, event: Event, order: Order, branch: int, catalogue: Catalogue) -> None:
        envelope = event.envelope
        declared = self.declared.get(envelope.device)
        if declared is not None and declared.covers(exchange, envelope.recorded_at.at):
            return
        positions = (exchange.position,) if exchange.position else ()
        things, side = touched(self.world, exchange.unit, positions, exchange.things)
        if exchange.leaves:
            gone, _ = touched(self.world, exchange.unit, (), (exchange.leaves,))
            things, side = things - gone, side - gone
        change = undeclared_change(catalogue, self.world, exchange)
        self._entry(event, order, branch, change, exchange.unit, things=things, side=side, inferred=True)

    def _dive_day(self, unit: ThingId, event: Event, order: Order, branch: int) -> None:
        began_ms = event.envelope.occurred_at.epoch_ms
        self._stood_unused(unit, self.last_dive_day_ms(unit, inf), began_ms, event, order, branch)
        insort(self.dive_days.setdefault(unit, []), (event.id, began_ms), key=_began)

    def _stood_unused(
        self, unit: ThingId, before: int | None, began_ms: int, event: Event, order: Order, branch: int
    ) -> None:
        if before is not None and began_ms - before > UNUSED_MS:
            self._entry(event, order, branch, UNUSED_CHANGE, unit, occurred_ms=before + UNUSED_MS, timed=True)

    def _not_understood(self, event: Event, order: Order, branch: int) -> None:
        """What cannot be read here may be anything: it counts against all that it names, or against everything."""
        subjects_named = [self.world.canonical(one) for one in event.envelope.subjects] or [EVERYTHING]
        self._entry(event, order, branch, NOT_UNDERSTOOD, subjects_named[0], things=frozenset(subjects_named[1:]))

    # --- filing what people stated ----------------------------------------------------------------------------------

    def _withdrawal(self, event: Event, order: Order, branch: int) -> None:
        target: EventId = getattr(event.payload, "event", "")
        if target in self.withdrawals:
            return
        envelope = event.envelope
        self.withdrawals[target] = Withdrawal(
            event=target,
            by=event.id,
            reason=getattr(event.payload, "reason", ""),
            person=envelope.read_by,
            occurred_ms=envelope.occurred_at.epoch_ms,
            order=order,
            device=envelope.device,
            branch=branch,
            sequence=envelope.sequence,
        )
        item = self.items.get(target)
        if item is not None:
            self._take_out(item)
        for unit, days in self.dive_days.items():
            place = next((n for n, (day, _) in enumerate(days) if day == target), None)
            if place is None:
                continue
            before = next((began for day, began in reversed(days[:place]) if day not in self.withdrawals), None)
            after = next((began for day, began in days[place + 1 :] if day not in self.withdrawals), None)
            if after is not None:
                self._stood_unused(unit, before, after, event, order, branch)

    def _take_out(self, item: Item) -> None:
        self.withdrawn_of.setdefault(f"{item.step} {item.subject}", []).append(item.event)

    def _limit(self, event: Event, branch: int, payload: LimitSet | LimitConfirmed) -> None:
        unit = self.world.canonical(payload.unit)
        self.limits.setdefault(f"{unit} {payload.limit}", []).append(limit_entry(event, branch, payload))

    def _statement(self, event: Event, branch: int) -> None:
        payload = event.payload
        if isinstance(payload, WaiverGiven):
            unit, occurred_ms = self.world.canonical(payload.unit), event.envelope.occurred_at.epoch_ms
            given = waiver(
                event,
                branch,
                payload,
                dives=self.dives_before(unit, occurred_ms),
                dive_day=self.episode_at(unit, "dive-day", occurred_ms),
            )
            self.waivers.setdefault(unit, []).append(given)
        elif isinstance(payload, RepairMade):
            made = repair(event, branch, payload)
            for mended in dict.fromkeys(payload.mends):
                self.repairs.setdefault(mended, []).append(made)
        elif isinstance(payload, HoldReleased):
            self.releases.setdefault(payload.hold, []).append(release(event, payload))
        elif isinstance(payload, HoldPassed):
            self.passings.setdefault(self.world.canonical(payload.unit), []).append(passing(event, payload))
        elif isinstance(payload, CatalogueAdopted):
            self.adopted.append((event.id, payload))

    # --- filing anew ------------------------------------------------------------------------------------------------

    def file_again(self, items: Iterable[Item]) -> None:
        """File these items and no others, in the order in which they were recorded."""
        self.by_subject, self.times_of, self.by_instrument, self.by_unit = {}, {}, {}, {}
        self.items = {item.event: item for item in sorted(items, key=lambda one: one.order)}
        for item in self.items.values():
            self._index(item)
        self.withdrawn_of = {}
        for target in self.withdrawals:
            withdrawn = self.items.get(target)
            if withdrawn is not None:
                self._take_out(withdrawn)

    def _make_one(self) -> None:
        """Two things turned out to be one. Keys are made from identities, so all is filed under those they have now."""
        name = self.world.canonical
        self.memo.clear()
        self.file_again(
            msgspec.structs.replace(
                item,
                unit=name(item.unit),
                subject=self._key(item.subject),
                things=tuple(dict.fromkeys(map(name, item.things))),
            )
            for item in self.items.values()
        )
        self.changes = self.changes.renamed(name)
        self.contexts = joined(self.contexts, name, _occurred)
        self.limits = joined(self.limits, name, lambda one: one.order)
        self.waivers = joined(self.waivers, name, lambda one: one.order)
        self.dives_ended = joined(self.dives_ended, name, _ended)
        self.dive_days = joined(self.dive_days, name, _began)
        self.passings = joined(self.passings, name, lambda one: one.occurred.epoch_ms)


def _occurred(reading: ContextReading) -> int:
    return reading.occurred_ms


def _began(day: tuple[EventId, int]) -> int:
    return day[1]


def _ended(dive: DiveEnd) -> int:
    return dive.ended_ms
