"""What one event of the record has to do with others: what it used, what rests on it, what answers it."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Book, Item, Release, Repair, Withdrawal
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.vocabulary.identity import EventId


@dataclass(frozen=True, slots=True, kw_only=True)
class Ties:
    """How an event hangs together with others.

    Attributes
    ----------
    used : tuple of str
        Evidence that it rests on, in this record or not.
    rests_on_it : tuple of Item
        Evidence that used it, directly or through other evidence; oldest first.
    directly : frozenset of str
        Those of them that used it themselves.
    repairs, releases : tuple
        Repairs that name it; releases of the hold that it opened.
    withdrawal : Withdrawal or None
    """

    used: tuple[EventId, ...]
    rests_on_it: tuple[Item, ...]
    directly: frozenset[EventId]
    repairs: tuple[Repair, ...]
    releases: tuple[Release, ...]
    withdrawal: Withdrawal | None


def ties(workplace: Workplace, event: EventId) -> Ties:
    """How an event hangs together with the rest of the record."""
    book = workplace.book()
    payload = workplace.record.get(event).payload
    users = _users(book)
    found: dict[EventId, Item] = {}
    waiting = [event]
    while waiting:
        for item in users.get(waiting.pop(), ()):
            if item.event not in found:
                found[item.event] = item
                waiting.append(item.event)
    return Ties(
        used=payload.used if isinstance(payload, EvidenceRecorded) else (),
        rests_on_it=tuple(sorted(found.values(), key=lambda one: one.order)),
        directly=frozenset(item.event for item in users.get(event, ())),
        repairs=tuple(book.repairs.get(event, ())),
        releases=tuple(book.releases.get(event, ())),
        withdrawal=book.withdrawals.get(event),
    )


def _users(book: Book) -> dict[EventId, list[Item]]:
    users: dict[EventId, list[Item]] = {}
    for item in book.items.values():
        for used in item.payload.used:
            users.setdefault(used, []).append(item)
    return users
