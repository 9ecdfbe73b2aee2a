"""A second program that writes to a record file; the tests start it, race it and kill it.

Prints the identity of each event after the record has acknowledged it, one a line.
"""

from __future__ import annotations

import os
import resource
import secrets
import signal
import sys
from pathlib import Path

from loopworthy.record.chain import Draft
from loopworthy.record.record import Record
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.vocabulary.errors import LoopworthyError
from tests.contract.record_makers import NOTED, Noted, at, begin, known_kinds

NOBODY = 65534
SHORT_OF_ROOM_BYTES = 600_000


def acknowledge(identity: str) -> None:
    """Straight to the pipe: nothing acknowledged may sit in a buffer when the kill comes."""
    os.write(1, f"{identity}\n".encode())


def begin_record(path: Path, journal: Journal) -> None:
    """Begin a record, unless somebody else was faster."""
    store = SqliteStore(path, journal=journal)
    try:
        acknowledge(begin(store, secrets.token_hex(4)).id)
    except LoopworthyError as error:
        acknowledge(error.message)
    store.close()


def append_pairs(path: Path, journal: Journal, pairs: int, name: str) -> None:
    """Record batches of two events that belong together."""
    store = SqliteStore(path, journal=journal)
    record = Record(store, known_kinds(), device_name=name, token=secrets.token_bytes)
    for pair in range(pairs):
        with record.writer(at(pair)).batch() as batch:
            first = batch.add(Draft(kind=NOTED, payload=Noted(text=f"{name} {pair}")))
            second = batch.add(Draft(kind=NOTED, payload=Noted(text=f"{name} {pair}"), subjects=(first,)))
        acknowledge(f"{first} {second}")
    store.close()


def fill_the_disk(path: Path, journal: Journal) -> None:
    """Append until the file may not grow any more; say why; make room and append once more."""
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    store = SqliteStore(path, journal=journal)
    record = Record(store, known_kinds(), device_name="laptop", token=secrets.token_bytes)
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    resource.setrlimit(resource.RLIMIT_FSIZE, (path.stat().st_size + SHORT_OF_ROOM_BYTES, hard))
    try:
        while True:
            acknowledge(record.writer(at(1)).append(NOTED, Noted(text="x" * 5000)).id)
    except LoopworthyError as error:
        print(f"refused: {type(error).__name__}: {error}", flush=True)
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    acknowledge(record.writer(at(2)).append(NOTED, Noted(text="with room again")).id)
    store.close()


def append_once(path: Path, journal: Journal) -> None:
    """As an ordinary user, read everything, then try to append one event; say what came of it."""
    moment = at(1)  # reads the time zone while that is still allowed
    if os.geteuid() == 0:
        os.setuid(NOBODY)
    store = SqliteStore(path, journal=journal)
    record = Record(store, known_kinds(), device_name="laptop", token=secrets.token_bytes)
    print(f"read: {len(record.events())}", flush=True)
    try:
        acknowledge(record.writer(moment).append(NOTED, Noted(text="once")).id)
    except LoopworthyError as error:
        print(f"refused: {type(error).__name__}: {error}", flush=True)
    store.close()


def main() -> None:
    """`act path journal [count name]`."""
    act, path, journal = sys.argv[1], Path(sys.argv[2]), Journal(sys.argv[3])
    match act:
        case "begin":
            begin_record(path, journal)
        case "append-pairs":
            append_pairs(path, journal, int(sys.argv[4]), sys.argv[5])
        case "fill-the-disk":
            fill_the_disk(path, journal)
        case "append-once":
            append_once(path, journal)
        case _:
            raise SystemExit(f"unknown act {act}")


if __name__ == "__main__":
    main()
