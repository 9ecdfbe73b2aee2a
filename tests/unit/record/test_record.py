"""The door to the record."""

from __future__ import annotations

import pytest

from loopworthy.record.events import HEAD_WITNESSED, TEXT_ERASED, HeadWitnessed, TextErased
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.vocabulary.errors import InputError, RecordError, UnknownNameError
from loopworthy.vocabulary.identity import fingerprint
from tests.contract.record_makers import NOTED, Noted, at, begin, join, known_kinds, note, send, tokens


@pytest.fixture
def record() -> Record:
    return begin(MemoryStore())


def test_a_record_has_a_title_and_says_that_it_is_invented(record: Record) -> None:
    assert (record.title, record.invented) == ("Quarry week", True)


def test_a_record_is_begun_once_in_a_store(record: Record) -> None:
    with pytest.raises(RecordError, match="holds record .* already"):
        begin(record.store)
    assert len(record.events()) == 1


@pytest.mark.parametrize(("title", "device_name"), [("  ", "laptop"), ("Quarry week", " ")])
def test_a_record_without_a_name_or_device_name_is_not_begun(title: str, device_name: str) -> None:
    store = MemoryStore()
    with pytest.raises(InputError):
        Record.begin(store, known_kinds(), title=title, device_name=device_name, now=at(0), token=tokens("x"))
    assert (store.record_id(), store.count()) == ("", 0)


def test_an_empty_store_cannot_be_opened_as_a_record() -> None:
    with pytest.raises(RecordError, match="holds no record yet"):
        Record(MemoryStore(), known_kinds(), device_name="laptop", token=tokens("x"))


def test_events_come_in_the_total_order_however_they_arrived(record: Record) -> None:
    phone = join(record.store, "phone")
    note(phone, "at twenty", second=20)
    note(record, "at ten", second=10)
    note(record, "at thirty", second=30)
    assert len(record.events()) == 3  # read once before the others arrive
    send(phone.store, record.store)
    assert [event.order for event in record.events()] == sorted(event.order for event in record.events())
    texts = [event.payload.text for event in record.events() if isinstance(event.payload, Noted)]
    assert texts == ["at ten", "at twenty", "at thirty"]
    fresh = Record(record.store, known_kinds(), device_name="laptop", token=tokens("fresh"))
    assert fresh.events() == record.events()


def test_arrivals_can_be_followed_from_a_position(record: Record) -> None:
    start = record.events_since(0)
    assert (len(start.events), start.through) == (1, 1)
    assert record.events_since(start.through) == type(start)(events=(), through=1)
    first, second = note(record, "one"), note(record, "two")
    arrived = record.events_since(start.through)
    assert [event.id for event in arrived.events] == [first, second]
    assert arrived.through == 3


def test_events_of_one_kind_are_found(record: Record) -> None:
    noted = note(record, "one")
    assert [event.id for event in record.events_of_kind(NOTED)] == [noted]


def test_an_event_is_found_by_a_few_of_its_digits(record: Record) -> None:
    noted = note(record, "one")
    assert record.get(noted).id == record.get(noted[:12]).id == noted
    with pytest.raises(UnknownNameError, match="There is no event '0000000000'"):
        record.get("0000000000")
    for wrong in ("", "abc", "xyz1", noted + "0", noted[:12].upper() + "%"):
        with pytest.raises(InputError, match="4 to 64 hexadecimal digits"):
            record.get(wrong)


def test_digits_that_several_events_share_are_not_enough(record: Record) -> None:
    seen: dict[str, str] = {}
    for number in range(5000):
        identity = note(record, f"note {number}")
        if identity[:4] in seen:
            break
        seen[identity[:4]] = identity
    with pytest.raises(InputError, match="the beginning of one event only.*Give more of its digits"):
        record.get(identity[:4])


def test_a_fingerprint_from_a_sheet_is_found_whatever_its_spacing(record: Record) -> None:
    noted = note(record, "one")
    printed = fingerprint(noted)
    assert record.find_fingerprint(printed).id == noted
    assert record.find_fingerprint(printed.replace(" ", "").upper()).id == noted
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        record.find_fingerprint(printed[:-1])
    with pytest.raises(UnknownNameError):
        record.find_fingerprint("0000 0000 0000 0000")


def test_comparing_a_sheet_with_the_record_is_recorded(record: Record) -> None:
    noted = note(record, "one")
    event = record.witness(fingerprint(noted), now=at(9), read_by="r" * 64)
    assert event.envelope.kind == HEAD_WITNESSED
    assert event.payload == HeadWitnessed(device=record.device, sequence=2, event=noted, fingerprint=fingerprint(noted))
    assert event.envelope.read_by == "r" * 64


def test_a_blob_comes_back_by_its_hash(record: Record) -> None:
    digest = record.put_blob(b"a trace")
    assert record.blob(digest) == b"a trace"
    with pytest.raises(UnknownNameError, match="There is no blob"):
        record.blob("0" * 64)


def test_the_same_words_have_another_digest_each_time(record: Record) -> None:
    one, other = record.put_text("Ann Example"), record.put_text("Ann Example")
    assert one != other
    assert record.words(one) == record.words(other) == "Ann Example"


def test_erasing_takes_the_words_and_leaves_the_chain_and_a_note_of_it(record: Record) -> None:
    digest = record.put_text("Ann Example")
    event = record.erase_text(digest, reason="she asked for it", now=at(9))
    assert event.envelope.kind == TEXT_ERASED
    assert event.payload == TextErased(digest=digest, reason="she asked for it")
    assert record.words(digest) == "(erased)"
    text = record.text(digest)
    assert text is not None
    assert (text.words, text.salt) == (None, None)


def test_what_never_was_here_cannot_be_erased(record: Record) -> None:
    assert record.words("0" * 64) == "(not here)"
    with pytest.raises(UnknownNameError, match="erasable text"):
        record.erase_text("0" * 64, reason="by mistake", now=at(9))
    assert len(record.events()) == 1


def test_heads_and_forks_are_those_of_the_store(record: Record) -> None:
    noted = note(record, "one")
    assert record.heads()[record.device].event == noted
    assert record.fork_reports() == ()
