"""What a book that was kept short can still take.

Such a book holds what verdicts from its end on need, and no more. An event that reaches back behind its end (an old
reading taken back, an old part fitted again, a limit that judges anew) needs the whole record.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from loopworthy.judgement.events import EvidenceRecorded, LimitConfirmed, LimitSet, WaiverGiven
from loopworthy.unit.events import ConfigurationSet, ContentPlaced, PartFitted, ThingsSame
from loopworthy.unit.world import CONTENT
from loopworthy.vocabulary.errors import RecordError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId

if TYPE_CHECKING:
    from loopworthy.judgement.book import Book


def require_within(book: Book, since: set[EventId], event: Event) -> None:
    """Refuse an event that a short book cannot take.

    Raises
    ------
    RecordError
        With what it reaches back to; the record has to be folded anew.
    """
    reason = _reaches_back(book, since, event)
    if reason:
        raise RecordError(f"{event.envelope.kind} {reason}, which this short book does not hold", next_step=_NEXT)


_NEXT = "Fold the record anew"


def _knew_all(book: Book, event: Event) -> bool:
    """Whether the device that wrote the event had all that was kept when it did."""
    envelope = event.envelope
    for device, last in book.kept_heads.items():
        head = envelope.seen.get(device)
        known = envelope.sequence - 1 if device == envelope.device else head.sequence if head is not None else 0
        if known < last:
            return False
    return not any(len(lines) > 1 for lines in book.lineage.lines.values())


def _reaches_back(book: Book, since: set[EventId], event: Event) -> str:
    envelope, payload = event.envelope, event.payload
    if not envelope.kind.startswith(("unit.", "judgement.", "record.event-withdrawn")):
        return ""
    if min(envelope.occurred_at.epoch_ms, envelope.recorded_at.epoch_ms) < book.answers_from_ms:
        return "happened before the end of what was kept"
    if envelope.kind == "record.event-withdrawn":
        return "" if getattr(payload, "event", "") in since else "takes back an older event"
    if isinstance(payload, LimitSet | LimitConfirmed):
        return "judges older readings anew"
    if isinstance(payload, ThingsSame):
        return "makes one of two things"
    if isinstance(payload, ConfigurationSet) and len(envelope.subjects) == 1:
        known = book.world.configuration(book.world.canonical(envelope.subjects[0]))
        return "asks other questions" if known is not None and dict(known.choices) != dict(payload.choices) else ""
    if isinstance(payload, EvidenceRecorded | WaiverGiven) and not _knew_all(book, event):
        return "was written without knowledge of older changes"
    if isinstance(payload, EvidenceRecorded):
        older = [one for one in payload.used if one not in book.items]
        return "rests on an older reading" if older else ""
    if isinstance(payload, PartFitted | ContentPlaced) and len(envelope.subjects) == 2:
        holder, thing = (book.world.canonical(one) for one in envelope.subjects)
        position = payload.position if isinstance(payload, PartFitted) else CONTENT
        if thing not in since and book.world.at(holder, position) != thing:
            return "puts an older thing in a place"
    return ""
