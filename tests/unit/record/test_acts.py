"""One act stands in the record once, whoever writes it, and events without one keep their bytes."""

from __future__ import annotations

from contextlib import suppress

import pytest

from loopworthy.record.acts import RecordedBeforeError
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from tests.contract.record_makers import begin, join, known_kinds, note, send, tokens


@pytest.fixture
def record() -> Record:
    return begin(MemoryStore())


def test_an_event_without_an_act_has_no_trace_of_one_in_its_bytes(record: Record) -> None:
    assert b'"act"' not in record.get(note(record, "plain", second=1)).body


def test_everything_that_one_act_records_carries_its_name(record: Record) -> None:
    with record.acting("form:1"):
        first, second = note(record, "one", second=1), note(record, "two", second=2)
    note(record, "three", second=3)
    assert record.events_of_act("form:1") == (first, second)
    assert record.events_of_act("form:2") == ()


def test_an_act_that_stands_is_not_recorded_again_even_by_another_program(record: Record) -> None:
    with record.acting("form:1"):
        first = note(record, "one", second=1)
    fresh = Record(record.store, known_kinds(), device_name="laptop", token=tokens("fresh"))
    count = record.store.count()
    for known in (record, fresh):
        with known.acting("form:1"), pytest.raises(RecordedBeforeError) as told:
            note(known, "one", second=9)
        assert told.value.events == (first,)
    assert record.store.count() == count


def test_an_act_that_recorded_nothing_may_be_tried_again(record: Record) -> None:
    with suppress(RuntimeError), record.acting("form:1"), record.store.transaction():
        note(record, "taken back", second=1)
        raise RuntimeError
    assert record.events_of_act("form:1") == ()
    with record.acting("form:1"):
        note(record, "kept", second=2)
    assert len(record.events_of_act("form:1")) == 1


def test_an_act_travels_with_its_events(record: Record) -> None:
    phone = join(record.store, "phone")
    with phone.acting("form:1"):
        there = note(phone, "written on the phone", second=5)
    assert record.events_of_act("form:1") == ()
    send(phone.store, record.store)
    assert record.events_of_act("form:1") == (there,)
