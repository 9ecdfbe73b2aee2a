"""Where the use cases work: a record, the catalogue that holds for it, and a clock.

The fold of the record is kept and carried on as events arrive; an event that belongs before the last one known makes
it start afresh, so that what is answered never depends on the order of arrival.
"""

from __future__ import annotations

from collections.abc import Callable

from loopworthy.judgement.book import Book
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.outstanding import Task, outstanding
from loopworthy.judgement.standing import Bench
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.record.chain import Writer
from loopworthy.record.record import Record
from loopworthy.unit.world import World
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId, short
from loopworthy.vocabulary.time import Moment

ENGINE = "1"
"""Version of the rules by which verdicts are made; recorded with every hold that is passed."""


class Workplace:
    """A record open for work.

    Parameters
    ----------
    record : Record
    catalogue : Catalogue
    clock : callable
        Gives the moment that counts as now, with the zone of the site.
    """

    def __init__(self, record: Record, catalogue: Catalogue, clock: Callable[[], Moment]) -> None:
        self.record = record
        self.catalogue = catalogue
        self.clock = clock
        self._book = Book()
        self._through = 0
        self._last: tuple[int, int, str, int, str] | None = None

    def now(self) -> Moment:
        """The present moment at the site."""
        return self.clock()

    def writer(self, now: Moment | None = None) -> Writer:
        """Adds events to this device's chain."""
        return self.record.writer(now or self.now())

    def book(self) -> Book:
        """The record, folded up to its last event."""
        arrivals = self.record.events_since(self._through)
        if arrivals.events:
            news = sorted(arrivals.events, key=lambda event: event.order)
            if self._last is not None and news[0].order < self._last:
                self._book = Book()
                news = list(self.record.events())
            for event in news:
                self._book.take(event, self.catalogue)
            self._through, self._last = arrivals.through, news[-1].order
        return self._book

    @property
    def world(self) -> World:
        """Things, fittings and episodes as the record has them."""
        return self.book().world

    def bench(self, at: Moment | None = None) -> Bench:
        """Answers how evidence stands at a moment."""
        return Bench(self.book(), self.catalogue, at or self.now())

    def verdict(self, unit: ThingId, at: Moment | None = None) -> Verdict:
        """The verdict on a unit, now or at a moment."""
        return judge_unit(self.book(), self.catalogue, unit, at or self.now())

    def outstanding(self, unit: ThingId, at: Moment | None = None) -> tuple[Task, ...]:
        """The smallest set of steps that restores readiness."""
        return outstanding(self.book(), self.catalogue, self.verdict(unit, at))

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
        things = self.world.of_kind(kind)
        wanted = text.strip().lower()
        exact = [one for one in things if wanted and wanted in (self.name(one.id).lower(), one.serial.lower(), one.id)]
        found = exact or [one for one in things if len(wanted) >= 6 and one.id.startswith(wanted)]
        if not found:
            raise UnknownNameError(kind, text, tuple(sorted(self.name(one.id) for one in things)))
        if len(found) > 1:
            raise InputError(
                kind,
                text,
                "the name of one only",
                next_step=f"Use its identity: {', '.join(short(one.id) for one in found)}",
            )
        return found[0].id

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
