"""Whatever byte of a record is changed, verification finds it and names the event."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from hypothesis import given, settings
from hypothesis import strategies as st

from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.store import IndexEntry, StoredEvent
from loopworthy.record.verify import verify
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import at, begin, join, known_kinds, lines_of, note, send


class AlteredStore(MemoryStore):
    """A store in which somebody has changed one event behind the program's back."""

    altered: StoredEvent | None = None
    altered_entry: tuple[int, IndexEntry] | None = None

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        changed = self.altered
        return [
            changed if changed is not None and changed.position == one.position else one
            for one in super().events(after=after)
        ]

    def index(self) -> Sequence[IndexEntry]:
        entries = list(super().index())
        if self.altered_entry is not None:
            position, entry = self.altered_entry
            entries[position - 1] = entry
        return entries


@cache
def _two_devices() -> MemoryStore:
    laptop = begin(MemoryStore())
    phone = join(laptop.store, "phone")
    for second in range(4):
        note(laptop, f"laptop {second}", second=second)
        note(phone, f"phone {second}", second=second)
        send(laptop.store, phone.store)
    send(phone.store, laptop.store)
    store = laptop.store
    assert isinstance(store, MemoryStore)
    return store


def _altered() -> AlteredStore:
    store = AlteredStore()
    send(_two_devices(), store)
    return store


def test_the_unaltered_record_is_unbroken() -> None:
    report = verify(_altered(), known_kinds())
    assert report.unbroken
    assert report.events == 10


@settings(max_examples=150)
@given(data=st.data())
def test_changing_any_byte_of_any_event_is_found_and_named(data: st.DataObject) -> None:
    store = _altered()
    victim = data.draw(st.sampled_from(list(store.events())), label="event")
    place = data.draw(st.integers(0, len(victim.body) - 1), label="byte")
    flip = data.draw(st.integers(1, 255), label="flip")
    body = bytearray(victim.body)
    body[place] ^= flip
    store.altered = victim._replace(body=bytes(body))

    report = verify(store, known_kinds())
    assert not report.unbroken
    assert report.first_fault is not None
    assert report.first_fault.event == victim.id
    assert report.first_fault.why == "its bytes no longer fit its hash"


@given(data=st.data())
def test_changing_an_event_together_with_its_hash_is_found_by_those_that_rest_on_it(data: st.DataObject) -> None:
    store = _altered()
    resting = [one for one in store.events() if one.position < 9]
    victim = data.draw(st.sampled_from(resting), label="event")
    body = victim.body.replace(b"Europe/Malta", b"Europe/Paris")

    store.altered = StoredEvent(victim.position, event_id(body), body)
    report = verify(store, known_kinds())
    assert not report.unbroken
    # The event itself looks right now; those that link to it or have seen it do not.
    assert any(f"{victim.id[:12]}" in fault.why for fault in report.faults)


@given(data=st.data())
def test_an_index_that_says_something_else_than_the_bytes_is_found(data: st.DataObject) -> None:
    store = _altered()
    position = data.draw(st.integers(1, store.count()), label="event")
    entry = store.index()[position - 1]
    place = data.draw(st.integers(0, len(entry) - 1), label="column")
    changed = [value + 1 if isinstance(value, int) else value[::-1] + "0" for value in entry[place : place + 1]]
    store.altered_entry = (position, IndexEntry._make((*entry[:place], *changed, *entry[place + 1 :])))
    report = verify(store, known_kinds())
    assert report.first_fault is not None
    assert report.first_fault.position == position


@settings(max_examples=150)
@given(data=st.data())
def test_changing_any_byte_of_an_export_is_refused_or_changes_nothing(data: st.DataObject) -> None:
    lines = lines_of(_two_devices())
    number = data.draw(st.integers(1, len(lines) - 2), label="line")
    place = data.draw(st.integers(0, len(lines[number]) - 2), label="byte")
    flip = data.draw(st.integers(1, 255), label="flip")
    line = bytearray(lines[number])
    line[place] ^= flip

    target = MemoryStore()
    altered = [*lines[:number], bytes(line), *lines[number + 1 :]]
    report = merge(target, known_kinds(), altered, now=at(86_400), adopt=True)
    # JSON has more than one spelling for the same text; then the event is unchanged and may be taken.
    unchanged = lines_of(target) == lines
    assert unchanged or report.refused
    here = {one.id for one in _two_devices().events()}
    assert {one.id for one in target.events()} <= here
    assert verify(target, known_kinds()).unbroken
    # The sound file mends what the altered one left open.
    send(_two_devices(), target)
    assert lines_of(target) == list(export_lines(_two_devices(), exported_at=at(86_400)))
