"""What has only aged is not asked again where a step that is outstanding anyhow starts its clock anew."""

from __future__ import annotations

from datetime import date
from random import Random

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import days
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.walk import Hands, Plan, WalkingClock, confirm_all_limits, fit_out, walk
from loopworthy.desk.people import add_person
from loopworthy.desk.units import add_instrument, create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment


def morning(*, leave: frozenset[str] = frozenset()) -> tuple[Workplace, ThingId, WalkingClock]:
    """An invented morning on a ready configuration, to the water's edge."""
    clock = WalkingClock(Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta"))
    workplace = memory_workplace(clock=clock)
    reader, second = add_person(workplace, "Pim Example"), add_person(workplace, "Juno Example")
    analyser = add_instrument(workplace, "Analyser", "analyser", typed_by=reader)
    unit = create_unit(workplace, "Trial", ready_configurations()["electronic-back-three-sensors"], typed_by=reader)
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

    hands = Hands(reader=reader, second=second, analyser=analyser)
    walk(workplace, unit, clock, hands, day, Plan(leave=leave), rounds=1)
    return workplace, unit, clock


def open_states(workplace: Workplace, unit: ThingId) -> set[tuple[str, State]]:
    return {(one.step.id, one.standing.state) for one in workplace.verdict(unit).reasons()}


def test_aged_gauges_wait_for_the_last_look_which_reads_them_again() -> None:
    workplace, unit, _ = morning(leave=frozenset({"F15"}))
    assert ("D01", State.EXPIRED) in open_states(workplace, unit)
    assert {task.step.id for task in workplace.outstanding(unit)} == {"F15"}


def test_after_the_last_look_has_aged_it_alone_is_asked() -> None:
    workplace, unit, clock = morning()
    assert workplace.verdict(unit).word is Word.READY
    clock.advance(11)
    asked = {task.step.id for task in workplace.outstanding(unit)}
    assert "F15" in asked
    assert not asked & {"D01", "F02", "F03", "F04"}
