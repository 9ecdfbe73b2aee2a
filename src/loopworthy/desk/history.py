"""The record read as a story: which events, by whom, when; newest first, filtered."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

FAMILIES = ("evidence", "changes", "limits", "mending", "parts", "record")
"""Families of events that the history can be narrowed to."""

LATE_MS = 5 * 60_000
"""What is written down later than this after it happened is shown as a late entry (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryEntry:
    """One event in the story. What it says is put into words by the doors.

    Attributes
    ----------
    family : str
        One of `FAMILIES`.
    late : bool
        Whether it was written down more than five minutes after it is said to have happened.
    withdrawn : str
        The reason, where it was taken back.
    """

    event: EventId
    kind: str
    family: str
    occurred: Moment
    recorded: Moment
    reader: str
    typist: str
    late: bool
    withdrawn: str


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryFilter:
    """What to tell of."""

    unit: ThingId = ""
    family: str = ""
    step: str = ""
    person: ThingId = ""
    since: Moment | None = None
    until: Moment | None = None
    late: bool = False
    """Only what was written down later than it happened."""
    withdrawn: bool = False
    """Only what was taken back."""
    older_than: EventId = ""
    """Only what stands before this event in the record's order, for reading on."""


def history(workplace: Workplace, wanted: HistoryFilter, *, most: int = 200) -> tuple[HistoryEntry, ...]:
    """Events that fit the filter, newest first, at most so many."""
    found: list[HistoryEntry] = []
    before = workplace.record.get(wanted.older_than).order if wanted.older_than else None
    for event in reversed(workplace.record.events()):
        if (before is not None and event.order >= before) or not _fits(workplace, event, wanted):
            continue
        found.append(told(workplace, event))
        if len(found) >= most:
            break
    return tuple(found)


def _fits(workplace: Workplace, event: Event, wanted: HistoryFilter) -> bool:
    envelope = event.envelope
    if wanted.family and family_of(event) != wanted.family:
        return False
    if wanted.person and wanted.person not in (envelope.read_by, envelope.typed_by):
        return False
    at_ms = envelope.occurred_at.epoch_ms
    if wanted.since is not None and at_ms < wanted.since.epoch_ms:
        return False
    if wanted.until is not None and at_ms > wanted.until.epoch_ms:
        return False
    if wanted.step and getattr(event.payload, "step", "") != wanted.step:
        return False
    if wanted.late and not is_late(event):
        return False
    if wanted.withdrawn and event.id not in workplace.book().withdrawals:
        return False
    if not wanted.unit:
        return True
    unit = getattr(event.payload, "unit", "")
    if unit == wanted.unit or wanted.unit in envelope.subjects or event.id == wanted.unit:
        return True
    place = workplace.world.place_of(event.id) if envelope.kind == "unit.thing-created" else None
    return place is not None and place[0] == wanted.unit


def is_late(event: Event) -> bool:
    """Whether an event was written down more than five minutes after it is said to have happened."""
    one = event.envelope
    return one.recorded_at.epoch_ms - one.occurred_at.epoch_ms > LATE_MS


def family_of(event: Event) -> str:
    """The family of an event."""
    kind = event.envelope.kind
    if kind == "judgement.evidence-recorded":
        return "evidence"
    if kind == "unit.change-made":
        return "changes"
    if kind in ("judgement.limit-set", "judgement.limit-confirmed", "judgement.catalogue-adopted"):
        return "limits"
    if kind.startswith("judgement."):
        return "mending"
    return "parts" if kind.startswith("unit.") else "record"


def told(workplace: Workplace, event: Event) -> HistoryEntry:
    """One event with its family, its people and what became of it; the doors put it into words."""
    envelope = event.envelope
    withdrawal = workplace.book().withdrawals.get(event.id)
    return HistoryEntry(
        event=event.id,
        kind=envelope.kind,
        family=family_of(event),
        occurred=envelope.occurred_at,
        recorded=envelope.recorded_at,
        reader=workplace.name(envelope.read_by),
        typist=workplace.name(envelope.typed_by),
        late=is_late(event),
        withdrawn=withdrawal.reason if withdrawal is not None else "",
    )
