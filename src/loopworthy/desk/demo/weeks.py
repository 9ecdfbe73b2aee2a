"""The four weeks before today: a bench day, twelve dive days of two units each, and what went wrong on some."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.club import (
    ANALYSERS,
    FAILED_ANALYSER_DAY,
    FAILED_LEAK_TEST,
    MANUAL,
    PEOPLE,
    SINGLE_HANDED_DAYS,
    UNITS,
    WAIVER,
    WRONG_ENTRY,
    UnitPlan,
)
from loopworthy.desk.demo.story import AHEAD_MIN, FILLED_BAR, Teller, UnitState, at
from loopworthy.desk.demo.usual import usual_entry
from loopworthy.desk.demo.walk import Plan, WalkingClock, confirm_all_limits, fit_out
from loopworthy.desk.mending import failed_readings, give_waiver, record_repair, withdraw
from loopworthy.desk.people import add_person
from loopworthy.desk.steps import record_steps
from loopworthy.desk.units import NewThing, add_instrument, create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.subjects import instrument_subject
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId

BENCH_DAY = -29
LAST_HOLD = "H7"
FIRST_UNIT_AT, SECOND_UNIT_AT = "06:00", "10:15"


def begin_club(workplace: Workplace, clock: WalkingClock, chance: Random) -> Teller:
    """The club on its bench day: people, analysers, units with their parts, limits that the owner confirmed."""
    clock.wait_until(at(BENCH_DAY, "09:00"))
    people = tuple(add_person(workplace, name) for name in PEOPLE)
    owner = people[1]
    analysers = tuple(
        add_instrument(workplace, name, "analyser", serial=serial, typed_by=owner) for name, serial in ANALYSERS
    )
    teller = Teller(workplace, clock, chance, people=people, analysers=analysers)
    teller.begin_weather(BENCH_DAY)
    for plan in UNITS:
        clock.advance(20)
        teller.states[plan.name] = _begin_unit(teller, plan, owner)
    for state in teller.states.values():
        teller.walk(state, BENCH_DAY, Plan(pages=("cylinders-and-cleaning", "bench")))
    return teller


def _begin_unit(teller: Teller, plan: UnitPlan, owner: ThingId) -> UnitState:
    workplace = teller.workplace
    unit = create_unit(
        workplace, plan.name, ready_configurations()[plan.configuration], serial=plan.serial, typed_by=owner
    )
    things: dict[str, NewThing | ThingId] = {"diver": teller.people[plan.diver]}
    things |= {f"oxygen-sensor-{place}": sensor.thing() for place, sensor in enumerate(plan.sensors, start=1)}
    for place, position in enumerate(one for one in plan.gases):
        things[position] = NewThing(serial=f"{plan.serial}-C{place + 1}", name=f"{plan.name} {position[9:]}")
    fit_out(workplace, unit, things, typed_by=owner)
    confirm_all_limits(workplace, unit, source=MANUAL, owner=owner)
    state = UnitState(plan=plan, unit=unit)
    fitted = workplace.world.fitted(unit)
    for place, sensor in enumerate(plan.sensors, start=1):
        state.sensors[fitted[f"oxygen-sensor-{place}"].thing] = sensor
    state.pressures_bar = dict.fromkeys(("cylinder-oxygen", "cylinder-diluent"), FILLED_BAR)
    return state


def tell_weeks(teller: Teller) -> None:
    """Every dive day before today."""
    for day in sorted({day for plan in UNITS for day in plan.dive_days}):
        teller.begin_weather(day)
        if day > FAILED_ANALYSER_DAY:
            teller.analyser = teller.analysers[1]
        diving = [state for state in teller.states.values() if day in state.plan.dive_days]
        if day == FAILED_ANALYSER_DAY:
            _analyse_together(teller, diving, day)
        for state, begins in zip(diving, (FIRST_UNIT_AT, SECOND_UNIT_AT), strict=True):
            teller.clock.wait_until(at(day, begins))
            _tell_dive_day(teller, state, day)
        if day == FAILED_ANALYSER_DAY:
            _find_analyser_bad(teller, diving[0])
        for state in diving:
            teller.clock.advance(1)
            teller.end_day(state)


def _tell_dive_day(teller: Teller, state: UnitState, day: int) -> None:
    alone = day in SINGLE_HANDED_DAYS
    if day != FAILED_ANALYSER_DAY:
        teller.begin_day(state, day, alone=alone)
    odd = [hold for name, odd_day, hold in ODDITIES if (name, odd_day) == (state.plan.name, day)]
    for hold in teller.holds(state) if odd else ():
        if hold in odd:
            ODDITIES[state.plan.name, day, hold](teller, state, day)
        else:
            teller.hold(state, day, hold, alone=alone)
    if not odd:
        teller.walk(state, day, Plan(ahead_min=AHEAD_MIN), alone=alone)
    teller.pass_hold(state, LAST_HOLD)
    teller.dive(state, day, alone=alone)


# --- what went wrong ------------------------------------------------------------------------------------------------


def _analyse_together(teller: Teller, diving: list[UnitState], day: int) -> None:
    """Both units' gas in one session, on one check of the analyser."""
    teller.clock.wait_until(at(day, FIRST_UNIT_AT))
    for state in diving:
        teller.begin_day(state, day)
        teller.hold(state, day, "H1", ahead_min=0.0)


