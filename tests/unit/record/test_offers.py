"""What a side knows, what the other is missing, and that in chunks that can be cut, repeated and mixed up."""

from __future__ import annotations

import zlib

import msgspec
import pytest

from loopworthy.record.exchange import Limits
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.offers import (
    Run,
    Size,
    agreed_version,
    chunk,
    clock_offset_ms,
    from_bytes,
    is_missing_something,
    knowledge,
    knowledge_of_nothing,
    packed,
    to_bytes,
    unpacked,
)
from loopworthy.record.receiving import check_heads
from loopworthy.record.record import Record
from loopworthy.vocabulary.errors import DamagedError, InputError
from loopworthy.vocabulary.event import decode_envelope, encode
from tests.contract.keyed_makers import admitted, give, keyed, sign
from tests.contract.record_makers import at, known_kinds, lines_of, note
from tests.world.people import Checker, at_once

NOW = at(60)


@pytest.fixture
def laptop() -> Record:
    record = keyed()
    for number in range(12):
        note(record, f"note {number}", second=number)
    sign(record)
    return record


@pytest.fixture
def phone(laptop: Record) -> Record:
    return admitted(laptop, "phone")


def _events_in(lines: tuple[bytes, ...]) -> int:
    return sum(b'"body"' in line for line in lines)


def test_a_side_that_has_everything_is_missing_nothing(laptop: Record, phone: Record) -> None:
    give(phone, laptop)
    for source, target in ((laptop, phone), (phone, laptop)):
        give(source, target)
        assert not is_missing_something(source.store, knowledge(target.store, now=NOW), now=NOW)


def test_only_what_is_missing_is_sent(laptop: Record, phone: Record) -> None:
    for number in range(3):
        note(laptop, f"later {number}", second=70)
    sign(laptop)
    part = chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW)
    assert _events_in(part.lines) == 3
    assert part.rest == ""


def test_whoever_fell_behind_is_told_from_the_last_event_that_both_have(laptop: Record, phone: Record) -> None:
    # The phone has gone on; the laptop knows of that nothing, and finds an older place that both have.
    for number in range(5):
        note(phone, f"on the phone {number}", second=70)
    note(laptop, "on the laptop", second=70)
    sign(laptop)
    sign(phone)
    part = chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW)
    assert _events_in(part.lines) == 1
    give(phone, laptop)
    note(phone, "once more", second=71)
    sign(phone)
    asked = knowledge(laptop.store, now=NOW)
    note(laptop, "meanwhile", second=72)
    sent = chunk(phone.store, asked, now=NOW)
    # The laptop's chain is known here up to 13, and it told of its places 15, 14 and 12: the one after that goes along.
    assert _events_in(sent.lines) == 2


@pytest.mark.parametrize("size", [Size(items=1), Size(items=5), Size(items=100, size_bytes=1), Size()])
def test_chunks_of_any_size_bring_everything(laptop: Record, size: Size) -> None:
    target = MemoryStore()
    asked, rest, chunks = knowledge_of_nothing(laptop.id, now=NOW), "", 0
    while True:
        part = chunk(laptop.store, asked, now=NOW, rest=rest, size=size)
        chunks += 1
        _take(target, list(part.lines))
        rest = part.rest
        if not rest:
            break
    assert [one.id for one in target.events()] == [event.id for event in laptop.events()]
    assert list(target.waiting()) == []
    assert chunks == {1: 13, 5: 3, 100: 13, 2000: 1}[size.items]


def test_whoever_was_cut_off_goes_on_with_the_mark_or_begins_again(laptop: Record) -> None:
    target = MemoryStore()
    first = chunk(laptop.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW, size=Size(items=5))
    _take(target, list(first.lines))
    # The answer to the second request never came; in the third life of the program only the store remembers.
    asked = knowledge(target, now=NOW)
    part = chunk(laptop.store, asked, now=NOW)
    assert _events_in(part.lines) == 8
    _take(target, list(part.lines))
    assert target.count() == 13


def test_chunks_may_come_twice_and_in_any_order(laptop: Record) -> None:
    parts: list[list[bytes]] = []
    asked, rest = knowledge_of_nothing(laptop.id, now=NOW), ""
    while not parts or rest:
        part = chunk(laptop.store, asked, now=NOW, rest=rest, size=Size(items=4))
        parts.append(list(part.lines))
        rest = part.rest
    target = MemoryStore()
    for lines in (*reversed(parts), *parts):
        _take(target, lines)
    assert [one.id for one in target.events()] == [event.id for event in laptop.events()]


