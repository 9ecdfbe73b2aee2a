"""What a new event takes from the record, and what from the one who writes it."""

from __future__ import annotations

import pytest

from loopworthy.record.chain import Draft, Writer
from loopworthy.record.copies import become_new_device
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.vocabulary.errors import InputError, RecordError, UnknownNameError
from loopworthy.vocabulary.event import HybridTime, SeenHead
from tests.contract.record_makers import NOTED, START_MS, Noted, at, begin, join, known_kinds, note, send, tokens


@pytest.fixture
def laptop() -> Record:
    return begin(MemoryStore())


def test_the_first_event_opens_the_chain_and_says_whose_it_is(laptop: Record) -> None:
    (first,) = laptop.events()
    assert first.payload == ChainOpened(
        device_name="laptop", public_key="", record_title="Quarry week", invented=True, continues=""
    )
    one = first.envelope
    assert (one.kind, one.sequence, one.previous, one.seen) == (CHAIN_OPENED, 1, "", {})
    assert (one.record, one.device) == (laptop.id, laptop.device)
    assert len(laptop.id) == 32
    assert len(laptop.device) == 16


def test_an_event_is_linked_to_the_one_before(laptop: Record) -> None:
    first = note(laptop, "one")
    second = laptop.writer(at(2)).append(NOTED, Noted(text="two")).envelope
    assert (second.sequence, second.previous) == (3, first)


def test_what_the_writer_says_is_kept_as_it_was_said(laptop: Record) -> None:
    claimed = at(-3600)
    event = laptop.writer(at(5)).append(
        NOTED, Noted(text="leak"), subjects=("t" * 64,), occurred_at=claimed, read_by="r" * 64, typed_by="w" * 64
    )
    one = event.envelope
    assert event.payload == Noted(text="leak")
    assert (one.subjects, one.read_by, one.typed_by) == (("t" * 64,), "r" * 64, "w" * 64)
    assert (one.occurred_at, one.recorded_at) == (claimed, at(5))
    assert laptop.get(event.id) == event


def test_without_a_claim_it_happened_when_it_was_recorded(laptop: Record) -> None:
    one = laptop.writer(at(5)).append(NOTED, Noted(text="leak")).envelope
    assert one.occurred_at == one.recorded_at == at(5)
    assert (one.read_by, one.typed_by, one.subjects) == ("", "", ())


def test_the_clock_follows_the_wall_clock_while_that_runs_forward(laptop: Record) -> None:
    assert laptop.writer(at(2)).append(NOTED, Noted(text="a")).envelope.clock == HybridTime(wall_ms=START_MS + 2000)
    assert laptop.writer(at(3)).append(NOTED, Noted(text="b")).envelope.clock == HybridTime(wall_ms=START_MS + 3000)


def test_the_clock_counts_on_while_the_wall_clock_stands_or_runs_back(laptop: Record) -> None:
    writer = laptop.writer(at(2))
    counters = [writer.append(NOTED, Noted(text="same moment")).envelope.clock.counter for _ in range(3)]
    assert counters == [0, 1, 2]
    earlier = laptop.writer(at(-500)).append(NOTED, Noted(text="clock was put back")).envelope
    assert earlier.clock == HybridTime(wall_ms=START_MS + 2000, counter=3)
    assert earlier.recorded_at == at(-500)


def test_an_event_stands_after_everything_that_its_device_had_seen(laptop: Record) -> None:
    phone = join(laptop.store, "phone")
    ahead = note(laptop, "written by a clock that runs ahead", second=9000)
    send(laptop.store, phone.store)
    behind = phone.writer(at(1)).append(NOTED, Noted(text="answer"))
    assert behind.envelope.seen == {laptop.device: SeenHead(sequence=2, event=ahead)}
    assert behind.knew_of(phone.get(ahead))
    assert not phone.get(ahead).knew_of(behind)
    assert [event.id for event in phone.events()][-1] == behind.id


def test_events_of_a_batch_can_refer_to_each_other(laptop: Record) -> None:
    with laptop.writer(at(1)).batch() as batch:
        thing = batch.add(Draft(kind=NOTED, payload=Noted(text="a cylinder")))
        about = batch.add(Draft(kind=NOTED, payload=Noted(text="filled"), subjects=(thing,)))
    assert [event.id for event in batch.events] == [thing, about]
    assert laptop.get(about).envelope.subjects == (thing,)
    assert laptop.get(about).envelope.previous == thing


def test_several_drafts_are_recorded_together(laptop: Record) -> None:
    drafts = [Draft(kind=NOTED, payload=Noted(text=text)) for text in ("a", "b")]
    events = laptop.writer(at(1)).append_all(drafts)
    assert [event.envelope.sequence for event in events] == [2, 3]
    assert laptop.events()[1:] == events


def test_a_draft_that_is_refused_takes_the_whole_batch_with_it(laptop: Record) -> None:
    good = Draft(kind=NOTED, payload=Noted(text="good"))
    for bad, error in (
        (Draft(kind="test.unheard-of", payload=Noted(text="bad")), UnknownNameError),
        (Draft(kind=CHAIN_OPENED, payload=Noted(text="bad")), InputError),
    ):
        with pytest.raises(error):
            laptop.writer(at(1)).append_all([good, bad])
    assert len(laptop.events()) == 1


def test_nobody_opens_a_chain_twice(laptop: Record) -> None:
    again = Draft(kind=CHAIN_OPENED, payload=ChainOpened(device_name="laptop"))
    with pytest.raises(InputError, match="a chain is opened by the record itself"):
        laptop.writer(at(1)).append_all([again])


def test_a_device_that_joined_opens_its_own_chain_with_its_first_event(laptop: Record) -> None:
    phone = join(laptop.store, "phone")
    assert phone.device == ""
    note(phone, "first from here")
    opening, first = phone.events()[1:]
    assert opening.payload == ChainOpened(device_name="phone", record_title="Quarry week", invented=True)
    assert opening.envelope.seen == {laptop.device: SeenHead(sequence=1, event=laptop.events()[0].id)}
    assert first.envelope.device == phone.device != laptop.device
    assert phone.id == laptop.id


def test_a_store_that_becomes_a_new_device_says_which_one_it_was(laptop: Record) -> None:
    before = laptop.device
    assert become_new_device(laptop.store) == before
    note(laptop, "after restoring")
    opening = laptop.events()[1]
    assert isinstance(opening.payload, ChainOpened)
    assert opening.payload.continues == before
    assert opening.envelope.seen[before].sequence == 1
    assert laptop.device not in ("", before)
    assert become_new_device(MemoryStore()) == ""


def test_there_is_no_writing_without_a_record() -> None:
    writer = Writer(
        MemoryStore(),
        known_kinds(),
        now=at(0),
        token=tokens("x"),
        device_name="laptop",
        opening=ChainOpened(device_name="laptop"),
    )
    with pytest.raises(RecordError, match="Begin a record, or merge one into it"):
        writer.append(NOTED, Noted(text="where to?"))
