"""Calculations of pressure, depth, air, water vapour and gas, as JSON."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.physics.atmosphere import (
    geopotential_from_geometric_m,
    standard_altitude_m,
    standard_pressure_mbar,
)
from loopworthy.science.physics.depth import (
    Water,
    depth_at_pressure_m,
    pressure_at_depth_bar,
    pressure_per_metre_bar,
)
from loopworthy.science.physics.depth_limit import least_depth_m, maximum_depth_m
from loopworthy.science.physics.gas import (
    DENSITY_REFERENCE_TEMPERATURE_C,
    GasMixture,
    density_g_per_l,
    mixture_density_g_per_l,
    molar_mass_g_per_mol,
    oxygen_partial_pressure_bar,
)
from loopworthy.science.physics.loop_gas import LOOP_WATER_VAPOUR_BAR, OxygenRuledBy, loop_gas
from loopworthy.science.physics.narcosis import narcotic_equivalent_depth_m, nitrogen_equivalent_depth_m
from loopworthy.science.physics.units import convert, known_units
from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar, vapour_pressure_mbar

DepthM = Annotated[float, Meta(description="Depth below the surface, 0 to 500. [m]")]
SurfaceBar = Annotated[float, Meta(description="Absolute pressure at the surface, 0.45 to 1.1. [bar]")]
AmbientBar = Annotated[float, Meta(description="Absolute pressure of the gas, 0.4 to 60. [bar]")]
OxygenFraction = Annotated[float, Meta(description="Oxygen in the dry gas, 0 to 1.")]
HeliumFraction = Annotated[float, Meta(description="Helium in the dry gas, 0 to 1.")]
ReferenceC = Annotated[float, Meta(description="Temperature at which the density is stated. [°C]")]
VapourBar = Annotated[float, Meta(description="Water vapour in the gas, 0 to 0.2. [bar]")]
WaterKind = Annotated[Water, Meta(description="fresh (1000 kg/m³), sea (1025) or en13319 (0.1 bar a metre).")]
Density = Annotated[float | None, Meta(description="Measured density, 950 to 1100, instead of the convention. [kg/m³]")]


class ConvertRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A value and the units to convert it between."""

    value: Annotated[float, Meta(description="What was read, in from_unit.")]
    from_unit: Annotated[str, Meta(description=f"One of {', '.join(known_units())}.")]
    to_unit: Annotated[str, Meta(description="A unit of the same kind.")]


class ConvertAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The value in the unit asked for."""

    value: float
    unit: str


class AtmosphereRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A height above sea level."""

    altitude_m: Annotated[float, Meta(description="Height above mean sea level, -500 to 9000. [m]")]
    altitude_is_geometric: Annotated[bool, Meta(description="Height on the map, not geopotential.")] = False


class AtmosphereAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Pressure of the standard atmosphere there."""

    ambient_pressure_mbar: float
    geopotential_altitude_m: float


class AltitudeRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A barometric pressure."""

    ambient_pressure_mbar: Annotated[float, Meta(description="308 to 1075. [mbar]")]


class AltitudeAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Geopotential height at which the standard atmosphere has it."""

    altitude_m: float


class WaterVapourRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Air, or a wet loop at a humidity of 1."""

    temperature_c: Annotated[float, Meta(description="-20 to 60. [°C]")]
    relative_humidity_fraction: Annotated[float, Meta(description="0 to 1.")] = 1.0


class WaterVapourAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Vapour pressure at saturation and as it is."""

    saturated_mbar: float
    water_vapour_mbar: float


class DepthPressureRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A depth in water of a stated convention."""

    depth_m: DepthM
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None


class DepthPressureAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Absolute pressure, and the rise for each metre that was used."""

    ambient_pressure_bar: float
    pressure_per_metre_bar: float


class PressureDepthRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An absolute pressure in water of a stated convention."""

    ambient_pressure_bar: AmbientBar
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None


class PressureDepthAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Depth, and the rise for each metre that was used."""

    depth_m: float
    pressure_per_metre_bar: float


class OxygenPressureRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A gas at a pressure."""

    oxygen_fraction: OxygenFraction
    ambient_pressure_bar: AmbientBar
    water_vapour_bar: VapourBar = 0.0


class OxygenPressureAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Oxygen partial pressure."""

    oxygen_bar: float


class GasDensityRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A dry mixture at a pressure."""

    oxygen_fraction: OxygenFraction
    helium_fraction: HeliumFraction = 0.0
    ambient_pressure_bar: AmbientBar
    reference_temperature_c: ReferenceC = DENSITY_REFERENCE_TEMPERATURE_C


class GasDensityAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Density with its reference temperature; ideal gas, air's argon counted as nitrogen."""

    density_g_per_l: float
    reference_temperature_c: float
    molar_mass_g_per_mol: float


class DepthLimitRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A gas and its oxygen limits."""

    oxygen_fraction: Annotated[float, Meta(description="Oxygen in the dry gas, above 0 to 1.")]
    oxygen_limit_bar: Annotated[float, Meta(description="Highest oxygen pressure allowed, above 0 to 5. [bar]")]
    oxygen_floor_bar: Annotated[
        float, Meta(description="Lowest oxygen pressure to breathe, above 0 to 5. Default: common practice. [bar]")
    ] = 0.18
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None


class DepthLimitAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Between which depths the gas keeps both limits; least depth 0 where it does so at the surface."""

    maximum_depth_m: float
    least_depth_m: float
    pressure_per_metre_bar: float


class LoopGasRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A diluent, a set point and a depth."""

    diluent_oxygen_fraction: OxygenFraction
    diluent_helium_fraction: HeliumFraction = 0.0
    set_point_bar: Annotated[float, Meta(description="Oxygen pressure aimed for, above 0 to 5. [bar]")]
    depth_m: DepthM
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None
    water_vapour_bar: VapourBar = LOOP_WATER_VAPOUR_BAR
    reference_temperature_c: ReferenceC = DENSITY_REFERENCE_TEMPERATURE_C


class LoopGasAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What the loop holds, its density, and both definitions of the equivalent narcotic depth."""

    ambient_pressure_bar: float
    oxygen_bar: float
    nitrogen_bar: float
    helium_bar: float
    oxygen_ruled_by: OxygenRuledBy
    diluent_oxygen_bar: float
    density_g_per_l: float
    diluent_density_g_per_l: float
    reference_temperature_c: float
    nitrogen_equivalent_depth_m: float
    narcotic_equivalent_depth_m: float


class NarcosisRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A mixture breathed from its cylinder at a depth."""

    oxygen_fraction: OxygenFraction
    helium_fraction: HeliumFraction = 0.0
    depth_m: DepthM
    surface_pressure_bar: SurfaceBar
    water: WaterKind = Water.EN_13319
    density_kg_per_m3: Density = None


class NarcosisAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Equivalent depth on air, for nitrogen alone and with oxygen counted; negative if below air at the surface."""

    nitrogen_equivalent_depth_m: float
    narcotic_equivalent_depth_m: float


def _convert(request: ConvertRequest) -> ConvertAnswer:
    value = convert(request.value, request.from_unit, request.to_unit)
    return ConvertAnswer(value=value, unit=request.to_unit)


def _atmosphere(request: AtmosphereRequest) -> AtmosphereAnswer:
    altitude_m = request.altitude_m
    if request.altitude_is_geometric:
        altitude_m = geopotential_from_geometric_m(altitude_m)
    return AtmosphereAnswer(
        ambient_pressure_mbar=standard_pressure_mbar(altitude_m), geopotential_altitude_m=altitude_m
    )


def _altitude(request: AltitudeRequest) -> AltitudeAnswer:
    return AltitudeAnswer(altitude_m=standard_altitude_m(request.ambient_pressure_mbar))


def _water_vapour(request: WaterVapourRequest) -> WaterVapourAnswer:
    return WaterVapourAnswer(
        saturated_mbar=saturated_vapour_pressure_mbar(request.temperature_c),
        water_vapour_mbar=vapour_pressure_mbar(request.temperature_c, request.relative_humidity_fraction),
    )


