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
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, short

_Value = TypeVar("_Value")


class MemoryStore:
    """A store that is gone when the program ends."""

    def __init__(self) -> None:
        self._lock = threading.RLock()
        self._undo: list[Callable[[], object]] = []
        self._depth = 0
        self._record: RecordId = ""
        self._device: DeviceId = ""
        self._stored: list[StoredEvent] = []
        self._entries: list[IndexEntry] = []
        self._position: dict[EventId, int] = {}
        self._order: list[tuple[int, int, str, int, str]] = []
        self._places: dict[tuple[DeviceId, int], list[EventId]] = {}
        self._heads: Heads = {}
        self._waiting: tuple[bytes, ...] = ()
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
            return len(self._stored)

    def take(self, bodies: Iterable[bytes]) -> int:
        with self.transaction():
            taken = 0
            for body in bodies:
                entry = index_entry(body)
                if entry.id not in self._position:
                    self._insert(entry, body)
                    taken += 1
            return taken

    def _insert(self, entry: IndexEntry, body: bytes) -> None:
        stored = StoredEvent(len(self._stored) + 1, entry.id, body)
        key = (entry.wall_ms, entry.counter, entry.device, entry.sequence, entry.id)
        place = self._places.setdefault((entry.device, entry.sequence), [])
        before = self._heads.get(entry.device)
        self._stored.append(stored)
        self._entries.append(entry)
        self._position[entry.id] = stored.position
        bisect.insort(self._order, key)
        bisect.insort(place, entry.id)
        if before is None or (entry.sequence, entry.id) > (before.sequence, before.event):
            self._heads[entry.device] = SeenHead(sequence=entry.sequence, event=entry.id)

        def undo() -> None:
            self._stored.pop()
            self._entries.pop()
            del self._position[entry.id]
            self._order.remove(key)
            place.remove(entry.id)
            if before is None:
                del self._heads[entry.device]
            else:
                self._heads[entry.device] = before

        self._will_undo(undo)

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        with self._lock:  # another thread's transaction may still be taken back
            return tuple(self._stored[max(after, 0) :])

    def events_in_order(self) -> Sequence[StoredEvent]:
        return self._all(key[-1] for key in self._order)

    def events_of_kind(self, kind: str) -> Sequence[StoredEvent]:
        return tuple(one for one in self.events_in_order() if self._entries[one.position - 1].kind == kind)

    def events_at(self, device: DeviceId, sequence: int) -> Sequence[StoredEvent]:
        return self._all(self._places.get((device, sequence), ()))

    def find(self, prefix: str, *, limit: int = 2) -> Sequence[StoredEvent]:
        return self._all(sorted(one for one in self._position if one.startswith(prefix))[:limit])

    def _all(self, identities: Iterable[EventId]) -> tuple[StoredEvent, ...]:
        with self._lock:
            return tuple(self._stored[self._position[one] - 1] for one in identities)

    def has(self, event: EventId) -> bool:
        return event in self._position

    def heads(self) -> Heads:
        return dict(sorted(self._heads.items()))

    def latest_clock(self) -> HybridTime:
        if not self._order:
            return HybridTime(wall_ms=0)
        wall_ms, counter, *_ = self._order[-1]
        return HybridTime(wall_ms=wall_ms, counter=counter)

    def forked_places(self) -> Sequence[tuple[DeviceId, int]]:
        return sorted(place for place, events in self._places.items() if len(events) > 1)

    def count(self) -> int:
        return len(self._stored)

    def index(self) -> Sequence[IndexEntry]:
        return tuple(self._entries)

    # --- events that cannot be placed yet ---

    def waiting(self) -> Sequence[bytes]:
        return self._waiting

    def replace_waiting(self, bodies: Iterable[bytes]) -> None:
        before = self._waiting
        self._waiting = tuple(sorted(bodies, key=lambda body: index_entry(body).id))
        self._will_undo(lambda: setattr(self, "_waiting", before))

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


def _restore(table: dict[str, _Value], name: str, before: _Value | None) -> None:
    if before is None:
        table.pop(name, None)
    else:
        table[name] = before
