"""The morning on which the rehearsal opens: one unit stops, one is made unproven, one gets ready."""

from __future__ import annotations

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.club import DRIFTING_POSITION, OPENS_AT, REPLACED_POSITION, SPARE_SENSOR, ZONE
from loopworthy.desk.demo.story import Teller, at
from loopworthy.desk.demo.walk import Plan
from loopworthy.vocabulary.time import Moment

KETTLE_AT, THIMBLE_AT, LANTERN_AT = "05:40", "06:55", "08:15"


def tell_today(teller: Teller) -> None:
    """Everything up to the moment of opening."""
    teller.begin_weather(0)
    tell_kettle(teller)
    tell_thimble(teller)
    tell_lantern(teller)


def tell_kettle(teller: Teller) -> None:
    """The manual unit: its second sensor does not follow in oxygen, in a second flush either. Nobody goes on."""
    state = teller.state("Kettle")
    teller.clock.wait_until(at(0, KETTLE_AT))
    teller.begin_day(state, 0)
    for hold in ("H1", "H2"):
        teller.hold(state, 0, hold)
        teller.pass_hold(state, hold)
    teller.hold(state, 0, "H3", Plan(only=frozenset({"A13", "A14", "C01", "C02", "C03", "C04", "C05", "C06"})))
    teller.do(state, 0, {"C05": {"flushes": "5"}, "C06": {}}, minutes=6, positions=(DRIFTING_POSITION,))


def tell_thimble(teller: Teller) -> None:
    """The unit with five sensors: calibrated and back in air, then a sensor with a cracked plug is replaced."""
    state = teller.state("Thimble")
    teller.clock.wait_until(at(0, THIMBLE_AT))
    teller.begin_day(state, 0)
    for hold in ("H1", "H2", "H3"):
        teller.hold(state, 0, hold)
        teller.pass_hold(state, hold)
    teller.clock.advance(6)
    record_change(
        teller.workplace,
        state.unit,
        Declared(
            change="sensor-replaced",
            positions=(REPLACED_POSITION,),
            answers={"head": "no"},
            arrivals={REPLACED_POSITION: SPARE_SENSOR.thing()},
            note="Plug cracked when the cable was tucked in; spare fitted",
        ),
        person=teller.people[state.plan.diver],
    )
    state.sensors[teller.workplace.world.fitted(state.unit)[REPLACED_POSITION].thing] = SPARE_SENSOR


def tell_lantern(teller: Teller) -> None:
    """The unit that is ready: a whole morning, and the last look ten seconds before the rehearsal opens."""
    state = teller.state("Lantern")
    teller.clock.wait_until(at(0, LANTERN_AT))
    teller.begin_day(state, 0)
    for hold in teller.holds(state):
        if hold == "H7":
            # Pre-breathe of 5.5 min, then a minute with the other one, half a minute for the last look.
            opens = Moment(at=OPENS_AT, zone=ZONE)
            teller.clock.wait_until(opens.plus(minutes=-7, seconds=-10))
        teller.hold(state, 0, hold)
        teller.pass_hold(state, hold)
