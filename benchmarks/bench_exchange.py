"""What a first exchange in parts costs beside one merge of the same lines from a file, as ratios measured in one run.

Run it from the root of the repository: ``.venv/bin/python -m benchmarks.bench_exchange [events]``. In a first exchange
the events of a chain wait beside the record until the part with its signed end has come, and each part looks at all
that wait. The ratio grows with the length of the chain; it fails above its budget, set a quarter over what it was when
it was last measured.
"""

from __future__ import annotations

import secrets
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path

from loopworthy.bootstrap import registry
from loopworthy.doors.exchange.keys import KeyFolder, Verifier, at_once
from loopworthy.record.events import HEAD_WITNESSED, HeadWitnessed
from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.offers import chunk, knowledge_of_nothing
from loopworthy.record.receiving import check_heads, sign_own_heads
from loopworthy.record.record import Record
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.store import Store
from loopworthy.vocabulary.identity import fingerprint
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-11-25T10:00:00+01:00", zone="Europe/Malta")
EVENTS = 20_000
BUDGET = 5.0
"""Times as long as the plain merge, for `EVENTS` events. Measured: 3.8 from a file, 3.4 from memory, where it was 28
before whole identities were found without a search."""
ROUNDS = 2


def fill(store: Store, folder: Path, count: int) -> None:
    """One signed chain of that many events."""
    keys = KeyFolder(folder)
    record = Record.begin(
        store, registry(), title="bench", device_name="one", now=NOW, token=secrets.token_bytes, keys=keys
    )
    first = store.events()[0]
    seen = HeadWitnessed(device=store.device_id(), sequence=1, event=first.id, fingerprint=fingerprint(first.id))
    with store.transaction():
        writer = record.writer(NOW)
        for _ in range(count - 1):
            writer.append(HEAD_WITNESSED, seen)
    at_once(sign_own_heads(store, keys))


def plain(source: Store, target: Store) -> float:
    """One merge of an export. [s]"""
    begun = time.perf_counter()
    sent = at_once(check_heads(list(export_lines(source, exported_at=NOW)), Verifier()))
    merge(target, registry(), sent.lines, now=NOW, vouched=sent.heads, adopt=True)
    return time.perf_counter() - begun


def in_parts(source: Store, target: Store) -> float:
    """The same in the parts of an exchange. [s]"""
    begun = time.perf_counter()
    nothing, rest = knowledge_of_nothing(source.record_id(), now=NOW), ""
    while True:
        part = chunk(source, nothing, now=NOW, rest=rest)
        sent = at_once(check_heads(part.lines, Verifier()))
        merge(target, registry(), sent.lines, now=NOW, vouched=sent.heads, adopt=True)
        rest = part.rest
        if not rest:
            return time.perf_counter() - begun


def main(count: int = EVENTS) -> int:
    """Measure and tell; 1 where the budget is exceeded."""
    worst = 0.0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with closing(SqliteStore(folder / "source.sqlite")) as kept, closing(MemoryStore()) as held:
            for source in (kept, held):
                fill(source, folder / "keys", count)
                times: list[list[float]] = [[], []]
                for number in range(ROUNDS):
                    for which, way in enumerate((plain, in_parts)):
                        place = folder / f"{type(source).__name__}-{number}-{way.__name__}.sqlite"
                        with closing(SqliteStore(place)) as target:
                            times[which].append(way(source, target))
                            assert target.count() == count
                ratio = min(times[1]) / min(times[0])
                worst = max(worst, ratio)
                print(
                    f"{count} events from {type(source).__name__}: {min(times[0]):.2f} s in one file, "
                    f"{min(times[1]):.2f} s in parts, {ratio:.1f} times as long"
                )
    if count == EVENTS and worst > BUDGET:
        print(f"More than the budget of {BUDGET} times", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:2])))
