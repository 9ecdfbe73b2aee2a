"""Clocks that are wrong: the order holds, what lies beyond the bound waits for its time, nothing is dropped."""

from __future__ import annotations

import pytest

from loopworthy.record.clock_bound import (
    CLOCK_BOUND_MS,
    PLAUSIBLE_FROM_MS,
    latest_acceptable_ms,
    set_apart_what_is_ahead,
)
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.merge import settle
from loopworthy.record.placing import beside
from loopworthy.record.record import Record
from loopworthy.vocabulary.time import Moment
from tests.contract.keyed_makers import admitted, give, give_at, keyed
from tests.contract.record_makers import at, known_kinds, note

HOUR_S = 3600
DAY_S = 24 * HOUR_S
YEAR_S = 365 * DAY_S
IN_1999 = Moment(at="1999-12-31T23:59:00+00:00")


@pytest.fixture
def laptop() -> Record:
    record = keyed()
    note(record, "one")
    return record


@pytest.fixture
def phone(laptop: Record) -> Record:
    return admitted(laptop, "phone")


def test_a_day_ahead_counts_and_a_second_more_does_not(laptop: Record, phone: Record) -> None:
    within = note(phone, "within", second=60 + DAY_S)
    beyond = note(phone, "beyond", second=61 + DAY_S)
    (report,) = give_at(phone, laptop, at(60))
    assert laptop.store.has(within)
    assert [(one.event, one.device, one.ahead_ms) for one in report.ahead] == [
        (beyond, phone.device, CLOCK_BOUND_MS + 1000)
    ]
    assert not laptop.store.has(beyond)


def test_what_was_ahead_comes_in_when_its_time_comes(laptop: Record, phone: Record) -> None:
    late = note(phone, "from next week", second=7 * DAY_S)
    give(phone, laptop)
    assert [one.event for one in beside(laptop.store, now=at(60)).ahead] == [late]
    assert settle(laptop.store, known_kinds(), now=at(5 * DAY_S)).taken == 0
    assert settle(laptop.store, known_kinds(), now=at(6 * DAY_S)).taken == 1
    assert laptop.events()[-1].id == late


def test_what_rests_on_an_event_that_is_ahead_waits_with_it(laptop: Record, phone: Record) -> None:
    note(phone, "from next year", second=YEAR_S)
    give(phone, laptop, second=YEAR_S)  # this laptop believed in next year as well
    answer = note(laptop, "answer", second=YEAR_S)
    tablet = admitted(laptop, "tablet")
    assert answer in {one.event for one in beside(tablet.store, now=at(60)).ahead}
    assert not tablet.store.has(answer)


def test_a_device_whose_clock_was_corrected_sets_its_own_events_apart_and_becomes_another(phone: Record) -> None:
    old = phone.device
    kept = {event.id for event in phone.events()}
    ahead = note(phone, "stamped with a wrong year", second=5 * YEAR_S)
    now_right = note(phone, "with the right clock", second=70)
    assert phone.device != old
    assert {event.id for event in phone.events()} > kept
    assert ahead not in {event.id for event in phone.events()}
    assert phone.events()[-1].id == now_right
    assert phone.events()[-1].envelope.clock.wall_ms < at(80).epoch_ms
    opening = phone.events_of_kind(CHAIN_OPENED)[-1].payload
    assert isinstance(opening, ChainOpened)
    assert (opening.continues, opening.record_title) == (old, "Quarry week")
    assert [one.event for one in beside(phone.store, now=at(70)).ahead] == []
    assert [one.event for one in beside(phone.store, now=at(70)).not_vouched] == [ahead]


def test_all_agree_on_what_is_set_apart_and_nothing_of_it_is_lost(laptop: Record, phone: Record) -> None:
    ahead = note(phone, "stamped with a wrong year", second=5 * YEAR_S)
    note(phone, "with the right clock", second=70)
    give(phone, laptop, second=80)
    give(laptop, phone, second=80)
    give(phone, laptop, second=80)
    assert [event.id for event in laptop.events()] == [event.id for event in phone.events()]
    for record in (laptop, phone):
        assert [one.event for one in beside(record.store, now=at(80)).ahead] == [ahead]
        settle(record.store, known_kinds(), now=at(5 * YEAR_S))
        assert record.events()[-1].id == ahead


def test_a_clock_from_before_this_program_existed_judges_nobody(laptop: Record, phone: Record) -> None:
    own = note(phone, "in 1999, after what is here", second=0)
    count = phone.store.count()
    assert set_apart_what_is_ahead(phone.store, IN_1999) == ()
    phone.writer(IN_1999).append_all(())
    late = phone.writer(IN_1999).append("test.noted", known_kinds().payload_type("test.noted")(text="1999"))
    assert phone.store.count() == count + 1
    assert phone.events()[-1].id == late.id
    assert late.envelope.clock > phone.get(own).envelope.clock
    assert late.envelope.recorded_at == IN_1999
    give(phone, laptop)
    assert laptop.events()[-2].id == late.id


def test_where_the_clock_here_is_known_to_be_behind_the_sender_is_asked() -> None:
    assert latest_acceptable_ms(IN_1999) is None
    assert latest_acceptable_ms(IN_1999, told=IN_1999) is None
    assert latest_acceptable_ms(IN_1999, told=at(0)) == at(0).epoch_ms + CLOCK_BOUND_MS
    assert latest_acceptable_ms(at(0), told=at(YEAR_S)) == at(0).epoch_ms + CLOCK_BOUND_MS


def test_the_constants_say_what_their_texts_say() -> None:
    assert CLOCK_BOUND_MS == DAY_S * 1000
    assert Moment(at="2026-01-01T00:00:00+00:00").epoch_ms == PLAUSIBLE_FROM_MS


def test_a_record_that_is_set_apart_as_a_whole_still_has_its_title(phone: Record) -> None:
    # A clock that is a month behind and yet later than the program: all that the record holds lies ahead of it.
    month_ago = Moment(at="2026-04-10T08:00:00+00:00")
    phone.writer(month_ago).append_all(())
    record = Record(phone.store, known_kinds(), device_name="phone", token=lambda count: bytes(count))
    assert (record.title, record.invented) == ("Quarry week", True)
    assert settle(phone.store, known_kinds(), now=at(100)).taken > 0
