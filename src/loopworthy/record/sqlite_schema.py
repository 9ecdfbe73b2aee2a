"""The tables of the SQLite store, and its driver's errors in the words of the record.

SQLite up to 3.39 is enough. The tables refuse to change an event, and to take one away that does not lie among the
waiting ones, whoever asks.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Final

from loopworthy.vocabulary.errors import DamagedError, StoreError

APPLICATION_ID: Final = 0x4C6F7077
"""Marks a SQLite file as a record, in the header field made for that ("Lopw")."""

SCHEMA_VERSION: Final = 2

_MAY_ONLY_MOVE: Final = """CREATE TRIGGER events_are_not_deleted BEFORE DELETE ON events
    WHEN NOT EXISTS (SELECT 1 FROM waiting WHERE waiting.id = OLD.id AND waiting.body = OLD.body)
    BEGIN SELECT RAISE(ABORT, 'an event is never deleted'); END;
"""

_SIGNED_HEADS: Final = """CREATE TABLE signed_heads (
    device TEXT NOT NULL,
    sequence INTEGER NOT NULL,
    event TEXT NOT NULL,
    public_key TEXT NOT NULL,
    signature TEXT NOT NULL,
    PRIMARY KEY (device, sequence, event)
);
"""

SCHEMA: Final = f"""
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
{_MAY_ONLY_MOVE}CREATE TABLE waiting (id TEXT PRIMARY KEY, body BLOB NOT NULL);
CREATE TABLE blobs (digest TEXT PRIMARY KEY, body BLOB NOT NULL);
CREATE TABLE texts (digest TEXT PRIMARY KEY, salt BLOB, words TEXT);
CREATE TABLE snapshots (name TEXT PRIMARY KEY, through INTEGER NOT NULL, body BLOB NOT NULL);
CREATE TABLE settings (name TEXT PRIMARY KEY, value TEXT NOT NULL);
{_SIGNED_HEADS}PRAGMA application_id = {APPLICATION_ID};
PRAGMA user_version = {SCHEMA_VERSION};
"""

UPGRADES: Final = {
    1: f"""
DROP TRIGGER events_are_not_deleted;
{_MAY_ONLY_MOVE}{_SIGNED_HEADS}PRAGMA user_version = 2;
""",
}
"""From each older version to the next one."""

_DAMAGED: Final = "the file is damaged"
_CAUSES: Final = {
    sqlite3.SQLITE_FULL: ("the disk is full", "Make room, then do it again; nothing of it was recorded"),
    sqlite3.SQLITE_READONLY: ("the file is read-only", "Give write permission, or work on a copy"),
    sqlite3.SQLITE_BUSY: ("another program holds the file", "Close the other program, or try again in a moment"),
    sqlite3.SQLITE_LOCKED: ("another program holds the file", "Close the other program, or try again in a moment"),
    sqlite3.SQLITE_CORRUPT: (_DAMAGED, "Verify the record; bring it back from a backup or another device"),
    sqlite3.SQLITE_NOTADB: ("the file is not a record", "Check the name, or bring the record back from a backup"),
    sqlite3.SQLITE_CANTOPEN: ("the file cannot be opened", "Check that the folder exists and may be written"),
    sqlite3.SQLITE_IOERR: ("the disk refuses", "Check disk and space; copy the file away before anything else"),
    sqlite3.SQLITE_PERM: ("permission is refused", "Check who may read and write the file"),
}
_PRIMARY_CODE: Final = 0xFF
"""Extended result codes of SQLite keep the primary one in their lowest byte."""


@contextmanager
def translated(name: str, act: str) -> Iterator[None]:
    """Raise the driver's errors as `StoreError`, with what was tried, what went wrong and what to do."""
    try:
        yield
    except sqlite3.Error as error:
        code = getattr(error, "sqlite_errorcode", None)
        cause, step = _CAUSES.get(code & _PRIMARY_CODE if code is not None else -1, ("the store failed", ""))
        kind = DamagedError if cause == _DAMAGED else StoreError
        raise kind(f"Cannot {act} {name}: {cause} ({error})", next_step=step) from error


def statements(script: str) -> Iterator[str]:
    """The statements of a script one by one, so that they run inside a transaction that is already open."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