def _depth_pressure(request: DepthPressureRequest) -> DepthPressureAnswer:
    water, density = request.water, request.density_kg_per_m3
    return DepthPressureAnswer(
        ambient_pressure_bar=pressure_at_depth_bar(request.depth_m, request.surface_pressure_bar, water, density),
        pressure_per_metre_bar=pressure_per_metre_bar(water, density),
    )


def _pressure_depth(request: PressureDepthRequest) -> PressureDepthAnswer:
    water, density = request.water, request.density_kg_per_m3
    return PressureDepthAnswer(
        depth_m=depth_at_pressure_m(request.ambient_pressure_bar, request.surface_pressure_bar, water, density),
        pressure_per_metre_bar=pressure_per_metre_bar(water, density),
    )


def _oxygen_pressure(request: OxygenPressureRequest) -> OxygenPressureAnswer:
    return OxygenPressureAnswer(
        oxygen_bar=oxygen_partial_pressure_bar(
            request.oxygen_fraction, request.ambient_pressure_bar, request.water_vapour_bar
        )
    )


def _gas_density(request: GasDensityRequest) -> GasDensityAnswer:
    gas = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
    return GasDensityAnswer(
        density_g_per_l=mixture_density_g_per_l(gas, request.ambient_pressure_bar, request.reference_temperature_c),
        reference_temperature_c=request.reference_temperature_c,
        molar_mass_g_per_mol=molar_mass_g_per_mol(gas),
    )


def _depth_limit(request: DepthLimitRequest) -> DepthLimitAnswer:
    place = (request.surface_pressure_bar, request.water, request.density_kg_per_m3)
    return DepthLimitAnswer(
        maximum_depth_m=maximum_depth_m(request.oxygen_fraction, request.oxygen_limit_bar, *place),
        least_depth_m=least_depth_m(request.oxygen_fraction, request.oxygen_floor_bar, *place),
        pressure_per_metre_bar=pressure_per_metre_bar(request.water, request.density_kg_per_m3),
    )


def _loop_gas(request: LoopGasRequest) -> LoopGasAnswer:
    with inside("diluent", joint="_"):
        diluent = GasMixture(
            oxygen_fraction=request.diluent_oxygen_fraction, helium_fraction=request.diluent_helium_fraction
        )
    place = (request.surface_pressure_bar, request.water, request.density_kg_per_m3)
    ambient_bar = pressure_at_depth_bar(request.depth_m, *place)
    gas = loop_gas(
        diluent, request.set_point_bar, ambient_bar, request.water_vapour_bar, request.reference_temperature_c
    )
    return LoopGasAnswer(
        ambient_pressure_bar=ambient_bar,
        oxygen_bar=gas.oxygen_bar,
        nitrogen_bar=gas.nitrogen_bar,
        helium_bar=gas.helium_bar,
        oxygen_ruled_by=gas.oxygen_ruled_by,
        diluent_oxygen_bar=oxygen_partial_pressure_bar(diluent.oxygen_fraction, ambient_bar),
        density_g_per_l=density_g_per_l(
            gas.oxygen_bar, gas.nitrogen_bar, gas.helium_bar, request.reference_temperature_c
        ),
        diluent_density_g_per_l=mixture_density_g_per_l(diluent, ambient_bar, request.reference_temperature_c),
        reference_temperature_c=request.reference_temperature_c,
        nitrogen_equivalent_depth_m=nitrogen_equivalent_depth_m(gas.nitrogen_bar, *place),
        narcotic_equivalent_depth_m=narcotic_equivalent_depth_m(gas.nitrogen_bar, gas.oxygen_bar, *place),
    )


def _narcosis(request: NarcosisRequest) -> NarcosisAnswer:
    gas = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
    place = (request.surface_pressure_bar, request.water, request.density_kg_per_m3)
    ambient_bar = pressure_at_depth_bar(request.depth_m, *place)
    nitrogen_bar = gas.nitrogen_fraction * ambient_bar
    return NarcosisAnswer(
        nitrogen_equivalent_depth_m=nitrogen_equivalent_depth_m(nitrogen_bar, *place),
        narcotic_equivalent_depth_m=narcotic_equivalent_depth_m(
            nitrogen_bar, gas.oxygen_fraction * ambient_bar, *place
        ),
    )


CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="atmosphere",
        summary="Pressure of the standard atmosphere at a height",
        request_type=AtmosphereRequest,
        answer_type=AtmosphereAnswer,
        example={"altitude_m": 1500},
        run=_atmosphere,
    ),
    Calculation(
        name="altitude",
        summary="Height at which the standard atmosphere has a pressure",
        request_type=AltitudeRequest,
        answer_type=AltitudeAnswer,
        example={"ambient_pressure_mbar": 846},
        run=_altitude,
    ),
    Calculation(
        name="water-vapour",
        summary="Pressure of water vapour in air or in a wet loop",
        request_type=WaterVapourRequest,
        answer_type=WaterVapourAnswer,
        example={"temperature_c": 22, "relative_humidity_fraction": 0.55},
        run=_water_vapour,
    ),
    Calculation(
        name="depth-pressure",
        summary="Absolute pressure at a depth in fresh water, sea water or after EN 13319",
        request_type=DepthPressureRequest,
        answer_type=DepthPressureAnswer,
        example={"depth_m": 60, "surface_pressure_bar": 1.013, "water": "sea"},
        run=_depth_pressure,
    ),
    Calculation(
        name="pressure-depth",
        summary="Depth at which an absolute pressure reigns",
        request_type=PressureDepthRequest,
        answer_type=PressureDepthAnswer,
        example={"ambient_pressure_bar": 7.043, "surface_pressure_bar": 1.013, "water": "sea"},
        run=_pressure_depth,
    ),
    Calculation(
        name="oxygen-partial-pressure",
        summary="Oxygen partial pressure of a gas at a pressure, dry or wet",
        request_type=OxygenPressureRequest,
        answer_type=OxygenPressureAnswer,
        example={"oxygen_fraction": 0.2095, "ambient_pressure_bar": 3.023, "water_vapour_bar": 0.05},
        run=_oxygen_pressure,
    ),
    Calculation(
        name="gas-density",
        summary="Density of a mixture at a pressure, with its reference temperature",
        request_type=GasDensityRequest,
        answer_type=GasDensityAnswer,
        example={"oxygen_fraction": 0.18, "helium_fraction": 0.35, "ambient_pressure_bar": 7.043},
        run=_gas_density,
    ),
    Calculation(
        name="depth-limit",
        summary="Deepest and least depth of a gas by its oxygen limits",
        request_type=DepthLimitRequest,
        answer_type=DepthLimitAnswer,
        example={"oxygen_fraction": 0.18, "oxygen_limit_bar": 1.4, "surface_pressure_bar": 1.013, "water": "sea"},
        run=_depth_limit,
    ),
    Calculation(
        name="loop-gas",
        summary="Gas in the loop at a set point and depth: partial pressures, density, narcotic depth",
        request_type=LoopGasRequest,
        answer_type=LoopGasAnswer,
        example={
            "diluent_oxygen_fraction": 0.18,
            "diluent_helium_fraction": 0.35,
            "set_point_bar": 1.3,
            "depth_m": 60,
            "surface_pressure_bar": 1.013,
            "water": "sea",
        },
        run=_loop_gas,
    ),
    Calculation(
        name="narcotic-depth",
        summary="Equivalent narcotic depth of a mixture from its cylinder, in both definitions",
        request_type=NarcosisRequest,
        answer_type=NarcosisAnswer,
        example={"oxygen_fraction": 0.36, "depth_m": 27, "surface_pressure_bar": 1.0},
        run=_narcosis,
    ),
    Calculation(
        name="convert-units",
        summary="A pressure, length or temperature in another unit",
        request_type=ConvertRequest,
        answer_type=ConvertAnswer,
        example={"value": 200, "from_unit": "bar", "to_unit": "psi"},
        run=_convert,
    ),
)
