"""Carrying the record from one device to another by hand: as a file, or a few entries as a handful of bytes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from loopworthy.desk.merges import NOT_YET, keep_refusals, merges
from loopworthy.desk.workplace import Workplace
from loopworthy.record.exchange import export_lines
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.receiving import record_heads_received
from loopworthy.record.scraps import scrap
from loopworthy.record.signing import SignedHead
from loopworthy.unit.events import ThingCreated
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, short

MOST_SCRAPS = 4
"""So many scraps at most for one handing over; what is larger goes by file (our choice)."""


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


def entries_up_to(workplace: Workplace, last: EventId, *, since: EventId = "", more: int = 1) -> tuple[Event, ...]:
    """Entries of one device up to one of them, oldest first.

    Parameters
    ----------
    last : str
        The last of them.
    since : str
        The first of them; where it is empty, or no earlier entry of the same device, `more` of them are taken.
    more : int
        How many.
    """
    record = workplace.record
    end = record.get(last)
    begin = record.get(since).envelope if since else None
    if begin is None or begin.device != end.envelope.device or begin.sequence > end.envelope.sequence:
        count = more
    else:
        count = end.envelope.sequence - begin.sequence + 1
    found = [end]
    while len(found) < count and found[0].envelope.previous:
        found.insert(0, record.get(found[0].envelope.previous))
    return tuple(found)


def not_seen_elsewhere(workplace: Workplace) -> tuple[EventId, EventId] | None:
    """The first and the last entry of this device that no entry of another device has seen; its last one at least.

    None where this device has not written anything.
    """
    record = workplace.record
    head = record.heads().get(record.device)
    if head is None:
        return None
    seen = max(
        (one.envelope.seen[record.device].sequence for one in record.events() if record.device in one.envelope.seen),
        default=0,
    )
    first = record.store.events_at(record.device, min(seen + 1, head.sequence))[0]
    return first.id, head.event


def take_in(workplace: Workplace, lines: Iterable[bytes], *, vouched: Iterable[SignedHead] = ()) -> TakenIn:
    """Take everything from lines that another device gave out; what is here already stays as it is.

    Parameters
    ----------
    vouched : iterable of SignedHead
        Signed heads in the lines that were checked (`receiving.check_heads`); others are refused.

    Raises
    ------
    InputError
        If they are no record's lines, or those of another record. Nothing was taken then.
    StoreError
        If it could not be kept. Nothing was taken then.
    """
    record, now = workplace.record, workplace.now()
    with record.store.transaction():
        # A store without a chain of its own opens it first, so that what it had before stays told apart.
        record.writer(now).append_all(())
        own, before = record.device, record.heads()
        report = merge(record.store, record.registry, lines, now=now, vouched=vouched)
        record_heads_received(record, now=now)
        keep_refusals(workplace, before[own].event, report.refused)
    if not report.taken:
        return TakenIn(report=report, merge="")
    found = next((one.key for one in merges(workplace) if one.own and one.after == before[own].event), "")
    return TakenIn(report=report, merge=found or (NOT_YET if report.new_device else ""))


def scraps_of(workplace: Workplace, entries: Sequence[Event], *, heads: Iterable[SignedHead] = ()) -> tuple[str, ...]:
    """A few entries of one device as lines of text, each for one code, with as many entries in each as fit.

    Parameters
    ----------
    entries : sequence of Event
        Oldest first.
    heads : iterable of SignedHead
        Signed heads that speak for them, beside those that are kept here.

    Raises
    ------
    InputError
        If one of them is too large for a code, or it would be more than `MOST_SCRAPS`.
    """
    speaking = tuple(heads)
    found: list[str] = []
    filled: list[Event] = []
    line = ""
    for entry in entries:
        longer = _scrap(workplace, [*filled, entry], speaking)
        if longer:
            filled, line = [*filled, entry], longer
            continue
        if line:
            found.append(line)
        filled, line = [entry], _scrap(workplace, [entry], speaking)
        if not line or len(found) == MOST_SCRAPS:
            raise InputError(
                "entries",
                f"{len(entries)} up to {short(entries[-1].id)}",
                f"few and short enough for {MOST_SCRAPS} codes",
                next_step="Carry the record by file",
            )
    return (*found, line) if line else tuple(found)


def _scrap(workplace: Workplace, entries: list[Event], heads: tuple[SignedHead, ...]) -> str:
    """One line; '' where it would be too long for a code."""
    record = workplace.record
    digests = (one.payload.name_digest for one in entries if isinstance(one.payload, ThingCreated))
    texts = tuple(digest for digest in digests if digest and record.text(digest) is not None)
    try:
        return scrap(record.store, (one.id for one in entries), now=workplace.now(), heads=heads, texts=texts)
    except InputError as error:
        if error.name != "scrap":
            raise
        return ""
