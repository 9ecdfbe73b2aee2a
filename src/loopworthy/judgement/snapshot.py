"""A book as bytes, kept short, so that the next start need not read the whole record.

What is kept is found by asking: every question that a verdict at the end of the record can lead to is put, and what
the answers touched is kept, with everything that later events may add to. A book taken up from there gives the same
verdicts from its end on, and refuses what reaches back behind it (see `reach`). Snapshots may be deleted at any time.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Final, cast

import msgspec

from loopworthy import __version__
from loopworthy.judgement.book import Book, ContextReading, Item, LimitEntry, Release, Repair, Waiver, Withdrawal
from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.judgement.changelog import NOT_UNDERSTOOD, ChangeEntry, Changelog
from loopworthy.judgement.engine import ENGINE
from loopworthy.judgement.events import CatalogueAdopted
from loopworthy.judgement.exchanges import Declared
from loopworthy.judgement.filed import DiveEnd, Order
from loopworthy.judgement.lineage import Lineage
from loopworthy.judgement.standing import Bench
from loopworthy.judgement.subjects import Subject, instrument_subject
from loopworthy.unit.world import World
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId
from loopworthy.vocabulary.time import moment_from_epoch_ms

FORM: Final = f"2 {ENGINE} {__version__}"
"""Version of this form, of the rules and of the program; a snapshot of another version is of no use."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Snapshot:
    """A book taken up again.

    Attributes
    ----------
    book : Book
        Goes on with the events behind `through`.
    through : int
        The position of the store up to which all events were taken, as it was given when the snapshot was made.
    """

    book: Book
    through: int


class _Kept(msgspec.Struct, array_like=True):
    engine: str
    catalogue: str
    through: int
    end: Order | None
    count: int
    latest_ms: int
    world: bytes
    items: list[Item]
    changes: list[ChangeEntry]
    lineage: Lineage
    withdrawals: list[Withdrawal]
    waivers: dict[ThingId, list[Waiver]]
    limits: dict[str, list[LimitEntry]]
    repairs: dict[EventId, list[Repair]]
    releases: dict[EventId, list[Release]]
    contexts: dict[str, list[ContextReading]]
    adopted: list[tuple[EventId, CatalogueAdopted]]
    dives_ended: dict[ThingId, list[DiveEnd]]
    dive_days: dict[ThingId, list[tuple[EventId, int]]]
    last_event_ms: dict[ThingId, int]
    declared: dict[DeviceId, Declared]
    failed: dict[EventId, bool]
    factors: dict[EventId, float | None]


def to_bytes(book: Book, catalogue: Catalogue, *, through: int = 0) -> bytes:
    """A book as bytes, with what verdicts from its end on need.

    Parameters
    ----------
    book : Book
        The whole record, folded with this catalogue (or a short book that goes on).
    through : int
        Position of the store up to which all events were taken; given back by `from_bytes`.
    """
    trace = _Trace(book, catalogue)
    items = sorted(trace.items.values(), key=lambda one: one.order)
    names = {item.event for item in items}
    kept = _Kept(
        engine=FORM,
        catalogue=catalogue.digest,
        through=through,
        end=book.end,
        count=book.count,
        latest_ms=max(book.latest_ms, book.answers_from_ms),
        world=book.world.to_bytes(),
        items=items,
        changes=[entry for entry in book.changes.all if id(entry) in trace.changes or _opens_hold(catalogue, entry)],
        lineage=book.lineage.shortened(),
        withdrawals=list(book.withdrawals.values()),
        waivers=book.waivers,
        limits=book.limits,
        repairs={event: repairs for event, repairs in book.repairs.items() if event in names},
        releases=book.releases,
        contexts=trace.contexts,
        adopted=book.adopted[-1:],
        dives_ended=book.dives_ended,
        dive_days=book.dive_days,
        last_event_ms=book.last_event_ms,
        declared=book.declared,
        failed={event: failed for event, failed in book.memo.failed.items() if event in names},
        factors={event: factor for event, factor in book.memo.factors.items() if event in names},
    )
    return msgspec.msgpack.encode(kept)


def from_bytes(data: bytes, catalogue: Catalogue) -> Snapshot:
    """A book taken up again from `to_bytes`.

    Raises
    ------
    InputError
        If the bytes are no snapshot of this version and catalogue; fold the record anew then.
    """
    try:
        kept = msgspec.msgpack.decode(data, type=_Kept)
        world = World.from_bytes(kept.world)
    except (msgspec.MsgspecError, InputError, UnicodeDecodeError) as error:
        raise _useless(data, "a snapshot that can be read") from error
    if kept.engine != FORM or kept.catalogue != catalogue.digest:
        raise _useless(data, f"one of engine {FORM} and catalogue {catalogue.digest[:12]}")
    book = Book(
        world=world,
        changes=Changelog(kept.changes),
        lineage=kept.lineage,
        withdrawals={one.event: one for one in kept.withdrawals},
        waivers=kept.waivers,
        limits=kept.limits,
        repairs=kept.repairs,
        releases=kept.releases,
        contexts=kept.contexts,
        adopted=kept.adopted,
        dives_ended=kept.dives_ended,
        dive_days=kept.dive_days,
        last_event_ms=kept.last_event_ms,
        declared=kept.declared,
        count=kept.count,
        end=kept.end,
        latest_ms=kept.latest_ms,
        answers_from_ms=kept.latest_ms,
        since=set(),
        kept_heads={device: max(line.last for line in lines) for device, lines in kept.lineage.lines.items()},
    )
    book.file_again(kept.items)
    book.memo.failed.update(kept.failed)
    book.memo.factors.update(kept.factors)
    return Snapshot(book=book, through=kept.through)


