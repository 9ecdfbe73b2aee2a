"""A workplace in memory with a clock that the tests move, two people and one unit with all its parts named."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from loopworthy import bootstrap
from loopworthy.desk import days, people, units
from loopworthy.desk.workplace import Workplace
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment


@dataclass
class Clock:
    """Says whatever moment the test has set."""

    moment: Moment = field(default_factory=lambda: Moment(at="2026-05-14T07:00:00+02:00", zone="Europe/Malta"))

    def __call__(self) -> Moment:
        return self.moment

    def forward(self, *, minutes: float = 0) -> Moment:
        self.moment = self.moment.plus(minutes=minutes)
        return self.moment


@dataclass
class Bench:
    """What a desk test works with."""

    clock: Clock
    workplace: Workplace
    reader: ThingId
    second: ThingId
    unit: ThingId
    analyser: ThingId


@pytest.fixture
def bench() -> Bench:
    clock = Clock()
    workplace = bootstrap.memory_workplace(clock=clock)
    reader = people.add_person(workplace, "Ilma")
    second = people.add_person(workplace, "Toke")
    configuration = ready_configurations()["electronic-back-three-sensors"]
    unit = units.create_unit(workplace, "Tern", configuration, typed_by=reader)
    for position in units.empty_positions(workplace, unit):
        if position == "diver":
            units.identify_part(workplace, unit, position, reader, typed_by=reader)
        else:
            units.identify_part(workplace, unit, position, units.NewThing(serial=f"S-{position}"), typed_by=reader)
    analyser = units.add_instrument(workplace, "Analyser 1", "analyser", serial="A-1", typed_by=reader)
    days.begin(workplace, (unit,), "dive-day", title="Thursday", typed_by=reader)
    return Bench(clock=clock, workplace=workplace, reader=reader, second=second, unit=unit, analyser=analyser)
