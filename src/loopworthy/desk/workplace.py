"""Where the use cases work: a record, the catalogue that holds for it, and a clock.

The fold of the record is kept and carried on as events arrive; an event that belongs before the last one known makes
it start afresh, so that what is answered never depends on the order of arrival. Of a long record a short book is kept
in the store, from which a verdict can be told without reading all of it; it is only a short cut and may be deleted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from typing import Final

from loopworthy.desk.apart import EntriesApart, EntryApart
from loopworthy.judgement.apart import Caution, cautions
from loopworthy.judgement.book import Book
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.outstanding import Task, outstanding
from loopworthy.judgement.snapshot import from_bytes, to_bytes
from loopworthy.judgement.standing import Bench
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.record.chain import Writer
from loopworthy.record.record import Record
from loopworthy.record.store import Snapshot
from loopworthy.unit.things import Thing
from loopworthy.unit.world import World
from loopworthy.vocabulary.errors import InputError, RecordError, StoreError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, ThingId, short
from loopworthy.vocabulary.time import Moment

SHORT_BOOK: Final = "verdict"
"""Under this name the store keeps the short book."""
KEEP_AFTER_EVENTS: Final = 2000
"""After so many further events the short book is made anew: about two weeks of one unit's days."""


@dataclass(slots=True, kw_only=True)
class _Judged:
    """What was worked out for one moment from a book of so many events."""

    bench: Bench
    count: int
    verdicts: dict[ThingId, Verdict] = field(default_factory=dict)


