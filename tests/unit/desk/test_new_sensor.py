"""A sensor that came in after the calibration is read in oxygen on a flush and an air reading of its own."""

from __future__ import annotations

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.units import NewThing
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.desk.test_outstanding_renewed import morning

ONE, TWO = "oxygen-sensor-1", "oxygen-sensor-2"


def test_a_new_sensor_needs_a_flush_of_its_own_and_leaves_the_readings_of_the_others() -> None:
    workplace, unit, clock = morning()
    assert workplace.verdict(unit).word is Word.READY
    clock.advance(1)
    reader = workplace.world.at(unit, "diver") or ""
    declared = Declared(
        change="sensor-replaced", positions=(ONE,), answers={"head": "no"}, arrivals={ONE: NewThing(serial="NEW-1")}
    )
    record_change(workplace, unit, declared, person=reader)
    states = {(one.step.id, one.subject.position): one.standing.state for one in workplace.verdict(unit).requirements()}
    assert states["C05", ""] is State.VOID
    assert states["C04", ""] is State.VOID
    assert states["C06", ONE] is State.ABSENT
    assert states["C06", TWO] is State.CURRENT
    asked = [(task.step.id, task.subject.position) for task in workplace.outstanding(unit)]
    assert {("C03", ONE), ("C04", ""), ("C05", ""), ("C06", ONE)} <= set(asked)
    assert ("C06", TWO) not in asked
    assert asked.index(("C03", ONE)) < asked.index(("C05", "")) < asked.index(("C06", ONE))
