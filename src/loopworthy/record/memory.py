"""The store in memory: for tests, for rehearsals and for looking into a file without keeping it.

It does what the port says with dictionaries, so that it is also the shortest description of what a store does.
"""

from __future__ import annotations

import bisect
import hashlib
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import TypeVar

from loopworthy.record.signing import SignedHead
from loopworthy.record.store import (
    Heads,
    IndexEntry,
    KeptText,
    Snapshot,
    StoredEvent,
    chain_entries,
    chain_of,
    index_entry,
)
from loopworthy.vocabulary.errors import ConflictError
from loopworthy.vocabulary.event import HybridTime, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, short

_Value = TypeVar("_Value")


class MemoryStore:
    """A store that is gone when the program ends."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._undo: list[Callable[[], object]] = []
        self._depth = 0
        self._record: RecordId = ""
        self._device: DeviceId = ""
        self._last_position = 0
        self._departures = 0
        self._stored: list[StoredEvent] = []
        self._entries: dict[EventId, IndexEntry] = {}
        self._by_id: dict[EventId, StoredEvent] = {}
        self._order: list[tuple[int, int, str, int, str]] = []
        self._places: dict[tuple[DeviceId, int], list[EventId]] = {}
        self._heads: Heads = {}
        self._waiting: tuple[bytes, ...] = ()
        self._signed: tuple[SignedHead, ...] = ()
        self._blobs: dict[str, bytes] = {}
        self._texts: dict[str, KeptText] = {}
        self._snapshots: dict[str, Snapshot] = {}
        self._settings: dict[str, str] = {}

    # --- grouping ---

    @contextmanager
    def transaction(self) -> Iterator[None]:
        with self._lock:
            mark = len(self._undo)
            self._depth += 1
            try:
                yield
            except BaseException:
                while len(self._undo) > mark:
                    self._undo.pop()()
                raise
            finally:
                self._depth -= 1
                if self._depth == 0:
                    self._undo.clear()

    @property
    def in_transaction(self) -> bool:
        return self._depth > 0

    def _will_undo(self, act: Callable[[], object]) -> None:
        if self._depth:
            self._undo.append(act)

    # --- identity ---

    def record_id(self) -> RecordId:
        return self._record

    def set_record_id(self, record: RecordId) -> None:
        if self._record not in ("", record):
            raise ConflictError(f"This store holds record {short(self._record)}, not {short(record)}")
        before, self._record = self._record, record
        self._will_undo(lambda: setattr(self, "_record", before))

    def device_id(self) -> DeviceId:
        return self._device

    def set_device_id(self, device: DeviceId) -> None:
        before, self._device = self._device, device
        self._will_undo(lambda: setattr(self, "_device", before))

    # --- events ---

    def append(self, bodies: Sequence[bytes], *, head: EventId) -> int:
        with self.transaction():
            device = chain_of(bodies)
            for entry, body in zip(
                chain_entries(bodies, actual=self._heads.get(device), believed=head), bodies, strict=True
            ):
                self._insert(entry, body)
            return self._last_position

    def take(self, bodies: Iterable[bytes]) -> int:
        with self.transaction():
            taken = 0
            for body in bodies:
                entry = index_entry(body)
                if entry.id not in self._by_id:
                    self._insert(entry, body)
                    taken += 1
            return taken

    def _insert(self, entry: IndexEntry, body: bytes) -> None:
        stored = StoredEvent(self._last_position + 1, entry.id, body)
        key = _key(entry)
        place = self._places.setdefault((entry.device, entry.sequence), [])
        before = self._heads.get(entry.device)
        self._last_position += 1
        self._stored.append(stored)
        self._entries[entry.id] = entry
        self._by_id[entry.id] = stored
        bisect.insort(self._order, key)
        bisect.insort(place, entry.id)
        self._raise_head(entry)

        def undo() -> None:
            self._last_position -= 1
            self._stored.pop()
            del self._entries[entry.id]
            del self._by_id[entry.id]
            self._order.remove(key)
            place.remove(entry.id)
            _restore(self._heads, entry.device, before)

        self._will_undo(undo)

    def _raise_head(self, entry: IndexEntry) -> None:
        before = self._heads.get(entry.device)
        if before is None or (entry.sequence, entry.id) > (before.sequence, before.event):
            self._heads[entry.device] = SeenHead(sequence=entry.sequence, event=entry.id)

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        with self._lock:  # another thread's transaction may still be taken back
            return tuple(self._stored[bisect.bisect_right(self._stored, after, key=lambda one: one.position) :])

    def events_in_order(self) -> Sequence[StoredEvent]:
        return self._all(key[-1] for key in self._order)

    def events_of_kind(self, kind: str) -> Sequence[StoredEvent]:
        return tuple(one for one in self.events_in_order() if self._entries[one.id].kind == kind)

    def events_at(self, device: DeviceId, sequence: int) -> Sequence[StoredEvent]:
        return self._all(self._places.get((device, sequence), ()))

    def find(self, prefix: str, *, limit: int = 2) -> Sequence[StoredEvent]:
        if prefix in self._by_id:  # a whole identity: the usual case, and the only one without a search
            return self._all((prefix,))
        return self._all(sorted(one for one in self._by_id if one.startswith(prefix))[:limit])

    def _all(self, identities: Iterable[EventId]) -> tuple[StoredEvent, ...]:
        with self._lock:
            return tuple(self._by_id[one] for one in identities)

    def has(self, event: EventId) -> bool:
        return event in self._by_id

    def heads(self) -> Heads:
        return dict(sorted(self._heads.items()))

    def latest_clock(self) -> HybridTime:
        if not self._order:
            return HybridTime(wall_ms=0)
        wall_ms, counter, *_ = self._order[-1]
        return HybridTime(wall_ms=wall_ms, counter=counter)

    def forked_places(self) -> Sequence[tuple[DeviceId, int]]:
        return sorted(place for place, events in self._places.items() if len(events) > 1)

    def last_position(self) -> int:
        return self._last_position

    def count(self) -> int:
        return len(self._stored)

    def index(self) -> Sequence[IndexEntry]:
        return tuple(self._entries[one.id] for one in self._stored)

    # --- events that are no part of the record yet, or not now ---

    def waiting(self) -> Sequence[bytes]:
        return self._waiting

    def waiting_ids(self) -> Sequence[EventId]:
        return [event_id(body) for body in self._waiting]

    def replace_waiting(self, bodies: Iterable[bytes]) -> None:
        before = self._waiting
        self._waiting = tuple(sorted(bodies, key=event_id))
        self._will_undo(lambda: setattr(self, "_waiting", before))

    def set_apart(self, *, after_ms: int) -> Sequence[EventId]:
        with self.transaction():
            moved = sorted(one.id for one in self._entries.values() if one.wall_ms > after_ms)
            if not moved:
                return moved
            self.replace_waiting({*self._waiting, *(self._by_id[one].body for one in moved)})
            leaving = set(moved)
            before = (self._stored, self._entries, self._by_id, self._order, self._places, self._heads)
            self._stored = [one for one in self._stored if one.id not in leaving]
            self._by_id = {one.id: one for one in self._stored}
            self._entries = {one.id: self._entries[one.id] for one in self._stored}
            self._order = [key for key in self._order if key[-1] not in leaving]
            self._places, self._heads = {}, {}
            for entry in self._entries.values():
                bisect.insort(self._places.setdefault((entry.device, entry.sequence), []), entry.id)
                self._raise_head(entry)
            self._departures += 1
            self.drop_snapshots()

            def undo() -> None:
                self._stored, self._entries, self._by_id, self._order, self._places, self._heads = before
                self._departures -= 1

            self._will_undo(undo)
            return moved

    def departures(self) -> int:
        return self._departures

    # --- heads that were signed by their devices ---

    def signed_heads(self) -> Sequence[SignedHead]:
        return self._signed

    def replace_signed_heads(self, heads: Iterable[SignedHead]) -> None:
        before = self._signed
        self._signed = tuple(sorted(heads, key=lambda one: (one.device, one.sequence, one.event)))
        self._will_undo(lambda: setattr(self, "_signed", before))

    # --- blobs ---

    def put_blob(self, body: bytes) -> str:
        digest = hashlib.sha256(body).hexdigest()
        if digest not in self._blobs:
            self._blobs[digest] = body
            self._will_undo(lambda: self._blobs.pop(digest))
        return digest

    def blob(self, digest: str) -> bytes | None:
        return self._blobs.get(digest)

    def blob_digests(self) -> Sequence[str]:
        return sorted(self._blobs)

    def drop_blob(self, digest: str) -> None:
        before = self._blobs.pop(digest, None)
        self._will_undo(lambda: _restore(self._blobs, digest, before))

    # --- erasable texts ---

    def put_text(self, text: KeptText) -> bool:
        before = self._texts.get(text.digest)
        if before == text or (before is not None and not text.erased):
            return False
        self._texts[text.digest] = text
        self._will_undo(lambda: _restore(self._texts, text.digest, before))
        return True

    def text(self, digest: str) -> KeptText | None:
        return self._texts.get(digest)

    def texts(self) -> Sequence[KeptText]:
        return [self._texts[digest] for digest in sorted(self._texts)]

    def drop_text(self, digest: str) -> None:
        before = self._texts.pop(digest, None)
        self._will_undo(lambda: _restore(self._texts, digest, before))

    # --- snapshots and settings ---

    def put_snapshot(self, name: str, snapshot: Snapshot) -> None:
        before = self._snapshots.get(name)
        self._snapshots[name] = snapshot
        self._will_undo(lambda: _restore(self._snapshots, name, before))

    def snapshot(self, name: str) -> Snapshot | None:
        return self._snapshots.get(name)

    def drop_snapshots(self) -> None:
        before, self._snapshots = self._snapshots, {}
        self._will_undo(lambda: setattr(self, "_snapshots", before))

    def setting(self, name: str) -> str | None:
        return self._settings.get(name)

    def put_setting(self, name: str, value: str) -> None:
        before = self._settings.get(name)
        self._settings[name] = value
        self._will_undo(lambda: _restore(self._settings, name, before))

    # --- care ---

    def damage(self) -> Sequence[str]:
        return ()

    def close(self) -> None:
        """Nothing to let go of."""


def _key(entry: IndexEntry) -> tuple[int, int, str, int, str]:
    return (entry.wall_ms, entry.counter, entry.device, entry.sequence, entry.id)


def _restore(table: dict[str, _Value], name: str, before: _Value | None) -> None:
    if before is None:
        table.pop(name, None)
    else:
        table[name] = before
