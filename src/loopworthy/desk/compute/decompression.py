"""Calculations of decompression, as JSON: a schedule, bailout from every minute, and the time without a stop.

Every answer names its model, variant and settings, says how well its coefficients are known, and asks for a check
against a second, independent source. A stop without a solution is an answer in words.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.deco.ascent import NoSolution
from loopworthy.science.deco.bailout import (
    ONSET_MIN,
    ONSET_RMV_L_PER_MIN,
    Bailout,
    BailoutMinute,
    BailoutRates,
    bailout_envelope,
    switch_to_bailout,
)
from loopworthy.science.deco.breathing import Breathing, CylinderGas, Loop, OpenCircuit, SetPoint, cylinder_gases
from loopworthy.science.deco.coefficients import FirstCompartment, Variant
from loopworthy.science.deco.counterdiffusion import RULE, GasSwitch, gas_switches
from loopworthy.science.deco.schedule import (
    Level,
    Moment,
    Schedule,
    broken_ceilings,
    moments,
    no_stop_time_min,
    plan_schedule,
)
from loopworthy.science.deco.settings import (
    CAUTION,
    LUNG_WATER_VAPOUR_BAR,
    MODEL_NAME,
    DecoSettings,
    StopForm,
    StopTest,
)
from loopworthy.science.deco.tissues import SEA_LEVEL_BAR, Tissues, after_arrival, after_surface_interval, saturated
from loopworthy.science.physics.depth import Water, pressure_per_metre_bar
from loopworthy.science.physics.gas import GasMixture
from loopworthy.vocabulary.errors import InputError

OxygenFraction = Annotated[float, Meta(description="Oxygen in the dry gas, 0 to 1.")]
HeliumFraction = Annotated[float, Meta(description="Helium in the dry gas, 0 to 1.")]
Sixteen = Annotated[tuple[float, ...], Meta(description="Sixteen pressures, fastest compartment first. [bar]")]


MOST_MOMENTS = 5000
"""So that a step of seconds through days of stops is refused and not computed."""


class LevelRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A depth of the dive, and when it is left."""

    depth_m: Annotated[float, Meta(description="0 to 500. [m]")]
    leave_at_min: Annotated[float, Meta(description="Run time, counted from leaving the surface. [min]")]
    set_point_bar: Annotated[
        float | None, Meta(description="On a loop: the set point at this level and on the way to it. [bar]")
    ] = None


class SetPointRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A set point from a depth downwards."""

    from_m: Annotated[float, Meta(description="From this depth down to the next set point's; the first from 0. [m]")]
    set_point_bar: Annotated[float, Meta(description="Above 0 to 5. [bar]")]


class LoopRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A closed circuit: its diluent, and one set point or several by depth."""

    set_point_bar: Annotated[float | None, Meta(description="Held at all depths, above 0 to 5. [bar]")] = None
    set_points: Annotated[
        tuple[SetPointRequest, ...] | None, Meta(description="Several by depth, in place of set_point_bar.")
    ] = None
    oxygen_fraction: OxygenFraction
    helium_fraction: HeliumFraction = 0.0


class GasRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A gas breathed from its cylinder."""

    oxygen_fraction: OxygenFraction
    helium_fraction: HeliumFraction = 0.0
    usable_to_m: Annotated[
        float | None,
        Meta(
            description="Deepest depth for it. Default: the deepest stop depth at 1.42 bar of oxygen for the gas with "
            "the least oxygen, at 1.62 for the others. [m]"
        ),
    ] = None


class StartRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tissues on leaving the surface: after an earlier dive, or soon after coming up to a lake."""

    nitrogen_bar: Annotated[
        tuple[float, ...] | None, Meta(description="Sixteen, as an earlier answer's surfacing. [bar]")
    ] = None
    helium_bar: Annotated[tuple[float, ...] | None, Meta(description="Sixteen, likewise. [bar]")] = None
    surface_interval_min: Annotated[float, Meta(description="On air since then, 0 to 100000. [min]")] = 0.0
    hours_since_arrival: Annotated[
        float | None, Meta(description="Since coming from another height, saturated there, 0 to 1000. [h]")
    ] = None
    arrived_from_bar: Annotated[float, Meta(description="Pressure there, 0.45 to 1.1. [bar]")] = SEA_LEVEL_BAR


class PlaceRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What every question about decompression shares."""

    surface_bar: Annotated[float, Meta(description="Absolute pressure at the surface, 0.45 to 1.1. [bar]")] = 1.01325
    bar_per_m: Annotated[
        float | None, Meta(description="Rise of pressure in a metre, 0.09 to 0.11. Default: from water. [bar/m]")
    ] = None
    water: Annotated[Water, Meta(description="fresh, sea or en13319 (0.1 bar a metre), without bar_per_m.")] = (
        Water.EN_13319
    )
    water_vapour_bar: Annotated[float, Meta(description="In the lungs, 0 to 0.2. [bar]")] = LUNG_WATER_VAPOUR_BAR
    gf_low: Annotated[float, Meta(description="Gradient factor at the first stop, above 0 to 1: 0.30, not 30.")]
    gf_high: Annotated[float, Meta(description="Gradient factor at the surface, above 0 to 1.")]
    ascent_m_per_min: Annotated[float, Meta(description="0.5 or more. [m/min]")] = 9.0
    descent_m_per_min: Annotated[float, Meta(description="0.5 or more. [m/min]")] = 20.0
    stop_step_m: Annotated[float, Meta(description="Stops lie at its multiples, 0.5 to 10. [m]")] = 3.0
    last_stop_m: Annotated[float, Meta(description="No stop is shallower; a multiple of the step. [m]")] = 3.0
    test: Annotated[
        StopTest, Meta(description="departure: tissues before leaving a level; arrival: as they will be at the next.")
    ] = StopTest.DEPARTURE
    stops: Annotated[StopForm, Meta(description="continuous, or whole minutes.")] = StopForm.WHOLE_MINUTES
    variant: Annotated[Variant, Meta(description="Coefficients: A, B or C.")] = Variant.C
    first_compartment: Annotated[FirstCompartment, Meta(description="4 min or 5 min.")] = FirstCompartment.FIVE_MINUTES
    loop: Annotated[LoopRequest | None, Meta(description="Closed circuit; either this or open_circuit.")] = None
    open_circuit: Annotated[
        tuple[GasRequest, ...] | None,
        Meta(description="Gases; at each depth the one with the most oxygen usable there."),
    ] = None
    start: Annotated[
        StartRequest | None, Meta(description="Tissues at the start. Default: saturated with air at surface_bar.")
    ] = None


class ScheduleRequest(PlaceRequest, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A dive by its levels."""

    levels: Annotated[tuple[LevelRequest, ...], Meta(description="In the order in which they are visited.")]
    moments_every_min: Annotated[
        float | None,
        Meta(description="Also tell depth, ceiling and leading compartment at this step, 0.1 to 60. [min]"),
    ] = None


