"""Ordinary days on every ready configuration: ready after the morning, ready again on the next, with nothing waived.

The readings come from plain physics (`desk.demo.circumstances`) and common practice; they know no limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from random import Random

import pytest

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import days
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.usual import DAYS, ORDINARY, WORKED_OUT, usual_entry
from loopworthy.desk.demo.walk import Hands, Plan, WalkingClock, confirm_all_limits, fit_out, walk
from loopworthy.desk.entry import read_entry
from loopworthy.desk.mending import pass_hold
from loopworthy.desk.people import add_person
from loopworthy.desk.units import NewThing, add_instrument, create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.standing import State
from loopworthy.judgement.subjects import instrument_subject
from loopworthy.judgement.verdict import Verdict, Word
from loopworthy.unit.configuration import Configuration, configuration_from_choices, ready_configurations
from loopworthy.unit.positions import positions
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

BEGIN = Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta")
NAMES = tuple(sorted(ready_configurations()))
PLAIN = ready_configurations()["electronic-back-three-sensors"]
CONFIGURATIONS = (
    *ready_configurations().values(),
    configuration_from_choices("second-loop", "Second loop", {**PLAIN.choices, "bailout": "second-loop"}),
    configuration_from_choices(
        "own-gas", "Bailout from the own gas", {**PLAIN.choices, "bailout_cylinders": "0", "bailout_valve": "fitted"}
    ),
)


@dataclass
class Trial:
    """A unit with all its parts named and its limits confirmed, and people to work on it."""

    workplace: Workplace
    clock: WalkingClock
    unit: ThingId
    hands: Hands
    chance: Random

    def day(self) -> Circumstances:
        configuration = self.workplace.world.configuration(self.unit)
        assert configuration is not None
        return Circumstances(
            world=self.workplace.world,
            unit=self.unit,
            configuration=configuration,
            today=self.clock().local().date(),
            chance=self.chance,
        )

    def walk(self, plan: Plan | None = None, *, again: bool = False) -> None:
        walk(self.workplace, self.unit, self.clock, self.hands, self.day, plan, again=again)

    def begin_day(self) -> None:
        days.begin(self.workplace, (self.unit,), "dive-day", typed_by=self.hands.reader)
        days.begin(self.workplace, (self.unit,), "assembly", typed_by=self.hands.reader)

    def verdict(self) -> Verdict:
        return self.workplace.verdict(self.unit)

    def open_ones(self) -> list[str]:
        return [
            f"{one.step.id} {one.kind} {one.subject.position}: {one.standing.state.value}, {one.standing.code}"
            for one in self.verdict().requirements()
            if one.standing.state is not State.CURRENT
        ]


def trial(configuration: Configuration | str, *, second: bool = True, seed: int = 7) -> Trial:
    chosen = ready_configurations()[configuration] if isinstance(configuration, str) else configuration
    clock = WalkingClock(BEGIN)
    workplace = memory_workplace(clock=clock)
    reader = add_person(workplace, "Pim Example")
    other = add_person(workplace, "Juno Example")
    analyser = add_instrument(workplace, "Analyser", "analyser", typed_by=reader)
    unit = create_unit(workplace, "Trial", chosen, serial="T-1", typed_by=reader)
    things: dict[str, NewThing | ThingId] = {"diver": reader}
    if chosen.has("bailout", "second-loop"):
        things["second-loop"] = create_unit(workplace, "Other loop", ready_configurations()[NAMES[0]], typed_by=reader)
    fit_out(workplace, unit, things, typed_by=reader)
    confirm_all_limits(workplace, unit, source="Manual of the trial unit, first issue", owner=reader)
    hands = Hands(reader=reader, second=other if second else "", analyser=analyser)
    return Trial(workplace, clock, unit, hands, Random(seed))


@pytest.mark.parametrize("name", NAMES)
def test_a_full_morning_of_ordinary_readings_makes_every_ready_configuration_ready(name: str) -> None:
    one = trial(name)
    one.begin_day()
    assert one.verdict().word is Word.UNPROVEN
    one.walk()
    assert one.open_ones() == []
    verdict = one.verdict()
    assert verdict.word is Word.READY
    assert verdict.marks == ()
    assert verdict.until_ms is not None
    # The last look and the pre-breathe stand for ten minutes (common practice, no source).
    assert 0 < verdict.until_ms - one.workplace.now().epoch_ms <= 10 * 60_000
    for hold in verdict.holds:
        pass_hold(one.workplace, one.unit, hold.hold.id, person=one.hands.reader)


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_chance_in_the_last_digits_keeps_an_ordinary_morning_from_ready(name: str, seed: int) -> None:
    one = trial(name, seed=seed)
    one.begin_day()
    one.walk()
    assert one.open_ones() == []


@pytest.mark.parametrize("name", NAMES)
def test_the_day_after_a_dive_reaches_ready_with_fresh_absorbent(name: str) -> None:
    one = trial(name)
    one.begin_day()
    one.walk()
    one.clock.advance(62)
    record_change(one.workplace, one.unit, Declared(change="dive-made"), person=one.hands.reader)
    assert one.verdict().word is Word.UNPROVEN
    one.walk(Plan(pages=("under-water", "after-dive", "again")), again=True)
    record_change(one.workplace, one.unit, Declared(change="disinfected"), person=one.hands.reader)
    days.end(one.workplace, one.unit, "assembly", typed_by=one.hands.reader)
    days.end(one.workplace, one.unit, "dive-day", typed_by=one.hands.reader)
    one.clock.wait_until(BEGIN.plus(minutes=24 * 60))
    one.begin_day()
    for place in positions(one.day().configuration):
        if place.kind == "canister":
            record_change(
                one.workplace,
                one.unit,
                Declared(change="absorbent-changed", positions=(place.id,), answers={"head": "no"}),
                person=one.hands.reader,
            )
    one.walk(Plan(ahead_min=180))
    assert one.open_ones() == []
    assert one.verdict().word is Word.READY


@pytest.mark.parametrize("name", NAMES)
def test_a_second_dive_of_the_day_reaches_ready_on_an_unopened_loop(name: str) -> None:
    one = trial(name)
    one.begin_day()
    one.walk()
    one.clock.advance(62)
    record_change(one.workplace, one.unit, Declared(change="dive-made"), person=one.hands.reader)
    before = {step.step for step in one.workplace.book().items.values()}
    asked = {task.step.id for task in one.workplace.outstanding(one.unit)}
    # What stays after a dive with an unopened loop: analyses, canister seat, ages (common practice, no source).
    assert not asked & {"D02", "D03", "D04", "A02", "W02", "W06", "W07"}
    assert asked & before
    one.walk(again=True)
    one.walk()
    assert one.open_ones() == []


@pytest.mark.parametrize("name", ["electronic-back-three-sensors", "pure-oxygen-chest"])
def test_an_ordinary_morning_with_any_one_step_left_out_is_not_ready(name: str) -> None:
    whole = trial(name)
    whole.begin_day()
    asked = {task.step.id for task in whole.workplace.outstanding(whole.unit)}
    for left_out in sorted(asked):
        one = trial(name)
        one.begin_day()
        one.walk(Plan(leave=frozenset({left_out})))
        assert one.verdict().word is not Word.READY, left_out


@pytest.mark.parametrize("configuration", CONFIGURATIONS[len(NAMES) :], ids=lambda one: one.name)
def test_units_with_other_bailout_reach_ready_as_well(configuration: Configuration) -> None:
    one = trial(configuration)
    one.begin_day()
    one.walk()
    assert one.open_ones() == []
    assert one.verdict().word is Word.READY


@pytest.mark.parametrize("name", NAMES)
def test_a_single_handed_morning_is_ready_and_says_so(name: str) -> None:
    one = trial(name, second=False)
    one.begin_day()
    one.walk()
    assert one.open_ones() == []
    assert any(mark.startswith("single-handed") for mark in one.verdict().marks)


# --- the table of ordinary values ------------------------------------------------------------------------------------


def test_every_ordinary_value_belongs_to_a_field_of_a_step() -> None:
    catalogue = load_catalogue()
    known = {f"{step.id}.{one.name}" for step in catalogue.steps.values() for one in step.inputs}
    assert set(ORDINARY) | set(WORKED_OUT) | set(DAYS) <= known


def test_no_field_has_two_ordinary_values() -> None:
    assert not set(ORDINARY) & set(WORKED_OUT)
    assert not set(ORDINARY) & set(DAYS)
    assert not set(WORKED_OUT) & set(DAYS)


STEPS = tuple(load_catalogue().steps.values())


@pytest.mark.parametrize("step", STEPS, ids=[step.id for step in STEPS])
def test_what_is_ordinarily_typed_for_a_step_is_taken_without_a_question(step: Step) -> None:
    one = next(trial(configuration) for configuration in CONFIGURATIONS if step.when.holds(configuration))
    abouts = one.workplace.bench().subjects_of(one.unit, step)
    if step.scope.each == "instrument":
        abouts = (instrument_subject(one.workplace.world, one.hands.analyser),)
    assert abouts or step.scope.places
    for subject in abouts:
        typed = usual_entry(step, subject, one.day())
        entered = read_entry(step, typed)
        assert entered.confirmed_odd == ()
        required = {each.name for each in step.inputs if each.required}
        assert required <= set(entered.readings) | set(entered.answers) | set(entered.traces) | set(entered.files)
        dates = [text for text in entered.answers.values() if text.startswith("20")]
        assert all(text > (one.day().today - timedelta(days=2000)).isoformat() for text in dates)
