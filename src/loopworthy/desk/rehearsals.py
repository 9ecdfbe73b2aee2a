"""Looking ahead by doing it in thought: the record with what would be recorded beside the record as it is."""

from __future__ import annotations

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.merged import UnitShift, unit_shift
from loopworthy.judgement.replay import fold
from loopworthy.record.chain import Batch
from loopworthy.record.rehearsal import rehearsal
from loopworthy.vocabulary.identity import ThingId


def batch_in_thought(workplace: Workplace) -> Batch:
    """A batch for what would be recorded; nothing of it is."""
    return rehearsal(workplace.record.store, workplace.record.registry, workplace.now())


def shifts(workplace: Workplace, batch: Batch, units: tuple[ThingId, ...]) -> tuple[UnitShift, ...]:
    """How units would stand now with the events of a batch, each once, those that would stand as they do left out."""
    before = workplace.book()
    after = fold((*workplace.record.events(), *batch.events), workplace.catalogue)
    known = dict.fromkeys(after.world.canonical(one) for one in units)
    found = (unit_shift(before, after, workplace.catalogue, one, workplace.now()) for one in known)
    return tuple(one for one in found if one.differs)
