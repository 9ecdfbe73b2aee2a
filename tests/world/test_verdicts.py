"""The same verdict everywhere: people prepare one unit on several devices, apart, and then exchange what they have."""

from __future__ import annotations

import os
from random import Random

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.merges import merges
from loopworthy.vocabulary.errors import LoopworthyError
from tests.contract.keyed_makers import give_at
from tests.unit.desk.two_devices import joined
from tests.web.conftest import Shop, make_shop
from tests.world.people import PocketKeys

WORLDS = max(int(os.environ.get("LOOPWORTHY_WORLDS", "240")) // 60, 1)
ACTS = 8
MOST_ROUNDS = 8


def _devices(random: Random) -> list[Shop]:
    first = make_shop(device_name="Pim's phone")
    if random.random() < 0.7:
        first.walk()
    names = ("Juno's phone", "hub")
    others = [joined(first, name, keys=PocketKeys(Random(name), at_once=name == "hub")) for name in names]
    return [*others, joined(first, "laptop", keys=PocketKeys(Random("laptop"), at_once=True))]


def _declare(shop: Shop, random: Random) -> None:
    changes = sorted(shop.workplace.catalogue.changes)
    try:
        record_change(shop.workplace, shop.unit, Declared(change=random.choice(changes)), person=shop.reader)
    except LoopworthyError:  # it asks for more than a name: a position, a serial, an answer
        record_change(shop.workplace, shop.unit, Declared(change="loop-opened"), person=shop.second)


def _everybody_meets(shops: list[Shop]) -> None:
    latest = max((shop.clock() for shop in shops), key=lambda moment: moment.epoch_ms)
    for shop in shops:
        shop.clock.wait_until(latest)
    for _ in range(MOST_ROUNDS):
        before = [shop.workplace.record.store.count() for shop in shops]
        for taker in shops:
            for giver in shops:
                if taker is not giver:
                    give_at(giver.workplace.record, taker.workplace.record, latest)
        if before == [shop.workplace.record.store.count() for shop in shops]:
            return
    raise AssertionError("the exchange does not end")


@pytest.mark.parametrize("seed", range(WORLDS))
def test_after_everybody_has_met_the_verdict_is_the_same_everywhere(seed: int) -> None:
    random = Random(seed)
    shops = _devices(random)
    for _ in range(ACTS):
        shop = random.choice(shops)
        match random.choice(("declare", "walk", "meet", "meet")):
            case "declare":
                _declare(shop, random)
            case "walk":
                shop.walk(random.choice([page.id for page in shop.workplace.catalogue.pages]))
            case _:
                other = random.choice([one for one in shops if one is not shop])
                give_at(other.workplace.record, shop.workplace.record, shop.clock())
    _everybody_meets(shops)
    first, *others = shops
    moment = first.clock()
    verdict = first.workplace.verdict(first.unit, moment)
    assert verdict.holds
    for other in others:
        assert [event.id for event in other.workplace.record.events()] == [
            event.id for event in first.workplace.record.events()
        ]
        assert other.workplace.verdict(other.unit, moment) == verdict
        assert other.workplace.outstanding(other.unit, moment) == first.workplace.outstanding(first.unit, moment)
    assert any(merges(shop.workplace) for shop in shops)
