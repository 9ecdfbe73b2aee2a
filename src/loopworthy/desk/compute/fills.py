"""Calculations about filling cylinders and what is in them, as JSON. All pressures are absolute."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import UNSET, Meta, UnsetType

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.gas.analysis import AnalysisCheck, check_analysis
from loopworthy.science.gas.blending import CylinderGas, FillGas, FillObstacle, fill_recipe, filled_to
from loopworthy.science.gas.cautions import fill_cautions
from loopworthy.science.gas.content import REGULATOR_NEEDS_BAR, content_bar_l, free_volume_l, usable_bar_l
from loopworthy.science.gas.continuous import COMPRESSOR_OXYGEN_FRACTION, continuous_fill
from loopworthy.science.gas.real_gas import Method, compressibility, require_gas_temperature_c, settled_pressure_bar
from loopworthy.science.gas.sources import GasSource, SourceAnswer, check_sources
from loopworthy.science.physics.constants import AIR_OXYGEN_FRACTION
from loopworthy.science.physics.gas import GasMixture
from loopworthy.vocabulary.errors import InputError

Bar = Annotated[float, Meta(description="Absolute pressure, 0 to 330. [bar]")]
Oxygen = Annotated[float, Meta(description="Oxygen in the dry gas, 0 to 1.")]
Helium = Annotated[float, Meta(description="Helium in the dry gas, 0 to 1. Default 0.")]
Temperature = Annotated[
    float, Meta(description="Of the gas, settled, at which all pressures are read, -10 to 60. Default 20. [°C]")
]
Rule = Annotated[Method, Meta(description="real (a virial equation of state) or ideal. Default real.")]
Volume = Annotated[float, Meta(description="Water capacity, above 0 to 100. [L]")]


class MixtureRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A mixture; nitrogen is the rest."""

    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0


class FillRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A mixture in a cylinder."""

    pressure_bar: Bar
    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0


class FillAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """A mixture in a cylinder."""

    pressure_bar: float
    oxygen_fraction: float
    helium_fraction: float


class SourceRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A bank, with a booster or without."""

    gas: Annotated[FillGas, Meta(description="helium, oxygen or top-up.")]
    pressure_bar: Bar
    volume_l: Annotated[float | None, Meta(description="Of the bank; without it the bank does not fall. [L]")] = None
    booster_inlet_bar: Annotated[
        float | None, Meta(description="Lowest pressure from which the booster lifts; without it there is none. [bar]")
    ] = None
    booster_outlet_bar: Annotated[float | None, Meta(description="Highest pressure it reaches. [bar]")] = None


AIR_REQUEST = MixtureRequest(oxygen_fraction=AIR_OXYGEN_FRACTION)
ALL_GASES = (FillGas.HELIUM, FillGas.OXYGEN, FillGas.TOP_UP)


class FillRecipeRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A start mix, a target, and the gases in the order of filling."""

    start: FillRequest
    target: FillRequest
    temperature_c: Temperature = 20.0
    top_up: Annotated[MixtureRequest, Meta(description="What is topped up with. Default air.")] = AIR_REQUEST
    order: Annotated[tuple[FillGas, ...], Meta(description="Gases that there are, each once.")] = ALL_GASES
    method: Rule = Method.REAL
    may_bleed: Annotated[bool, Meta(description="Whether some of the start mix may be let out. Default false.")] = False
    hot_temperature_c: Annotated[
        float | None, Meta(description="Temperature for which each step is told as read while hot. [°C]")
    ] = None
    cylinder_volume_l: Annotated[float | None, Meta(description="Needed where a bank has a volume. [L]")] = None
    sources: Annotated[tuple[SourceRequest, ...], Meta(description="Banks to hold the steps against.")] = ()


class FillStepAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """One gas let in, and what the cylinder holds after it; hot_to_bar is what the gauge shows while hot, absolute."""

    gas: FillGas
    from_bar: float
    to_bar: float
    oxygen_fraction: float
    helium_fraction: float
    hot_to_bar: float | UnsetType = UNSET


class FillRecipeAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Steps and their result by the method, what a real gas will give, and what has to be said; or no solution."""

    steps: tuple[FillStepAnswer, ...]
    result: FillAnswer
    as_real_gas: FillAnswer
    method: Method
    bleed_to_bar: float | UnsetType = UNSET
    no_solution: FillObstacle | UnsetType = UNSET
    sources: tuple[SourceAnswer, ...]
    cautions: tuple[str, ...]


class AddedGasRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A gas let in up to a pressure."""

    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0
    to_bar: Bar


class FillResultRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A start mix, and gases let in one after the other."""

    start: FillRequest
    added: tuple[AddedGasRequest, ...]
    temperature_c: Temperature = 20.0
    method: Rule = Method.REAL


class ContinuousFillRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A start mix and a target to be pumped in one go."""

    start: FillRequest
    target: FillRequest
    temperature_c: Temperature = 20.0
    intake: Annotated[MixtureRequest, Meta(description="What the compressor takes in. Default air.")] = AIR_REQUEST
    method: Rule = Method.REAL
    oxygen_limit_fraction: Annotated[
        float, Meta(description="Most oxygen in the intake. Default 0.40: common practice; the maker's rules.")
    ] = COMPRESSOR_OXYGEN_FRACTION


class ContinuousFillAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """What is pumped, and what oxygen analysers show after helium and after oxygen; or no solution."""

    from_bar: float
    to_bar: float
    oxygen_fraction: float | UnsetType = UNSET
    helium_fraction: float | UnsetType = UNSET
    oxygen_after_helium_fraction: float | UnsetType = UNSET
    no_solution: FillObstacle | UnsetType = UNSET


class CylinderContentRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A cylinder, and the pressure around the diver who breathes from it."""

    cylinder_volume_l: Volume
    pressure_bar: Annotated[float, Meta(description="Absolute pressure in it, above 0 to 330. [bar]")]
    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0
    temperature_c: Temperature = 20.0
    ambient_pressure_bar: Annotated[float, Meta(description="Where it is breathed, 0.4 to 60. [bar]")] = 1.013
    regulator_needs_bar: Annotated[
        float, Meta(description="What the first stage needs above ambient. Default 10: common practice. [bar]")
    ] = REGULATOR_NEEDS_BAR


class CylinderContentAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Content in litres at 1 bar by both laws, litres at ambient pressure, and what can be breathed."""

    content_bar_l: float
    ideal_content_bar_l: float
    free_volume_l: float
    usable_bar_l: float
    compressibility: float


class SettledPressureRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A closed cylinder that was read at one temperature and comes to another."""

    pressure_bar: Bar
    oxygen_fraction: Oxygen
    helium_fraction: Helium = 0.0
    read_at_c: Annotated[float, Meta(description="Temperature of the gas when read, -10 to 60. [°C]")]
    settles_at_c: Annotated[float, Meta(description="Temperature that it comes to, -10 to 60. [°C]")]


class SettledPressureAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Pressure there, by the real gas and by the ideal rule."""

    pressure_bar: float
    ideal_pressure_bar: float


class GasAnalysisRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A fraction as planned and as read, and what is known of the instrument."""

    planned_fraction: Annotated[float, Meta(description="Of oxygen or helium, 0 to 1.")]
    read_fraction: Annotated[float, Meta(description="As read, 0 to 1.")]
    tolerance_fraction: Annotated[
        float, Meta(description="Largest difference. Default 0.01: common practice for oxygen; 0.02 for helium.")
    ] = 0.01
    accuracy_fraction: Annotated[float, Meta(description="Half-width that the maker states, 0 to 0.1.")]
    resolution_fraction: Annotated[float, Meta(description="Step of the display, 0 to 0.1.")]
    calibrated_at_fraction: Annotated[float | None, Meta(description="Known gas on which it was set, to 1.")] = None
    calibration_uncertainty_fraction: Annotated[
        float, Meta(description="Standard uncertainty of that gas. Default 0.")
    ] = 0.0


def _mixture(request: MixtureRequest | FillRequest | AddedGasRequest) -> GasMixture:
    return GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)


