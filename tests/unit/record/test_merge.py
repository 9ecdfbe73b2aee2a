"""What a merge takes, what it lets wait, what it refuses, and what it says about it."""

from __future__ import annotations

import msgspec
import pytest

from loopworthy.record.erasable import keep
from loopworthy.record.exchange import EventLine, TextLine
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import InputError, StoreError
from loopworthy.vocabulary.event import Envelope, HybridTime, SeenHead, decode_envelope, encode
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import (
    START_MS,
    Noted,
    at,
    begin,
    bodies,
    join,
    known_kinds,
    lines_of,
    note,
    send,
    tokens,
)


@pytest.fixture
def laptop() -> Record:
    record = begin(MemoryStore())
    note(record, "one")
    note(record, "two")
    return record


def _line(body: bytes) -> bytes:
    return msgspec.json.encode(EventLine(event=event_id(body), body=body.decode()))


def _changed(body: bytes, **changes: object) -> bytes:
    return encode(msgspec.structs.replace(decode_envelope(body), **changes))


def test_what_is_new_is_taken_and_what_is_here_is_counted(laptop: Record) -> None:
    target = MemoryStore()
    first = send(laptop.store, target)
    assert (first.taken, first.already_here, first.refused, first.waiting, first.whole) == (3, 0, (), (), True)
    note(laptop, "three")
    again = send(laptop.store, target)
    assert (again.taken, again.already_here) == (1, 3)
    assert lines_of(target) == lines_of(laptop.store)


def test_a_record_is_adopted_only_when_asked_to(laptop: Record) -> None:
    target = MemoryStore()
    with pytest.raises(InputError, match="which is empty.*Ask to adopt the record"):
        merge(target, known_kinds(), lines_of(laptop.store), now=at(86_400))
    assert (target.record_id(), target.count()) == ("", 0)
    assert merge(target, known_kinds(), lines_of(laptop.store), now=at(86_400), adopt=True).record == laptop.id


def test_another_record_is_not_mixed_in(laptop: Record) -> None:
    other = begin(MemoryStore(), "stranger")
    with pytest.raises(InputError, match="Merge it into a file of its own"):
        send(other.store, laptop.store)
    assert laptop.store.count() == 3


def test_an_event_of_another_record_is_refused_even_under_the_right_header(laptop: Record) -> None:
    header, *_ = lines_of(laptop.store)
    foreign = bodies("a1", 1)[0]
    report = merge(laptop.store, known_kinds(), [header, _line(foreign)], now=at(86_400))
    assert [(one.line, one.event) for one in report.refused] == [(2, event_id(foreign))]
    assert "record must be record" in report.refused[0].why


@pytest.mark.parametrize("lines", [[], [b"\n"], [b"{}\n"], [b"hello\n"], [b"\xff\xfe\n"]])
def test_a_file_that_is_no_export_is_refused(laptop: Record, lines: list[bytes]) -> None:
    with pytest.raises(InputError, match="must be an exported record"):
        merge(laptop.store, known_kinds(), lines, now=at(86_400))


def test_an_export_of_another_format_or_version_is_refused(laptop: Record) -> None:
    header, *rest = lines_of(laptop.store)
    with pytest.raises(InputError, match="format must be loopworthy-record"):
        merge(
            laptop.store, known_kinds(), [header.replace(b"loopworthy-record", b"other-record"), *rest], now=at(86_400)
        )
    with pytest.raises(InputError, match="Read it with the newer program"):
        merge(laptop.store, known_kinds(), [header.replace(b'"version":2', b'"version":3'), *rest], now=at(86_400))


def test_an_event_waits_for_the_one_before_it_and_no_longer(laptop: Record) -> None:
    header, first, second, third, _ = lines_of(laptop.store)
    target = MemoryStore()
    waiting = merge(target, known_kinds(), [header, first, third], now=at(86_400), adopt=True)
    assert (waiting.taken, len(waiting.waiting), waiting.whole) == (1, 1, False)
    assert target.count() == 1
    assert verify(target, known_kinds()).waiting == 1
    arrived = merge(target, known_kinds(), [header, second], now=at(86_400))
    assert (arrived.taken, arrived.waiting) == (2, ())
    assert lines_of(target) == lines_of(laptop.store)


