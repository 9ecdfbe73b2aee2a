"""Two devices with one record, each with its own clock: they work apart and exchange what they have. All invented."""

from __future__ import annotations

import secrets
from random import Random

from loopworthy import bootstrap
from loopworthy.desk import carrying
from loopworthy.desk.carrying import TakenIn
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.workplace import Workplace
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from loopworthy.record.signing import DeviceKeys
from tests.web.conftest import Shop, make_shop


def joined(shop: Shop, device_name: str, *, keys: DeviceKeys | None = None) -> Shop:
    """Another device that takes the shop's record up and works on it at the same moment, and signs if it has keys."""
    clock = WalkingClock(shop.clock())
    store = MemoryStore()
    known = bootstrap.registry()
    merge(store, known, list(carrying.take_out(shop.workplace)), now=clock(), adopt=True)
    record = Record(store, known, device_name=device_name, token=secrets.token_bytes, keys=keys)
    workplace = Workplace(record, shop.workplace.catalogue, clock)
    workplace.writer().append_all(())
    return Shop(clock, workplace, shop.reader, shop.second, shop.analyser, shop.unit, Random(11))


def two_devices() -> tuple[Shop, Shop]:
    """Pim's phone with a unit that is ready, and Juno's phone that has the same record."""
    pim = make_shop(device_name="Pim's phone")
    pim.walk()
    return pim, joined(pim, "Juno's phone")


def carry(source: Shop, target: Shop) -> TakenIn:
    """A file from one device to the other."""
    return carrying.take_in(target.workplace, list(carrying.take_out(source.workplace)))


def together(one: Shop, other: Shop, *, minutes: float = 1) -> tuple[TakenIn, TakenIn]:
    """A file each way, so that both have everything."""
    at = max(one.clock(), other.clock(), key=lambda moment: moment.epoch_ms).plus(minutes=minutes)
    one.clock.wait_until(at)
    other.clock.wait_until(at)
    return carry(other, one), carry(one, other)