class BailoutRequest(ScheduleRequest, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A dive, and what there is to leave it on."""

    gases: Annotated[tuple[GasRequest, ...], Meta(description="Bailout gases, each counted by itself.")]
    onset_min: Annotated[float, Meta(description="At depth before the ascent, 0 to 60. [min]")] = ONSET_MIN
    onset_rmv_l_per_min: Annotated[
        float, Meta(description="Breathed in the onset, at ambient pressure, above 0 to 200. [L/min]")
    ] = ONSET_RMV_L_PER_MIN
    rmv_l_per_min: Annotated[float, Meta(description="Breathed on the ascent, above 0 to 200. [L/min]")]
    from_min: Annotated[int, Meta(description="First run time. [min]")] = 1
    to_min: Annotated[
        int | None, Meta(description="Last run time, on the way up too. Default: when the last level is left. [min]")
    ] = None
    schedules: Annotated[bool, Meta(description="Also tell the stops of every minute.")] = False


class NoStopRequest(PlaceRequest, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One depth."""

    depth_m: Annotated[float, Meta(description="0 to 500. [m]")]


class ModelAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What was computed, with what, and what that is worth."""

    name: str
    coefficients: str
    settings: DecoSettings
    caution: str


class StopAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """A stop; minutes are those at depth, without the travel."""

    depth_m: float
    minutes: float


class StopDetail(msgspec.Struct, frozen=True, kw_only=True):
    """A stop with its run time, the gas breathed (its place from 0), and the compartment that ruled (1 to 16)."""

    depth_m: float
    minutes: float
    arrive_at_min: float
    gas: int
    controlling_compartment: int


class TissuesAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Dissolved gas of the sixteen compartments, fastest first."""

    nitrogen_bar: Sixteen
    helium_bar: Sixteen


class SwitchesAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What each switch does to both inert gases, and the rule it is held against."""

    rule: str
    switches: tuple[GasSwitch, ...]


class MomentAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """One moment: the ceiling with the high gradient factor, and the compartment with the least margin at the depth."""

    run_time_min: float
    depth_m: float
    ceiling_m: float
    leading_compartment: int
    margin_bar: float


class ScheduleAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A schedule, or where it has no solution; a key without a value is left out."""

    no_solution: NoSolution | None = None
    first_stop_m: float | None = None
    stops: tuple[StopAnswer, ...] | None = None
    time_to_surface_min: float | None = None
    surfacing: TissuesAnswer | None = None
    leaving_bottom: TissuesAnswer
    stop_details: tuple[StopDetail, ...] | None = None
    gas_switches: SwitchesAnswer | None = None
    levels_above_ceiling: tuple[MomentAnswer, ...] | None = None
    moments: tuple[MomentAnswer, ...] | None = None
    model: ModelAnswer


class BailoutMinuteAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Leaving at one minute: onset and ascent together, gas in the order of the gases; or why there is no way up."""

    run_time_min: float
    time_to_surface_min: float | None = None
    gas_bar_l: tuple[float, ...] | None = None
    first_stop_m: float | None = None
    no_solution: NoSolution | None = None
    depth_m: float
    stops: tuple[StopAnswer, ...] | None = None


class BailoutAnswer(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Leaving at every minute. The worst needs most gas in all; one without a solution is worse than any other."""

    minutes: tuple[BailoutMinuteAnswer, ...]
    worst_run_time_min: float
    worst_run_time_by_gas_min: tuple[float, ...]
    longest_run_time_min: float
    leaving_the_loop: SwitchesAnswer
    gases: tuple[CylinderGas, ...]
    model: ModelAnswer


class NoStopAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The longest run time at the depth without a stop; null where there is no limit within a day."""

    no_stop_time_min: float | None
    depth_m: float
    model: ModelAnswer


def _settings(request: PlaceRequest) -> DecoSettings:
    return DecoSettings(
        gf_low=request.gf_low,
        gf_high=request.gf_high,
        surface_bar=request.surface_bar,
        bar_per_m=pressure_per_metre_bar(request.water) if request.bar_per_m is None else request.bar_per_m,
        water_vapour_bar=request.water_vapour_bar,
        ascent_m_per_min=request.ascent_m_per_min,
        descent_m_per_min=request.descent_m_per_min,
        stop_step_m=request.stop_step_m,
        last_stop_m=request.last_stop_m,
        test=request.test,
        stops=request.stops,
        variant=request.variant,
        first_compartment=request.first_compartment,
    )


def _model(settings: DecoSettings) -> ModelAnswer:
    return ModelAnswer(
        name=MODEL_NAME, coefficients=settings.coefficients.provenance, settings=settings, caution=CAUTION
    )


def _breathing(request: PlaceRequest, settings: DecoSettings) -> Breathing:
    if (request.loop is None) == (request.open_circuit is None):
        given = "neither" if request.loop is None else "both"
        raise InputError("loop", given, "given, or open_circuit in its place", next_step="Give one of the two")
    if request.loop is not None:
        with inside("loop"):
            return _loop(request.loop)
    return OpenCircuit(gases=_gases("open_circuit", request.open_circuit or (), settings))


def _loop(request: LoopRequest) -> Loop:
    diluent = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
    if (request.set_point_bar is None) == (request.set_points is None):
        raise InputError("set_point_bar", request.set_point_bar, "given, or set_points in its place, one of the two")
    if request.set_points is None:
        return Loop.at(request.set_point_bar or 0.0, diluent)
    found = []
    for index, one in enumerate(request.set_points):
        with inside(f"set_points[{index}]"):
            found.append(SetPoint(set_point_bar=one.set_point_bar, from_m=one.from_m))
    return Loop(diluent=diluent, set_points=tuple(found))


def _gases(name: str, requests: Sequence[GasRequest], settings: DecoSettings) -> tuple[CylinderGas, ...]:
    if not 1 <= len(requests) <= 20:
        raise InputError(name, f"{len(requests)} gases", "a list of 1 to 20 gases")
    mixtures = []
    for index, one in enumerate(requests):
        with inside(f"{name}[{index}]"):
            mixture = GasMixture(oxygen_fraction=one.oxygen_fraction, helium_fraction=one.helium_fraction)
            if one.usable_to_m is not None:
                CylinderGas(mixture=mixture, usable_to_m=one.usable_to_m)
            mixtures.append((mixture, one.usable_to_m))
    return cylinder_gases(mixtures, settings)


def _start(request: StartRequest | None, settings: DecoSettings) -> Tissues | None:
    if request is None:
        return None
    with inside("start"):
        if request.hours_since_arrival is not None:
            if request.nitrogen_bar is not None or request.helium_bar is not None:
                raise InputError(
                    "hours_since_arrival",
                    request.hours_since_arrival,
                    "left out where nitrogen_bar and helium_bar are given",
                    next_step="After an earlier dive give its surfacing and surface_interval_min",
                )
            tissues = after_arrival(request.hours_since_arrival, settings, from_surface_bar=request.arrived_from_bar)
        elif request.nitrogen_bar is None and request.helium_bar is None:
            tissues = saturated(settings)
        elif request.nitrogen_bar is None or request.helium_bar is None:
            missing = "nitrogen_bar" if request.nitrogen_bar is None else "helium_bar"
            raise InputError(missing, None, "given together with the other gas")
        else:
            tissues = Tissues(nitrogen_bar=request.nitrogen_bar, helium_bar=request.helium_bar)
        return after_surface_interval(tissues, request.surface_interval_min, settings)


def _dive(request: ScheduleRequest) -> Schedule:
    settings = _settings(request)
    breathing = _breathing(request, settings)
    if not 1 <= len(request.levels) <= 200:
        raise InputError("levels", f"{len(request.levels)} levels", "a list of 1 to 200 levels")
    levels = []
    for index, one in enumerate(request.levels):
        with inside(f"levels[{index}]"):
            levels.append(Level(depth_m=one.depth_m, leave_at_min=one.leave_at_min, set_point_bar=one.set_point_bar))
            if isinstance(breathing, OpenCircuit):
                breathing.gas_at(one.depth_m)
    return plan_schedule(settings, levels, breathing, start=_start(request.start, settings))


def _schedule(request: ScheduleRequest) -> ScheduleAnswer:
    dive = _dive(request)
    every = request.moments_every_min
    if every is not None and not 0.1 <= every <= 60.0:
        raise InputError("moments_every_min", every, "between 0.1 and 60 min")
    end_min = dive.passages()[-1].end_min
    if every is not None and end_min > MOST_MOMENTS * every:
        raise InputError(
            "moments_every_min", every, f"at least {end_min / MOST_MOMENTS:.3g} min for a dive of {end_min:.0f} min"
        )
    switches = gas_switches(dive)
    extras: dict[str, Any] = {
        "leaving_bottom": _tissues(dive.leaving_bottom),
        "gas_switches": SwitchesAnswer(rule=RULE, switches=switches) if switches else None,
        "levels_above_ceiling": tuple(_moment(one) for one in broken_ceilings(dive)) or None,
        "moments": None if every is None else tuple(_moment(one) for one in moments(dive, every)),
        "model": _model(dive.settings),
    }
    if dive.no_solution is not None:
        return ScheduleAnswer(no_solution=dive.no_solution, **extras)
    return ScheduleAnswer(
        first_stop_m=dive.first_stop_m,
        stops=tuple(StopAnswer(depth_m=depth_m, minutes=minutes) for depth_m, minutes in dive.ascent.stops()),
        time_to_surface_min=dive.time_to_surface_min,
        surfacing=_tissues(dive.surfacing),
        stop_details=tuple(
            StopDetail(
                depth_m=step.leg.depth_m,
                minutes=step.stop_min,
                arrive_at_min=dive.leaving_min + step.arrived_min,
                gas=step.leg.gas,
                controlling_compartment=step.ruled_by + 1,
            )
            for step in dive.ascent.steps
            if step.stop_min > 0.0
        ),
        **extras,
    )


def _bailout(request: BailoutRequest) -> BailoutAnswer:
    dive = _dive(request)
    rates = BailoutRates(
        rmv_l_per_min=request.rmv_l_per_min,
        onset_min=request.onset_min,
        onset_rmv_l_per_min=request.onset_rmv_l_per_min,
    )
    to_min = int(dive.leaving_min + 1e-9) if request.to_min is None else request.to_min
    bailout = Bailout(dive.settings, OpenCircuit(gases=_gases("gases", request.gases, dive.settings)), rates)
    envelope = bailout_envelope(dive, bailout, request.from_min, to_min)
    return BailoutAnswer(
        minutes=tuple(_minute(one, request.schedules) for one in envelope.minutes),
        worst_run_time_min=envelope.worst.run_time_min,
        worst_run_time_by_gas_min=tuple(one.run_time_min for one in envelope.worst_by_gas),
        longest_run_time_min=envelope.worst_by_time.run_time_min,
        leaving_the_loop=SwitchesAnswer(rule=RULE, switches=(switch_to_bailout(dive, bailout, envelope.worst),)),
        gases=bailout.gases.gases,
        model=_model(dive.settings),
    )


def _no_stop(request: NoStopRequest) -> NoStopAnswer:
    settings = _settings(request)
    breathing = _breathing(request, settings)
    minutes = no_stop_time_min(settings, request.depth_m, breathing, start=_start(request.start, settings))
    return NoStopAnswer(no_stop_time_min=minutes, depth_m=request.depth_m, model=_model(settings))


def _minute(minute: BailoutMinute, with_stops: bool) -> BailoutMinuteAnswer:
    if minute.ascent.no_solution is not None:
        return BailoutMinuteAnswer(
            run_time_min=minute.run_time_min, no_solution=minute.ascent.no_solution, depth_m=minute.depth_m
        )
    stops = tuple(StopAnswer(depth_m=depth_m, minutes=minutes) for depth_m, minutes in minute.ascent.stops())
    return BailoutMinuteAnswer(
        run_time_min=minute.run_time_min,
        time_to_surface_min=minute.time_to_surface_min,
        gas_bar_l=minute.gas_bar_l,
        first_stop_m=minute.ascent.anchor_m,
        depth_m=minute.depth_m,
        stops=stops if with_stops else None,
    )


def _tissues(tissues: Tissues) -> TissuesAnswer:
    return TissuesAnswer(nitrogen_bar=tissues.nitrogen_bar, helium_bar=tissues.helium_bar)


def _moment(moment: Moment) -> MomentAnswer:
    return MomentAnswer(
        run_time_min=moment.run_time_min,
        depth_m=moment.depth_m,
        ceiling_m=moment.ceiling_m,
        leading_compartment=moment.leading.compartment,
        margin_bar=moment.leading.margin_bar,
    )


_DIVE = {
    "surface_bar": 1.01325,
    "bar_per_m": 0.1,
    "water_vapour_bar": 0.0627,
    "gf_low": 0.30,
    "gf_high": 0.80,
    "ascent_m_per_min": 9,
    "descent_m_per_min": 20,
    "stop_step_m": 3,
    "last_stop_m": 3,
    "test": "departure",
    "stops": "whole minutes",
    "levels": [{"depth_m": 60, "leave_at_min": 30}],
    "loop": {"set_point_bar": 1.3, "oxygen_fraction": 0.18, "helium_fraction": 0.45},
}

CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="schedule",
        summary="Decompression schedule of a dive on a loop or open circuit, by ZH-L16 with gradient factors",
        request_type=ScheduleRequest,
        answer_type=ScheduleAnswer,
        example=_DIVE,
        run=_schedule,
    ),
    Calculation(
        name="bailout",
        summary="Open-circuit bailout from every minute of a dive: time to the surface and gas of each cylinder",
        request_type=BailoutRequest,
        answer_type=BailoutAnswer,
        example=_DIVE
        | {
            "gases": [
                {"oxygen_fraction": 0.18, "helium_fraction": 0.45, "usable_to_m": 66},
                {"oxygen_fraction": 0.5, "helium_fraction": 0.0, "usable_to_m": 21},
                {"oxygen_fraction": 1.0, "helium_fraction": 0.0, "usable_to_m": 6},
            ],
            "onset_min": 3,
            "onset_rmv_l_per_min": 50,
            "rmv_l_per_min": 20,
            "from_min": 1,
            "to_min": 30,
        },
        run=_bailout,
    ),
    Calculation(
        name="no-stop-time",
        summary="Longest run time at a depth from which the ascent needs no stop",
        request_type=NoStopRequest,
        answer_type=NoStopAnswer,
        example={"gf_low": 0.95, "gf_high": 0.95, "depth_m": 30, "open_circuit": [{"oxygen_fraction": 0.21}]},
        run=_no_stop,
    ),
)
