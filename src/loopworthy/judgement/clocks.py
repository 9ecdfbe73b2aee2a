"""When evidence ends by itself: by its age, with the episode that it was read in, or on a date that was read.

A step that renews a kind of evidence starts its clock anew, where it has run out but nothing has undone it.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from loopworthy.judgement.book import UNUSED_CHANGE, Item
from loopworthy.judgement.catalogue.model import EvidenceKind, Rule, Step
from loopworthy.judgement.outcome import Finding
from loopworthy.judgement.states import AsOf
from loopworthy.unit.events import EpisodeKind
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import zone

if TYPE_CHECKING:
    from loopworthy.judgement.standing import Bench

MINUTE_MS = 60_000

_LAST_DAY = date(9000, 1, 1)
"""Somebody may write that a stamp holds for ever; the calendar of this program does not."""


class Clocks:
    """Answers for one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def ended(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> tuple[str, dict[str, str]] | None:
        """Why the evidence had ended by itself by that moment; None while it had not."""
        bounds = self._bench.catalogue.evidence[kind]
        ends_ms = self._age_ends_ms(unit, item, kind, asof)
        if ends_ms is not None and asof.ms > ends_ms:
            return "aged", {"ended_ms": str(ends_ms), "after_min": str(bounds.expires_after_min)}
        over = self._episode_over(unit, item, bounds, asof)
        if over:
            return over, {}
        for finding in self._dates(unit, item):
            ends_on = self._last_day(item, finding)
            if asof.ms > self._end_of_day_ms(ends_on):
                return "date-passed", finding.values
        return None

    def until(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> int | None:
        """The last moment at which the evidence counts, if nothing happens; None where no clock runs."""
        ends = [self._age_ends_ms(unit, item, kind, asof)]
        ends += [self._end_of_day_ms(self._last_day(item, finding)) for finding in self._dates(unit, item)]
        if any(rule.change == UNUSED_CHANGE for rule in self._bench.catalogue.rules_hitting[kind]):
            idle_ms = self._bench.idle_from_ms(unit, asof.ms)
            if idle_ms is not None and item.occurred_ms < idle_ms:
                ends.append(idle_ms)
        return min((one for one in ends if one is not None), default=None)

    # --- age --------------------------------------------------------------------------------------------------------

    def _age_ends_ms(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> int | None:
        minutes = self._bench.catalogue.evidence[kind].expires_after_min
        return None if minutes is None else self._started_ms(unit, item, kind, asof) + minutes * MINUTE_MS

    def _started_ms(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> int:
        """When the clock started: at the reading, or at the latest renewal of all that it covers."""
        start = item.occurred_ms
        for step in self._bench.catalogue.renewing.get(kind, ()):
            if step.id == item.step or not self._bench.applies(unit, step):
                continue
            abouts = self._bench.subjects_of(unit, step)
            own = tuple(one for one in abouts if set(one.things) & set(item.things))
            wanted = own if own and item.subject != unit else abouts
            renewed = [self._renewed_ms(unit, step, one.key, item, asof) for one in wanted]
            if renewed:
                start = max(start, min(renewed))
        return start

    def _renewed_ms(self, unit: ThingId, step: Step, subject: str, item: Item, asof: AsOf) -> int:
        """When a step last renewed the evidence about a subject; when it was read where it never did."""
        bench = self._bench
        failed, sinces = bench.failures.as_of(unit, step.id, subject, asof)
        if failed is not None:
            return item.occurred_ms
        for other in bench.window(step.id, subject, asof):
            if other.when <= item.when:
                break
            if not all(bench.book.lineage.outlives(other, since.place) for since in sinces):
                continue
            if bench.stood_when_read(unit, other, step) and all(
                bench.undoing.voided(unit, other, kind, asof) is None for kind in step.makes
            ):
                return other.occurred_ms
        return item.occurred_ms

    # --- episodes ---------------------------------------------------------------------------------------------------

    def _episode_over(self, unit: ThingId, item: Item, bounds: EvidenceKind, asof: AsOf) -> str:
        book = self._bench.book
        units = (item.unit,) if unit == item.unit else (item.unit, unit)
        if bounds.episode == "dive":
            until_ms = max(asof.ms, asof.changes_until_ms)
            for one in units:
                then = item.dives if one == item.unit else book.dives_before(one, item.occurred_ms)
                if self._bench.dives_before(one, item, until_ms) != then:
                    return "dive-over"
        elif bounds.episode and not all(self._in_same(one, item, bounds.episode, asof) for one in units):
            return f"{bounds.episode}-over"
        return ""

    def _in_same(self, unit: ThingId, item: Item, kind: EpisodeKind, asof: AsOf) -> bool:
        """Whether the episode that the evidence was read in still goes on.

        Where nobody declared an assembly or a preparation, the dive day bounds it.
        """
        book = self._bench.book
        if unit == item.unit:
            then = {"dive-day": item.dive_day, "assembly": item.assembly, "preparation": item.preparation}[kind]
        else:
            then = book.episode_at(unit, kind, item.occurred_ms)
        now = book.episode_at(unit, kind, asof.ms)
        if then or now or kind == "dive-day":
            return bool(then) and then == now
        return self._in_same(unit, item, "dive-day", asof)

    # --- dates ------------------------------------------------------------------------------------------------------

    def _dates(self, unit: ThingId, item: Item) -> list[Finding]:
        return [
            one
            for one in self._bench.assess(item, unit).findings
            if one.margin is not None
            and one.limit is not None
            and one.limit.limit.rule in (Rule.DAYS_LEFT, Rule.DAYS_SINCE)
        ]

    def _last_day(self, item: Item, finding: Finding) -> date:
        """The last day on which a date that was read is inside its limit; margins are of the bench's own day."""
        try:
            return self._bench.today + timedelta(days=int(finding.margin or 0))
        except OverflowError:
            return _LAST_DAY if finding.margin and finding.margin > 0 else date.min

    def _end_of_day_ms(self, day: date) -> int:
        """The last millisecond of a day on the clocks of the site."""
        after = min(day, _LAST_DAY) + timedelta(days=1)
        midnight = datetime.combine(after, time(), tzinfo=zone(self._bench.moment.zone))
        return round(midnight.timestamp() * 1000) - 1
