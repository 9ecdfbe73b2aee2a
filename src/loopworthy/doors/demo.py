"""The rehearsal: an invented club's record, made on first use and opened afterwards, with a clock of its own.

Everything in it is made up, and the record says so in its first event. The clock begins at the moment of the story at
which one unit is ready, one unproven and one at stop, and runs on from there; it lies in the store, for every door.
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from random import Random

from loopworthy.bootstrap import catalogue_for, memory_workplace, open_workplace, registry
from loopworthy.desk.demo.club import DEVICE, OPENS_AT, TITLE, ZONE
from loopworthy.desk.demo.scenario import first_moment, tell
from loopworthy.desk.workplace import Workplace
from loopworthy.record import story_clock
from loopworthy.record.exchange import export_lines
from loopworthy.record.merge import merge
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.errors import StoreError
from loopworthy.vocabulary.time import Moment

SEED = 614
"""The same seed tells the same readings; only identities and salts differ from one rehearsal to the next."""

_OPENS = Moment(at=OPENS_AT, zone=ZONE)


def open_demo(directory: Path, *, afresh: bool = False, seconds: Callable[[], float] = time.time) -> Workplace:
    """The rehearsal kept in a directory, made if it is not there.

    Parameters
    ----------
    directory : Path
        Where its file lies; made if it is not there.
    afresh : bool
        Whether to throw away what was recorded in it since, and begin again.
    seconds : callable
        What the demo's clock runs by; every process that opens the record has to count the same. [s]

    Returns
    -------
    Workplace
        Its clock begins at the story's moment; where somebody went on recording in an earlier session it begins at
        the last thing recorded, for no record's time runs backwards.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    path = demo_file(directory)
    if afresh:
        _throw_away(path)
    if not path.exists():
        _make(path)
    workplace = open_workplace(path, clock=first_moment())
    workplace.clock = story_clock.begin(workplace.record.store, _OPENS, seconds=seconds)
    return workplace


def memory_demo(*, seconds: Callable[[], float] = time.time) -> Workplace:
    """The rehearsal without a file: gone when the process ends."""
    told = _told()
    clock = story_clock.begin(told.record.store, _OPENS, seconds=seconds)
    return Workplace(told.record, told.catalogue, clock)


def demo_file(directory: Path) -> Path:
    """The rehearsal's file: another one for another catalogue, for its verdicts would differ."""
    return directory / f"invented-club-{catalogue_for().digest[:8]}.sqlite"


def _told() -> Workplace:
    clock = first_moment()
    workplace = memory_workplace(clock=clock, title=TITLE, device_name=DEVICE, invented=True)
    tell(workplace, clock, Random(SEED))
    return workplace


def _make(path: Path) -> None:
    """Tell the story in memory, carry it into a file beside, and give it its name when it is whole."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=path.stem, suffix=".part", dir=path.parent)
        os.close(handle)
        part = Path(name)
        try:
            _carry(_told(), part)
            os.replace(part, path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise StoreError(
            f"Cannot write {path.name}: {error.strerror or error}",
            next_step="Name a directory that can be written to, with 20 MB free",
        ) from error


def _carry(told: Workplace, part: Path) -> None:
    store = SqliteStore(part)
    try:
        merge(store, registry(), export_lines(told.record.store, exported_at=told.now()), now=told.now(), adopt=True)
    finally:
        store.close()


def _throw_away(path: Path) -> None:
    for one in (path, path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
        with suppress(FileNotFoundError):
            one.unlink()
