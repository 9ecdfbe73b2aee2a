"""Calculations about the gas of a plan and the oxygen of a loop, as JSON. Pressures absolute, amounts in bar litres."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import UNSET, Meta, UnsetType

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.gas.budgets import (
    FLUSH_LOOP_VOLUMES,
    PROBLEM_MIN,
    PROBLEM_RMV_L_PER_MIN,
    RESERVE_FACTOR,
    DiluentBudget,
    WayBack,
    diluent_budget,
    oxygen_endurance_min,
)
from loopworthy.science.gas.content import pressure_of_content_bar
from loopworthy.science.gas.diluent import (
    BELOW_SET_POINT_BAR,
    DENSITY_MOST_G_PER_L,
    DENSITY_WISHED_G_PER_L,
    NARCOTIC_DEPTH_M,
    best_diluent,
)
from loopworthy.science.gas.loop_oxygen import (
    HYPOXIC_OXYGEN_BAR,
    fixed_flow_fraction,
    oxygen_on_ascent,
    time_to_oxygen_min,
)
from loopworthy.science.gas.real_gas import Method
from loopworthy.science.gas.weight import WeightThroughDive, weight_through_dive
from loopworthy.science.physics.depth import Water, pressure_at_depth_bar, pressure_per_metre_bar
from loopworthy.science.physics.gas import DENSITY_REFERENCE_TEMPERATURE_C, GasMixture
from loopworthy.science.physics.loop_gas import LOOP_WATER_VAPOUR_BAR

DepthM = Annotated[float, Meta(description="Depth below the surface, 0 to 500. [m]")]
SurfaceBar = Annotated[float, Meta(description="Absolute pressure at the surface, 0.45 to 1.1. [bar]")]
WaterKind = Annotated[Water, Meta(description="fresh (1000 kg/m³), sea (1025) or en13319 (0.1 bar a metre).")]
Density = Annotated[float | None, Meta(description="Measured density, 950 to 1100, instead of the convention. [kg/m³]")]
AvailableBarL = Annotated[float, Meta(description="Content above the reserve, 0 to 50000. [bar L]")]
Oxygen = Annotated[float, Meta(description="Oxygen in the dry gas, 0 to 1.")]
Helium = Annotated[float, Meta(description="Helium in the dry gas, 0 to 1. Default 0.")]
Metabolic = Annotated[float, Meta(description="Oxygen that the diver uses, above 0 to 6. [L/min]")]
LoopVolume = Annotated[float, Meta(description="Loop and lungs, 1 to 30. [L]")]


class BestDiluentRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The greatest depth, the set point there, and the rules."""

    depth_m: DepthM
    set_point_bar: Annotated[float, Meta(description="Set point there, to 5. [bar]")]
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None
    below_set_point_bar: Annotated[
        float, Meta(description="How far the diluent's oxygen lies below it. Default 0.2: common practice. [bar]")
    ] = BELOW_SET_POINT_BAR
    narcotic_depth_limit_m: Annotated[float, Meta(description="Default 30: common practice. [m]")] = NARCOTIC_DEPTH_M
    oxygen_is_narcotic: Annotated[bool, Meta(description="Which definition is compared. Default true.")] = True
    density_wished_g_per_l: Annotated[
        float, Meta(description="In the loop. Default 5.2: Anthony and Mitchell (2016). [g/L]")
    ] = DENSITY_WISHED_G_PER_L
    density_most_g_per_l: Annotated[
        float, Meta(description="In the loop. Default 6.2: Anthony and Mitchell (2016). [g/L]")
    ] = DENSITY_MOST_G_PER_L
    water_vapour_bar: Annotated[float, Meta(description="In the loop, 0 to 0.2. [bar]")] = LOOP_WATER_VAPOUR_BAR
    reference_temperature_c: Annotated[
        float, Meta(description="Temperature at which densities are stated. Default 0. [°C]")
    ] = DENSITY_REFERENCE_TEMPERATURE_C


class BestDiluentAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The diluent in whole per cent, what it does in the loop there, and which rules it keeps."""

    oxygen_fraction: float
    helium_fraction: float
    diluent_oxygen_bar: float
    loop_density_g_per_l: float
    reference_temperature_c: float
    nitrogen_equivalent_depth_m: float
    narcotic_equivalent_depth_m: float
    least_depth_m: float
    keeps_narcotic_depth: bool
    keeps_wished_density: bool
    keeps_highest_density: bool


class OxygenEnduranceRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An oxygen supply and what uses it."""

    available_bar_l: AvailableBarL
    metabolic_l_per_min: Metabolic
    losses_fraction: Annotated[
        float, Meta(description="Ascents, flushes and leaks as a share of the use. Default 0.2: common practice.")
    ] = 0.2


class OxygenEnduranceAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """How long it lasts, at any depth."""

    endurance_min: float


class DiluentBudgetRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A diluent supply and what a dive takes of it."""

    available_bar_l: AvailableBarL
    loop_volume_l: LoopVolume
    depth_m: DepthM
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None
    flushes: Annotated[int, Meta(description="At the greatest depth, 0 to 50. Default 2.")] = 2
    flush_loop_volumes: Annotated[
        float, Meta(description="Volumes of the loop for one. Default 2.5: common practice.")
    ] = FLUSH_LOOP_VOLUMES
    buoyancy_l: Annotated[float, Meta(description="Into a compensator at depth, 0 to 100. Default 5. [L]")] = 5.0
    redescents_m: Annotated[float, Meta(description="Metres gone down again in all. Default 0. [m]")] = 0.0


class WayBackRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A way out at a depth, breathed from bailout, and the cylinders that there are."""

    distance_m: Annotated[float, Meta(description="From the furthest point to the exit, 0 to 20000. [m]")]
    depth_m: DepthM
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None
    speed_m_per_min: Annotated[float, Meta(description="Pace of the way out, above 0 to 200. [m/min]")]
    rmv_l_per_min: Annotated[float, Meta(description="Breathing rate on it, above 0 to 120. [L/min]")]
    problem_min: Annotated[float, Meta(description="Minutes before setting off. Default 3. [min]")] = PROBLEM_MIN
    problem_rmv_l_per_min: Annotated[float, Meta(description="Breathing rate in them. Default 50. [L/min]")] = (
        PROBLEM_RMV_L_PER_MIN
    )
    reserve_factor: Annotated[
        float, Meta(description="Carried for each litre needed. Default 1.5: common practice.")
    ] = RESERVE_FACTOR
    available_bar_l: Annotated[float, Meta(description="Usable bailout that there is, 0 to 50000. [bar L]")]
    cylinder_volume_l: Annotated[
        float | None, Meta(description="All cylinders together, to tell the need as a pressure. [L]")
    ] = None
    oxygen_fraction: Oxygen = 0.2095
    helium_fraction: Helium = 0.0
    temperature_c: Annotated[float, Meta(description="Of the gas, -10 to 60. Default 20. [°C]")] = 20.0


class WayBackAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Gas needed, how far in the gas that there is reaches, and the need as a pressure by both laws."""

    need_bar_l: float
    margin_bar_l: float
    furthest_distance_m: float
    need_pressure_bar: float | UnsetType = UNSET
    ideal_need_pressure_bar: float | UnsetType = UNSET


class BailoutUsedRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A bailout gas and how much of it was breathed."""

    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0
    used_bar_l: Annotated[float, Meta(description="0 to 50000. [bar L]")]


class DiveWeightRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was used and what was bound."""

    oxygen_bar_l: Annotated[float, Meta(description="Oxygen used, 0 to 50000. [bar L]")]
    diluent_oxygen_fraction: Oxygen
    diluent_helium_fraction: Helium = 0.0
    diluent_bar_l: Annotated[float, Meta(description="Diluent used, 0 to 50000. [bar L]")]
    carbon_dioxide_bar_l: Annotated[float, Meta(description="Bound in the absorbent, 0 to 50000. [bar L]")]
    bailout: Annotated[tuple[BailoutUsedRequest, ...], Meta(description="Bailout breathed.")] = ()
    temperature_c: Annotated[float, Meta(description="Of the gas, -20 to 60. Default 20. [°C]")] = 20.0


class FixedFlowRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A constant flow into a loop."""

    flow_l_per_min: Annotated[float, Meta(description="At 1 bar, above the use to 500. [L/min]")]
    supply_oxygen_fraction: Annotated[float, Meta(description="Oxygen in it, above 0 to 1.")]
    metabolic_l_per_min: Metabolic


class FixedFlowAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Steady fraction in the loop, and the pressure above which it can be breathed (none if it holds no oxygen)."""

    oxygen_fraction: float
    hypoxic_below_bar: float | UnsetType = UNSET


class OxygenShutRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A loop whose oxygen is shut, at a depth that is held."""

    start_oxygen_bar: Annotated[float, Meta(description="In the loop, 0 to ambient. [bar]")]
    floor_oxygen_bar: Annotated[
        float, Meta(description="Asked about. Default 0.16, hypoxia: common practice. [bar]")
    ] = HYPOXIC_OXYGEN_BAR
    loop_volume_l: LoopVolume
    ambient_pressure_bar: Annotated[float, Meta(description="0.4 to 60. [bar]")]
    metabolic_l_per_min: Metabolic
    refill_oxygen_fraction: Annotated[
        float | None, Meta(description="Diluent that keeps the volume; without it the bags shrink.")
    ] = None


class OxygenShutAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Time to the floor; absent where it is never reached."""

    time_min: float | UnsetType = UNSET
    never: bool


class AscentWithoutAdditionRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A loop that is taken up without adding anything."""

    start_depth_m: DepthM
    start_oxygen_bar: Annotated[float, Meta(description="In the loop there. [bar]")]
    depths_m: Annotated[tuple[float, ...], Meta(description="On the way, none deeper than the start. [m]")]
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None
    loop_volume_l: LoopVolume = 6.0
    metabolic_l_per_min: Annotated[
        float, Meta(description="Oxygen used, 0 to 6. Default 0: what expansion alone does. [L/min]")
    ] = 0.0
    ascent_m_per_min: Annotated[float, Meta(description="Default 9. [m/min]")] = 9.0


class AscentDepthAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Oxygen in the loop at one depth."""

    depth_m: float
    oxygen_bar: float


class AscentWithoutAdditionAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Oxygen at each depth asked for, and the first of them with less than 0.16 bar."""

    depths: tuple[AscentDepthAnswer, ...]
    hypoxic_at_m: float | UnsetType = UNSET


def _place(request: Any) -> tuple[float, Water, float | None]:
    return (request.surface_pressure_bar, request.water, request.density_kg_per_m3)


def _best_diluent(request: BestDiluentRequest) -> BestDiluentAnswer:
    choice = best_diluent(
        pressure_at_depth_bar(request.depth_m, *_place(request)),
        request.set_point_bar,
        request.surface_pressure_bar,
        below_set_point_bar=request.below_set_point_bar,
        narcotic_depth_limit_m=request.narcotic_depth_limit_m,
        oxygen_is_narcotic=request.oxygen_is_narcotic,
        density_wished_g_per_l=request.density_wished_g_per_l,
        density_most_g_per_l=request.density_most_g_per_l,
        water_vapour_bar=request.water_vapour_bar,
        reference_temperature_c=request.reference_temperature_c,
        water=request.water,
        density_kg_per_m3=request.density_kg_per_m3,
    )
    return BestDiluentAnswer(
        oxygen_fraction=choice.gas.oxygen_fraction,
        helium_fraction=choice.gas.helium_fraction,
        diluent_oxygen_bar=choice.diluent_oxygen_bar,
        loop_density_g_per_l=choice.loop.density_g_per_l,
        reference_temperature_c=choice.loop.reference_temperature_c,
        nitrogen_equivalent_depth_m=choice.nitrogen_equivalent_depth_m,
        narcotic_equivalent_depth_m=choice.narcotic_equivalent_depth_m,
        least_depth_m=choice.least_depth_m,
        keeps_narcotic_depth=choice.keeps_narcotic_depth,
        keeps_wished_density=choice.keeps_wished_density,
        keeps_highest_density=choice.keeps_highest_density,
    )


def _oxygen_endurance(request: OxygenEnduranceRequest) -> OxygenEnduranceAnswer:
    return OxygenEnduranceAnswer(
        endurance_min=oxygen_endurance_min(
            request.available_bar_l, request.metabolic_l_per_min, request.losses_fraction
        )
    )


