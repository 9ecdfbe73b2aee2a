"""A few events as one line of text, and what comes out of it on the other side."""

from __future__ import annotations

import zlib
from contextlib import suppress

import msgspec
import pytest

from loopworthy.record import base45
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import MergeReport
from loopworthy.record.receiving import receive
from loopworthy.record.record import Record
from loopworthy.record.scraps import END, MARK, MOST_CHARACTERS, lines_in, scrap
from loopworthy.record.signing import SignedHead, signed_head
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import SeenHead
from tests.contract.keyed_makers import admitted, give, keyed, sign
from tests.contract.record_makers import at, begin, known_kinds, note, send, tokens
from tests.world.people import Checker, at_once


@pytest.fixture
def laptop() -> Record:
    return keyed()


@pytest.fixture
def phone(laptop: Record) -> Record:
    phone = admitted(laptop, "phone")
    give(phone, laptop)
    give(laptop, phone)
    return phone


def _read(record: Record, line: str) -> MergeReport:
    return at_once(receive(record, lines_in(line, record.store), now=at(90), verifier=Checker()))


def test_one_event_goes_over_as_a_short_line_and_is_taken(laptop: Record, phone: Record) -> None:
    event = note(laptop, "sensor 2 changed at 08:10", second=70)
    sign(laptop)
    line = scrap(laptop.store, [event], now=at(80))
    assert len(line) < 500
    assert set(line) <= set(base45.ALPHABET)
    report = _read(phone, line)
    assert (report.taken, report.refused, report.whole) == (1, (), True)
    assert phone.get(event).body == laptop.get(event).body


def test_an_answer_comes_back_the_same_way(laptop: Record, phone: Record) -> None:
    event = note(laptop, "sensor 2 changed at 08:10", second=70)
    sign(laptop)
    _read(phone, scrap(laptop.store, [event], now=at(80)))
    note(phone, "seen", second=95)
    sign(phone)
    wanted = [one.id for one in phone.events() if one.envelope.device == phone.device and not laptop.store.has(one.id)]
    report = _read(laptop, scrap(phone.store, wanted, now=at(96)))
    assert report.taken == len(wanted)
    assert report.new_device is False


def test_several_events_need_one_signature_over_the_last(laptop: Record, phone: Record) -> None:
    events = [note(laptop, text, second=70) for text in ("one", "two", "three")]
    sign(laptop)
    line = scrap(laptop.store, events, now=at(80))
    assert sum(one.startswith(b'{"head"') for one in lines_in(line, phone.store)) == 1
    assert _read(phone, line).taken == 3


def test_a_place_in_the_middle_can_be_signed_by_itself(laptop: Record, phone: Record) -> None:
    event = note(laptop, "the one that matters", second=70)
    note(laptop, "something else", second=71)
    sign(laptop)
    assert laptop.keys is not None
    signer = laptop.keys.signer(laptop.device)
    assert signer is not None
    place = SeenHead(sequence=laptop.get(event).envelope.sequence, event=event)
    signed: SignedHead = at_once(signed_head(laptop.id, place, signer))
    report = _read(phone, scrap(laptop.store, [event], now=at(80), heads=[signed]))
    assert (report.taken, report.not_vouched) == (1, ())


def test_a_later_signature_lets_the_event_wait_for_what_lies_between(laptop: Record, phone: Record) -> None:
    event = note(laptop, "the one that matters", second=70)
    note(laptop, "something else", second=71)
    sign(laptop)
    assert _read(phone, scrap(laptop.store, [event], now=at(80))).not_vouched == (event,)


def test_a_first_event_brings_its_key_along(laptop: Record) -> None:
    phone = admitted(laptop, "phone")
    note(phone, "first of all", second=70)
    sign(phone)
    own = [one.id for one in phone.events() if one.envelope.device == phone.device]
    assert _read(laptop, scrap(phone.store, own, now=at(80))).taken == len(own) == 2


def test_a_name_goes_along_when_it_is_asked_for(laptop: Record, phone: Record) -> None:
    digest = laptop.put_text("Ann Example")
    event = note(laptop, f"led by {digest}", second=70)
    sign(laptop)
    _read(phone, scrap(laptop.store, [event], now=at(80), texts=[digest]))
    assert phone.words(digest) == "Ann Example"


def test_events_of_an_unsigned_chain_go_over_without_a_signature() -> None:
    old = begin(MemoryStore())
    target = MemoryStore()
    send(old.store, target)
    event = note(old, "without a key", second=70)
    record = Record(target, known_kinds(), device_name="phone", token=tokens("phone"))
    assert _read(record, scrap(old.store, [event], now=at(80))).taken == 1