def test_an_event_waits_for_what_it_had_seen_of_other_chains(laptop: Record) -> None:
    phone = join(laptop.store, "phone")
    answer = note(phone, "answer")
    header, *lines = lines_of(phone.store)
    last = laptop.events()[-1].id
    without = [line for line in lines if msgspec.json.decode(line).get("event") not in (None, last)]
    target = MemoryStore()
    report = merge(target, known_kinds(), [header, *without], now=at(86_400), adopt=True)
    assert answer in report.waiting
    assert report.taken == 2


def test_what_waits_travels_on_with_an_export(laptop: Record) -> None:
    header, first, second, third, _ = lines_of(laptop.store)
    carrier, target = MemoryStore(), MemoryStore()
    merge(carrier, known_kinds(), [header, third], now=at(86_400), adopt=True)
    send(carrier, target)
    merge(target, known_kinds(), [header, first, second], now=at(86_400))
    assert lines_of(target) == lines_of(laptop.store)


def test_a_line_whose_bytes_do_not_fit_its_hash_is_refused_by_number(laptop: Record) -> None:
    header, first, second, third, end = lines_of(laptop.store)
    report = merge(
        MemoryStore(),
        known_kinds(),
        [header, first, second.replace(b"one", b"won"), third, end],
        adopt=True,
        now=at(86_400),
    )
    assert [(one.line, one.why[:41]) for one in report.refused] == [(3, "event must be the hash of its bytes, got ")]
    assert (report.taken, len(report.waiting)) == (1, 1)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"sequence": 7}, "its sequence is 7, that of the event before it 2"),
        ({"clock": HybridTime(wall_ms=5)}, "its clock is not after that of the event before it"),
        ({"device": "someone-else"}, "belongs to another chain"),
        ({"kind": "record.chain-opened"}, "has it nowhere else"),
    ],
)
def test_an_event_that_does_not_fit_its_chain_is_refused(laptop: Record, changes: dict[str, object], why: str) -> None:
    header, *_ = lines_of(laptop.store)
    last = laptop.events()[-1]
    forged = _changed(last.body, **changes)
    report = merge(laptop.store, known_kinds(), [header, _line(forged)], now=at(86_400))
    assert [one.event for one in report.refused] == [event_id(forged)]
    assert why in report.refused[0].why
    assert report.taken == 0


def test_an_event_that_claims_to_have_seen_something_wrong_is_refused(laptop: Record) -> None:
    phone = join(laptop.store, "phone")
    note(phone, "answer")
    last = phone.events()[-1]
    head = laptop.heads()[laptop.device]
    header, *_ = lines_of(phone.store)
    own = {phone.device: SeenHead(sequence=1, event=last.envelope.previous)}
    for seen, why in (
        ({laptop.device: SeenHead(sequence=2, event=head.event)}, "knows less of chain"),
        ({}, "knows less of chain"),
        ({laptop.device: SeenHead(sequence=4, event=head.event)}, "which is 3 of chain"),
        ({laptop.device: head, **own}, "counts its own chain"),
    ):
        forged = _changed(last.body, seen=seen)
        report = merge(phone.store, known_kinds(), [header, _line(forged)], now=at(86_400))
        assert len(report.refused) == 1
        assert why in report.refused[0].why


def test_an_event_older_than_what_it_had_seen_is_refused_as_soon_as_that_is_known(laptop: Record) -> None:
    phone = join(laptop.store, "phone")
    note(phone, "answer")
    opening = next(event for event in phone.events() if event.envelope.device == phone.device)
    forged = _changed(opening.body, clock=HybridTime(wall_ms=1))
    header, *_ = lines_of(laptop.store)
    report = merge(laptop.store, known_kinds(), [header, _line(forged)], now=at(86_400))
    assert "its clock is not after that of event" in report.refused[0].why


def test_a_waiting_event_that_turns_out_to_be_wrong_is_refused_then(laptop: Record) -> None:
    header, first, second, _, _ = lines_of(laptop.store)
    forged = _changed(laptop.events()[-1].body, sequence=7)
    target = MemoryStore()
    assert len(merge(target, known_kinds(), [header, first, _line(forged)], now=at(86_400), adopt=True).waiting) == 1
    report = merge(target, known_kinds(), [header, second], now=at(86_400))
    assert [(one.line, one.event) for one in report.refused] == [(0, event_id(forged))]
    assert list(target.waiting()) == []