def _diluent_budget(request: DiluentBudgetRequest) -> DiluentBudget:
    return diluent_budget(
        request.available_bar_l,
        request.loop_volume_l,
        pressure_at_depth_bar(request.depth_m, *_place(request)),
        request.surface_pressure_bar,
        flushes=request.flushes,
        flush_loop_volumes=request.flush_loop_volumes,
        buoyancy_l=request.buoyancy_l,
        redescents_bar=request.redescents_m * pressure_per_metre_bar(request.water, request.density_kg_per_m3),
    )


def _way_back(request: WayBackRequest) -> WayBackAnswer:
    way = WayBack(
        ambient_pressure_bar=pressure_at_depth_bar(request.depth_m, *_place(request)),
        speed_m_per_min=request.speed_m_per_min,
        rmv_l_per_min=request.rmv_l_per_min,
        problem_min=request.problem_min,
        problem_rmv_l_per_min=request.problem_rmv_l_per_min,
        reserve_factor=request.reserve_factor,
    )
    need = way.need_bar_l(request.distance_m)
    furthest = way.furthest_distance_m(request.available_bar_l)
    real: float | UnsetType = UNSET
    ideal: float | UnsetType = UNSET
    if request.cylinder_volume_l is not None:
        gas = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
        cylinder = (gas, request.cylinder_volume_l, need, request.temperature_c)
        real = pressure_of_content_bar(*cylinder)
        ideal = pressure_of_content_bar(*cylinder, Method.IDEAL)
    return WayBackAnswer(
        need_bar_l=need,
        margin_bar_l=request.available_bar_l - need,
        furthest_distance_m=furthest,
        need_pressure_bar=real,
        ideal_need_pressure_bar=ideal,
    )


def _dive_weight(request: DiveWeightRequest) -> WeightThroughDive:
    with inside("diluent", joint="_"):
        diluent = GasMixture(
            oxygen_fraction=request.diluent_oxygen_fraction, helium_fraction=request.diluent_helium_fraction
        )
    bailout = []
    for index, used in enumerate(request.bailout):
        with inside(f"bailout[{index}]"):
            gas = GasMixture(oxygen_fraction=used.oxygen_fraction, helium_fraction=used.helium_fraction)
        bailout.append((gas, used.used_bar_l))
    return weight_through_dive(
        request.oxygen_bar_l,
        diluent,
        request.diluent_bar_l,
        request.carbon_dioxide_bar_l,
        bailout,
        request.temperature_c,
    )


def _fixed_flow(request: FixedFlowRequest) -> FixedFlowAnswer:
    fraction = fixed_flow_fraction(request.flow_l_per_min, request.supply_oxygen_fraction, request.metabolic_l_per_min)
    breathable = HYPOXIC_OXYGEN_BAR / fraction if fraction > 1e-6 else UNSET
    return FixedFlowAnswer(oxygen_fraction=fraction, hypoxic_below_bar=breathable)


def _oxygen_shut(request: OxygenShutRequest) -> OxygenShutAnswer:
    time_min = time_to_oxygen_min(
        request.start_oxygen_bar,
        request.floor_oxygen_bar,
        request.loop_volume_l,
        request.ambient_pressure_bar,
        request.metabolic_l_per_min,
        refill_oxygen_fraction=request.refill_oxygen_fraction,
    )
    return OxygenShutAnswer(time_min=UNSET if time_min is None else time_min, never=time_min is None)


