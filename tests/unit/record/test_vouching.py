"""Only what a device has signed enters its chain, and what two of its signatures prove."""

from __future__ import annotations

import msgspec
import pytest

from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.exchange import EventLine, HeadLine, line_of
from loopworthy.record.merge import MergeReport, merge, settle
from loopworthy.record.placing import beside
from loopworthy.record.record import Record
from loopworthy.record.signing import SignedHead, signed_head
from loopworthy.record.verify import verify
from loopworthy.record.vouching import fork_proofs, signed_places
from loopworthy.vocabulary.event import GENESIS, HybridTime, SeenHead, decode_envelope, encode
from loopworthy.vocabulary.identity import event_id
from tests.contract.keyed_makers import admitted, give, keyed
from tests.contract.record_makers import Noted, at, known_kinds, lines_of, note
from tests.world.people import at_once


@pytest.fixture
def laptop() -> Record:
    record = keyed()
    note(record, "one")
    note(record, "two")
    return record


@pytest.fixture
def phone(laptop: Record) -> Record:
    return admitted(laptop, "phone")


def _after(record: Record, text: str, *, ms: int = 1) -> bytes:
    """A well-formed event after the last one of a record's own chain, written by whoever holds the bytes."""
    head = record.heads()[record.device]
    last = decode_envelope(record.store.find(head.event)[0].body)
    payload = msgspec.Raw(msgspec.json.encode(Noted(text=text)))
    clock = HybridTime(wall_ms=last.clock.wall_ms + ms)
    return encode(
        msgspec.structs.replace(last, sequence=head.sequence + 1, previous=head.event, payload=payload, clock=clock)
    )


def _signed(record: Record, sequence: int, event: str) -> SignedHead:
    assert record.keys is not None
    signer = record.keys.signer(record.device)
    assert signer is not None
    return at_once(signed_head(record.id, SeenHead(sequence=sequence, event=event), signer))


def _take(target: Record, bodies: list[bytes], heads: list[SignedHead], *, checked: bool = True) -> MergeReport:
    lines = [lines_of(target.store)[0], *(line_of(HeadLine(head=head)) for head in heads)]
    lines += [line_of(EventLine(event=event_id(body), body=body.decode())) for body in bodies]
    return merge(target.store, known_kinds(), lines, now=at(100), vouched=heads if checked else ())


def test_what_a_device_has_signed_is_taken_with_all_that_comes_before_it(laptop: Record, phone: Record) -> None:
    assert [event.id for event in phone.events()][:3] == [event.id for event in laptop.events()]
    assert phone.store.waiting() == ()
    assert signed_places(phone.store)[laptop.device] == laptop.heads()[laptop.device]


