"""Whether evidence was ever good: proved wrong since, or resting on what was withdrawn, wrong, failed or unsound.

What became *afterwards* of the things that it used does not matter here: a calibration rests on the gas that was used
then. Whether that gas's analysis was true matters for ever.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from loopworthy.judgement.book import Item, Withdrawal
from loopworthy.judgement.catalogue.model import Effect, EffectRule
from loopworthy.judgement.changelog import EVERYTHING, ChangeEntry
from loopworthy.judgement.outcome import Outcome
from loopworthy.vocabulary.identity import EventId, ThingId

if TYPE_CHECKING:
    from loopworthy.judgement.standing import Bench


@dataclass(frozen=True, slots=True, kw_only=True)
class Unsound:
    """Why a piece of evidence was never good.

    Attributes
    ----------
    code, cause : str
        The reason, and the event to show with it.
    root : Withdrawal, ChangeEntry, Item or None
        The finding behind it, from which on things are known; None where the evidence is simply no better than a
        failed or an unknown reading that it used.
    """

    code: str
    cause: EventId
    root: Withdrawal | ChangeEntry | Item | None = None


class Soundness:
    """Answers for one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._known: dict[tuple[ThingId, EventId], Unsound | None] = {}
        self._good: dict[tuple[ThingId, EventId], int | None] = {}

    def of(self, unit: ThingId, item: Item) -> Unsound | None:
        """Why the item was never good; None where nothing says so."""
        if (unit, item.event) not in self._known:
            # What evidence used was recorded before it, so that the oldest can be answered first.
            for one in sorted(self._unanswered(unit, item), key=lambda each: each.order):
                self._known[unit, one.event] = self._find(unit, one)
        return self._known[unit, item.event]

    def doubts(self, unit: ThingId, item: Item) -> Iterator[tuple[Item, ChangeEntry | Item]]:
        """Findings against an item, or against what it rests on, that were taken back: nothing revives by that.

        Each with the evidence that it was about.
        """
        for one in (item, *self._bench.rests_on(item)):
            for entry in self._disproofs(one):
                if self._bench.withdrawn(entry.event) is not None:
                    yield one, entry
            bad = self._bad_check(unit, one, taken_back=True)
            if bad is not None:
                yield one, bad

    def _unanswered(self, unit: ThingId, item: Item) -> list[Item]:
        found: dict[EventId, Item] = {}
        waiting = [item]
        while waiting:
            one = waiting.pop()
            if one.event in found or (unit, one.event) in self._known:
                continue
            found[one.event] = one
            waiting.extend(self._bench.book.items[used] for used in one.payload.used if used in self._bench.book.items)
        return list(found.values())

    def _find(self, unit: ThingId, item: Item) -> Unsound | None:
        for entry in self._disproofs(item):
            if self._bench.withdrawn(entry.event) is None:
                return Unsound(code="proved-wrong", cause=entry.event, root=entry)
        bad = self._bad_check(unit, item, taken_back=False)
        if bad is not None:
            return Unsound(code="proved-wrong", cause=bad.event, root=bad)
        for used in item.payload.used:
            other = self._bench.book.items.get(used)
            if other is None or other.order >= item.order:
                return Unsound(code="rests-on-unknown", cause=used)
            withdrawal = self._bench.withdrawn(used)
            if withdrawal is not None:
                return Unsound(code="rests-on-withdrawn", cause=used, root=withdrawal)
            below = self._known.get((unit, used))
            if below is not None:
                return Unsound(code="rests-on-unsound", cause=used, root=below.root)
            if self._bench.assess(other, unit).outcome is Outcome.OUTSIDE:
                return Unsound(code="rests-on-failed", cause=used)
        return None

    # --- proved wrong ------------------------------------------------------------------------------------------------

    def _disproofs(self, item: Item) -> Iterator[ChangeEntry]:
        catalogue = self._bench.catalogue
        step = catalogue.steps.get(item.step)
        for kind in step.makes if step is not None else ():
            for rule in catalogue.rules_hitting[kind]:
                if rule.effect is Effect.DISPROVE:
                    yield from self._disproving(item, rule)

    def _disproving(self, item: Item, rule: EffectRule) -> Iterator[ChangeEntry]:
        bench = self._bench
        instruments = bench.instruments(item)
        abouts: tuple[ThingId, ...] = {
            "instrument": instruments,
            "unit": (item.unit,),
            "record": (EVERYTHING,),
        }.get(rule.scope, item.things)
        for entry in bench.book.changes.about(rule.change, abouts):
            touched = entry.side if rule.scope == "side" else entry.things
            if entry.occurred_ms > bench.truth_until_ms or bench.book.lineage.outlives(item, entry):
                continue
            if rule.scope in ("subject", "side") and not touched.intersection(item.things):
                continue
            if rule.scope == "unit" and entry.unit != item.unit:
                continue
            if rule.scope == "instrument" and self.checked_good_between(item, entry, instruments):
                continue
            if bench.over(entry.event, item):
                continue
            if bench.undoing.condition_holds(rule, entry):
                yield entry

    # --- instruments -------------------------------------------------------------------------------------------------

    def checked_good_between(self, item: Item, entry: ChangeEntry, instruments: tuple[ThingId, ...]) -> bool:
        """Whether each instrument that a finding is about was checked good after the reading, and before the finding.

        For a reading that was made after the finding, by somebody who did not know of it, a later good check will do.
        """
        for instrument in instruments:
            if instrument not in entry.things:
                continue
            good_ms = self.first_good(item, instrument)
            if good_ms is None or (item.occurred_ms <= entry.occurred_ms <= good_ms):
                return False
        return True

    def _checks_after(self, item: Item, instrument: ThingId, steps: tuple[str, ...]) -> list[Item]:
        """The checks of an instrument after a reading, of each step up to the first good one."""
        book, until_ms = self._bench.book, self._bench.truth_until_ms
        found: list[Item] = []
        for step in steps:
            key = f"{step} {instrument}"
            times, filed = book.times_of.get(key, []), book.by_subject.get(key, [])
            for place in range(bisect_left(times, item.occurred_ms), len(times)):
                if times[place] > until_ms:
                    break
                check = book.items[filed[place]]
                if check.when > item.when:
                    found.append(check)
                    if self._is_good(check):
                        break
        return sorted(found, key=lambda one: one.when)

    def first_good(self, item: Item, instrument: ThingId) -> int | None:
        """When an instrument was first checked good after a reading; None if it never was."""
        key = (instrument, item.event)
        if key not in self._good:
            self._good[key] = next(
                (
                    check.occurred_ms
                    for check in self._checks_after(item, instrument, self._bench.instrument_steps)
                    if self._is_good(check)
                ),
                None,
            )
        return self._good[key]

    def _is_good(self, check: Item) -> bool:
        bench = self._bench
        return (
            bench.withdrawn(check.event) is None
            and bench.assess(check, check.unit).outcome is Outcome.INSIDE
            and self.of(check.unit, check) is None
        )

    def _bad_check(self, unit: ThingId, item: Item, *, taken_back: bool) -> Item | None:
        """The check after this reading that found its instrument bad, with no good one between."""
        catalogue = self._bench.catalogue
        step = catalogue.steps.get(item.step)
        if step is None or not item.payload.instruments or not step.after:
            return None
        makers = tuple(
            maker.id
            for kind in step.after
            for maker in catalogue.steps_making[kind]
            if maker.scope.each == "instrument"
        )
        for instrument in self._bench.instruments(item):
            for check in self._checks_after(item, instrument, makers):
                if self._is_good(check):
                    break
                withdrawn = self._bench.withdrawn(check.event) is not None
                if withdrawn is taken_back and self._bench.assess(check, check.unit).outcome is Outcome.OUTSIDE:
                    return check
        return None
