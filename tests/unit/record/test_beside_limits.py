"""What is over the limits beside the record is refused and named; nothing that is here is given up for it."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from loopworthy.record.beside_limits import BesideLimits, Room
from loopworthy.record.erasable import keep
from loopworthy.record.exchange import HeadLine, blob_line, export_lines, line_of, text_line
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.receiving import check_heads
from loopworthy.record.record import Record
from loopworthy.vocabulary.identity import event_id
from tests.contract.keyed_makers import admitted, give, keyed, sign
from tests.contract.record_makers import at, note, tokens
from tests.world.people import Checker, at_once

FEW = BesideLimits(
    announced_chain=Room(items=5, size_bytes=100_000),
    announced=Room(items=8, size_bytes=100_000),
    strange_chain=Room(items=3, size_bytes=100_000),
    strange=Room(items=4, size_bytes=100_000),
    unnamed=Room(items=2, size_bytes=1_000),
)


@pytest.fixture
def laptop() -> Record:
    record = keyed()
    note(record, "one")
    return record


def unsigned(record: Record) -> list[bytes]:
    """What somebody sends who has the events and no signature for them."""
    return [one for one in export_lines(record.store, exported_at=at(90)) if not one.startswith(b'{"head"')]


def take(target: Record, lines: Iterable[bytes], limits: BesideLimits = FEW) -> MergeReport:
    checked = at_once(check_heads(lines, Checker()))
    return merge(target.store, target.registry, checked.lines, now=at(100), vouched=checked.heads, limits=limits)


def writer(laptop: Record, name: str, count: int) -> Record:
    phone = admitted(laptop, name)
    for number in range(count):
        note(phone, f"note {number} of {name}", second=61 + number)
    return phone


def written(record: Record) -> int:
    return record.heads()[record.device].sequence


def test_of_a_chain_that_nobody_signed_for_only_so_many_events_wait(laptop: Record) -> None:
    phone = writer(laptop, "phone", 9)
    before = laptop.store.count()
    report = take(laptop, unsigned(phone))
    assert (len(report.not_vouched), laptop.store.count()) == (3, before)
    assert len(list(laptop.store.waiting())) == 3
    over = [one for one in report.refused if "may wait beside the record" in one.why]
    assert len(over) == written(phone) - 3
    assert "At most 3 events" in over[0].why
    assert "Exchange with the device itself" in over[0].why
    assert all(one.event and one.line for one in over)


def test_all_such_chains_together_have_a_limit_too(laptop: Record) -> None:
    for name in ("phone", "tablet", "watch"):
        take(laptop, unsigned(writer(laptop, name, 4)))
    assert len(list(laptop.store.waiting())) == FEW.strange.items


def test_bytes_are_limited_as_well_as_events(laptop: Record) -> None:
    phone = writer(laptop, "phone", 9)
    size = len(list(phone.store.events())[-1].body)
    narrow = BesideLimits(strange_chain=Room(items=1000, size_bytes=2 * size))
    report = take(laptop, unsigned(phone), narrow)
    assert 1 <= len(report.not_vouched) <= 2
    assert sum(map(len, laptop.store.waiting())) <= 2 * size


def test_what_waits_already_is_never_given_up_though_the_limits_are_lower_now(laptop: Record) -> None:
    phone = writer(laptop, "phone", 9)
    take(laptop, unsigned(phone), BesideLimits())
    before = list(laptop.store.waiting())
    assert len(before) == written(phone)
    report = take(laptop, unsigned(phone))  # the same lines once more
    assert list(laptop.store.waiting()) == before
    assert not [one for one in report.refused if "may wait" in one.why]
    other = take(laptop, unsigned(writer(laptop, "tablet", 2)))
    assert list(laptop.store.waiting()) == before
    assert all("of all devices together" in one.why for one in other.refused if one.event)
    assert len([one for one in other.refused if one.event]) == 4  # opening, heads received, two notes


def test_what_was_refused_is_taken_when_its_device_has_signed(laptop: Record) -> None:
    phone = writer(laptop, "phone", 9)
    take(laptop, unsigned(phone))
    sign(phone)
    report = take(laptop, export_lines(phone.store, exported_at=at(95)))
    assert report.refused == ()
    assert list(laptop.store.waiting()) == []
    assert {one.id for one in phone.events()} <= {one.id for one in laptop.events()}


def test_a_chain_whose_later_event_is_signed_for_may_wait_longer_but_not_for_ever(laptop: Record) -> None:
    phone = writer(laptop, "phone", 9)
    sign(phone)
    (head,) = [one for one in phone.store.signed_heads() if one.device == phone.device]
    lines = unsigned(phone)
    begun = [lines[0], line_of(HeadLine(head=head)), *lines[1:-2]]  # the last event has not come yet
    report = take(laptop, begun)
    assert len(report.not_vouched) == FEW.announced_chain.items
    assert len([one for one in report.refused if "At most 5 events" in one.why]) == written(phone) - 1 - 5


def test_an_exchange_in_parts_of_an_ordinary_record_meets_no_limit(laptop: Record) -> None:
    phone = writer(laptop, "phone", 60)
    for report in give(phone, laptop):
        assert report.refused == ()


def test_texts_and_files_that_no_event_names_are_kept_up_to_the_limit_and_no_more(laptop: Record) -> None:
    header, *_, end = export_lines(laptop.store, exported_at=at(90))
    files = [b"file %d" % number for number in range(4)]
    texts = [keep(f"text {number}", tokens(f"salt {number}")) for number in range(3)]
    lines = [
        header,
        *(line_of(blob_line(event_id(one), one)) for one in files),
        *(line_of(text_line(one)) for one in texts),
    ]
    report = take(laptop, lines)
    assert (report.blobs_taken, report.texts_taken) == (2, 0)
    assert list(laptop.store.blob_digests()) == sorted(event_id(one) for one in files[:2])
    assert list(laptop.store.texts()) == []
    over = [one for one in report.refused if "no event in the record names" in one.why]
    assert [one.line for one in over] == [4, 5, 6, 7, 8]
    assert take(laptop, lines).blobs_taken == 0  # and not by asking again
    assert end


def test_a_large_file_that_no_event_names_is_refused_by_its_size(laptop: Record) -> None:
    header = next(iter(export_lines(laptop.store, exported_at=at(90))))
    body = bytes(2_000)
    report = take(laptop, [header, line_of(blob_line(event_id(body), body))])
    assert report.blobs_taken == 0
    assert laptop.store.blob(event_id(body)) is None


def test_what_events_in_the_record_name_is_never_refused_and_makes_room_again(laptop: Record) -> None:
    phone = admitted(laptop, "phone")
    names = []
    for number in range(5):
        digest = phone.put_text(f"Person {number}")
        names.append(digest)
        note(phone, f"about {digest}", second=61 + number)
    sign(phone)
    report = take(laptop, export_lines(phone.store, exported_at=at(95)))
    assert (report.refused, report.texts_taken) == ((), 5)
    assert [laptop.words(one) for one in names] == [f"Person {number}" for number in range(5)]
    stray = keep("nobody", tokens("stray"))
    header = next(iter(export_lines(laptop.store, exported_at=at(90))))
    assert take(laptop, [header, line_of(text_line(stray))]).texts_taken == 1


def test_a_merge_that_fails_afterwards_leaves_the_count_as_it_was(laptop: Record) -> None:
    header = next(iter(export_lines(laptop.store, exported_at=at(90))))
    line = line_of(blob_line(event_id(b"stray"), b"stray"))
    store = laptop.store
    assert isinstance(store, MemoryStore)
    with pytest.raises(ZeroDivisionError), store.transaction():
        assert take(laptop, [header, line]).blobs_taken / 0
    assert store.setting("unnamed-beside") is None
    assert list(store.blob_digests()) == []