def _find_analyser_bad(teller: Teller, state: UnitState) -> None:
    """The end-check in the evening: the old analyser reads air far too rich, so what it told that day was not so."""
    workplace, hands = teller.workplace, teller.hands(state)
    teller.clock.advance(15)
    step = workplace.catalogue.step("D22")
    subject = instrument_subject(workplace.world, teller.analyser)
    typed = usual_entry(
        step,
        subject,
        teller.circumstances(state, FAILED_ANALYSER_DAY),
        otherwise={"air_percent": "21.8"},
        confirmed=("air_percent",),
        note="Cell at its end: it climbs when the analyser is warm",
    )
    record_steps(workplace, state.unit, [typed], read_by=hands.reader, instruments=(teller.analyser,))
    teller.clock.advance(2)
    record_change(
        workplace,
        state.unit,
        Declared(change="analyser-failed", things=(teller.analyser,), note="Air read as 21.8 % after the day's dives"),
        person=hands.reader,
    )


def _fail_a_leak_test(teller: Teller, state: UnitState, day: int) -> None:
    """A positive test that fails, the hair on a seal that was the cause, and the test that passed after it."""
    teller.hold(state, day, "H4", Plan(only=frozenset({"L01", "L02"})))
    teller.do(state, day, {"L03": {"end_mbar": "19.6"}}, minutes=4)
    workplace = teller.workplace
    failed = failed_readings(tuple(workplace.verdict(state.unit).requirements()))
    teller.clock.advance(12)
    record_repair(
        workplace,
        state.unit,
        failed,
        cause="A hair across the seal of the exhale hose",
        done="Seal and groove wiped, seal greased, hose fitted again",
        place="exhale hose at the head",
        person=teller.people[state.plan.diver],
    )
    teller.clock.advance(1)
    record_change(
        workplace,
        state.unit,
        Declared(change="loop-opened", answers={"what": "hose or mouthpiece"}),
        person=teller.people[state.plan.diver],
    )
    for hold in ("H2", "H3", "H4"):
        teller.hold(state, day, hold)


def _waive_the_clocks(teller: Teller, state: UnitState, day: int) -> None:
    """Clocks not compared for want of a clock to compare with: said aloud, heard, for one dive."""
    teller.hold(state, day, "H5", Plan(leave=frozenset({"E02"})))
    hands = teller.hands(state)
    teller.clock.advance(1)
    give_waiver(
        teller.workplace,
        state.unit,
        "E02",
        state.unit,
        reason="No clock at the quay to compare with; compared tonight at home",
        hearer=hands.second,
        person=hands.reader,
    )


def _type_a_wrong_line(teller: Teller, state: UnitState, day: int) -> None:
    """An intermediate pressure of the wrong regulator, typed and taken back."""
    hands = teller.hands(state)
    teller.do(state, day, {"W08": {"ip_bar": "8.4", "ip_after_bar": "8.4"}}, minutes=4, positions=("regulator-oxygen",))
    wrong = teller.workplace.book().items
    latest = max((one for one in wrong.values() if one.step == "W08"), key=lambda one: one.order)
    teller.clock.advance(1)
    withdraw(
        teller.workplace,
        latest.event,
        reason="Gauge was still on the diluent side: that value belongs to the other regulator",
        person=hands.reader,
    )
    teller.hold(state, day, "H2")


ODDITIES: Mapping[tuple[str, int, str], Callable[[Teller, UnitState, int], None]] = {
    (*FAILED_LEAK_TEST, "H4"): _fail_a_leak_test,
    (*WAIVER, "H5"): _waive_the_clocks,
    (*WRONG_ENTRY, "H2"): _type_a_wrong_line,
}
"""Unit, day and hold point to what went otherwise than usual there."""