def test_a_fork_is_kept_and_reported(laptop: Record) -> None:
    trunk = [event.body for event in laptop.events()]
    other = _changed(trunk[-1], payload=msgspec.Raw(b'{"text":"rewritten"}'))
    phone = join(laptop.store, "phone")
    header, *_ = lines_of(laptop.store)
    report = merge(phone.store, known_kinds(), [header, _line(other)], now=at(86_400))
    assert (report.taken, report.refused, report.new_device) == (1, (), False)
    (fork,) = report.forks
    assert (fork.device, fork.sequence, fork.after) == (laptop.device, 3, event_id(trunk[1]))
    assert fork.branches == tuple(sorted([event_id(trunk[2]), event_id(other)]))
    assert "continues in 2 ways at 3" in str(fork)
    assert phone.fork_reports() == report.forks
    assert verify(phone.store, known_kinds()).forks == report.forks


def test_a_store_that_meets_later_events_of_its_own_chain_becomes_a_new_device(laptop: Record) -> None:
    old_copy = MemoryStore()
    send(laptop.store, old_copy)
    old_copy.set_device_id(laptop.device)
    note(laptop, "written after the copy")
    report = send(laptop.store, old_copy)
    assert report.new_device
    assert old_copy.device_id() == ""
    assert not send(old_copy, laptop.store).new_device


def test_unknown_kinds_are_kept_and_counted(laptop: Record) -> None:
    bare = Registry()
    target = MemoryStore()
    report = merge(target, bare, lines_of(laptop.store), now=at(86_400), adopt=True)
    assert report.unknown_kinds == {"record.chain-opened 1": 1, "test.noted 1": 2}
    assert lines_of(target) == lines_of(laptop.store)
    assert verify(target, bare).unknown_kinds == report.unknown_kinds


def test_texts_and_blobs_come_along(laptop: Record) -> None:
    digest, blob = laptop.put_text("Ann Example"), laptop.put_blob(b"\x00\xfftrace")
    phone = join(laptop.store, "phone")
    assert phone.words(digest) == "Ann Example"
    assert phone.blob(blob) == b"\x00\xfftrace"
    again = send(laptop.store, phone.store)
    assert (again.texts_taken, again.texts_erased, again.blobs_taken) == (0, 0, 0)


def test_an_erased_text_stays_erased_when_an_old_copy_is_merged(laptop: Record) -> None:
    digest = laptop.put_text("Ann Example")
    old = lines_of(laptop.store)
    laptop.erase_text(digest, reason="asked", now=at(5))
    report = merge(laptop.store, known_kinds(), old, now=at(86_400))
    assert (report.texts_taken, laptop.words(digest)) == (0, "(erased)")


def test_erasing_reaches_other_devices_with_the_event_alone(laptop: Record) -> None:
    digest = laptop.put_text("Ann Example")
    phone = join(laptop.store, "phone")
    laptop.erase_text(digest, reason="asked", now=at(5))
    events_only = [line for line in lines_of(laptop.store) if not line.startswith(b'{"text"')]
    report = merge(phone.store, known_kinds(), events_only, now=at(86_400))
    assert (report.texts_erased, phone.words(digest)) == (1, "(erased)")


def test_a_tombstone_without_an_event_that_tells_of_it_takes_nothing_away(laptop: Record) -> None:
    digest, other = laptop.put_text("Ann Example"), "0" * 64
    header, *_ = lines_of(laptop.store)
    lines = [header, *(msgspec.json.encode(TextLine(text=one)) for one in (digest, other))]
    report = merge(laptop.store, known_kinds(), lines, now=at(86_400))
    assert [(one.line, one.why) for one in report.refused] == [
        (2, f"No event says that {digest[:12]} was erased"),
        (3, "No event says that 000000000000 was erased"),
    ]
    assert (report.texts_erased, laptop.words(digest), laptop.text(other)) == (0, "Ann Example", None)


