"""The store in one SQLite file: what an installed program and a phone's browser keep their record in.

An acknowledged event is on the disk: synchronous is FULL, and the journal is a write-ahead log where the platform can
do that (the browser's file system cannot, so the journal mode is a setting).
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import threading
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Any, Final

from loopworthy.record.copies import notice_copy
from loopworthy.record.signing import SignedHead
from loopworthy.record.sqlite_schema import APPLICATION_ID, SCHEMA, SCHEMA_VERSION, UPGRADES, statements, translated
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
from loopworthy.vocabulary.errors import ConflictError, DamagedError, InputError, StoreError
from loopworthy.vocabulary.event import HybridTime, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, short

_RECORD: Final = "record"
_DEVICE: Final = "device"
_DEPARTURES: Final = "departures"
_MOVED: Final = "moved"
"""Settings: how often events were set apart, and how many have left the table of events by that."""
_ORDER: Final = "wall_ms, counter, device, sequence, id"

# One index probe for each chain instead of a walk over all events.
_HEADS: Final = """
WITH RECURSIVE chain (device) AS (
    SELECT MIN(device) FROM events
    UNION ALL
    SELECT (SELECT MIN(device) FROM events WHERE device > chain.device) FROM chain WHERE chain.device IS NOT NULL
)
SELECT device,
       (SELECT sequence FROM events WHERE device = chain.device ORDER BY sequence DESC, id DESC LIMIT 1),
       (SELECT id FROM events WHERE device = chain.device ORDER BY sequence DESC, id DESC LIMIT 1)