def _fill(request: FillRequest, path: str) -> CylinderGas:
    with inside(path):
        return CylinderGas(gas=_mixture(request), pressure_bar=request.pressure_bar)


def _told(fill: CylinderGas) -> FillAnswer:
    return FillAnswer(
        pressure_bar=fill.pressure_bar,
        oxygen_fraction=fill.gas.oxygen_fraction,
        helium_fraction=fill.gas.helium_fraction,
    )


def _fill_recipe(request: FillRecipeRequest) -> FillRecipeAnswer:
    start, target = _fill(request.start, "start"), _fill(request.target, "target")
    with inside("top_up"):
        top_up = _mixture(request.top_up)
    temperature_c, method = request.temperature_c, request.method
    recipe = fill_recipe(start, target, temperature_c, top_up, request.order, method, may_bleed=request.may_bleed)
    steps = []
    for step in recipe.steps:
        hot: float | UnsetType = UNSET
        if request.hot_temperature_c is not None:
            hot_c = require_gas_temperature_c(request.hot_temperature_c, "hot_temperature_c")
            hot = settled_pressure_bar(step.holds, step.to_bar, temperature_c, hot_c, method)
        steps.append(
            FillStepAnswer(
                gas=step.gas,
                from_bar=step.from_bar,
                to_bar=step.to_bar,
                oxygen_fraction=step.holds.oxygen_fraction,
                helium_fraction=step.holds.helium_fraction,
                hot_to_bar=hot,
            )
        )
    sources = check_sources(recipe, _sources(request), temperature_c, top_up, method, request.cylinder_volume_l)
    return FillRecipeAnswer(
        steps=tuple(steps),
        result=_told(recipe.result),
        as_real_gas=_told(recipe.as_real_gas),
        method=method,
        bleed_to_bar=UNSET if recipe.bleed_to_bar is None else recipe.bleed_to_bar,
        no_solution=UNSET if recipe.obstacle is None else recipe.obstacle,
        sources=sources,
        cautions=fill_cautions(recipe, top_up, method),
    )


def _sources(request: FillRecipeRequest) -> dict[FillGas, GasSource]:
    sources: dict[FillGas, GasSource] = {}
    for index, source in enumerate(request.sources):
        with inside(f"sources[{index}]"):
            if source.gas in sources:
                raise InputError("gas", source.gas.value, "given once")
            sources[source.gas] = GasSource(
                pressure_bar=source.pressure_bar,
                volume_l=source.volume_l,
                booster_inlet_bar=source.booster_inlet_bar,
                booster_outlet_bar=source.booster_outlet_bar,
            )
    return sources


def _fill_result(request: FillResultRequest) -> FillAnswer:
    start = _fill(request.start, "start")
    steps = []
    for index, added in enumerate(request.added):
        with inside(f"added[{index}]"):
            steps.append((_mixture(added), added.to_bar))
    return _told(filled_to(start, steps, request.temperature_c, request.method, path="added"))


def _continuous_fill(request: ContinuousFillRequest) -> ContinuousFillAnswer:
    with inside("intake"):
        intake = _mixture(request.intake)
    fill = continuous_fill(
        _fill(request.start, "start"),
        _fill(request.target, "target"),
        request.temperature_c,
        intake,
        request.method,
        oxygen_limit_fraction=request.oxygen_limit_fraction,
    )
    after = fill.oxygen_after_helium_fraction
    return ContinuousFillAnswer(
        from_bar=fill.from_bar,
        to_bar=fill.to_bar,
        oxygen_fraction=UNSET if fill.pumped is None else fill.pumped.oxygen_fraction,
        helium_fraction=UNSET if fill.pumped is None else fill.pumped.helium_fraction,
        oxygen_after_helium_fraction=UNSET if after is None else after,
        no_solution=UNSET if fill.obstacle is None else fill.obstacle,
    )