def _ascent_without_addition(request: AscentWithoutAdditionRequest) -> AscentWithoutAdditionAnswer:
    place = _place(request)
    pressures = []
    for index, depth_m in enumerate(request.depths_m):
        with inside(f"depths_m[{index}]"):
            pressures.append(pressure_at_depth_bar(depth_m, *place))
    with inside("start", joint="_"):
        start_bar = pressure_at_depth_bar(request.start_depth_m, *place)
    along = oxygen_on_ascent(
        request.start_oxygen_bar,
        start_bar,
        pressures,
        loop_volume_l=request.loop_volume_l,
        metabolic_l_per_min=request.metabolic_l_per_min,
        ascent_bar_per_min=request.ascent_m_per_min * pressure_per_metre_bar(request.water, request.density_kg_per_m3),
    )
    depths = tuple(
        AscentDepthAnswer(depth_m=depth_m, oxygen_bar=each.oxygen_bar)
        for depth_m, each in zip(request.depths_m, along, strict=True)
    )
    hypoxic = [each.depth_m for each in depths if each.oxygen_bar < HYPOXIC_OXYGEN_BAR]
    return AscentWithoutAdditionAnswer(depths=depths, hypoxic_at_m=max(hypoxic) if hypoxic else UNSET)


_SEA = {"surface_pressure_bar": 1.013, "water": "sea"}

CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="best-diluent",
        summary="The diluent for a depth and set point: oxygen, narcosis and density in the loop",
        request_type=BestDiluentRequest,
        answer_type=BestDiluentAnswer,
        example={"depth_m": 60, "set_point_bar": 1.3} | _SEA,
        run=_best_diluent,
    ),
    Calculation(
        name="oxygen-endurance",
        summary="How long an oxygen supply lasts",
        request_type=OxygenEnduranceRequest,
        answer_type=OxygenEnduranceAnswer,
        example={"available_bar_l": 280, "metabolic_l_per_min": 1.2, "losses_fraction": 0.2},
        run=_oxygen_endurance,
    ),
    Calculation(
        name="diluent-budget",
        summary="Diluent for descent, flushes and buoyancy, and what is left",
        request_type=DiluentBudgetRequest,
        answer_type=DiluentBudget,
        example={"available_bar_l": 390, "loop_volume_l": 6, "depth_m": 60, "flushes": 2, "redescents_m": 30} | _SEA,
        run=_diluent_budget,
    ),
    Calculation(
        name="way-back",
        summary="Bailout for a way out at depth, and how far in the gas that there is reaches",
        request_type=WayBackRequest,
        answer_type=WayBackAnswer,
        example={
            "distance_m": 300,
            "depth_m": 30,
            "speed_m_per_min": 15,
            "rmv_l_per_min": 25,
            "problem_min": 3,
            "problem_rmv_l_per_min": 40,
            "available_bar_l": 3300,
            "cylinder_volume_l": 22,
        }
        | _SEA,
        run=_way_back,
    ),
    Calculation(
        name="dive-weight",
        summary="How gas used and carbon dioxide bound change a diver's weight",
        request_type=DiveWeightRequest,
        answer_type=WeightThroughDive,
        example={
            "oxygen_bar_l": 134,
            "diluent_oxygen_fraction": 0.15,
            "diluent_helium_fraction": 0.45,
            "diluent_bar_l": 280,
            "carbon_dioxide_bar_l": 102,
            "bailout": [{"oxygen_fraction": 0.5, "used_bar_l": 1650}],
        },
        run=_dive_weight,
    ),
    Calculation(
        name="fixed-flow",
        summary="Oxygen fraction of a loop with a constant flow",
        request_type=FixedFlowRequest,
        answer_type=FixedFlowAnswer,
        example={"flow_l_per_min": 10, "supply_oxygen_fraction": 0.4, "metabolic_l_per_min": 1.5},
        run=_fixed_flow,
    ),
    Calculation(
        name="oxygen-shut",
        summary="How long until the oxygen of a loop has fallen to a pressure",
        request_type=OxygenShutRequest,
        answer_type=OxygenShutAnswer,
        example={
            "start_oxygen_bar": 0.2095,
            "floor_oxygen_bar": 0.16,
            "loop_volume_l": 9,
            "ambient_pressure_bar": 1.0,
            "metabolic_l_per_min": 1.0,
        },
        run=_oxygen_shut,
    ),
    Calculation(
        name="ascent-without-addition",
        summary="Oxygen in a loop along an ascent on which nothing is added",
        request_type=AscentWithoutAdditionRequest,
        answer_type=AscentWithoutAdditionAnswer,
        example={"start_depth_m": 60, "start_oxygen_bar": 1.3, "depths_m": [20, 6, 3, 0]} | _SEA,
        run=_ascent_without_addition,
    ),
)