def test_texts_tombstones_and_blobs_are_offered_once(laptop: Record, phone: Record) -> None:
    kept, erased = laptop.put_text("Ann Example"), laptop.put_text("Ben Example")
    blob = laptop.put_blob(b"\x00trace")
    give(laptop, phone)
    assert (phone.words(kept), phone.words(erased), phone.blob(blob)) == ("Ann Example", "Ben Example", b"\x00trace")
    laptop.erase_text(erased, reason="asked", now=at(80))
    sign(laptop)
    part = chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW)
    assert [line for line in part.lines if line.startswith(b'{"text"')] == [f'{{"text":"{erased}"}}\n'.encode()]
    assert not any(b"blob" in line for line in part.lines)


def test_what_was_written_after_signing_is_left_for_the_next_time(laptop: Record, phone: Record) -> None:
    note(laptop, "signed", second=70)
    sign(laptop)
    note(laptop, "not yet", second=71)
    part = chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW)
    assert _events_in(part.lines) == 1
    assert give(laptop, phone)[0].not_vouched == ()


def test_both_branches_of_a_fork_are_offered_to_whoever_has_one(laptop: Record, phone: Record) -> None:
    last = laptop.events()[-1]
    left = encode(msgspec.structs.replace(last.envelope, payload=msgspec.Raw(b'{"text":"left"}')))
    laptop.store.take([left])
    part = chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW)
    assert _events_in(part.lines) == 1
    phone.store.take([left])
    assert _events_in(chunk(laptop.store, knowledge(phone.store, now=NOW), now=NOW).lines) == 0
    other = MemoryStore()
    other.set_record_id(laptop.id)
    other.take([*(event.body for event in laptop.events()[:-2] if event.id != last.id), left])
    assert _events_in(chunk(laptop.store, knowledge(other, now=NOW), now=NOW).lines) == 1


def test_what_waits_travels_and_is_offered_once(laptop: Record, phone: Record) -> None:
    third = note(laptop, "nobody vouches for it", second=70)
    phone.store.replace_waiting([laptop.store.find(third)[0].body])
    assert _events_in(chunk(phone.store, knowledge(laptop.store, now=NOW), now=NOW).lines) == 0
    part = chunk(phone.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW)
    assert _events_in(part.lines) == 13 + 1  # the phone itself has signed for nothing yet
    runs = knowledge(phone.store, now=NOW).runs[laptop.device]
    assert runs[-1] == Run(14, 14, third)


def test_nothing_damaged_is_handed_on(laptop: Record) -> None:
    blob = laptop.put_blob(b"a trace")
    laptop.store._blobs[blob] = b"another"  # type: ignore[attr-defined]
    with pytest.raises(DamagedError, match="is damaged"):
        chunk(laptop.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW)


def test_a_blob_that_is_too_large_is_named_and_left_out(laptop: Record) -> None:
    blob = laptop.put_blob(b"x" * 24 * 1024 * 1024)
    part = chunk(laptop.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW)
    assert part.left_out == (blob,)
    assert part.rest == ""
    assert _events_in(part.lines) == 13


def test_another_record_is_not_spoken_of(laptop: Record) -> None:
    with pytest.raises(InputError, match="record must be record"):
        chunk(laptop.store, knowledge_of_nothing("0" * 32, now=NOW), now=NOW)


@pytest.mark.parametrize("rest", ["x", "e:", "e:12", "q:" + "0" * 64, "0" * 64])
def test_a_mark_that_is_none_is_refused(laptop: Record, rest: str) -> None:
    with pytest.raises(InputError, match="the mark that came with the chunk before"):
        chunk(laptop.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW, rest=rest)


def test_a_mark_of_an_event_that_is_gone_begins_again(laptop: Record) -> None:
    part = chunk(laptop.store, knowledge_of_nothing(laptop.id, now=NOW), now=NOW, rest="e:" + "0" * 64)
    assert _events_in(part.lines) == 13


# --- knowledge ---


def test_knowledge_survives_the_way(laptop: Record) -> None:
    known = knowledge(laptop.store, now=NOW)
    assert from_bytes(to_bytes(known)) == known
    assert known.device == laptop.device


