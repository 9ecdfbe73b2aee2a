"""Which units an entry beside the record may undo evidence of."""

from __future__ import annotations

import pytest

from loopworthy.desk import mending
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.units import create_unit
from loopworthy.judgement.apart import Apart, Caution, Reach, cautions, reach_of
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId
from tests.web.conftest import CONFIGURATION, Shop, make_shop


@pytest.fixture
def shop() -> Shop:
    shop = make_shop()
    shop.walk(until=shop.workplace.catalogue.pages[0].id)
    return shop


@pytest.fixture
def other(shop: Shop) -> ThingId:
    return create_unit(shop.workplace, "Bittern", ready_configurations()[CONFIGURATION], serial="T-2")


def reach(shop: Shop, event: Event) -> Reach:
    return reach_of(shop.workplace.book(), shop.workplace.catalogue, event)


def change(shop: Shop, name: str, **more: object) -> Event:
    declared = Declared(change=name, **more)  # type: ignore[arg-type]
    return record_change(shop.workplace, shop.unit, declared, person=shop.reader)[0]


def test_a_change_of_one_unit_is_told_at_that_unit_only(shop: Shop, other: ThingId) -> None:
    event = change(shop, "loop-opened")
    assert reach(shop, event) == Reach(units=frozenset({shop.unit}))
    told = cautions(shop.workplace.book(), shop.workplace.catalogue, shop.unit, [(Apart.AHEAD, event)])
    assert told == (Caution(device=event.envelope.device, why=Apart.AHEAD, count=1, named=True),)
    assert cautions(shop.workplace.book(), shop.workplace.catalogue, other, [(Apart.AHEAD, event)]) == ()


def test_an_analyser_found_bad_may_reach_every_unit(shop: Shop, other: ThingId) -> None:
    instrument = [
        one.id for one in shop.workplace.catalogue.changes.values() if any(r.scope == "instrument" for r in one.rules)
    ]
    event = change(shop, instrument[0], things=(shop.analyser,))
    assert reach(shop, event).anywhere
    (told,) = cautions(shop.workplace.book(), shop.workplace.catalogue, other, [(Apart.MISSING, event)])
    assert not told.named


def test_a_reading_taken_back_is_told_at_its_unit_and_an_unknown_one_everywhere(shop: Shop, other: ThingId) -> None:
    book = shop.workplace.book()
    item = next(one for one in book.items.values() if one.unit == shop.unit)
    taken_back = mending.withdraw(shop.workplace, item.event, reason="Read off the wrong display", person=shop.reader)
    event = shop.workplace.record.get(taken_back)
    assert reach(shop, event).units == {shop.unit}
    stranger = make_shop()
    assert reach_of(stranger.workplace.book(), stranger.workplace.catalogue, event) == Reach(anywhere=True)


def test_what_names_a_unit_that_is_not_here_may_be_about_any(shop: Shop) -> None:
    event = change(shop, "loop-opened")
    stranger = make_shop()
    assert reach_of(stranger.workplace.book(), stranger.workplace.catalogue, event).anywhere


def test_what_this_program_cannot_read_may_be_about_any(shop: Shop) -> None:
    event = change(shop, "loop-opened")
    unread = Event(id=event.id, body=event.body, envelope=event.envelope, payload=None)
    assert reach(shop, unread) == Reach(anywhere=True)


def test_entries_about_the_record_itself_undo_nothing(shop: Shop) -> None:
    opening = shop.workplace.record.events()[0]
    assert reach(shop, opening) == Reach()


def test_entries_are_counted_by_device_and_reason(shop: Shop) -> None:
    one, two = change(shop, "loop-opened"), change(shop, "knocked-or-dropped")
    told = cautions(
        shop.workplace.book(),
        shop.workplace.catalogue,
        shop.unit,
        [(Apart.AHEAD, one), (Apart.AHEAD, two), (Apart.FAULTY, two)],
    )
    assert [(each.why, each.count) for each in told] == [(Apart.AHEAD, 2), (Apart.FAULTY, 1)]