FROM chain WHERE device IS NOT NULL
"""


class Journal(StrEnum):
    """How SQLite makes a commit whole: its journal modes that survive a loss of power."""

    WRITE_AHEAD = "wal"
    TRUNCATE = "truncate"
    DELETE = "delete"


class SqliteStore:
    """A store in one file.

    Parameters
    ----------
    path : Path
        The file; made if it is not there.
    journal : Journal
        `WRITE_AHEAD` unless the platform cannot do it.
    read_only : bool
        Open for looking only; nothing is made, nothing can be written.
    watch_place : bool
        Become a new device when the file turns out to be a copy; off where files have no lasting names.
    wait_s : float
        How long to wait for another writer. [s]

    Raises
    ------
    StoreError
        If the file cannot be opened, is not a record, or is of a newer version.
    """

    def __init__(
        self,
        path: Path,
        *,
        journal: Journal = Journal.WRITE_AHEAD,
        read_only: bool = False,
        watch_place: bool = True,
        wait_s: float = 10.0,
    ) -> None:
        self.path = path
        self._name = path.name
        # One connection for all threads of a server; the lock keeps a transaction in one of them.
        self._lock = threading.RLock()
        self._depth = 0
        with translated(self._name, "open"):
            mode = "ro" if read_only else "rwc"
            self._connection = sqlite3.connect(
                f"{path.absolute().as_uri()}?mode={mode}",
                uri=True,
                isolation_level=None,
                timeout=wait_s,
                check_same_thread=False,
            )
        self._flush_due = False
        try:
            self._prepare(journal, may_write=not read_only and os.access(path, os.W_OK))
            if watch_place and not read_only and os.access(path, os.W_OK):
                notice_copy(self, path)
        except BaseException:
            self._connection.close()
            raise

    def _prepare(self, journal: Journal, *, may_write: bool) -> None:
        with translated(self._name, "open"):
            self._connection.execute("PRAGMA synchronous = FULL")
            self._connection.execute("PRAGMA fullfsync = ON")  # macOS: flush the drive's own cache as well
            self._connection.execute("PRAGMA secure_delete = ON")  # what is erased is overwritten
            if may_write and self._is_empty():
                self._make_tables()
            self._require_own_file(may_upgrade=may_write)
            if may_write and self._connection.execute("PRAGMA journal_mode").fetchone()[0] != journal:
                self._connection.execute(f"PRAGMA journal_mode = {journal}")

    def _make_tables(self) -> None:
        with self.transaction():
            if self._is_empty():  # nobody was faster
                for statement in statements(SCHEMA):
                    self._connection.execute(statement)

    def _require_own_file(self, *, may_upgrade: bool) -> None:
        application, version = self._pragma("application_id"), self._pragma("user_version")
        if application != APPLICATION_ID:
            raise StoreError(f"{self._name} is not a record", next_step="Check the name of the file")
        if may_upgrade and version in UPGRADES:
            version = self._upgrade()
        # An older file on a write-protected medium is read as it is: it has no signed heads.
        self._has_signed_heads = version == SCHEMA_VERSION
        if version != SCHEMA_VERSION and (may_upgrade or version not in UPGRADES):
            raise StoreError(
                f"{self._name} is of store version {version}, this program knows version {SCHEMA_VERSION}",
                next_step="Open it with the newer program",
            )

    def _upgrade(self) -> int:
        with self.transaction():
            while (version := self._pragma("user_version")) in UPGRADES:  # read anew: somebody may have been faster
                for statement in statements(UPGRADES[version]):
                    self._connection.execute(statement)
        return version

    def _is_empty(self) -> bool:
        return self._pragma("schema_version") == 0

    def _pragma(self, name: str) -> int:
        return int(self._connection.execute(f"PRAGMA {name}").fetchone()[0])

    # --- grouping ---

    @contextmanager
    def transaction(self) -> Iterator[None]:
        with self._lock:
            outermost = self._depth == 0
            point = f"level_{self._depth}"
            # IMMEDIATE: the write lock is taken before heads are read, so that writers take turns. A transaction that
            # read first and locked later could append to a head that is no longer one.
            self._run("write to", "BEGIN IMMEDIATE" if outermost else f"SAVEPOINT {point}")
            self._depth += 1
            try:
                yield
                self._run("write to", "COMMIT" if outermost else f"RELEASE {point}")
            except BaseException:
                # After a full disk SQLite may have rolled back by itself.
                if self._connection.in_transaction:
                    if outermost:
                        self._connection.execute("ROLLBACK")
                    else:
                        self._connection.execute(f"ROLLBACK TO {point}")
                        self._connection.execute(f"RELEASE {point}")
                raise
            finally:
                self._depth -= 1
            if outermost and self._flush_due:
                self._flush()

    @property
    def in_transaction(self) -> bool:
        return self._depth > 0

    def _run(self, act: str, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        with self._lock, translated(self._name, act):
            return self._connection.execute(statement, values).fetchall()

    def _read(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._run("read", statement, values)

    def _write(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._run("write to", statement, values)

    # --- identity ---

    def record_id(self) -> RecordId:
        return self.setting(_RECORD) or ""

    def set_record_id(self, record: RecordId) -> None:
        with self.transaction():
            if self.record_id() not in ("", record):
                raise ConflictError(f"This store holds record {short(self.record_id())}, not {short(record)}")
            self.put_setting(_RECORD, record)

    def device_id(self) -> DeviceId:
        return self.setting(_DEVICE) or ""

    def set_device_id(self, device: DeviceId) -> None:
        self.put_setting(_DEVICE, device)

    # --- events ---

    def append(self, bodies: Sequence[bytes], *, head: EventId) -> int:
        with self.transaction():
            actual = self._head(chain_of(bodies))
            for entry, body in zip(chain_entries(bodies, actual=actual, believed=head), bodies, strict=True):
                self._insert(entry, body)
            return self.last_position()

    def take(self, bodies: Iterable[bytes]) -> int:
        with self.transaction():
            taken = 0
            for body in bodies:
                entry = index_entry(body)
                if not self.has(entry.id):
                    self._insert(entry, body)
                    taken += 1
            return taken

    def _insert(self, entry: IndexEntry, body: bytes) -> None:
        self._write(
            "INSERT INTO events (id, device, sequence, wall_ms, counter, kind, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (*entry, body),
        )

    def _head(self, device: DeviceId) -> SeenHead | None:
        rows = self._read(
            "SELECT sequence, id FROM events WHERE device = ? ORDER BY sequence DESC, id DESC LIMIT 1", (device,)
        )
        return SeenHead(sequence=rows[0][0], event=rows[0][1]) if rows else None

    def _events(self, condition: str, values: Sequence[Any] = ()) -> Sequence[StoredEvent]:
        rows = self._read(f"SELECT position, id, body FROM events {condition}", values)
        return [StoredEvent._make(row) for row in rows]

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        return self._events("WHERE position > ? ORDER BY position", (after,))

    def events_in_order(self) -> Sequence[StoredEvent]:
        return self._events(f"ORDER BY {_ORDER}")

    def events_of_kind(self, kind: str) -> Sequence[StoredEvent]:
        return self._events(f"WHERE kind = ? ORDER BY {_ORDER}", (kind,))

    def events_at(self, device: DeviceId, sequence: int) -> Sequence[StoredEvent]:
        return self._events("WHERE device = ? AND sequence = ? ORDER BY id", (device, sequence))

    def find(self, prefix: str, *, limit: int = 2) -> Sequence[StoredEvent]:
        # "g" comes right after the last hexadecimal digit.
        return self._events("WHERE id >= ? AND id < ? ORDER BY id LIMIT ?", (prefix, prefix + "g", limit))

    def has(self, event: EventId) -> bool:
        return bool(self._read("SELECT 1 FROM events WHERE id = ?", (event,)))

    def heads(self) -> Heads:
        return {device: SeenHead(sequence=sequence, event=event) for device, sequence, event in self._read(_HEADS)}

    def latest_clock(self) -> HybridTime:
        rows = self._read("SELECT wall_ms, counter FROM events ORDER BY wall_ms DESC, counter DESC LIMIT 1")
        return HybridTime(wall_ms=rows[0][0], counter=rows[0][1]) if rows else HybridTime(wall_ms=0)

    def forked_places(self) -> Sequence[tuple[DeviceId, int]]:
        rows = self._read("SELECT device, sequence FROM events GROUP BY device, sequence HAVING COUNT(*) > 1")
        return [(device, sequence) for device, sequence in rows]

    def last_position(self) -> int:
        rows = self._read("SELECT seq FROM sqlite_sequence WHERE name = 'events'")
        return int(rows[0][0]) if rows else 0

    def count(self) -> int:
        return int(self._read("SELECT COUNT(*) FROM events")[0][0])

    def index(self) -> Sequence[IndexEntry]:
        rows = self._read("SELECT id, device, sequence, wall_ms, counter, kind FROM events ORDER BY position")
        return [IndexEntry._make(row) for row in rows]

    # --- events that are no part of the record yet, or not now ---

    def waiting(self) -> Sequence[bytes]:
        return [body for (body,) in self._read("SELECT body FROM waiting ORDER BY id")]

    def waiting_ids(self) -> Sequence[EventId]:
        return [identity for (identity,) in self._read("SELECT id FROM waiting ORDER BY id")]

    def replace_waiting(self, bodies: Iterable[bytes]) -> None:
        wanted = {event_id(body): body for body in bodies}
        with self.transaction():
            # Only the difference is written: in a long exchange most of what waits goes on waiting.
            here = set(self.waiting_ids())
            for identity in here - wanted.keys():
                self._write("DELETE FROM waiting WHERE id = ?", (identity,))
            for identity in sorted(wanted.keys() - here):
                self._write("INSERT INTO waiting VALUES (?, ?)", (identity, wanted[identity]))

    def set_apart(self, *, after_ms: int) -> Sequence[EventId]:
        with self.transaction():
            moved = [one for (one,) in self._read("SELECT id FROM events WHERE wall_ms > ? ORDER BY id", (after_ms,))]
            if moved:
                self._write(
                    "INSERT INTO waiting SELECT id, body FROM events WHERE wall_ms > ? ON CONFLICT DO NOTHING",
                    (after_ms,),
                )
                self._write("DELETE FROM events WHERE wall_ms > ?", (after_ms,))
                self.put_setting(_MOVED, str(int(self.setting(_MOVED) or 0) + len(moved)))
                self.put_setting(_DEPARTURES, str(self.departures() + 1))
                self.drop_snapshots()
            return moved

    def departures(self) -> int:
        return int(self.setting(_DEPARTURES) or 0)

    # --- heads that were signed by their devices ---

    def signed_heads(self) -> Sequence[SignedHead]:
        if not self._has_signed_heads:
            return []
        rows = self._read("SELECT * FROM signed_heads ORDER BY device, sequence, event")
        record = self.record_id()
        try:
            return [
                SignedHead(
                    record=record, device=device, sequence=sequence, event=event, public_key=key, signature=signature
                )
                for device, sequence, event, key, signature in rows
            ]
        except InputError as error:
            raise DamagedError(
                f"A signed head in {self._name} is damaged ({error.message})",
                next_step="Verify the record; bring it back from a backup or another device",
            ) from error

    def replace_signed_heads(self, heads: Iterable[SignedHead]) -> None:
        with self.transaction():
            self._write("DELETE FROM signed_heads")
            for one in heads:
                self._write(
                    "INSERT OR REPLACE INTO signed_heads VALUES (?, ?, ?, ?, ?)",
                    (one.device, one.sequence, one.event, one.public_key, one.signature),
                )

    # --- blobs ---

    def put_blob(self, body: bytes) -> str:
        digest = hashlib.sha256(body).hexdigest()
        self._write("INSERT INTO blobs VALUES (?, ?) ON CONFLICT DO NOTHING", (digest, body))
        return digest

    def blob(self, digest: str) -> bytes | None:
        rows = self._read("SELECT body FROM blobs WHERE digest = ?", (digest,))
        return rows[0][0] if rows else None

    def blob_digests(self) -> Sequence[str]:
        return [digest for (digest,) in self._read("SELECT digest FROM blobs ORDER BY digest")]

    def drop_blob(self, digest: str) -> None:
        self._write("DELETE FROM blobs WHERE digest = ?", (digest,))

    # --- erasable texts ---

    def put_text(self, text: KeptText) -> bool:
        with self.transaction():
            before = self.text(text.digest)
            if before == text or (before is not None and not text.erased):
                return False
            self._write("INSERT OR REPLACE INTO texts VALUES (?, ?, ?)", (text.digest, text.salt, text.words))
            self._flush_due |= text.erased
        return True

    def text(self, digest: str) -> KeptText | None:
        rows = self._read("SELECT digest, salt, words FROM texts WHERE digest = ?", (digest,))
        return _kept_text(rows[0]) if rows else None

    def texts(self) -> Sequence[KeptText]:
        return [_kept_text(row) for row in self._read("SELECT digest, salt, words FROM texts ORDER BY digest")]

    def drop_text(self, digest: str) -> None:
        self._write("DELETE FROM texts WHERE digest = ?", (digest,))

    # --- snapshots and settings ---

    def put_snapshot(self, name: str, snapshot: Snapshot) -> None:
        self._write("INSERT OR REPLACE INTO snapshots VALUES (?, ?, ?)", (name, *snapshot))

    def snapshot(self, name: str) -> Snapshot | None:
        rows = self._read("SELECT through, body FROM snapshots WHERE name = ?", (name,))
        return Snapshot._make(rows[0]) if rows else None

    def drop_snapshots(self) -> None:
        self._write("DELETE FROM snapshots")

    def setting(self, name: str) -> str | None:
        rows = self._read("SELECT value FROM settings WHERE name = ?", (name,))
        return rows[0][0] if rows else None

    def put_setting(self, name: str, value: str) -> None:
        self._write("INSERT OR REPLACE INTO settings VALUES (?, ?)", (name, value))

    # --- care ---

    def _flush(self) -> None:
        # Fold the write-ahead log into the file and empty it, so that nothing erased stays readable there. A reader
        # may stand in the way; then the next transaction tries again.
        busy = self._write("PRAGMA wal_checkpoint(TRUNCATE)")[0][0]
        self._flush_due = bool(busy)

    def damage(self) -> Sequence[str]:
        try:
            found = [row[0] for row in self._read("PRAGMA integrity_check")]
            missing = self._read(
                "SELECT COALESCE((SELECT seq FROM sqlite_sequence WHERE name = 'events'), 0) - COUNT(*) FROM events"
            )[0][0] - int(self.setting(_MOVED) or 0)
        except StoreError as error:
            return [error.message]
        problems = [] if found == ["ok"] else found
        # Positions are handed out one by one and taken back with a transaction, so a gap is a row that was set apart or
        # that somebody removed.
        return [*problems, f"{missing} events were removed from the file"] if missing else problems

    def copy_to(self, target: Path) -> None:
        """Write a consistent copy of the whole file, while others may go on writing to this one."""
        if self.in_transaction:
            raise StoreError(f"Cannot copy {self._name} in the middle of a transaction", next_step="Copy it afterwards")
        with self._lock, translated(self._name, "copy"), closing(sqlite3.connect(target)) as copy:
            self._connection.backup(copy)

    def close(self) -> None:
        with self._lock, translated(self._name, "close"):
            self._connection.close()


def _kept_text(row: tuple[Any, ...]) -> KeptText:
    digest, salt, words = row
    return KeptText(digest=digest, salt=salt, words=words)