@pytest.mark.parametrize("place", range(0, 400, 7))
def test_a_line_with_any_character_changed_brings_nothing_in(laptop: Record, phone: Record, place: int) -> None:
    event = note(laptop, "sensor 2 changed at 08:10", second=70)
    sign(laptop)
    line = scrap(laptop.store, [event], now=at(80))
    place %= len(line)
    changed = line[:place] + ("7" if line[place] != "7" else "8") + line[place + 1 :]
    before = {one.id for one in phone.store.events()}
    with suppress(InputError):
        _read(phone, changed)
    arrived = {one.id for one in phone.store.events() if one.id not in before}
    assert {one for one in arrived if phone.get(one).envelope.device == laptop.device} <= {event}


def test_a_line_of_another_record_is_refused(laptop: Record) -> None:
    event = note(laptop, "one")
    sign(laptop)
    line = scrap(laptop.store, [event], now=at(80))
    with pytest.raises(InputError, match="record must be record"):
        lines_in(line, keyed("stranger").store)


def test_lines_may_come_in_any_order(laptop: Record, phone: Record) -> None:
    lines = []
    for text in ("one", "two"):
        event = note(laptop, text, second=70)
        sign(laptop)
        lines.append(scrap(laptop.store, [event], now=at(80)))
    assert len(_read(phone, lines[1]).waiting) == 1
    assert _read(phone, lines[0]).taken == 2


def test_a_device_that_nobody_has_met_may_come_in_any_order_too(laptop: Record) -> None:
    phone = admitted(laptop, "phone")
    note(phone, "first of all", second=70)
    sign(phone)
    own = [one for one in phone.events() if one.envelope.device == phone.device]
    last, first = ([one.id] for one in reversed(own))
    assert phone.keys is not None
    signer = phone.keys.signer(phone.device)
    assert signer is not None
    signed = at_once(signed_head(phone.id, SeenHead(sequence=1, event=first[0]), signer))
    assert len(_read(laptop, scrap(phone.store, last, now=at(80))).waiting) == 1
    assert _read(laptop, scrap(phone.store, first, now=at(80), heads=[signed])).taken == 2


def test_what_rests_on_something_that_only_others_have_is_refused_with_what_to_do(
    laptop: Record, phone: Record
) -> None:
    tablet = admitted(laptop, "tablet")
    event = note(laptop, "seen by the tablet only", second=70)
    give(laptop, tablet)
    give(tablet, laptop)
    later = note(laptop, f"about {event}", second=71)
    sign(laptop)
    with pytest.raises(InputError, match="Exchange over a network or by file first"):
        _read(phone, scrap(laptop.store, [later], now=at(80)))


@pytest.mark.parametrize("text", ["", "hello", MARK, MARK + END, f"{MARK}AB{END}", f"{MARK}QED8WEX0{END}", f"{MARK}:"])
def test_other_texts_are_refused(phone: Record, text: str) -> None:
    with pytest.raises(InputError):
        lines_in(text, phone.store)


def test_blanks_around_a_line_do_not_matter(laptop: Record, phone: Record) -> None:
    event = note(laptop, "one", second=70)
    sign(laptop)
    assert _read(phone, f"\n {scrap(laptop.store, [event], now=at(80))} \n").taken == 1


def test_too_much_for_one_code_is_refused(laptop: Record) -> None:
    events = [note(laptop, base45.encode(f"{number}".encode() * 40), second=70 + number) for number in range(20)]
    sign(laptop)
    with pytest.raises(InputError, match=f"at most {MOST_CHARACTERS} characters long"):
        scrap(laptop.store, events, now=at(99))


def test_what_is_not_here_or_not_signed_is_not_handed_on(laptop: Record) -> None:
    with pytest.raises(UnknownNameError, match="event"):
        scrap(laptop.store, ["0" * 64], now=at(80))
    event = note(laptop, "not signed", second=70)
    with pytest.raises(InputError, match="Sign its head first"):
        scrap(laptop.store, [event], now=at(80))
    with pytest.raises(UnknownNameError, match="erasable text"):
        scrap(laptop.store, [], now=at(80), texts=["0" * 64])


def test_a_moment_that_no_calendar_knows_is_refused(phone: Record) -> None:
    value = [bytes.fromhex(phone.id), 10**17, [], [], [], []]
    packing = zlib.compressobj(9, zlib.DEFLATED, -15)
    body = packing.compress(msgspec.msgpack.encode(value)) + packing.flush()
    with pytest.raises(InputError, match="now_ms must be a moment"):
        lines_in(f"{MARK}{base45.encode(body)}{END}", phone.store)
