"""Signing before something leaves, recording what came, and that two sides do not answer each other for ever."""

from __future__ import annotations

from random import Random

import msgspec
import pytest

from loopworthy.record.copies import become_new_device, holds_its_key
from loopworthy.record.events import HEADS_RECEIVED, ClockOffset, HeadsReceived, ReceivedHead
from loopworthy.record.exchange import EventLine, HeadLine, export_lines, line_of
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.receiving import (
    Peer,
    check_heads,
    false_signatures,
    receive,
    record_heads_received,
    sign_own_heads,
)
from loopworthy.record.record import Record
from loopworthy.record.signing import is_keyed
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import SeenHead
from tests.contract.keyed_makers import admitted, give, keyed, sign
from tests.contract.record_makers import at, begin, known_kinds, lines_of, note, tokens
from tests.world.people import Checker, PocketKeys, at_once


@pytest.fixture
def laptop() -> Record:
    record = keyed()
    note(record, "one")
    return record


@pytest.fixture
def phone(laptop: Record) -> Record:
    return admitted(laptop, "phone")


def _received(record: Record) -> list[HeadsReceived]:
    payloads = [event.payload for event in record.events_of_kind(HEADS_RECEIVED)]
    return [payload for payload in payloads if isinstance(payload, HeadsReceived)]


# --- signing ---


def test_an_export_carries_a_signed_head_for_each_keyed_chain(laptop: Record, phone: Record) -> None:
    give(phone, laptop)
    sign(laptop)
    heads = [line for line in lines_of(laptop.store) if line.startswith(b'{"head"')]
    assert len(heads) == 2
    checked = at_once(check_heads(lines_of(laptop.store), Checker()))
    assert {head.device for head in checked.heads} == {laptop.device, phone.device}


def test_a_device_signs_its_last_event_once(laptop: Record) -> None:
    assert laptop.keys is not None
    assert len(at_once(sign_own_heads(laptop.store, laptop.keys))) == 1
    assert at_once(sign_own_heads(laptop.store, laptop.keys)) == ()
    held = laptop.keys.held(laptop.device)
    assert held is not None
    assert held.signed == laptop.heads()[laptop.device]


def test_where_it_can_be_done_at_once_every_write_is_signed() -> None:
    record = keyed(signs_at_once=True)
    for text in ("one", "two"):
        last = note(record, text)
        assert [(one.device, one.event) for one in record.store.signed_heads()] == [(record.device, last)]
    assert at_once(false_signatures(record, Checker())) == ()


def test_a_chain_without_a_key_is_not_signed_and_merges_as_before() -> None:
    old = begin(MemoryStore())
    assert at_once(sign_own_heads(old.store, PocketKeys(Random(1), at_once=True))) == ()
    target = MemoryStore()
    report = merge(target, known_kinds(), lines_of(old.store), now=at(60), adopt=True)
    assert (report.taken, report.not_vouched) == (1, ())


def test_an_old_device_opens_a_signed_chain_before_it_first_exchanges() -> None:
    old = begin(MemoryStore())
    note(old, "before")
    before = old.device
    keyed_now = Record(
        old.store, known_kinds(), device_name="laptop", token=tokens("x"), keys=PocketKeys(Random(1), at_once=False)
    )
    assert keyed_now.become_keyed(at(60))
    assert not keyed_now.become_keyed(at(60))
    assert is_keyed(keyed_now.device)
    opening = keyed_now.events()[-1]
    assert opening.payload.continues == before  # type: ignore[union-attr]
    assert [chain.keyed for chain in verify(old.store, known_kinds()).chains] == [
        is_keyed(device) for device in sorted([before, keyed_now.device])
    ]


# --- copies ---


def test_a_store_whose_key_is_not_here_becomes_a_new_device(laptop: Record) -> None:
    before = laptop.device
    elsewhere = Record(
        laptop.store, known_kinds(), device_name="copy", token=tokens("y"), keys=PocketKeys(Random(9), at_once=False)
    )
    note(elsewhere, "on another computer")
    assert elsewhere.device not in ("", before)


def test_a_store_put_back_to_before_what_it_has_signed_becomes_a_new_device(laptop: Record) -> None:
    older = MemoryStore()
    older.set_record_id(laptop.id)
    older.take([one.body for one in laptop.store.events()])
    older.set_device_id(laptop.device)
    assert laptop.keys is not None
    assert holds_its_key(older, laptop.keys)
    note(laptop, "only in the newer file")
    sign(laptop)
    assert not holds_its_key(older, laptop.keys)
    record = Record(older, known_kinds(), device_name="laptop", token=tokens("z"), keys=laptop.keys)
    note(record, "in the older file")
    assert record.device != laptop.device
    assert record.fork_reports() == ()


def test_what_a_former_device_wrote_is_signed_afterwards(laptop: Record, phone: Record) -> None:
    last = note(laptop, "the last one as this device", second=70)
    become_new_device(laptop.store)
    note(laptop, "the first one as the next", second=71)
    give(laptop, phone, second=80)
    assert phone.store.has(last)
    assert list(phone.store.waiting()) == []


# --- receiving ---