def test_an_event_that_nobody_vouches_for_waits_until_its_device_signs(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three")
    body = laptop.store.find(third)[0].body
    report = _take(phone, [body], [])
    assert (report.taken, report.not_vouched, report.waiting) == (0, (third,), ())
    assert [one.event for one in beside(phone.store, now=at(100)).not_vouched] == [third]
    report = _take(phone, [], [_signed(laptop, 4, third)])
    assert (report.taken, report.not_vouched) == (1, ())
    assert phone.store.has(third)


def test_whoever_carries_a_chain_cannot_continue_it(laptop: Record, phone: Record) -> None:
    forged = _after(laptop, "never written")
    report = _take(phone, [forged], [])
    assert report.not_vouched == (event_id(forged),)
    wrong = msgspec.structs.replace(_signed(laptop, 3, laptop.events()[-1].id), sequence=4, event=event_id(forged))
    report = _take(phone, [forged], [wrong], checked=False)
    assert "signature must be one of device" in report.refused[0].why
    assert not phone.store.has(event_id(forged))
    # The real next event is taken as if nothing had happened, and the forged one never comes in.
    third = note(laptop, "three")
    give(laptop, phone)
    assert phone.store.has(third)
    assert beside(phone.store, now=at(100)).not_vouched[0].event == event_id(forged)


def test_what_rests_on_an_event_without_a_voucher_waits_with_it(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three", second=61)
    give(laptop, phone)
    answer = note(phone, "answer", second=62)
    desk = admitted(keyed(), "desk")
    bodies = [record.store.find(one)[0].body for record, one in ((laptop, third), (phone, answer))]
    opened = [one.body for one in phone.store.events() if decode_envelope(one.body).device == phone.device]
    report = _take(desk, [*bodies, *opened], [_signed(phone, phone.heads()[phone.device].sequence, answer)])
    assert report.taken == 0
    assert third in report.not_vouched
    assert answer in report.waiting  # the phone's word is here, and what it rests on is not


def test_an_event_beyond_the_signed_head_stays_out_and_the_one_before_it_enters(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three")
    fourth = note(laptop, "four")
    bodies = [laptop.store.find(one)[0].body for one in (third, fourth)]
    report = _take(phone, bodies, [_signed(laptop, 4, third)])
    assert (report.taken, report.not_vouched) == (1, (fourth,))


def test_a_chain_cannot_be_begun_with_another_key_or_without_one(laptop: Record, phone: Record) -> None:
    first = laptop.events()[0].envelope
    for key in ("0" * 64, ""):
        opening = ChainOpened(device_name="laptop", public_key=key)
        payload = known_kinds().encode_payload(CHAIN_OPENED, opening)
        report = _take(phone, [encode(msgspec.structs.replace(first, payload=payload, previous=GENESIS))], [])
        assert [one.why for one in report.refused] == ["its device is not that of its public key"]


def test_a_signature_over_a_place_where_another_event_stands_vouches_for_nothing(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three")
    report = _take(phone, [laptop.store.find(third)[0].body], [_signed(laptop, 9, third)])
    assert report.not_vouched == (third,)


def test_two_signed_lines_of_one_chain_prove_a_fork(laptop: Record, phone: Record) -> None:
    left, right = _after(laptop, "left"), _after(laptop, "right", ms=2)
    heads = [_signed(laptop, 4, event_id(body)) for body in (left, right)]
    assert _take(phone, [left], heads[:1]).fork_proofs == ()
    report = _take(phone, [right], heads[1:])
    assert (report.taken, len(report.forks)) == (1, 1)
    (proof,) = report.fork_proofs
    assert {proof.one, proof.other} == set(heads)
    assert "has signed two lines of its chain" in str(proof)
    assert list(phone.store.signed_heads()) == sorted([*heads, *_others(phone, laptop.device)])


def _others(record: Record, device: str) -> list[SignedHead]:
    return [one for one in record.store.signed_heads() if one.device != device]


def test_the_proof_needs_no_more_than_the_two_signatures(laptop: Record, phone: Record) -> None:
    heads = [_signed(laptop, 9, digit * 64) for digit in "12"]
    (proof,) = _take(phone, [], heads).fork_proofs
    assert {proof.one, proof.other} == set(heads)


def test_of_each_line_the_newest_signed_head_is_kept(laptop: Record, phone: Record) -> None:
    for text in ("three", "four", "five"):
        note(laptop, text)
        give(laptop, phone)
    assert [one.sequence for one in phone.store.signed_heads() if one.device == laptop.device] == [6]
    left, right = _after(laptop, "left"), _after(laptop, "right", ms=2)
    heads = [_signed(laptop, 7, event_id(body)) for body in (left, right)]
    _take(phone, [left, right], heads)
    assert sorted(one.event for one in phone.store.signed_heads() if one.device == laptop.device) == sorted(
        [event_id(left), event_id(right)]
    )


def test_only_so_many_heads_of_events_that_never_come_are_kept(laptop: Record, phone: Record) -> None:
    heads = [_signed(laptop, 100 + number, f"{number:064x}") for number in range(70)]
    _take(phone, [], heads)
    kept = [one for one in phone.store.signed_heads() if one.device == laptop.device]
    assert len(kept) == 65  # the one that stands here, and the sixty-four farthest
    assert fork_proofs(phone.store) == ()


def test_a_signed_head_of_the_own_chain_that_is_not_here_shows_that_this_store_is_an_old_copy(laptop: Record) -> None:
    assert _take(laptop, [], [_signed(laptop, 7, "7" * 64)]).new_device
    assert laptop.device == ""


def test_an_event_in_the_own_name_that_was_never_signed_does_not(laptop: Record) -> None:
    own = laptop.device
    report = _take(laptop, [_after(laptop, "from a stranger")], [])
    assert (report.new_device, laptop.device, len(report.not_vouched)) == (False, own, 1)


def test_a_signed_event_that_can_never_fit_is_kept_because_its_signature_speaks_for_those_before_it(
    laptop: Record, phone: Record
) -> None:
    third = note(laptop, "three")
    body = laptop.store.find(third)[0].body
    faulty = encode(msgspec.structs.replace(decode_envelope(_after(laptop, "a place is left out")), sequence=9))
    report = _take(phone, [body, faulty], [_signed(laptop, 9, event_id(faulty))])
    assert (report.taken, [one.event for one in report.refused]) == (1, [event_id(faulty)])
    assert [one.event for one in beside(phone.store, now=at(100)).faulty] == [event_id(faulty)]
    # Whoever comes later can check the third event by it, and nobody is told of the refusal again and again.
    tablet = admitted(phone, "tablet")
    assert tablet.store.has(third)
    again = _take(phone, [], [])
    assert (again.refused, [one.event for one in again.faulty]) == ((), [event_id(faulty)])


def test_a_signed_event_whose_fault_shows_only_later_is_kept_as_well(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three")
    faulty = _after(laptop, "its clock runs back", ms=-1)
    heads = [_signed(laptop, 5, event_id(faulty))]
    assert _take(phone, [faulty], heads).waiting == (event_id(faulty),)
    assert _take(phone, [laptop.store.find(third)[0].body], []).taken == 1
    assert [one.event for one in _take(phone, [], []).faulty] == [event_id(faulty)]


def test_verification_says_how_far_a_chain_is_signed(laptop: Record, phone: Record) -> None:
    note(laptop, "not signed yet")
    chains = {chain.device: chain for chain in verify(laptop.store, known_kinds()).chains}
    assert (chains[laptop.device].signed_sequence, chains[laptop.device].keyed) == (3, True)


def test_settling_takes_in_what_waits_once_the_reason_is_gone(laptop: Record, phone: Record) -> None:
    third = note(laptop, "three")
    _take(phone, [laptop.store.find(third)[0].body], [])
    phone.store.replace_signed_heads((*phone.store.signed_heads(), _signed(laptop, 4, third)))
    assert [one.event for one in beside(phone.store, now=at(100)).due] == [third]
    assert settle(phone.store, known_kinds(), now=at(100)).taken == 1
