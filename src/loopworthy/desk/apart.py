"""Entries that lie beside the record: which, why, and what each would say if it counted."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from loopworthy.judgement.apart import Apart
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.record import Record
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, event_id, short
from loopworthy.vocabulary.time import Moment

if TYPE_CHECKING:
    from loopworthy.record.placing import SetApart

_MINUTE_MS = 60_000


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryApart:
    """An entry beside the record.

    Attributes
    ----------
    why : Apart
    event : Event
        What it says; it counts for nothing.
    shown : SetApart
        Its device, number, kind, and how far its clock is ahead.
    """

    why: Apart
    event: Event
    shown: SetApart


class EntriesApart:
    """What lies beside a record; read again only where something may have changed.

    Parameters
    ----------
    record : Record
    """

    def __init__(self, record: Record) -> None:
        self._record = record
        self._known: tuple[object, tuple[EntryApart, ...]] | None = None

    def now(self, now: Moment) -> tuple[EntryApart, ...]:
        """All entries beside the record, oldest first within each reason; nearly nothing to do where there is none."""
        store = self._record.store
        waiting = tuple(store.waiting_ids())
        if not waiting:
            return ()
        heads = tuple(one.event for one in store.signed_heads())
        key = (waiting, heads, store.last_position(), store.departures(), now.epoch_ms // _MINUTE_MS)
        if self._known is None or self._known[0] != key:
            found = self._read(now)
            if store.in_transaction:  # what is read inside a transaction may still be taken back
                return found
            self._known = (key, found)
        return self._known[1]

    def device_name(self, device: DeviceId, now: Moment) -> str:
        """What people call a device, also where its first entry lies beside the record; else its first digits."""
        record = self._record
        openings = (*record.events_of_kind(CHAIN_OPENED), *(one.event for one in self.now(now)))
        names = (
            one.payload.device_name
            for one in openings
            if one.envelope.device == device and isinstance(one.payload, ChainOpened)
        )
        return next(names, "") or short(device)

    def _read(self, now: Moment) -> tuple[EntryApart, ...]:
        # Imported here, for a verdict with nothing beside the record needs none of it.
        from loopworthy.record.placing import beside

        store = self._record.store
        events = {event_id(body): self._record.registry.decode(body) for body in store.waiting()}
        sets = beside(store, now=now)
        by_reason = (
            (Apart.FAULTY, sets.faulty),
            (Apart.AHEAD, sets.ahead),
            (Apart.NOT_VOUCHED, sets.not_vouched),
            (Apart.MISSING, sets.missing),
            (Apart.DUE, sets.due),
        )
        return tuple(
            EntryApart(why=why, event=events[one.event], shown=one)
            for why, group in by_reason
            for one in group
            if one.event in events
        )