def test_knowledge_stays_small_however_long_a_chain_is(laptop: Record) -> None:
    runs = knowledge(laptop.store, now=NOW).runs[laptop.device]
    assert [run.last for run in runs] == [13, 12, 10, 6]
    assert all(run.first == 1 for run in runs)


def test_how_far_the_clocks_lie_apart_is_told(laptop: Record) -> None:
    assert clock_offset_ms(knowledge(laptop.store, now=at(90)), now=at(60)) == 30_000
    assert clock_offset_ms(knowledge(laptop.store, now=at(0)), now=at(60)) == -60_000


def test_the_highest_version_that_both_speak_is_used_and_without_one_nothing_is_exchanged(laptop: Record) -> None:
    known = knowledge(laptop.store, now=NOW)
    assert agreed_version(msgspec.structs.replace(known, versions=(1, 2, 7))) == 1
    newer = to_bytes(msgspec.structs.replace(known, versions=(2, 7)))
    with pytest.raises(InputError, match="Bring the older of the two programs up to date"):
        from_bytes(newer)


@pytest.mark.parametrize("body", [b"", b"{}", b"\xff", b"[]", b'{"format":"x"}'])
def test_what_is_no_knowledge_is_refused(body: bytes) -> None:
    with pytest.raises(InputError, match="what a side of an exchange knows"):
        from_bytes(body)


def test_knowledge_of_another_format_or_too_large_is_refused(laptop: Record) -> None:
    body = to_bytes(knowledge(laptop.store, now=NOW))
    with pytest.raises(InputError, match="format must be loopworthy-exchange"):
        from_bytes(body.replace(b"loopworthy-exchange", b"other"))
    with pytest.raises(InputError, match="at most 10 bytes"):
        from_bytes(body, limits=Limits(total_bytes=10))


def test_a_run_has_its_places_in_order() -> None:
    with pytest.raises(InputError, match="in order"):
        Run(2, 1, "x")
    with pytest.raises(InputError, match="in order"):
        Run(0, 1, "x")


# --- limits of what comes in ---


def test_what_was_packed_comes_out_as_it_was(laptop: Record) -> None:
    lines = lines_of(laptop.store)
    assert unpacked(packed(lines)) == lines


def test_a_body_that_would_unpack_to_too_much_is_refused_before_it_is_unpacked() -> None:
    bomb = zlib.compress(bytes(1024 * 1024))
    with pytest.raises(InputError, match="at most 1000 at once"):
        unpacked(bomb, limits=Limits(total_bytes=1000))


def test_a_body_cut_short_or_of_something_else_is_refused(laptop: Record) -> None:
    body = packed(lines_of(laptop.store))
    with pytest.raises(InputError, match="cut short"):
        unpacked(body[:-10])
    with pytest.raises(InputError, match="compressed lines"):
        unpacked(b"hello")


@pytest.mark.parametrize(
    ("limits", "why"),
    [
        (Limits(line_bytes=100), "at most 100 bytes long"),
        (Limits(lines=5), "at most 5 at once"),
        (Limits(total_bytes=2000), "at most 2000 at once"),
    ],
)
def test_incoming_lines_are_limited_and_nothing_of_them_is_taken(laptop: Record, limits: Limits, why: str) -> None:
    target = MemoryStore()
    with pytest.raises(InputError, match=why):
        _take(target, lines_of(laptop.store), limits=limits)
    assert (target.count(), target.record_id()) == (0, "")


def test_a_blobs_line_may_be_longer_than_others_and_not_endless(laptop: Record) -> None:
    laptop.put_blob(b"x" * 5000)
    target = MemoryStore()
    with pytest.raises(InputError, match="at most 3000 bytes long"):
        _take(target, lines_of(laptop.store), limits=Limits(line_bytes=2000, blob_line_bytes=3000))
    _take(target, lines_of(laptop.store), limits=Limits(line_bytes=2000, blob_line_bytes=9000))
    assert target.count() == 13


def _take(target: MemoryStore, lines: list[bytes], *, limits: Limits | None = None) -> None:
    checked = at_once(check_heads(lines, Checker(), limits=limits))
    merge(target, known_kinds(), checked.lines, now=NOW, vouched=checked.heads, adopt=True)
    assert all(decode_envelope(one.body).record == target.record_id() for one in target.events())