def test_a_merge_that_brought_something_is_recorded_with_the_signatures_and_the_offset(
    laptop: Record, phone: Record
) -> None:
    last = note(laptop, "two", second=70)
    sign(laptop)
    peer = Peer(device=laptop.device, offset_ms=-90_000)
    lines = lines_of(laptop.store)
    report = at_once(receive(phone, lines, now=at(80), verifier=Checker(), peer=peer))
    assert report.taken == 1
    (signed,) = [head for head in phone.store.signed_heads() if head.device == laptop.device]
    assert _received(phone)[-1] == HeadsReceived(
        heads=(ReceivedHead(device=laptop.device, sequence=3, event=last, signature=signed.signature),),
        offsets=(ClockOffset(device=laptop.device, offset_ms=-90_000),),
    )


def test_nothing_new_is_not_recorded(laptop: Record, phone: Record) -> None:
    count = phone.store.count()
    at_once(receive(phone, lines_of(laptop.store), now=at(80), verifier=Checker()))
    assert phone.store.count() == count


def test_two_sides_do_not_answer_each_other_for_ever(laptop: Record, phone: Record) -> None:
    note(laptop, "two", second=70)
    note(phone, "answer", second=70)
    counts = []
    for _ in range(4):
        give(laptop, phone)
        give(phone, laptop)
        counts.append((laptop.store.count(), phone.store.count()))
    assert counts[1:] == [counts[1]] * 3
    assert [event.id for event in laptop.events()] == [event.id for event in phone.events()]


def test_what_is_due_is_told_from_the_store_when_a_program_ended_before_it_was_recorded(
    laptop: Record, phone: Record
) -> None:
    note(laptop, "two", second=70)
    sign(laptop)
    checked = at_once(check_heads(lines_of(laptop.store), Checker()))
    merge(phone.store, known_kinds(), checked.lines, now=at(80), vouched=checked.heads)
    count = len(_received(phone))
    again = Record(phone.store, known_kinds(), device_name="phone", token=tokens("again"), keys=phone.keys)
    assert record_heads_received(again, now=at(81)) is not None
    assert record_heads_received(again, now=at(82)) is None
    assert len(_received(phone)) == count + 1


def test_what_was_received_counts_as_seen_by_another(laptop: Record, phone: Record) -> None:
    chains = {chain.device: chain for chain in verify(phone.store, known_kinds()).chains}
    assert chains[laptop.device].witnesses == (phone.device,)


def test_a_merge_that_fails_records_nothing(laptop: Record, phone: Record) -> None:
    count = phone.store.count()
    with pytest.raises(InputError):
        at_once(receive(phone, [b"nonsense"], now=at(80), verifier=Checker()))
    assert phone.store.count() == count


# --- checking ---


def test_a_head_that_is_not_genuine_is_refused_by_its_line(laptop: Record, phone: Record) -> None:
    sign(laptop)
    (head,) = laptop.store.signed_heads()
    wrong = msgspec.structs.replace(head, signature="0" * 128)
    header, _, *rest = lines_of(laptop.store)
    report = at_once(receive(phone, [header, line_of(HeadLine(head=wrong)), *rest], now=at(80), verifier=Checker()))
    assert [one.line for one in report.refused] == [2]


def test_a_head_that_comes_too_late_in_a_file_is_refused(laptop: Record) -> None:
    sign(laptop)
    header, head, *rest = lines_of(laptop.store)
    checked = at_once(check_heads([header, rest[0], head, *rest[1:]], Checker()))
    assert checked.heads == frozenset()
    report = merge(MemoryStore(), known_kinds(), checked.lines, now=at(80), vouched=checked.heads, adopt=True)
    assert "was checked" in report.refused[0].why
    assert report.taken == 0


def test_checking_reads_no_more_of_a_file_than_its_heads(laptop: Record) -> None:
    sign(laptop)
    lines = iter(export_lines(laptop.store, exported_at=at(0)))
    checked = at_once(check_heads(lines, Checker()))
    assert next(lines).startswith(b'{"body"')
    assert len(checked.heads) == 1


def test_too_many_heads_are_refused(laptop: Record) -> None:
    sign(laptop)
    header, head, *_ = lines_of(laptop.store)
    with pytest.raises(InputError, match="at most 4096 at once"):
        at_once(check_heads([header, *[head] * 4097], Checker()))


def test_verification_finds_a_head_that_was_told_of_and_never_signed(laptop: Record, phone: Record) -> None:
    assert at_once(false_signatures(phone, Checker())) == ()
    told = ReceivedHead(device=laptop.device, sequence=2, event=laptop.events()[1].id, signature="0" * 128)
    phone.writer(at(90)).append(HEADS_RECEIVED, HeadsReceived(heads=(told,)))
    (problem,) = at_once(false_signatures(phone, Checker()))
    assert "that it has not signed" in problem


def test_an_event_of_another_record_stays_out(laptop: Record) -> None:
    other = keyed("other")
    sign(other)
    header, *_ = lines_of(laptop.store)
    lines = [header, *(line_of(HeadLine(head=head)) for head in other.store.signed_heads())]
    lines += [line_of(EventLine(event=event.id, body=event.body.decode())) for event in other.events()]
    report = at_once(receive(laptop, lines, now=at(80), verifier=Checker()))
    assert report.taken == 0
    assert [one.line for one in report.refused] == [2, 3]
    assert all("record" in one.why for one in report.refused)
    assert SeenHead(sequence=1, event=other.events()[0].id) not in laptop.heads().values()
