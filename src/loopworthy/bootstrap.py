"""The one place where stores, registry, catalogue and clock are wired into a workplace for the doors."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from zoneinfo import ZoneInfo

from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.keys import KeyFolder
from loopworthy.judgement import events as judgement_events
from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.record import level, story_clock
from loopworthy.record.events import register_record_events
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.signing import DeviceKeys
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import Store
from loopworthy.unit import events as unit_events
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.time import Moment, moment


def registry() -> Registry:
    """Every kind of event that this version knows."""
    known = Registry()
    register_record_events(known)
    for kinds in (unit_events.EVENT_TYPES, judgement_events.EVENT_TYPES):
        for kind, version, payload in kinds:
            known.register(kind, version, payload)
    return known


def system_clock(zone_name: str) -> Callable[[], Moment]:
    """The computer's clock, told in the zone of the site."""

    def now() -> Moment:
        return moment(datetime.now(tz=ZoneInfo("UTC")), zone_name)

    return now


def open_workplace(
    path: Path,
    *,
    clock: Callable[[], Moment],
    title: str = "",
    device_name: str = "this computer",
    invented: bool = False,
    owner_files: Mapping[str, str] | None = None,
    create: bool = False,
    short: bool = False,
    journal: Journal = Journal.WRITE_AHEAD,
    watch_place: bool = True,
    keys: DeviceKeys | None = None,
) -> Workplace:
    """Open a record file, or begin one.

    Parameters
    ----------
    path : Path
        The record's file.
    clock : callable
        Gives the present moment; a rehearsal that keeps a clock of its own goes by that.
    create : bool
        Whether to begin a new record when the file is not there.
    short : bool
        Whether verdicts of now are all that is wanted; see `Workplace`.
    journal, watch_place
        As `SqliteStore` takes them; a browser's file system differs from a disk.

    keys : DeviceKeys, optional
        The keys of this computer (`device_keys`), with which chains that are opened from now on are signed.

    Raises
    ------
    InputError
        If the file is not there and is not to be created.
    StoreError
        If it cannot be opened, or a newer program has written to it.
    """
    if not path.exists() and not create:
        raise InputError(
            "record", str(path), "the path of a record", next_step="Begin one with: loopworthy record begin PATH"
        )
    path.parent.mkdir(parents=True, exist_ok=True)
    return _workplace(
        SqliteStore(path, journal=journal, watch_place=watch_place),
        clock=clock,
        title=title or path.stem,
        device_name=device_name,
        invented=invented,
        owner_files=owner_files,
        short=short,
        keys=keys,
    )


def device_keys() -> KeyFolder:
    """The keys of this computer's user; nothing is read or made before one is needed."""
    return KeyFolder()


def memory_workplace(
    *, clock: Callable[[], Moment], title: str = "rehearsal", device_name: str = "memory", invented: bool = True
) -> Workplace:
    """A workplace whose record is gone when the process ends (tests, trying things out)."""
    from loopworthy.record.memory import MemoryStore

    return _workplace(
        MemoryStore(), clock=clock, title=title, device_name=device_name, invented=invented, owner_files=None
    )


def _workplace(
    store: Store,
    *,
    clock: Callable[[], Moment],
    title: str,
    device_name: str,
    invented: bool,
    owner_files: Mapping[str, str] | None,
    short: bool = False,
    keys: DeviceKeys | None = None,
) -> Workplace:
    known = registry()
    level.take_up(store)
    if store.record_id():
        record = Record(store, known, device_name=device_name, token=secrets.token_bytes, keys=keys)
    else:
        record = Record.begin(
            store,
            known,
            title=title,
            device_name=device_name,
            now=clock(),
            token=secrets.token_bytes,
            invented=invented,
            keys=keys,
        )
    return Workplace(record, catalogue_for(owner_files), clock_for(store, clock), short=short)


def clock_for(store: Store, clock: Callable[[], Moment]) -> Callable[[], Moment]:
    """The clock that a record runs by: that of a rehearsal where it is one, else the one given."""
    return story_clock.clock_of(store, clock, seconds=time.time)


def catalogue_for(owner_files: Mapping[str, str] | None = None) -> Catalogue:
    """The shipped catalogue, with an owner's files where there are any."""
    return load_catalogue(owner=owner_files) if owner_files else _shipped()


@lru_cache(maxsize=1)
def _shipped() -> Catalogue:
    return load_catalogue()
