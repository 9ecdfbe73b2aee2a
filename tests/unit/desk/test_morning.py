"""An ordinary morning on every ready configuration ends in *ready*, with nothing waived."""

from __future__ import annotations

from datetime import date
from random import Random

import pytest

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import days
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.walk import Hands, WalkingClock, confirm_all_limits, fit_out, walk
from loopworthy.desk.people import add_person
from loopworthy.desk.units import add_instrument, create_unit
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.time import Moment

BEGIN = Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta")


@pytest.mark.parametrize("name", sorted(ready_configurations()))
def test_a_full_morning_of_ordinary_readings_makes_every_ready_configuration_ready(name: str) -> None:
    clock = WalkingClock(BEGIN)
    workplace = memory_workplace(clock=clock)
    reader = add_person(workplace, "Pim Example")
    second = add_person(workplace, "Juno Example")
    analyser = add_instrument(workplace, "Analyser", "analyser", typed_by=reader)
    unit = create_unit(workplace, "Trial", ready_configurations()[name], serial="T-1", typed_by=reader)
    fit_out(workplace, unit, {"diver": reader}, typed_by=reader)
    confirm_all_limits(workplace, unit, source="Manual of the trial unit, first issue", owner=reader)
    days.begin(workplace, (unit,), "dive-day", typed_by=reader)
    chance = Random(7)

    def day() -> Circumstances:
        configuration = workplace.world.configuration(unit)
        assert configuration is not None
        return Circumstances(
            world=workplace.world, unit=unit, configuration=configuration, today=date(2026, 6, 14), chance=chance
        )

    walk(workplace, unit, clock, Hands(reader=reader, second=second, analyser=analyser), day, rounds=1)
    verdict = workplace.verdict(unit)
    open_ones = [
        f"{one.step.id} {one.kind} {one.subject.position}: {one.standing.state.value} {one.standing.code}"
        f" {one.standing.values}"
        for one in verdict.requirements()
        if not one.counts
    ]
    assert open_ones == []
    assert verdict.word is Word.READY
    assert verdict.marks == ()
    assert verdict.until_ms is not None
    assert 0 < verdict.until_ms - workplace.now().epoch_ms <= 10 * 60_000
