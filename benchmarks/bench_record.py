"""What the record costs beside the bare work that it stands on, as ratios measured in one run.

Run it from the root of the repository: ``.venv/bin/python -m benchmarks.record_append [events]``. Each line compares
two ways of handling the same bytes on the same disk, one after the other, the best of several rounds. Only the ratios
are worth remembering; the times depend on the computer.
"""

from __future__ import annotations

import hashlib
import secrets
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path

import msgspec

from loopworthy.record.chain import Draft
from loopworthy.record.events import register_record_events
from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

KIND = "benchmark.cell-read"
START_MS = 1_778_740_800_000
SINGLE_APPENDS = 500
ROUNDS = 3


class CellRead(msgspec.Struct, frozen=True, kw_only=True):
    """An invented reading, about as large as most payloads are."""

    channel: str
    in_air: Reading
    remark: str = ""


def registry() -> Registry:
    """The record's own kinds and the invented one."""
    known = Registry()
    register_record_events(known)
    known.register(KIND, 1, CellRead)
    return known


def at(number: int) -> Moment:
    """Each event has its own second."""
    return moment_from_epoch_ms(START_MS + 1000 * number, "Europe/Malta")


def draft(number: int) -> Draft:
    """The reading with that number."""
    reading = Reading(value=f"{10 + number % 4}.{number % 10}", unit="mV")
    return Draft(kind=KIND, payload=CellRead(channel=str(number % 3), in_air=reading), subjects=("5" * 64,))


def begin(path: Path | None) -> Record:
    """A new record in a file, or in memory."""
    return Record.begin(
        MemoryStore() if path is None else SqliteStore(path),
        registry(),
        title="Benchmark",
        device_name="bench",
        now=at(0),
        token=secrets.token_bytes,
        invented=True,
    )


def fill(record: Record, events: int) -> None:
    """So many events, a thousand in one transaction."""
    for start in range(0, events, 1000):
        with record.store.transaction():
            for number in range(start, min(start + 1000, events)):
                record.writer(at(number + 1)).append_all((draft(number),))


def bare_file(path: Path) -> sqlite3.Connection:
    """A SQLite file as durable as the store's, with one table and nothing else."""
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode = wal")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("CREATE TABLE events (position INTEGER PRIMARY KEY, body BLOB NOT NULL)")
    return connection


def seconds(act: Callable[[], object], rounds: int = ROUNDS) -> float:
    """The best time of several rounds. [s]"""
    best = float("inf")
    for _ in range(rounds):
        start = time.perf_counter()
        act()
        best = min(best, time.perf_counter() - start)
    return best


def report(what: str, ours_s: float, bare_s: float, bare: str, count: int) -> None:
    """One line: the ratio, and how it came about."""
    print(
        f"{what:<34} {ours_s / bare_s:6.1f} x {bare:<38}"
        f" ({1e6 * ours_s / count:8.1f} and {1e6 * bare_s / count:8.1f} us an event)"
    )


def measure_single_appends(folder: Path, bodies: Sequence[bytes]) -> None:
    """One durable event at a time: what a person who taps waits for."""
    record = begin(folder / "single.lw")
    chosen = bodies[:SINGLE_APPENDS]

    def append() -> None:
        for number in range(len(chosen)):
            record.writer(at(number)).append_all((draft(number),))

    with closing(bare_file(folder / "bare-single.db")) as bare:

        def insert() -> None:
            for body in chosen:
                bare.execute("INSERT INTO events (body) VALUES (?)", (body,))

        report(
            "append, each durable", seconds(append), seconds(insert), "bare SQLite insert, each durable", len(chosen)
        )
    record.store.close()


def measure_batches(folder: Path, bodies: Sequence[bytes]) -> None:
    """Many events in one transaction: a demonstration, a download."""
    count = len(bodies)
    records: list[Record] = []

    def append() -> None:
        records.append(begin(folder / f"batch-{len(records)}.lw"))
        fill(records[-1], count)

    with closing(bare_file(folder / "bare-batch.db")) as bare:

        def insert() -> None:
            for start in range(0, count, 1000):
                bare.execute("BEGIN IMMEDIATE")
                for body in bodies[start : start + 1000]:
                    bare.execute("INSERT INTO events (body) VALUES (?)", (body,))
                bare.execute("COMMIT")

        report(
            "append, 1000 in a transaction",
            seconds(append, 1),
            seconds(insert, 1),
            "bare SQLite insert, the same",
            count,
        )
    for record in records:
        record.store.close()


def measure_reading(path: Path, events: int) -> None:
    """Decoding everything, checking everything, carrying everything."""
    store = SqliteStore(path)
    known = registry()

    def read() -> object:
        return Record(store, known, device_name="bench", token=secrets.token_bytes).events()

    def fetch() -> object:
        return list(store.events_in_order())

    def hash_all() -> object:
        return [hashlib.sha256(one.body).digest() for one in store.events()]

    def carry_in() -> object:
        return merge(MemoryStore(), known, lines, adopt=True)

    lines = list(export_lines(store, exported_at=at(0)))
    read_s, verify_s, hash_s = seconds(read), seconds(lambda: verify(store, known)), seconds(hash_all)
    report("read, checked and decoded", read_s, seconds(fetch), "bare SQLite fetch in the same order", events)
    report("verify", verify_s, hash_s, "fetching and hashing alone", events)
    report(
        "export",
        seconds(lambda: list(export_lines(store, exported_at=at(0)))),
        hash_s,
        "fetching and hashing alone",
        events,
    )
    report("merge into an empty store", seconds(carry_in, 1), hash_s, "fetching and hashing alone", events)
    print(f"{events} events: read {read_s:.2f} s, verified {verify_s:.2f} s, file {path.stat().st_size / 1e6:.0f} MB")
    store.close()


def main() -> None:
    """Measure with 60,000 events, or as many as the first argument says."""
    events = int(sys.argv[1]) if len(sys.argv) > 1 else 60_000
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        memory = begin(None)
        fill(memory, events)
        bodies = [one.body for one in memory.store.events()]
        measure_single_appends(folder, bodies)
        measure_batches(folder, bodies[1:])
        measure_reading(folder / "batch-0.lw", events + 1)


if __name__ == "__main__":
    main()
