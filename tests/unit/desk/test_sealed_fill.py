"""A canister fill that was sealed and that nobody breathed from is looked at after a day, not filled anew."""

from __future__ import annotations

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.entry import Typed
from loopworthy.desk.steps import record_steps
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.standing import State
from loopworthy.vocabulary.identity import ThingId
from tests.unit.desk.test_outstanding_renewed import morning

FILLING = {"D11", "D12", "D13", "D15", "D24"}
DAY_AND_AN_HOUR = 25 * 60


def after_a_day() -> tuple[Workplace, ThingId, ThingId, WalkingClock]:
    workplace, unit, clock = morning()
    clock.advance(DAY_AND_AN_HOUR)
    return workplace, unit, workplace.world.at(unit, "diver") or "", clock


def fill_states(workplace: Workplace, unit: ThingId) -> dict[str, State]:
    return {one.step.id: one.standing.state for one in workplace.verdict(unit).requirements() if one.kind == "EV23"}


def look(workplace: Workplace, unit: ThingId, reader: ThingId, minutes: str) -> None:
    canister = workplace.world.at(unit, "canister-1") or ""
    fill = workplace.world.content_of(canister) or ""
    fields = {"used_min": minutes, "done": "yes"}
    typed = Typed(step="D32", about=fill, fields=fields, confirmed=frozenset({"used_min"}))
    record_steps(workplace, unit, [typed], read_by=reader)


def test_after_a_day_one_look_stands_for_filling_anew() -> None:
    workplace, unit, reader, clock = after_a_day()
    assert fill_states(workplace, unit) == dict.fromkeys(FILLING, State.EXPIRED)
    asked = {task.step.id for task in workplace.outstanding(unit)}
    assert "D32" in asked
    assert not asked & FILLING
    look(workplace, unit, reader, "0")
    assert fill_states(workplace, unit) == dict.fromkeys(FILLING, State.CURRENT)
    clock.advance(24 * 60 + 1)
    assert fill_states(workplace, unit) == dict.fromkeys(FILLING, State.EXPIRED)


def test_a_fill_that_was_breathed_from_is_not_looked_at_but_filled_anew() -> None:
    workplace, unit, reader, _ = after_a_day()
    record_change(workplace, unit, Declared(change="dive-made"), person=reader)
    asked = {task.step.id for task in workplace.outstanding(unit)}
    assert asked >= FILLING
    assert "D32" not in asked


def test_minutes_breathed_from_it_are_outside_the_limit_of_the_look() -> None:
    workplace, unit, reader, _ = after_a_day()
    look(workplace, unit, reader, "35")
    assert {one.step.id for one in workplace.verdict(unit).reasons() if one.standing.state is State.FAILED} == {"D32"}
    assert fill_states(workplace, unit)["D12"] is State.EXPIRED


def test_a_look_lengthens_nothing_that_a_knock_undid() -> None:
    workplace, unit, reader, clock = after_a_day()
    record_change(workplace, unit, Declared(change="canister-dropped", positions=("canister-1",)), person=reader)
    clock.advance(1)
    look(workplace, unit, reader, "0")
    assert fill_states(workplace, unit)["D12"] is State.VOID
