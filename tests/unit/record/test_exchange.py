"""The record as lines of JSON."""

from __future__ import annotations

import base64
import hashlib
import json

import pytest

from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.store import StoredEvent
from loopworthy.vocabulary.errors import StoreError
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import at, begin, lines_of, note


@pytest.fixture
def record() -> Record:
    record = begin(MemoryStore())
    note(record, 'quoted "words", tab\t, ß, 海 and \N{LINE SEPARATOR}')
    return record


def test_the_lines_can_be_read_without_this_program(record: Record) -> None:
    digest, blob = record.put_text("Ann Example"), record.put_blob(b"\x00\xff")
    header, *lines, end = [json.loads(line) for line in lines_of(record.store)]
    assert header == {
        "format": "loopworthy-record",
        "version": 2,
        "record": record.id,
        "exported_at": {"at": "2026-05-15T08:40:00+02:00", "zone": "Europe/Malta"},
        "heads": {record.device: {"sequence": 2, "event": record.events()[-1].id}},
    }
    assert end == {"lines": 5}
    for line, event in zip(lines[:2], record.events(), strict=True):
        assert line["event"] == event.id == hashlib.sha256(line["body"].encode()).hexdigest()
        assert line["body"].encode() == event.body
        assert json.loads(line["body"])["sequence"] == event.envelope.sequence
    assert lines[2]["text"] == digest
    assert hashlib.sha256(bytes.fromhex(lines[2]["salt"]) + b"Ann Example").hexdigest() == digest
    assert lines[2]["words"] == "Ann Example"
    assert lines[3] == {"blob": blob, "base64": base64.b64encode(b"\x00\xff").decode()}


def test_each_line_ends_with_the_only_line_feed_in_it(record: Record) -> None:
    assert all(line.endswith(b"\n") and line.count(b"\n") == 1 for line in lines_of(record.store))


def test_a_tombstone_carries_neither_salt_nor_words(record: Record) -> None:
    digest = record.put_text("Ann Example")
    record.erase_text(digest, reason="asked", now=at(5))
    assert json.dumps({"text": digest}, separators=(",", ":")).encode() + b"\n" in lines_of(record.store)


def test_a_damaged_event_stops_an_export_unless_it_may_be_left_out(record: Record) -> None:
    class Damaged(MemoryStore):
        def events_in_order(self) -> list[StoredEvent]:
            first, second = super().events_in_order()
            return [first, second._replace(body=second.body.replace(b"tab", b"tag"))]

    store = Damaged()
    store.set_record_id(record.id)
    store.take(event.body for event in record.events())
    with pytest.raises(StoreError, match="is damaged"):
        list(export_lines(store, exported_at=at(0)))
    left_out: list[StoredEvent] = []
    lines = list(export_lines(store, exported_at=at(0), leave_out=left_out.append))
    assert [one.id for one in left_out] == [record.events()[1].id]
    assert [json.loads(line)["event"] for line in lines[1:-1]] == [event_id(record.events()[0].body)]