def test_a_tombstone_counts_while_its_event_still_waits_for_its_place(laptop: Record) -> None:
    digest = laptop.put_text("Ann Example")
    phone = join(laptop.store, "phone")
    note(laptop, "between")
    laptop.erase_text(digest, reason="asked", now=at(5))
    without = [line for line in lines_of(laptop.store) if b"between" not in line]
    report = merge(phone.store, known_kinds(), without, now=at(86_400))
    assert (len(report.waiting), report.texts_erased, phone.words(digest)) == (1, 1, "(erased)")


def test_a_tombstone_comes_along_with_its_event(laptop: Record) -> None:
    digest = laptop.put_text("Ann Example")
    phone = join(laptop.store, "phone")
    laptop.erase_text(digest, reason="asked", now=at(5))
    report = send(laptop.store, phone.store)
    assert (report.texts_erased, report.refused, phone.words(digest)) == (1, (), "(erased)")


def test_a_text_or_blob_that_is_not_what_it_says_is_refused(laptop: Record) -> None:
    header, *_ = lines_of(laptop.store)
    text = keep("Ann Example", tokens("text"))
    assert text.salt is not None
    wrong = (
        TextLine(text=text.digest, salt=text.salt.hex(), words="Ben Example"),
        TextLine(text=text.digest, words="Ann Example"),
        TextLine(text=text.digest, salt=text.salt.hex()),
        TextLine(text=text.digest, salt="no salt", words="Ann Example"),
    )
    lines = [header, *map(msgspec.json.encode, wrong)]
    lines += [b'{"blob":"' + b"0" * 64 + b'","base64":"AAAA"}', b'{"blob":"' + b"0" * 64 + b'","base64":"?"}']
    lines += [b"nonsense", b'{"something":"else"}']
    report = merge(laptop.store, known_kinds(), lines, now=at(86_400))
    assert [one.line for one in report.refused] == list(range(2, 10))
    assert list(laptop.store.texts()) == []
    assert list(laptop.store.blob_digests()) == []


def test_a_file_cut_short_is_taken_as_far_as_it_goes_and_said_to_be_cut(laptop: Record) -> None:
    target = MemoryStore()
    lines = lines_of(laptop.store)
    report = merge(target, known_kinds(), [*lines[:2], lines[2][:50]], now=at(86_400), adopt=True)
    assert (report.taken, report.whole, len(report.refused)) == (1, False, 1)
    missing = merge(MemoryStore(), known_kinds(), [*lines[:2], *lines[3:]], now=at(86_400), adopt=True)
    assert not missing.whole
    assert missing.refused[-1].why == "lines must be 4, as the last line says, got lines=3"


def test_blank_lines_do_not_matter_inside_a_file_without_an_end(laptop: Record) -> None:
    header, *events, _ = lines_of(laptop.store)
    report = merge(MemoryStore(), known_kinds(), [header, b"\n", *events, b"  \n"], now=at(86_400), adopt=True)
    assert (report.taken, report.refused) == (3, ())


def test_a_store_that_fails_in_the_middle_takes_nothing(laptop: Record) -> None:
    class Failing(MemoryStore):
        def replace_waiting(self, bodies: object) -> None:
            raise StoreError("Cannot write to record.lw: the disk is full")

    target = Failing()
    laptop.put_blob(b"a trace")
    with pytest.raises(StoreError):
        merge(target, known_kinds(), lines_of(laptop.store), now=at(86_400), adopt=True)
    assert (target.count(), target.record_id(), list(target.blob_digests())) == (0, "", [])


def test_what_nobody_can_read_is_kept_and_named_by_verification(laptop: Record) -> None:
    head = laptop.heads()[laptop.device]
    odd = encode(
        Envelope(
            record=laptop.id,
            device=laptop.device,
            sequence=head.sequence + 1,
            clock=HybridTime(wall_ms=START_MS + 60_000),
            occurred_at=at(1),
            recorded_at=at(1),
            kind="test.noted",
            version=1,
            payload=msgspec.Raw(b'{"text":17}'),
            previous=head.event,
        )
    )
    phone = join(laptop.store, "phone")
    header, *_ = lines_of(laptop.store)
    assert merge(phone.store, known_kinds(), [header, _line(odd)], now=at(86_400)).taken == 1
    assert phone.events()[-1].payload is None
    report = verify(phone.store, known_kinds())
    assert (report.unreadable, report.unbroken) == ((event_id(odd),), True)
    assert isinstance(phone.events()[-2].payload, Noted)
