"""Files that an older version of the program made: read, brought up to date, and still guarded."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from loopworthy.record.backup import restore
from loopworthy.record.exchange import export_lines
from loopworthy.record.record import Record
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.store import index_entry
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import START_MS, at, begin, bodies, known_kinds, note, tokens

VERSION_1 = """
CREATE TABLE events (
    position INTEGER PRIMARY KEY AUTOINCREMENT,
    id TEXT NOT NULL UNIQUE,
    device TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    wall_ms INTEGER NOT NULL,
    counter INTEGER NOT NULL,
    kind TEXT NOT NULL,
    body BLOB NOT NULL
);
CREATE INDEX events_by_chain ON events (device, sequence, id);
CREATE INDEX events_in_order ON events (wall_ms, counter, device, sequence, id);
CREATE INDEX events_by_kind ON events (kind);
CREATE TRIGGER events_are_not_edited BEFORE UPDATE ON events
    BEGIN SELECT RAISE(ABORT, 'an event is never edited'); END;
CREATE TRIGGER events_are_not_deleted BEFORE DELETE ON events
    BEGIN SELECT RAISE(ABORT, 'an event is never deleted'); END;
CREATE TABLE waiting (id TEXT PRIMARY KEY, body BLOB NOT NULL);
CREATE TABLE blobs (digest TEXT PRIMARY KEY, body BLOB NOT NULL);
CREATE TABLE texts (digest TEXT PRIMARY KEY, salt BLOB, words TEXT);
CREATE TABLE snapshots (name TEXT PRIMARY KEY, through INTEGER NOT NULL, body BLOB NOT NULL);
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
PRAGMA application_id = 1282371703;
PRAGMA user_version = 1;
"""
"""The tables as version 1 made them."""


@contextmanager
def opened(path: Path, *, read_only: bool = False) -> Iterator[SqliteStore]:
    store = SqliteStore(path, read_only=read_only)
    try:
        yield store
    finally:
        store.close()


@pytest.fixture
def old_path(tmp_path: Path) -> Path:
    """A file of version 1 with three events, one that waits, and a snapshot."""
    path = tmp_path / "old.lw"
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.executescript(VERSION_1)
        for body in bodies("0123456789abcdef", 3):
            entry = index_entry(body)
            connection.execute(
                "INSERT INTO events (id, device, sequence, wall_ms, counter, kind, body) VALUES (?, ?, ?, ?, ?, ?, ?)",
                (*entry, body),
            )
        waiting = bodies("fedcba9876543210", 2)[1]
        connection.execute("INSERT INTO waiting VALUES (?, ?)", (event_id(waiting), waiting))
        connection.execute("INSERT INTO settings VALUES ('record', ?)", ("c0ffee00" * 4,))
        connection.execute("INSERT INTO settings VALUES ('device', '0123456789abcdef')")
    return path


def test_a_file_of_the_first_version_is_brought_up_to_date_and_written_on(old_path: Path) -> None:
    with opened(old_path) as store:
        assert (store.count(), len(store.waiting()), list(store.signed_heads())) == (3, 1, [])
        record = Record(store, known_kinds(), device_name="laptop", token=tokens("laptop"))
        last = note(record, "with the newer program", second=100)
        assert record.device == "0123456789abcdef"
        assert list(store.set_apart(after_ms=START_MS + 50_000)) == [last]
        assert list(store.damage()) == []
    with closing(sqlite3.connect(old_path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (2,)


def test_a_file_of_the_first_version_that_cannot_be_written_is_read_as_it_is(old_path: Path) -> None:
    before = old_path.read_bytes()
    with opened(old_path, read_only=True) as store:
        assert (store.count(), list(store.signed_heads()), store.departures()) == (3, [], 0)
        assert len(list(export_lines(store, exported_at=at(0)))) == 6
    assert old_path.read_bytes() == before


def test_a_backup_of_the_first_version_is_restored(old_path: Path, tmp_path: Path) -> None:
    report = restore(old_path, tmp_path / "restored.lw")
    assert report.events == 3
    with opened(report.path, read_only=True) as store:
        assert list(store.signed_heads()) == []


def test_an_event_can_only_leave_its_table_when_it_lies_among_those_that_wait(tmp_path: Path) -> None:
    path = tmp_path / "record.lw"
    with opened(path) as store:
        begin(store)
    with opened(path) as store, closing(sqlite3.connect(path)) as connection:
        first = store.events()[0]
        with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
            connection.execute("DELETE FROM events WHERE id = ?", (first.id,))
        connection.execute("INSERT INTO waiting VALUES (?, ?)", (first.id, b"something else"))
        with pytest.raises(sqlite3.IntegrityError, match="never deleted"):
            connection.execute("DELETE FROM events WHERE id = ?", (first.id,))