def _cylinder_content(request: CylinderContentRequest) -> CylinderContentAnswer:
    gas = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
    cylinder = (gas, request.cylinder_volume_l, request.pressure_bar, request.temperature_c)
    return CylinderContentAnswer(
        compressibility=compressibility(gas, request.pressure_bar, request.temperature_c),
        content_bar_l=content_bar_l(*cylinder),
        ideal_content_bar_l=content_bar_l(*cylinder, Method.IDEAL),
        free_volume_l=free_volume_l(*cylinder, at_pressure_bar=request.ambient_pressure_bar),
        usable_bar_l=usable_bar_l(
            *cylinder, request.ambient_pressure_bar, regulator_needs_bar=request.regulator_needs_bar
        ),
    )


def _settled_pressure(request: SettledPressureRequest) -> SettledPressureAnswer:
    gas = GasMixture(oxygen_fraction=request.oxygen_fraction, helium_fraction=request.helium_fraction)
    cylinder = (gas, request.pressure_bar, request.read_at_c, request.settles_at_c)
    return SettledPressureAnswer(
        pressure_bar=settled_pressure_bar(*cylinder), ideal_pressure_bar=settled_pressure_bar(*cylinder, Method.IDEAL)
    )


def _gas_analysis(request: GasAnalysisRequest) -> AnalysisCheck:
    return check_analysis(
        request.planned_fraction,
        request.read_fraction,
        tolerance_fraction=request.tolerance_fraction,
        accuracy_fraction=request.accuracy_fraction,
        resolution_fraction=request.resolution_fraction,
        calibrated_at_fraction=request.calibrated_at_fraction,
        calibration_uncertainty_fraction=request.calibration_uncertainty_fraction,
    )


_START = {"pressure_bar": 61.0, "oxygen_fraction": 0.21, "helium_fraction": 0.35}
_TARGET = {"pressure_bar": 221.0, "oxygen_fraction": 0.18, "helium_fraction": 0.45}

CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="fill-recipe",
        summary="Pressures to fill to from a start mix to a target, by the real gas or by the ideal rule",
        request_type=FillRecipeRequest,
        answer_type=FillRecipeAnswer,
        example={
            "start": _START,
            "target": _TARGET,
            "temperature_c": 20,
            "top_up": {"oxygen_fraction": 0.2095, "helium_fraction": 0.0},
            "order": ["helium", "oxygen", "top-up"],
            "method": "real",
        },
        run=_fill_recipe,
    ),
    Calculation(
        name="fill-result",
        summary="What a cylinder holds after gases were let in up to pressures, as in topping up",
        request_type=FillResultRequest,
        answer_type=FillAnswer,
        example={"start": _START, "added": [{"oxygen_fraction": 0.2095, "to_bar": 221.0}], "temperature_c": 20},
        run=_fill_result,
    ),
    Calculation(
        name="continuous-fill",
        summary="The mixture that a compressor must pump from a start mix to a target",
        request_type=ContinuousFillRequest,
        answer_type=ContinuousFillAnswer,
        example={"start": _START, "target": _TARGET, "temperature_c": 20},
        run=_continuous_fill,
    ),
    Calculation(
        name="cylinder-content",
        summary="What a cylinder holds, and what of it can be breathed at a pressure",
        request_type=CylinderContentRequest,
        answer_type=CylinderContentAnswer,
        example={
            "cylinder_volume_l": 11.0,
            "pressure_bar": 201.0,
            "oxygen_fraction": 0.18,
            "helium_fraction": 0.45,
            "temperature_c": 15,
            "ambient_pressure_bar": 7.04,
        },
        run=_cylinder_content,
    ),
    Calculation(
        name="settled-pressure",
        summary="Pressure of a closed cylinder at another temperature, as after a hot fill",
        request_type=SettledPressureRequest,
        answer_type=SettledPressureAnswer,
        example={"pressure_bar": 200.0, "oxygen_fraction": 0.2095, "read_at_c": 40, "settles_at_c": 10},
        run=_settled_pressure,
    ),
    Calculation(
        name="gas-analysis",
        summary="An analysed fraction against the planned one, with the instrument's uncertainty",
        request_type=GasAnalysisRequest,
        answer_type=AnalysisCheck,
        example={
            "planned_fraction": 0.32,
            "read_fraction": 0.325,
            "accuracy_fraction": 0.01,
            "resolution_fraction": 0.001,
        },
        run=_gas_analysis,
    ),
)
