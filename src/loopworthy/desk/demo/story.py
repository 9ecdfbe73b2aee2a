"""Telling the club's story through the desk: one teller keeps clock, chance and what is in every cylinder.

A day of a unit is told as people work: do what is outstanding, pass the hold points, dive, write down what it showed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from random import Random

from loopworthy.desk import days
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.circumstances import Circumstances, SensorTruth
from loopworthy.desk.demo.club import LOT, TODAY, ZONE, SensorPlan, UnitPlan
from loopworthy.desk.demo.usual import logged_test
from loopworthy.desk.demo.walk import Hands, Plan, WalkingClock, do_steps, walk
from loopworthy.desk.mending import pass_hold
from loopworthy.desk.people import give_custody
from loopworthy.desk.units import NewThing
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.verdict import AGAIN
from loopworthy.unit.configuration import Configuration
from loopworthy.vocabulary.errors import RefusedError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment, moment, zone

OXYGEN_USED_BAR = 19.0
DILUENT_USED_BAR = 24.0
FILLED_BAR = 200.0
FRESH_ABSORBENT_MIN = 180.0
DIVE_MIN = 55.0
AHEAD_MIN = 24 * 60.0
"""How far ahead people look in the morning: what is a day old by then, as the readings of the sensors, is made anew."""


def at(day: int, clock_time: str) -> Moment:
    """A time of the wall clock so many days from today."""
    hours, minutes = (int(part) for part in clock_time.split(":"))
    local = datetime(TODAY.year, TODAY.month, TODAY.day, hours, minutes, tzinfo=zone(ZONE)) + timedelta(days=day)
    return moment(local, ZONE)


@dataclass(slots=True, kw_only=True)
class UnitState:
    """A unit in the story, and how things stand with it."""

    plan: UnitPlan
    unit: ThingId
    sensors: dict[ThingId, SensorPlan] = field(default_factory=dict)
    pressures_bar: dict[str, float] = field(default_factory=dict)
    scrubber_min: float = FRESH_ABSORBENT_MIN
    last_dive_day: int = -36


@dataclass(frozen=True, slots=True, kw_only=True)
class Weather:
    """The air of one day."""

    ambient_hpa: float
    temperature_c: float
    humidity_percent: float


class Teller:
    """Tells the story into a workplace.

    Parameters
    ----------
    workplace : Workplace
        Its clock must be `clock`.
    clock : WalkingClock
    chance : Random
        Where weather and last digits come from.
    people, analysers : tuple of str
        In the order of `club.PEOPLE` and `club.ANALYSERS`.
    """

    def __init__(
        self,
        workplace: Workplace,
        clock: WalkingClock,
        chance: Random,
        *,
        people: tuple[ThingId, ...],
        analysers: tuple[ThingId, ...],
    ) -> None:
        self.workplace = workplace
        self.clock = clock
        self.chance = chance
        self.people = people
        self.analysers = analysers
        self.states: dict[str, UnitState] = {}
        self.weather = Weather(ambient_hpa=1014.0, temperature_c=21.0, humidity_percent=60.0)
        self.analyser = analysers[0]

    def state(self, name: str) -> UnitState:
        """The unit of that name."""
        return self.states[name]

    def configuration(self, state: UnitState) -> Configuration:
        """How the unit is made up now."""
        found = self.workplace.world.configuration(state.unit)
        if found is None:
            raise RefusedError(f"{state.plan.name} has no configuration", next_step="Choose one first")
        return found

    def begin_weather(self, day: int) -> None:
        """The air of a new day; it changes little from one to the next."""
        self.weather = Weather(
            ambient_hpa=float(self.chance.randint(1009, 1019)),
            temperature_c=float(round(20.0 + 4.0 * (day + 29) / 29 + self.chance.uniform(-1.0, 1.0))),
            humidity_percent=float(self.chance.randint(52, 70)),
        )

    def hands(self, state: UnitState, *, alone: bool = False) -> Hands:
        """The unit's own diver, with the other one beside."""
        reader, second = self.people[state.plan.diver], self.people[1 - state.plan.diver]
        return Hands(reader=reader, second="" if alone else second, analyser=self.analyser)

    def circumstances(self, state: UnitState, day: int) -> Circumstances:
        """What lies behind the readings of a unit now."""
        world = self.workplace.world
        sensors: dict[ThingId, SensorTruth] = {thing: plan.truth(day) for thing, plan in state.sensors.items()}
        return Circumstances(
            world=world,
            unit=state.unit,
            configuration=self.configuration(state),
            today=TODAY + timedelta(days=day),
            chance=self.chance,
            ambient_hpa=self.weather.ambient_hpa,
            temperature_c=self.weather.temperature_c,
            humidity_percent=self.weather.humidity_percent,
            sensors=sensors,
            gases=state.plan.gases,
            pressures_bar=dict(state.pressures_bar),
            leak_ml_per_min=state.plan.leak(day),
            loop_volume_l=state.plan.loop_volume_l,
            scrubber_min=state.scrubber_min,
            planned_min=DIVE_MIN,
            last_dive=TODAY + timedelta(days=state.last_dive_day),
        )

    # --- parts of a day ---------------------------------------------------------------------------------------------

    def begin_day(self, state: UnitState, day: int, *, alone: bool = False) -> None:
        """A dive day and an assembly begin; fresh absorbent and, on some days, fresh gas."""
        hands = self.hands(state, alone=alone)
        title = f"{(TODAY + timedelta(days=day)):%A} at the invented quay"
        days.begin(self.workplace, (state.unit,), "dive-day", title=title, typed_by=hands.reader)
        days.begin(self.workplace, (state.unit,), "assembly", typed_by=hands.reader)
        if self.workplace.world.holder(state.unit) != hands.reader:
            give_custody(self.workplace, state.unit, hands.reader, typed_by=hands.reader)
        if self.workplace.book().dives_before(state.unit, self.clock().epoch_ms):
            self.walk(state, day, Plan(pages=("again",)), alone=alone, again=True)
        if day in state.plan.fill_days:
            self.fill(state, hands)
        self.clock.advance(2)
        record_change(
            self.workplace,
            state.unit,
            Declared(
                change="absorbent-changed",
                positions=("canister-1",),
                answers={"head": "no"},
                fills={"canister-1": NewThing(batch=LOT)},
            ),
            person=hands.reader,
        )
        state.scrubber_min = FRESH_ABSORBENT_MIN

    def fill(self, state: UnitState, hands: Hands) -> None:
        """Oxygen and diluent are filled."""
        for change, position in (("oxygen-changed", "cylinder-oxygen"), ("diluent-changed", "cylinder-diluent")):
            self.clock.advance(1)
            record_change(
                self.workplace,
                state.unit,
                Declared(change=change, positions=(position,), note="Filled at the invented compressor"),
                person=hands.reader,
            )
            state.pressures_bar[position] = FILLED_BAR

    def walk(
        self, state: UnitState, day: int, plan: Plan | None = None, *, alone: bool = False, again: bool = False
    ) -> None:
        """Do what is outstanding and belongs to the plan."""
        plan = plan or Plan()
        if state.plan.logs_pressure:
            day_of_it = self.circumstances(state, day)
            logged = {("L02", ""): logged_test(day_of_it, sign=-1), ("L03", ""): logged_test(day_of_it, sign=1)}
            plan = replace(plan, read={**logged, **plan.read})
        walk(
            self.workplace,
            state.unit,
            self.clock,
            self.hands(state, alone=alone),
            lambda: self.circumstances(state, day),
            plan,
            again=again,
        )

    def do(
        self,
        state: UnitState,
        day: int,
        steps: dict[str, dict[str, str]],
        *,
        minutes: float,
        positions: tuple[str, ...] = (),
    ) -> None:
        """Do named steps, outstanding or not."""
        do_steps(
            self.workplace,
            state.unit,
            self.clock,
            self.hands(state),
            self.circumstances(state, day),
            steps,
            minutes=minutes,
            positions=positions,
        )

    def hold(
        self,
        state: UnitState,
        day: int,
        hold: str,
        plan: Plan | None = None,
        *,
        alone: bool = False,
        ahead_min: float = AHEAD_MIN,
    ) -> None:
        """Do what a hold point asks for, without passing it."""
        pages = tuple(one.id for one in self.workplace.catalogue.pages if one.hold == hold)
        self.walk(state, day, replace(plan or Plan(), pages=pages, ahead_min=ahead_min), alone=alone)

    def pass_hold(self, state: UnitState, hold: str) -> None:
        """Pass a hold point on the evidence that there is."""
        pass_hold(self.workplace, state.unit, hold, person=self.people[state.plan.diver])

    def holds(self, state: UnitState) -> tuple[str, ...]:
        """The hold points before a dive."""
        configuration = self.configuration(state)
        return tuple(
            one.id for one in self.workplace.catalogue.holds if one.id != AGAIN and one.when.holds(configuration)
        )

    def dive(self, state: UnitState, day: int, *, alone: bool = False) -> None:
        """Go in, come back, write down what the dive showed, rinse."""
        hands = self.hands(state, alone=alone)
        self.clock.advance(2)
        days.begin(self.workplace, (state.unit,), "dive", title="Invented quay wall", typed_by=hands.reader)
        self.clock.advance(DIVE_MIN)
        for position, used in (("cylinder-oxygen", OXYGEN_USED_BAR), ("cylinder-diluent", DILUENT_USED_BAR)):
            state.pressures_bar[position] -= used + round(self.chance.uniform(-3.0, 3.0))
        state.scrubber_min -= DIVE_MIN
        state.last_dive_day = day
        record_change(
            self.workplace,
            state.unit,
            Declared(change="dive-made", answers={"repeat-leak-tests": "yes"}),
            person=hands.reader,
        )
        self.walk(state, day, Plan(pages=("under-water", "after-dive")), alone=alone, again=True)
        self.clock.advance(20)
        record_change(self.workplace, state.unit, Declared(change="disinfected"), person=hands.reader)

    def end_day(self, state: UnitState) -> None:
        """The dive day ends."""
        days.end(self.workplace, state.unit, "assembly", typed_by=self.people[state.plan.diver])
        days.end(self.workplace, state.unit, "dive-day", typed_by=self.people[state.plan.diver])
