"""Readings outside their limit: each stays decisive until a repair names it and a later reading passes.

A reading failed if it lies outside the limits that held when it was recorded and still does outside those that hold
now. So a limit that is tightened afterwards judges the reading that counts, not the whole history: nobody retried.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from loopworthy.judgement.book import Item, Repair, Withdrawal
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.changelog import ChangeEntry
from loopworthy.judgement.limits import limits_when_read
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.states import AsOf
from loopworthy.vocabulary.identity import EventId, ThingId

if TYPE_CHECKING:
    from loopworthy.judgement.standing import Bench


@dataclass(frozen=True, slots=True, kw_only=True)
class Since:
    """After a failed reading only what was read later than this, and knowing of it, counts again."""

    code: str
    cause: EventId
    values: dict[str, str]
    place: Repair | Withdrawal | ChangeEntry | Item


class Failures:
    """Answers for one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._now: dict[tuple[ThingId, str, str], tuple[Item | None, tuple[Since, ...]]] = {}

    def now(self, unit: ThingId, step: str, subject: str) -> tuple[Item | None, tuple[Since, ...]]:
        """The failed reading of a step about a subject that is still open, and what later readings must outlive."""
        key = (unit, step, subject)
        if key not in self._now:
            self._now[key] = self.as_of(unit, step, subject, self._bench.now)
        return self._now[key]

    def as_of(self, unit: ThingId, step: str, subject: str, asof: AsOf) -> tuple[Item | None, tuple[Since, ...]]:
        """As `now`, for another moment."""
        sinces: list[Since] = []
        for item in self.failed(step, subject):
            if item.occurred_ms > asof.changes_until_ms or (asof.order is not None and item.order >= asof.order):
                continue
            since = self._since(unit, item, asof)
            if since is not None:
                sinces.append(since)
            elif self._bench.assess(item, unit).outcome is Outcome.OUTSIDE:
                return item, ()
        return None, tuple(sinces)

    def _since(self, unit: ThingId, item: Item, asof: AsOf) -> Since | None:
        bench = self._bench
        repairs = [
            one
            for one in bench.book.repairs.get(item.event, ())
            if item.occurred_ms <= one.occurred_ms <= asof.ms
            and (asof.order is None or one.order < asof.order)
            and bench.withdrawn(one.event) is None
        ]
        if repairs:
            latest = max(repairs, key=lambda one: one.order)
            values = {"cause": latest.made.cause, "done": latest.made.done}
            return Since(code="mended-needs-reading", cause=latest.event, values=values, place=latest)
        withdrawal = bench.withdrawn(item.event)
        if withdrawal is not None:
            values = {"reason": withdrawal.reason}
            return Since(code="failed-reading-withdrawn", cause=withdrawal.by, values=values, place=withdrawal)
        unsound = bench.soundness.of(unit, item)
        if unsound is not None and unsound.root is not None:
            return Since(code="failed-reading-disproved", cause=unsound.cause, values={}, place=unsound.root)
        return None

    def failed(self, step: str, subject: str) -> Iterator[Item]:
        """Readings that were outside the limits of their time, oldest first."""
        book, memo = self._bench.book, self._bench.book.memo
        key = f"{step} {subject}"
        filed = book.by_subject.get(key)
        if not filed:
            return
        size, failed = memo.failures_of.get(key, (0, []))
        if size != len(filed):
            known = self._bench.catalogue.steps.get(step)
            failed = [event for event in filed if known is not None and self._was_outside(known, book.items[event])]
            memo.failures_of[key] = (len(filed), failed)
        yield from (book.items[event] for event in failed)

    def _was_outside(self, step: Step, item: Item) -> bool:
        memo = self._bench.book.memo
        known = memo.failed.get(item.event)
        if known is None:
            limits = limits_when_read(self._bench.book, item.unit, step, item.order)
            known = self._bench.compare(step, item, limits).outcome is Outcome.OUTSIDE
            memo.failed[item.event] = known
        return known
