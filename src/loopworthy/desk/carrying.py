"""Carrying the record from one device to another by hand: out as a file, in again, with a report of what was new."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from loopworthy.desk.merges import NOT_YET, merges
from loopworthy.desk.workplace import Workplace
from loopworthy.record.exchange import export_lines
from loopworthy.record.merge import MergeReport, merge
from loopworthy.vocabulary.identity import EventId


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenIn:
    """What came of a file that was taken in.

    Attributes
    ----------
    report : MergeReport
    merge : str
        Names the merge for `merges.merge_changes`; '' where it brought nothing about any unit.
    """

    report: MergeReport
    merge: EventId


def take_out(workplace: Workplace) -> Iterator[bytes]:
    """The whole record, line by line, for another device."""
    return export_lines(workplace.record.store, exported_at=workplace.now())


def take_in(workplace: Workplace, lines: Iterable[bytes]) -> TakenIn:
    """Take everything from lines that another device gave out; what is here already stays as it is.

    Raises
    ------
    InputError
        If they are no record's lines, or those of another record. Nothing was taken then.
    StoreError
        If it could not be kept. Nothing was taken then.
    """
    record = workplace.record
    # A store without a chain of its own opens it first, so that what it had before stays told apart.
    record.writer(workplace.now()).append_all(())
    before = record.heads()
    report = merge(record.store, record.registry, lines, now=workplace.now())
    if not report.taken:
        return TakenIn(report=report, merge="")
    own = record.device
    after = before[own].event if own in before else ""
    found = next((one.key for one in merges(workplace) if one.own and one.after == after), "")
    return TakenIn(report=report, merge=found or (NOT_YET if report.new_device else ""))