class Workplace:
    """A record open for work.

    Parameters
    ----------
    record : Record
    catalogue : Catalogue
    clock : callable
        Gives the moment that counts as now, with the zone of the site.
    short : bool
        Whether a short book is enough: for verdicts of now and what is outstanding, not for history or past moments.
    """

    def __init__(
        self, record: Record, catalogue: Catalogue, clock: Callable[[], Moment], *, short: bool = False
    ) -> None:
        self.record = record
        self.catalogue = catalogue
        self.clock = clock
        self._short = short
        self._book = Book()
        self._through = 0
        self._last: tuple[int, int, str, int, str] | None = None
        self._kept_through: int | None = None
        self._departures = record.departures
        self._apart = EntriesApart(record)
        self._judged: _Judged | None = None

    def now(self) -> Moment:
        """The present moment at the site."""
        return self.clock()

    def writer(self, now: Moment | None = None) -> Writer:
        """Adds events to this device's chain."""
        return self.record.writer(now or self.now())

    def book(self) -> Book:
        """The record, folded up to its last event."""
        departures = self.record.departures
        if departures != self._departures:  # events that were folded here have been set apart since
            self._book, self._short, self._last = Book(), False, None
            self._through, self._kept_through, self._departures = 0, None, departures
        if self._short and not self._through:
            self._take_up_short_book()
            if self._book.answers_from_ms > self.now().epoch_ms:  # a clock here or there is wrong
                self._fold_anew()
        arrivals = self.record.events_since(self._through)
        if arrivals.events:
            news = sorted(arrivals.events, key=lambda event: event.order)
            if self._last is not None and news[0].order < self._last:
                self._fold_anew()
            else:
                try:
                    self._take(news)
                except RecordError:  # it reaches back behind a short book
                    if not self._short:
                        raise
                    self._fold_anew()
            self._through = arrivals.through
            self._keep_short_book()
        return self._book

    def _take(self, events: Iterable[Event]) -> None:
        for event in events:
            self._book.take(event, self.catalogue)
            self._last = event.order

    def _fold_anew(self) -> None:
        self._book, self._short, self._last = Book(), False, None
        self._take(self.record.events())

    def _take_up_short_book(self) -> None:
        kept = self.record.store.snapshot(SHORT_BOOK)
        if kept is None:
            return
        try:
            taken_up = from_bytes(kept.body, self.catalogue)
        except InputError:
            return  # of another version or catalogue: the record itself is read
        self._book, self._through, self._last = taken_up.book, taken_up.through, taken_up.book.end

    def _keep_short_book(self) -> None:
        store = self.record.store
        if self._kept_through is None:
            kept = store.snapshot(SHORT_BOOK)
            self._kept_through = kept.through if kept is not None else 0
        if self._through - self._kept_through < KEEP_AFTER_EVENTS or store.in_transaction:
            return
        self._kept_through = self._through
        # A file that cannot be written is read in full each time; that is slow, not wrong.
        with suppress(StoreError):
            body = to_bytes(self._book, self.catalogue, through=self._through)
            store.put_snapshot(SHORT_BOOK, Snapshot(through=self._through, body=body))

    @property
    def world(self) -> World:
        """Things, fittings and episodes as the record has them."""
        return self.book().world

    def bench(self, at: Moment | None = None) -> Bench:
        """Answers how evidence stands at a moment; the same one for as long as moment and record are the same."""
        return self._judged_at(at or self.now()).bench

    def verdict(self, unit: ThingId, at: Moment | None = None) -> Verdict:
        """The verdict on a unit, now or at a moment, with the cautions that it has to carry now."""
        moment = at or self.now()
        judged = self._judged_at(moment)
        verdict = judged.verdicts.get(unit)
        if verdict is None:
            verdict = judge_unit(judged.bench.book, self.catalogue, unit, moment, bench=judged.bench)
            judged.verdicts[unit] = verdict
        found = self.cautions(verdict.unit)
        return replace(verdict, cautions=found) if found else verdict

    def outstanding(self, unit: ThingId, at: Moment | None = None) -> tuple[Task, ...]:
        """The smallest set of steps that restores readiness."""
        moment = at or self.now()
        verdict, judged = self.verdict(unit, moment), self._judged_at(moment)
        return outstanding(judged.bench.book, self.catalogue, verdict, bench=judged.bench)

    def _judged_at(self, moment: Moment) -> _Judged:
        """What was worked out for a moment: kept until another one is asked for, or the record knows more.

        A moment is one request of a page, which asks for verdict, what is outstanding and single standings of several
        units. Nothing is kept over a later moment: what a clock ends is judged at that moment and no other.
        """
        book = self.book()
        known = self._judged
        if (
            known is None
            or known.bench.book is not book
            or known.count != book.count
            or known.bench.moment != moment
            or known.bench.catalogue is not self.catalogue
        ):
            known = _Judged(bench=Bench(book, self.catalogue, moment), count=book.count)
            self._judged = known
        return known

    def apart(self) -> tuple[EntryApart, ...]:
        """Entries that lie beside the record now; they count for nothing."""
        return self._apart.now(self.now())

    def device_name(self, device: DeviceId) -> str:
        """What people call a device that wrote an entry, in the record or beside it."""
        return self._apart.device_name(device, self.now())

    def cautions(self, unit: ThingId) -> tuple[Caution, ...]:
        """What has to be shown with any verdict on a unit now, because of entries beside the record."""
        apart = self.apart()
        if not apart:
            return ()
        return cautions(self.book(), self.catalogue, unit, ((one.why, one.event) for one in apart))

    # --- finding things by what people type -------------------------------------------------------------------------

    def unit(self, name: str) -> ThingId:
        """The unit of that name, serial or identity (or the beginning of the identity).

        Raises
        ------
        UnknownNameError
            If there is none.
        InputError
            If there are several.
        """
        return self._find("unit", name)

    def person(self, name: str) -> ThingId:
        """The person of that name or identity."""
        return self._find("person", name)

    def instrument(self, name: str) -> ThingId:
        """The instrument of that name, serial or identity."""
        return self._find("instrument", name)

    def _find(self, kind: str, text: str) -> ThingId:
        world = self.world
        things = [one for one in world.things.values() if one.kind == kind]
        wanted = text.strip().lower()
        exact = [one for one in things if wanted and wanted in (self._own_name(one), one.serial.lower(), one.id)]
        met = exact or [one for one in things if len(wanted) >= 6 and one.id.startswith(wanted)]
        found = [world.thing(one) for one in dict.fromkeys(world.canonical(one.id) for one in met)]
        if not found:
            raise UnknownNameError(kind, text, tuple(sorted({self.name(one.id) for one in things})))
        if len(found) > 1:
            raise InputError(
                kind,
                text,
                "the name of one only",
                next_step=f"Use its identity: {', '.join(short(one.id) for one in found)}",
            )
        return found[0].id

    def _own_name(self, thing: Thing) -> str:
        """What it was called itself, in small letters, also where it turned out to be another."""
        if thing.id not in self.world.same_as:
            return self.name(thing.id).lower()
        return (self.record.words(thing.name_digest) if thing.name_digest else thing.name).lower()

    def name(self, thing: ThingId) -> str:
        """What people call a thing; for a person the name kept beside the record."""
        if not thing:
            return ""
        world = self.world
        if world.canonical(thing) not in world.things:
            return short(thing)
        one = world.thing(thing)
        if one.kind == "person":
            return self.record.words(world.person_digest(thing))
        return one.name or world.label(thing)
