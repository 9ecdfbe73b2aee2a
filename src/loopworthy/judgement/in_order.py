"""Whether evidence was made in its order: after what the step wants first, and on what stood when it was read.

It is judged as of then, by the readings that were filed with the evidence when it was folded; what has aged since does
not matter.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopworthy.judgement.book import Item
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.filed import Prerequisite
from loopworthy.judgement.states import AsOf, State
from loopworthy.vocabulary.identity import ThingId

if TYPE_CHECKING:
    from loopworthy.judgement.standing import Bench


class InOrder:
    """Answers for one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench

    def broken(self, item: Item, step: Step) -> tuple[str, dict[str, str]] | None:
        """Why evidence was made out of order; None where it was not.

        It is judged by what was current when it was read, on the unit that it was read for.
        """
        unit, asof = item.unit, AsOf.of(item)
        for first in item.prerequisites:
            if not self._stood_before(unit, first, step, asof):
                return "done-before-its-order", {"first": first.kind}
        for used in item.payload.used:
            other = self._bench.book.items.get(used)
            if other is None:
                continue  # unsound: it rests on what is not on record
            other_step = self._bench.catalogue.steps.get(other.step)
            if other_step is None or other.occurred_ms > item.occurred_ms:
                return "used-before-read", {"step": other.step}
            if not self._unfailed(unit, other, asof):
                return "rested-on-stale", {"step": other.step, "state": State.FAILED.value}
            found = self._bench.alone(unit, other, other_step.makes[0], asof)
            if found.state is State.CANNOT_TELL or self._counts_for(unit, other, other_step.makes[0], step, asof):
                continue
            return "rested-on-stale", {"step": other.step, "state": found.state.value}
        return None

    def _unfailed(self, unit: ThingId, item: Item, asof: AsOf) -> bool:
        """Whether no failed reading of the same step about the same thing stood in the way of this one."""
        failed, sinces = self._bench.failures.as_of(unit, item.step, item.subject, asof)
        return failed is None and all(self._bench.book.lineage.outlives(item, since.place) for since in sinces)

    def _stood_before(self, unit: ThingId, first: Prerequisite, step: Step, asof: AsOf) -> bool:
        other = self._bench.book.items.get(first.event)
        if (
            other is not None
            and other.occurred_ms <= asof.ms
            and self._unfailed(unit, other, asof)
            and self._counts_for(unit, other, first.kind, step, asof)
        ):
            return True
        maker = self._bench.catalogue.steps.get(first.step)
        if maker is None or (other is not None and self._fell(unit, other, first.kind, asof)):
            return False
        return self._bench.waiver(unit, maker, first.about, asof) is not None

    def _fell(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> bool:
        """Whether evidence was worse than absent or expired, so that no waiver could cover it."""
        return self._bench.alone(unit, item, kind, asof).state is not State.EXPIRED

    def _counts_for(self, unit: ThingId, item: Item, kind: str, step: Step, asof: AsOf) -> bool:
        """Whether evidence stood for another step; one that only waits to be confirmed by that step does."""
        state = self._bench.alone(unit, item, kind, asof).state
        if state is State.RECHECK:
            return all(one.by == step.id for one in self._bench.undoing.due(unit, item, kind, asof)[0])
        return state is State.CURRENT
