"""Ordinary entries for every step: what a person types on a day on which nothing is out of the ordinary.

A table holds what is ordinary for each field of a step; what depends on the day is worked out from `Circumstances`.
A field that is in neither (a step of the owner's own) is filled from its kind, its usual range and its limits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import timedelta
from decimal import Decimal

from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.entry import Typed
from loopworthy.judgement.catalogue.model import Input, InputKind, Rule, Step
from loopworthy.judgement.subjects import Subject
from loopworthy.science.physics.gas import GasMixture, mixture_density_g_per_l
from loopworthy.science.physics.loop_gas import loop_gas

HOLD_S = 60
START_MBAR = 35.0
SET_POINT_BAR = 1.3
LOGGED_S, LOGGED_EVERY_S = 100, 2
SETTLING_MBAR, SETTLING_S = 1.2, 3.0

ORDINARY: Mapping[str, str] = {
    # On the bench
    "W04.highest_bar": "2.6",
    "W04.pot_oxygen_percent": "99.5",
    "W07.cleaned_by": "the club's workshop",
    "W13.cracks_mbar": "30",
    "W14.spare_fills": "3",
    "W15.settings": "as on the sheet of the last dive day",
    "W20.revision": "third issue",
    "W22.below_l_per_min": "0.14",
    "W23.sensor_is": "galvanic, held to its age",
    "C14.response_s": "7",
    # Gas
    "D05.basis": "measured",
    "D05.co_ppm": "1",
    "D21.air_percent": "20.9",
    "D21.oxygen_percent": "99.4",
    "D21.helium_air_percent": "0.0",
    "D22.air_percent": "20.9",
    "D23.oxygen_percent": "99.5",
    # Absorbent
    "D13.weighed": "weighed",
    "D13.reference_g": "2450",
    "D15.lot": "lot 0417",
    "D16.serial": "element 3",
    "A14.wait_min": "6",
    "A16.ratio": "0.10",
    # Calibration
    "C05.flushes": "3",
    "C05.oxygen_is": "dry",
    "C03.change_mv": "0.02",
    "C11.co2_kpa": "0.01",
    "C12.air_percent": "0.2",
    "W17.co2_kpa": "0.01",
    "W17.helium_percent": "0.1",
    # Leak tests
    "L01.settled_min": "15",
    "L01.change_k_per_min": "0.05",
    "L06.place": "joint of the inhale hose",
    "L08.place": "none found",
    "L08.cause": "none",
    # Electronics
    "D10.left_min": "900",
    "D10.needed_min": "180",
    "E02.off_min": "0",
    "E03.maker_volts": "7.0",
    "E03.left_min": "840",
    "E05.rise_bar": "0.11",
    "E07.low_bar": "0.4",
    "E07.high_bar": "1.6",
    "E08.depth_m": "0.0",
    "E10.low_bar": "0.7",
    "E10.high_bar": "1.3",
    "E10.switch_m": "6",
    "E09.difference_percent": "0.3",
    # Plan and final check
    "D06.cns_percent": "22",
    "D06.smallest": "scrubber",
    "D07.need_l": "1350",
    "D07.have_l": "1980",
    "D18.agent": "the maker's agent",
    "D20.contact": "duty desk of the invented harbour, answered at once",
    "D20.oxygen_kit_bar": "180",
    "D19.altitude_m": "0",
    "D19.water_c": "18",
    "D25.need_l": "2400",
    "D25.have_l": "4100",
    "D27.need_l": "320",
    "D27.have_l": "520",
    "D28.water_c": "6",
    "D29.last_user": "the other one of us",
    "D31.depth_m": "5",
    "F14.weights_kg": "4",
    "F17.set_point_bar": "0.7",
    "F18.po2_bar": "0.70",
    "F09.po2_bar": "0.70",
    "F09.other_bar": "0.70",
    "F10.battery_min": "820",
    "B01.set_point_bar": "0.7",
    "B02.set_point_bar": "0.70",
    "B03.co2_is": "not measured",
    "B06.purges": "3",
    "B07.breathed_min": "5",
    "T03.need_l": "2400",
    "T03.have_l": "4100",
    "T04.turn_min": "28",
    "T04.scrubber_min": "60",
    "T04.oxygen_bar": "90",
    "T04.bailout_bar": "150",
    "F20.lowest_po2_bar": "0.34",
    # In the water and after
    "U02.set_point_bar": "1.3",
    "U06.highest_bar": "1.58",
    "U07.lowest_po2_bar": "0.68",
    "P01.alarms": "none",
    "P03.stored": "stored by serial",
    "P07.oddities": "none",
    "P08.agent": "the maker's agent",
    "P08.contact_min": "15",
    "P08.maker_min": "10",
    "P10.release": "ready",
    "R01.happened": "nothing, it stood locked up",
    "R02.gas_oxygen_percent": "20.9",
    "R03.oxygen_l": "380",
    "R03.oxygen_need_l": "120",
    "R03.cns_percent": "30",
    "S01.kept_bar": "20",
    "S02.state": "sealed and labelled",
    "S03.lowest_c": "12",
    "S03.highest_c": "28",
    "X01.turns": "as found",
}
"""Step and field to what is ordinarily entered there."""

DAYS: Mapping[str, int] = {
    "W01.service_on": -100,
    "W01.service_due": 265,
    "W06.tested_on": -700,
    "W06.inside_on": -140,
    "W07.cleaned_on": -150,
    "W14.best_before": 400,
    "W19.revised_on": -300,
    "W21.cleaned_on": -150,
    "D18.disinfected_on": -1,
    "D24.best_before": 400,
    "D24.opened_on": -3,
    "S02.since": 0,
}
"""Step and field to a date so many days from today."""

_Maker = Callable[[Circumstances, Subject], str]


def usual_entry(
    step: Step,
    subject: Subject,
    circumstances: Circumstances,
    *,
    otherwise: Mapping[str, str] | None = None,
    confirmed: tuple[str, ...] = (),
    note: str = "",
) -> Typed:
    """What is ordinarily typed for a step about a subject.

    Parameters
    ----------
    step, subject
        What is asked, and of what.
    circumstances : Circumstances
        The day behind the readings.
    otherwise : mapping, optional
        Field to what it reads this time; '' leaves it empty.
    confirmed, note
        Odd values that do read so; what is written beside.
    """
    typed = {one.name: _typed(step, one, subject, circumstances) for one in step.inputs}
    typed.update(otherwise or {})
    return Typed(
        step=step.id,
        about=subject.key or subject.position,
        fields={name: text for name, text in typed.items() if text},
        confirmed=frozenset(confirmed),
        note=note,
    )


def logged_test(circumstances: Circumstances, *, sign: int) -> dict[str, str]:
    """The fields of a pressure test that a logging manometer wrote: the trace in place of two readings.

    The loop settles in the first seconds; then it moves with its leak and with the gas as that cools a little.
    """
    rows = []
    for second in range(0, LOGGED_S + 1, LOGGED_EVERY_S):
        settling_mbar = SETTLING_MBAR * (1.0 - math.exp(-second / SETTLING_S))
        warming_k = -0.1 * second / HOLD_S
        loss_mbar = settling_mbar + circumstances.loss_mbar(second, warming_k, sign=sign)
        gauge_mbar = sign * (START_MBAR - loss_mbar) + circumstances.chance.uniform(-0.04, 0.04)
        rows.append(f"{second} {gauge_mbar:.1f} {circumstances.temperature_c + warming_k:.2f}")
    empty = dict.fromkeys(("start_mbar", "end_mbar", "hold_s", "start_c", "end_c"), "")
    return {"trace": "\n".join(rows), **empty}


def _typed(step: Step, one: Input, subject: Subject, circumstances: Circumstances) -> str:
    name = f"{step.id}.{one.name}"
    if name in WORKED_OUT:
        return WORKED_OUT[name](circumstances, subject)
    if name in ORDINARY:
        return ORDINARY[name]
    if name in DAYS:
        return _day(circumstances, DAYS[name])
    return _by_kind(step, one, circumstances)


def _by_kind(step: Step, one: Input, circumstances: Circumstances) -> str:
    """From the field's kind, usual range and limits: what fits any step that this table does not know."""
    if one.kind is InputKind.TICK:
        return "yes"
    if not one.required:
        return ""
    limit = next((each for each in step.limits if each.on == one.name), None)
    if one.kind is InputKind.CHOICE:
        allowed = limit.value.split(",") if limit is not None and limit.rule is Rule.ONE_OF else list(one.choices)
        return allowed[0].strip()
    if one.kind is InputKind.DATE:
        days = int(Decimal(limit.value)) if limit is not None else 0
        if limit is not None and limit.rule is Rule.DAYS_LEFT:
            return _day(circumstances, days + 60)
        return _day(circumstances, -(days // 2))
    if one.kind is InputKind.TIME:
        return "07:30"
    if one.kind in (InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT):
        return " ".join([_number_between(step, one)] * (one.count if one.kind is InputKind.NUMBERS else 1))
    return "as it should be"


def _number_between(step: Step, one: Input) -> str:
    """The middle between the bounds that limits and the usual range give."""
    low = [Decimal(one.usual_low)] if one.usual_low else []
    high = [Decimal(one.usual_high)] if one.usual_high else []
    for limit in step.limits:
        if limit.on == one.name and limit.rule is Rule.AT_LEAST:
            low.append(Decimal(limit.value))
        elif limit.on == one.name and limit.rule in (Rule.AT_MOST, Rule.BELOW):
            high.append(Decimal(limit.value))
    if low and high:
        value = (max(low) + min(high)) / 2
    elif low:
        value = max(low) + 1
    else:
        value = min(high) - 1 if high else Decimal(1)
    return f"{value:.0f}" if one.kind is InputKind.COUNT or value == int(value) else f"{value:.2f}"


# --- what depends on the day ----------------------------------------------------------------------------------------


def _day(circumstances: Circumstances, days: int) -> str:
    return (circumstances.today + timedelta(days=days)).isoformat()


def _shown(value: float, digits: int) -> str:
    return f"{value:.{digits}f}"


def _near(value: float, spread: float, digits: int) -> _Maker:
    return lambda day, subject: _shown(value + day.chance.uniform(-spread, spread), digits)


def _serial(day: Circumstances, subject: Subject) -> str:
    return day.world.thing(subject.things[0]).serial or "cannot be read"


def _made_on(day: Circumstances, subject: Subject) -> str:
    return day.world.thing(subject.things[0]).made_on or _day(day, -210)


def _fitted_on(day: Circumstances, subject: Subject) -> str:
    return day.world.thing(subject.things[0]).opened_on or _day(day, -120)


def _batch(day: Circumstances, subject: Subject) -> str:
    return day.world.thing(subject.things[0]).batch or "not stamped"


def _pot(pressure_bar: float) -> _Maker:
    """In the pot a sensor that follows gives its factor times the pressure; one bends a little at the top."""
    bend = 1.0 - 0.004 * max(pressure_bar - 1.0, 0.0)
    return lambda day, subject: _shown(day.sensor(subject.things[0]).factor_mv_per_bar * pressure_bar * bend, 1)


def _pressure(fall_bar: float = 0.0, position: str = "") -> _Maker:
    return lambda day, subject: _shown(day.pressure_bar(position or subject.position) - fall_bar, 0)


def _breathed_pressure(day: Circumstances, subject: Subject) -> str:
    return _shown(day.pressure_bar(day.breathed_position), 0)


def _bailout_pressure(day: Circumstances, subject: Subject) -> str:
    has = any(place.startswith("cylinder-bailout") for place in day.world.fitted(day.unit))
    return _shown(day.pressure_bar("cylinder-bailout-1"), 0) if has else ""


def _diluent_pressure(day: Circumstances, subject: Subject) -> str:
    """On a unit without diluent of its own the gauge of the plugged-in bailout is the one that is read."""
    own = "cylinder-diluent" in day.world.fitted(day.unit)
    return _shown(day.pressure_bar("cylinder-diluent" if own else "cylinder-bailout-1"), 0)


def _oxygen_percent(day: Circumstances, subject: Subject) -> str:
    gas = day.gas(subject.position)
    spread = 0.2 if gas.oxygen_percent < 90 else 0.1
    return _shown(min(gas.oxygen_percent + day.chance.uniform(-spread, spread), 100.0), 1)


def _planned_oxygen_percent(day: Circumstances, subject: Subject) -> str:
    return _shown(day.gas(subject.position).oxygen_percent, 1)


def _helium_percent(day: Circumstances, subject: Subject) -> str:
    helium = day.gas(subject.position).helium_percent
    return _shown(helium + day.chance.uniform(-0.4, 0.4), 1) if helium else "0.0"


def _planned_helium_percent(day: Circumstances, subject: Subject) -> str:
    return _shown(day.gas(subject.position).helium_percent, 1)


def _diluent_helium(day: Circumstances, subject: Subject) -> str:
    return _shown(day.gas("cylinder-diluent").helium_percent, 1)


def _flow(share: float) -> _Maker:
    """A fixed oxygen flow lies below resting use; that of a semi-closed unit feeds the whole dive."""

    def made(day: Circumstances, subject: Subject) -> str:
        whole = 9.0 if day.configuration.has("gas_principle", "semi-closed-mass-flow") else 0.6
        return _shown(whole * share, 2)

    return made


def _held(start_mbar: float, part: str) -> _Maker:
    """A pressure test as two readings: gauge at start and end, with the gas a little warmer or cooler by then."""

    def made(day: Circumstances, subject: Subject) -> str:
        sign = 1 if start_mbar > 0 else -1
        warming_k = -0.1
        if part == "start":
            return _shown(start_mbar, 1)
        if part == "end":
            return _shown(start_mbar - sign * day.loss_mbar(HOLD_S, warming_k, sign=sign), 1)
        return _shown(day.temperature_c + (warming_k if part == "end_c" else 0.0), 1)

    return made


def _plan(name: str, digits: int = 0) -> _Maker:
    return lambda day, subject: _shown(getattr(day, name), digits)


def _shallow_or_planned(day: Circumstances, subject: Subject) -> str:
    return "5" if day.configuration.has("gas_principle", "pure-oxygen") else _shown(day.depth_m, 0)


def _density(day: Circumstances, subject: Subject) -> str:
    """Of the loop at the planned depth, held at a set point of 1.3 bar; of the supply gas where nothing holds one."""
    ambient_bar = day.ambient_hpa / 1000 + day.depth_m / 10
    semi_closed = day.breathed_position == "cylinder-supply"
    gas = day.gas("cylinder-supply" if semi_closed else "cylinder-diluent")
    mixture = GasMixture(oxygen_fraction=gas.oxygen_percent / 100, helium_fraction=gas.helium_percent / 100)
    if semi_closed:
        return _shown(mixture_density_g_per_l(mixture, ambient_bar), 1)
    return _shown(loop_gas(mixture, SET_POINT_BAR, ambient_bar).density_g_per_l, 1)


def _diluent_bar(day: Circumstances, depth_m: float) -> float:
    return day.gas("cylinder-diluent").oxygen_percent / 100 * (day.ambient_hpa / 1000 + depth_m / 10)


def _surface_is(day: Circumstances, subject: Subject) -> str:
    return "0.18 bar or more" if round(_diluent_bar(day, 0.0), 2) >= 0.18 else "lean, marked on the cylinder"


def _each_minute(day: Circumstances, subject: Subject) -> str:
    """PO2 rising from below the set point to it, as it does while somebody breathes."""
    usual = (0.48, 0.57, 0.65, 0.70, 0.69)
    return " ".join(_shown(value + day.chance.uniform(-0.02, 0.02), 2) for value in usual)


def _depth_limit_m(day: Circumstances, subject: Subject) -> float:
    """Where the gas reaches 1.4 bar of oxygen, as the label says."""
    return math.floor((1.4 / (day.gas(subject.position).oxygen_percent / 100) - day.ambient_hpa / 1000) * 10)


def _last_dive(day: Circumstances, subject: Subject) -> str:
    return day.last_dive.isoformat() if day.last_dive is not None else _day(day, -7)


def _oxygen_used(day: Circumstances, subject: Subject) -> str:
    return _shown(day.oxygen_l_per_min + day.chance.uniform(-0.05, 0.05), 2)


WORKED_OUT: Mapping[str, _Maker] = {
    "A01.serial": lambda day, subject: day.world.thing(day.unit).serial or "on the harness",
    "W02.serial": _serial,
    "W02.made_on": _made_on,
    "W02.fitted_on": _fitted_on,
    "W03.batch": _batch,
    "A03.serial": _serial,
    "W04.mv_at_1_0": _pot(1.0),
    "W04.mv_at_1_6": _pot(1.6),
    "W04.mv_at_2_0": _pot(2.0),
    "W04.mv_at_highest": _pot(2.6),
    "W12.flow_l_per_min": _flow(1.02),
    "W12.set_l_per_min": _flow(1.0),
    "W12.ambient_hpa": _plan("ambient_hpa"),
    "C13.flow_l_per_min": _flow(1.01),
    "C13.set_l_per_min": _flow(1.0),
    "C13.ambient_hpa": _plan("ambient_hpa"),
    "W22.flow_l_per_min": _flow(1.02),
    "W22.ambient_hpa": _plan("ambient_hpa"),
    "A16.ambient_hpa": _plan("ambient_hpa"),
    "W18.last_dive_on": _last_dive,
    "D01.pressure_bar": _pressure(),
    "D01.planned_bar": lambda day, subject: _shown(day.pressure_bar(subject.position) * 0.6, 0),
    "D01.gas_temperature_c": _plan("temperature_c"),
    "D02.oxygen_percent": _oxygen_percent,
    "D03.oxygen_percent": _oxygen_percent,
    "D03.planned_oxygen_percent": _planned_oxygen_percent,
    "D03.helium_percent": _helium_percent,
    "D03.planned_helium_percent": _planned_helium_percent,
    "D04.oxygen_percent": _oxygen_percent,
    "D04.helium_percent": _helium_percent,
    "D04.depth_limit_m": lambda day, subject: _shown(_depth_limit_m(day, subject), 0),
    "D04.planned_depth_m": lambda day, subject: _shown(min(_depth_limit_m(day, subject) - 1, day.depth_m), 0),
    "D13.mass_g": _near(2455.0, 20.0, 0),
    "D17.remaining_min": _plan("scrubber_min"),
    "D17.planned_min": _plan("planned_min"),
    "A14.start_bar": _pressure(),
    "A14.end_bar": _pressure(1.0),
    "C01.controller_hpa": lambda day, subject: _shown(day.ambient_hpa + day.chance.choice((-1.0, 1.0, 2.0)), 0),
    "C01.barometer_hpa": _plan("ambient_hpa"),
    "C02.temperature_c": _plan("temperature_c"),
    "C02.humidity_percent": _plan("humidity_percent"),
    "C03.air_mv": lambda day, subject: _shown(day.air_mv(subject.things[0]), 1),
    "P09.air_mv": lambda day, subject: _shown(day.air_mv(subject.things[0]), 1),
    "C06.oxygen_mv": lambda day, subject: _shown(day.oxygen_mv(subject.things[0]), 1),
    "C08.factor": lambda day, subject: _shown(day.stored_factor(subject.things[0]), 1),
    "C09.factor": lambda day, subject: _shown(day.stored_factor(subject.things[0]), 1),
    "C16.factor": lambda day, subject: _shown(day.stored_factor(subject.things[0]), 1),
    "C10.po2_bar": lambda day, subject: _shown(day.air_bar + day.chance.uniform(-0.003, 0.003), 2),
    "C15.po2_bar": lambda day, subject: _shown(day.air_bar + day.chance.uniform(-0.003, 0.003), 2),
    "C17.po2_bar": lambda day, subject: _shown(day.air_bar + day.chance.uniform(-0.003, 0.003), 2),
    "R02.po2_bar": lambda day, subject: _shown(0.209 * day.ambient_hpa / 1000, 2),
    "R02.pressure_bar": lambda day, subject: _shown(day.ambient_hpa / 1000, 3),
    "U05.po2_bar": lambda day, subject: _shown(day.gas("cylinder-diluent").oxygen_percent / 100 * 2.0, 2),
    "U05.gas_oxygen_percent": lambda day, subject: _shown(day.gas("cylinder-diluent").oxygen_percent, 1),
    "U05.pressure_bar": lambda day, subject: "2.0",
    "C12.diluent_percent": _diluent_helium,
    "C12.analysed_percent": _diluent_helium,
    "L02.start_mbar": _held(-START_MBAR, "start"),
    "L02.end_mbar": _held(-START_MBAR, "end"),
    "L02.hold_s": lambda day, subject: str(HOLD_S),
    "L02.start_c": _held(-START_MBAR, "start_c"),
    "L02.end_c": _held(-START_MBAR, "end_c"),
    "L02.loop_volume_l": _plan("loop_volume_l", 1),
    "L03.start_mbar": _held(START_MBAR, "start"),
    "L03.end_mbar": _held(START_MBAR, "end"),
    "L03.hold_s": lambda day, subject: str(HOLD_S),
    "L03.start_c": _held(START_MBAR, "start_c"),
    "L03.end_c": _held(START_MBAR, "end_c"),
    "L03.loop_volume_l": _plan("loop_volume_l", 1),
    "L07.start_mbar": _held(-START_MBAR, "start"),
    "L07.end_mbar": _held(-START_MBAR, "end"),
    "L07.hold_s": lambda day, subject: str(HOLD_S),
    "L07.start_c": _held(-START_MBAR, "start_c"),
    "L07.end_c": _held(-START_MBAR, "end_c"),
    "L07.loop_volume_l": _plan("loop_volume_l", 1),
    "L04.negative_ml_per_min": _plan("leak_ml_per_min"),
    "L04.positive_ml_per_min": _plan("leak_ml_per_min"),
    "D10.volts": _near(7.9, 0.1, 1),
    "E03.volts": _near(7.6, 0.1, 1),
    "E04.rise_bar": _near(0.12, 0.02, 2),
    "P01.volts": _near(7.4, 0.1, 1),
    "P04.drained_ml": _near(8.0, 4.0, 0),
    "W08.ip_bar": _near(9.1, 0.1, 1),
    "W08.ip_after_bar": _near(9.2, 0.05, 1),
    "W16.ip_bar": _near(9.4, 0.2, 1),
    "C05.steady_s": _near(90.0, 25.0, 0),
    "B01.po2_each_minute": _each_minute,
    "B02.returned_bar": _near(0.69, 0.02, 2),
    "F15.lowest_po2_bar": _near(0.66, 0.02, 2),
    "F15.highest_po2_bar": _near(0.71, 0.015, 2),
    "U02.reached_bar": _near(1.24, 0.03, 2),
    "D06.smallest_margin_percent": _near(30.0, 4.0, 0),
    "D08.density_g_per_l": _density,
    "D09.bottom_bar": lambda day, subject: _shown(_diluent_bar(day, day.depth_m), 2),
    "D09.below_set_point_bar": lambda day, subject: _shown(SET_POINT_BAR - _diluent_bar(day, day.depth_m), 2),
    "D09.surface_is": _surface_is,
    "E03.planned_min": _plan("planned_min"),
    "E08.shown_hpa": _plan("ambient_hpa"),
    "E11.timer_min": _plan("scrubber_min"),
    "E11.ledger_min": _plan("scrubber_min"),
    "E14.main_bar": lambda day, subject: _shown(day.air_bar, 2),
    "E14.independent_bar": lambda day, subject: _shown(day.air_bar, 2),
    "D06.depth_m": _shallow_or_planned,
    "D06.run_time_min": _plan("planned_min"),
    "D06.surface_hpa": _plan("ambient_hpa"),
    "D09.surface_bar": lambda day, subject: _shown(_diluent_bar(day, 0.0), 2),
    "D19.expected_hpa": _plan("ambient_hpa"),
    "F19.remaining_min": _plan("scrubber_min"),
    "F19.planned_min": _plan("planned_min"),
    "F10.remaining_min": _plan("scrubber_min"),
    "F10.planned_min": _plan("planned_min"),
    "R03.remaining_min": _plan("scrubber_min"),
    "R03.planned_min": _plan("planned_min"),
    "F02.oxygen_bar": _breathed_pressure,
    "F03.diluent_bar": _diluent_pressure,
    "F04.bailout_bar": _pressure(),
    "T01.oxygen_bar": _breathed_pressure,
    "F15.oxygen_bar": _breathed_pressure,
    "F15.diluent_bar": _diluent_pressure,
    "F15.bailout_bar": lambda day, subject: _bailout_pressure(day, subject) or _diluent_pressure(day, subject),
    "F20.gas_bar": _breathed_pressure,
    "F20.bailout_bar": _bailout_pressure,
    "P01.oxygen_bar": _breathed_pressure,
    "P01.bailout_bar": _bailout_pressure,
    "P02.used_min": _plan("planned_min"),
    "P06.used_l_per_min": _oxygen_used,
    "P06.planned_l_per_min": _plan("oxygen_l_per_min", 1),
}
"""Step and field to how its entry follows from the day."""
