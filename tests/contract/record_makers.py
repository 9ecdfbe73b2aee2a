"""Small records for tests: moments, tokens and events that come out the same each time. All of it is invented."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable

import msgspec

from loopworthy.record.events import CHAIN_OPENED, register_record_events
from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.store import Heads, Store, Token
from loopworthy.vocabulary.event import GENESIS, Envelope, HybridTime, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

START_MS = 1_778_740_800_000  # 2026-05-14T06:40:00Z
NOTED = "test.noted"


class Noted(msgspec.Struct, frozen=True, kw_only=True):
    """A payload for tests: somebody noted something."""

    text: str


def at(second: float) -> Moment:
    """So many seconds after the start of the invented morning."""
    return moment_from_epoch_ms(START_MS + round(second * 1000), "Europe/Malta")


def known_kinds() -> Registry:
    """The record's own kinds and `Noted`."""
    registry = Registry()
    register_record_events(registry)
    registry.register(NOTED, 1, Noted)
    return registry


def tokens(seed: str) -> Token:
    """Bytes that look random and are the same for the same seed."""
    count = 0

    def token(length: int) -> bytes:
        nonlocal count
        count += 1
        return hashlib.sha256(f"{seed} {count}".encode()).digest()[:length]

    return token


def begin(store: Store, name: str = "laptop", *, second: float = 0) -> Record:
    """A new record in the store."""
    return Record.begin(
        store, known_kinds(), title="Quarry week", device_name=name, now=at(second), token=tokens(name), invented=True
    )


def lines_of(store: Store) -> list[bytes]:
    """The export of a store, taken at a fixed moment."""
    return list(export_lines(store, exported_at=at(86_400)))


def send(source: Store, target: Store) -> MergeReport:
    """Merge one store into another, which may be empty."""
    return merge(target, known_kinds(), lines_of(source), now=at(86_400), adopt=True)


def join(source: Store, name: str, target: Store | None = None) -> Record:
    """Another device with everything that the source holds."""
    store = MemoryStore() if target is None else target
    send(source, store)
    return Record(store, known_kinds(), device_name=name, token=tokens(name))


def note(record: Record, text: str, *, second: float = 1) -> str:
    """Note something; the identity of the event."""
    return record.writer(at(second)).append(NOTED, Noted(text=text)).id


def bodies(
    device: str,
    count: int,
    *,
    first_ms: int = START_MS,
    mark: str = "",
    after: Iterable[bytes] = (),
    seen: Heads | None = None,
) -> list[bytes]:
    """A chain of so many events that continues the one before, without a record around it."""
    before = list(after)
    made: list[bytes] = []
    for sequence in range(len(before) + 1, len(before) + count + 1):
        chain = before + made
        payload = Noted(text=f"{device} {sequence} {mark}") if chain else {"device_name": device}
        envelope = Envelope(
            record="c0ffee00" * 4,
            device=device,
            sequence=sequence,
            clock=HybridTime(wall_ms=first_ms + sequence),
            occurred_at=at(0),
            recorded_at=at(0),
            kind=NOTED if chain else CHAIN_OPENED,
            version=1,
            payload=msgspec.Raw(msgspec.json.encode(payload)),
            previous=event_id(chain[-1]) if chain else GENESIS,
            seen=seen or {},
        )
        made.append(encode(envelope))
    return made
