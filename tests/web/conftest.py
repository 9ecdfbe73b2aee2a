"""A shop with a unit that is prepared as far as a test wants, and somebody who visits its pages.

Everything in it is invented. The clock only goes on when a test moves it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

import pytest
from starlette.applications import Starlette

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import days
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.walk import Hands, Plan, WalkingClock, confirm_all_limits, fit_out, walk
from loopworthy.desk.people import add_person
from loopworthy.desk.units import NewThing, add_instrument, create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.asked import PERSON_COOKIE
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId, short
from loopworthy.vocabulary.time import Moment
from tests.web.visitor import Visitor

MORNING = Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta")
CONFIGURATION = "electronic-back-three-sensors"


@dataclass
class Shop:
    """A workplace with people, an analyser and a unit."""

    clock: WalkingClock
    workplace: Workplace
    reader: ThingId
    second: ThingId
    analyser: ThingId
    unit: ThingId
    chance: Random

    @property
    def app(self) -> Starlette:
        """The program on this workplace."""
        return create_app(self.workplace)

    @property
    def at(self) -> str:
        """Where the unit's pages begin."""
        return f"/unit/{short(self.unit)}"

    def day(self) -> Circumstances:
        """The circumstances of this moment."""
        configuration = self.workplace.world.configuration(self.unit)
        assert configuration is not None
        return Circumstances(
            world=self.workplace.world,
            unit=self.unit,
            configuration=configuration,
            today=self.clock().local().date(),
            chance=self.chance,
        )

    def walk(
        self,
        until: str = "",
        *,
        leave: frozenset[str] = frozenset(),
        read: Mapping[tuple[str, str], Mapping[str, str]] | None = None,
    ) -> None:
        """Do what is outstanding in the order of the day, up to a page and with it."""
        order = [page.id for page in self.workplace.catalogue.pages]
        pages = tuple(order[: order.index(until) + 1]) if until else ()
        hands = Hands(reader=self.reader, second=self.second, analyser=self.analyser)
        plan = Plan(pages=pages, leave=leave, read=read or {})
        walk(self.workplace, self.unit, self.clock, hands, self.day, plan, rounds=1)


def make_shop(
    configuration: str = CONFIGURATION, *, confirmed: bool = True, day: bool = True, device_name: str = "memory"
) -> Shop:
    """A shop on an invented morning, with every part of its unit named."""
    clock = WalkingClock(MORNING)
    workplace = memory_workplace(clock=clock, device_name=device_name)
    reader, second = add_person(workplace, "Pim Example"), add_person(workplace, "Juno Example")
    analyser = add_instrument(workplace, "Analyser A1", "analyser", typed_by=reader)
    unit = create_unit(workplace, "Grey Heron", ready_configurations()[configuration], serial="T-1", typed_by=reader)
    sensors = {f"oxygen-sensor-{number}": NewThing(serial=f"4F-220{number}") for number in range(1, 6)}
    fit_out(workplace, unit, {"diver": reader, **sensors}, typed_by=reader)
    if confirmed:
        confirm_all_limits(workplace, unit, source="Manual of the trial unit, first issue", owner=reader)
    if day:
        days.begin(workplace, (unit,), "dive-day", title="Trial day", typed_by=reader)
    return Shop(clock, workplace, reader, second, analyser, unit, Random(7))


@pytest.fixture
def shop() -> Shop:
    """A unit of which nothing has been read yet."""
    return make_shop()


@pytest.fixture
def visitor(shop: Shop) -> Visitor:
    """Somebody on the shop's pages who has chosen to be the reader."""
    visitor = Visitor(shop.app)
    visitor.cookies[PERSON_COOKIE] = shop.reader
    return visitor
