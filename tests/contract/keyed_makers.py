"""Devices with keys for tests of signing and exchange. Ed25519 is that of a general library, so are the checks."""

from __future__ import annotations

from random import Random

from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.offers import Size, chunk, knowledge
from loopworthy.record.receiving import check_heads, record_heads_received, sign_own_heads
from loopworthy.record.record import Record
from loopworthy.vocabulary.time import Moment
from tests.contract.record_makers import at, known_kinds, tokens
from tests.world.people import Checker, PocketKeys, at_once


def keyed(name: str = "laptop", *, second: float = 0, signs_at_once: bool = False) -> Record:
    """A new record of a device that signs."""
    return Record.begin(
        MemoryStore(),
        known_kinds(),
        title="Quarry week",
        device_name=name,
        now=at(second),
        token=tokens(name),
        invented=True,
        keys=PocketKeys(Random(name), at_once=signs_at_once),
    )


def sign(record: Record) -> None:
    """Before something leaves."""
    assert record.keys is not None
    at_once(sign_own_heads(record.store, record.keys))


def admitted(source: Record, name: str, *, second: float = 60) -> Record:
    """Another device that signs, with everything that the source holds."""
    store = MemoryStore()
    sign(source)
    store.set_record_id(source.id)
    record = Record(
        store, known_kinds(), device_name=name, token=tokens(name), keys=PocketKeys(Random(name), at_once=False)
    )
    give(source, record, second=second)
    return record


def give(source: Record, target: Record, *, second: float = 60, size: Size | None = None) -> list[MergeReport]:
    """One side of an exchange; what each chunk brought."""
    return give_at(source, target, at(second), size=size)


def give_at(source: Record, target: Record, now: Moment, *, size: Size | None = None) -> list[MergeReport]:
    """The same at a moment."""
    sign(source)
    asked, rest, reports = knowledge(target.store, now=now), "", []
    while True:
        part = chunk(source.store, asked, now=now, rest=rest, size=size)
        checked = at_once(check_heads(part.lines, Checker()))
        reports.append(merge(target.store, target.registry, checked.lines, now=now, vouched=checked.heads))
        rest = part.rest
        if not rest:
            record_heads_received(target, now=now)
            return reports