def _useless(data: bytes, wanted: str) -> InputError:
    return InputError("snapshot", f"{len(data)} bytes", wanted, next_step="Fold the record anew")


def _opens_hold(catalogue: Catalogue, entry: ChangeEntry) -> bool:
    change = catalogue.changes.get(entry.change)
    return entry.change == NOT_UNDERSTOOD or (change is not None and bool(change.hold))


# --- what the questions touch ---------------------------------------------------------------------------------------


class _NotedItems(dict[EventId, Item]):
    """Evidence, with a note of what was looked at."""

    def __init__(self, items: dict[EventId, Item]) -> None:
        super().__init__(items)
        self.noted: dict[EventId, Item] = {}

    def __getitem__(self, event: EventId) -> Item:
        item = super().__getitem__(event)
        self.noted[event] = item
        return item

    def get(self, event: EventId, default: object = None) -> Item | None:  # type: ignore[override]
        if event not in self:
            return None
        return self[event]


class _NotedChanges:
    """Changes, with a note of those that answered a question."""

    def __init__(self, changes: Changelog) -> None:
        self._changes = changes
        self.noted: set[int] = set()

    def __getattr__(self, name: str) -> object:
        return getattr(self._changes, name)

    def about(self, *args: object) -> list[ChangeEntry]:
        return self._note(list(self._changes.about(*args)))  # type: ignore[arg-type]

    def undoing(self, *args: object, **named: object) -> list[ChangeEntry]:
        return self._note(list(self._changes.undoing(*args, **named)))  # type: ignore[arg-type]

    def _note(self, entries: list[ChangeEntry]) -> list[ChangeEntry]:
        self.noted.update(id(entry) for entry in entries)
        return entries


class _Trace:
    """Everything that verdicts from the end of the record on may look at.

    Evidence about things that are nowhere is left out: they come back only by an event that a short book refuses.
    """

    def __init__(self, book: Book, catalogue: Catalogue) -> None:
        moment = moment_from_epoch_ms(max(book.latest_ms, book.answers_from_ms))
        self._ask(Bench(book, catalogue, moment))  # what has to be worked out from all evidence is remembered now
        noting, items, changes = copy(book), _NotedItems(book.items), _NotedChanges(book.changes)
        noting.items, noting.changes = items, cast(Changelog, changes)
        bench = Bench(noting, catalogue, moment)
        self._ask(bench)
        self.items, self.changes = items.noted, changes.noted
        self.contexts = self._contexts(bench)

    def _ask(self, bench: Bench) -> None:
        for unit in bench.book.world.units():
            for step in bench.catalogue.steps.values():
                for subject in self._subjects(bench, unit, step):
                    if not subject.missing:
                        self._ask_about(bench, unit, step, subject)

    def _subjects(self, bench: Bench, unit: ThingId, step: Step) -> tuple[Subject, ...]:
        if step.scope.each != "instrument":
            return bench.subjects_of(unit, step)
        world = bench.book.world
        return tuple(instrument_subject(world, one.id) for one in world.of_kind("instrument"))

    def _ask_about(self, bench: Bench, unit: ThingId, step: Step, subject: Subject) -> None:
        bench.failures.now(unit, step.id, subject.key)
        for kind in step.makes:
            bench.standing(unit, step, kind, subject)
        for item in (*bench.window(step.id, subject.key, bench.now), *bench.failed_items(step.id, subject.key)):
            bench.ask_everything(unit, item, step)

    def _contexts(self, bench: Bench) -> dict[str, list[ContextReading]]:
        """Readings of the surroundings since the oldest evidence that is compared with them, and the one before."""
        earliest: dict[str, int] = {}
        for item in self.items.values():
            step = bench.catalogue.steps.get(item.step)
            for kind in step.makes if step is not None else ():
                for name in bench.contexts_of(kind):
                    for unit in bench.book.world.units():
                        key = f"{unit} {name}"
                        earliest[key] = min(earliest.get(key, item.occurred_ms), item.occurred_ms)
        return {
            key: _since(readings, earliest.get(key, bench.at_ms), bench)
            for key, readings in bench.book.contexts.items()
        }


def _since(readings: list[ContextReading], earliest_ms: int, bench: Bench) -> list[ContextReading]:
    place = len([one for one in readings if one.occurred_ms < earliest_ms])
    while place > 0:
        place -= 1
        if bench.withdrawn(readings[place].event) is None:
            break
    return readings[place:]
