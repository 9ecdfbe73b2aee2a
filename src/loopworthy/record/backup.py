"""Backup and restoring: a whole, checked copy in one file, made while the record is being written to.

The copy is marked so that it writes as a new device when somebody opens it as a record, and whatever would let its
holder in at a hub, or would admit others, is taken out of it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from loopworthy.record.copies import become_new_device
from loopworthy.record.secrets import forget_secrets
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import Heads
from loopworthy.vocabulary.errors import InputError, StoreError


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupReport:
    """What a copy holds: how many events, and the last event of each chain, to be compared with a sheet."""

    path: Path
    events: int
    heads: Heads


def backup(store: SqliteStore, target: Path) -> BackupReport:
    """Write a consistent copy of the record; the file appears only when it is whole and on the disk.

    Raises
    ------
    InputError
        If the target exists already.
    StoreError
        If the copy could not be written, or the medium of the original is damaged.
    """
    if target.exists():
        raise InputError("target", str(target), "a file that does not exist yet", next_step="Choose another name")
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    try:
        store.copy_to(part)
        report = _mark(part, target)
        _flush(part)
        os.replace(part, target)
        _flush(target.parent)
    except OSError as error:
        raise StoreError(f"Cannot write {target.name}: {error}", next_step="Check the disk and its space") from error
    finally:
        part.unlink(missing_ok=True)
    return report


def restore(source: Path, target: Path) -> BackupReport:
    """Make a record file from a backup, or from any copy of a record file; it writes as a new device.

    Raises
    ------
    InputError
        If the target exists already: nothing is overwritten.
    StoreError
        If the source is no record, or is damaged.
    """
    store = SqliteStore(source, read_only=True)
    try:
        return backup(store, target)
    finally:
        store.close()


def _mark(part: Path, target: Path) -> BackupReport:
    # A single file without a log beside it, so that it can be read from a write-protected medium.
    copy = SqliteStore(part, journal=Journal.DELETE, watch_place=False)
    try:
        damage = copy.damage()
        if damage:
            raise StoreError(
                f"The copy is not sound: {'; '.join(damage)}", next_step="Verify the record before anything else"
            )
        become_new_device(copy)
        forget_secrets(copy)
        return BackupReport(path=target, events=copy.count(), heads=copy.heads())
    finally:
        copy.close()


def _flush(path: Path) -> None:
    # Folders cannot be flushed everywhere (Windows refuses to open them); there the rename is flushed by the system.
    if path.is_dir() and os.name == "nt":
        return
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
