"""Calculations about oxygen sensors, as JSON.

Tolerances that a request leaves out have defaults here, each with where it comes from; the unit's own limit wins.
"""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.sensors.agreement import Agreement, SensorReading, compare_sensors, require_serials_once
from loopworthy.science.sensors.air import check_return_to_air
from loopworthy.science.sensors.factor import factor_mv_per_bar, oxygen_pressure_bar
from loopworthy.science.sensors.history import HistoryComparison, compare_with_history
from loopworthy.science.sensors.known_gas import KnownGasCheck, check_known_gas
from loopworthy.science.sensors.oxygen_check import (
    ORDINARY_INSTRUMENTS,
    InputUncertainties,
    check_oxygen_reading,
    oxygen_coefficient,
    require_check_limits,
)
from loopworthy.science.sensors.stability import SensorSample, Stability, assess_stability
from loopworthy.science.uncertainty import Decision, UncertaintyTerm
from loopworthy.vocabulary.errors import InputError

AmbientMbar = Annotated[float, Meta(description="Barometric pressure, 450 to 1100. [mbar]")]
AirC = Annotated[float, Meta(description="Temperature of the air, -20 to 60. [°C]")]
Humidity = Annotated[float, Meta(description="Relative humidity of the air, 0 to 1.")]
Serial = Annotated[str, Meta(description="Serial of the sensor.")]
Factor = Annotated[float, Meta(description="Factor of the sensor, above 5 to 250. [mV/bar]")]


class UncertaintyRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Standard uncertainties of the other instruments; what is left out is taken as for ordinary ones."""

    ambient_pressure_mbar: Annotated[float, Meta(description="Of the barometer. Default: 3 mbar each way. [mbar]")] = (
        ORDINARY_INSTRUMENTS.ambient_pressure_mbar
    )
    temperature_c: Annotated[float, Meta(description="Of the thermometer. Default: 1 K each way. [K]")] = (
        ORDINARY_INSTRUMENTS.temperature_c
    )
    relative_humidity_fraction: Annotated[float, Meta(description="Of the hygrometer. Default: 0.05 each way.")] = (
        ORDINARY_INSTRUMENTS.relative_humidity_fraction
    )
    oxygen_fraction: Annotated[float, Meta(description="Of the purity. Default: 0.005 each way.")] = (
        ORDINARY_INSTRUMENTS.oxygen_fraction
    )
    air_oxygen_fraction: Annotated[float, Meta(description="Of the 0.2095 in dry air. Default: 0.0001.")] = (
        ORDINARY_INSTRUMENTS.air_oxygen_fraction
    )
    reading_mv: Annotated[float, Meta(description="Of each reading beyond its resolution. Default: 0. [mV]")] = (
        ORDINARY_INSTRUMENTS.reading_mv
    )
    sensor_temperature_difference_k: Annotated[
        float, Meta(description="How much the sensor may have warmed or cooled between readings. Default: 0. [K]")
    ] = ORDINARY_INSTRUMENTS.sensor_temperature_difference_k


class OxygenCheckSensor(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The two readings of one sensor."""

    serial: Serial
    air_mv: Annotated[float, Meta(description="Reading in air, above 0 to 50. [mV]")]
    oxygen_mv: Annotated[float, Meta(description="Reading in oxygen, 0 to 250. [mV]")]


class OxygenCheckRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The day, the gas, the limits and the sensors."""

    ambient_pressure_mbar: AmbientMbar
    temperature_c: AirC
    relative_humidity_fraction: Humidity
    oxygen_fraction: Annotated[float, Meta(description="Oxygen in the dry gas of the flush, 0.25 to 1.")]
    oxygen_is_humid: Annotated[bool, Meta(description="True for a flush of a wet loop, false for dry gas.")]
    tolerance_mv: Annotated[float, Meta(description="Largest difference allowed, above 0 to 20. [mV]")]
    resolution_mv: Annotated[float, Meta(description="Smallest step of the display, above 0 to 5. [mV]")]
    set_point_bar: Annotated[float, Meta(description="Highest set point of the dive, 0.2 to 2. [bar]")]
    sensors: tuple[OxygenCheckSensor, ...]
    uncertainties: UncertaintyRequest = UncertaintyRequest()


class OxygenCheckSensorAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """One sensor, judged; difference is measured less expected, contributions of the terms are in mV."""

    serial: str
    expected_mv: float
    difference_mv: float
    difference_fraction: float
    difference_at_set_point_bar: float
    uncertainty_mv: float
    decision: Decision
    can_decide: bool
    reason: str
    terms: tuple[UncertaintyTerm, ...]


class OxygenCheckAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The day's coefficient, the two oxygen pressures behind it, and every sensor."""

    coefficient: float
    air_oxygen_bar: float
    oxygen_bar: float
    water_vapour_mbar: float
    sensors: tuple[OxygenCheckSensorAnswer, ...]


class FactorRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A reading at a known oxygen pressure."""

    reading_mv: Annotated[float, Meta(description="Above 0 to 250. [mV]")]
    oxygen_bar: Annotated[float, Meta(description="Oxygen pressure at the sensor, above 0 to 5. [bar]")]


class FactorAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """The sensor's factor."""

    factor_mv_per_bar: float


class OxygenFromMvRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A reading and the factor to read it by."""

    reading_mv: Annotated[float, Meta(description="0 to 500. [mV]")]
    factor_mv_per_bar: Factor


class OxygenFromMvAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Oxygen pressure that the reading stands for."""

    oxygen_bar: float


class SensorReadingRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one sensor shows."""

    serial: Serial
    oxygen_bar: Annotated[float, Meta(description="0 to 5. [bar]")]


class AgreementRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Two or more sensors in one gas at one moment."""

    sensors: tuple[SensorReadingRequest, ...]
    spread_limit_bar: Annotated[float, Meta(description="Default 0.2: common practice. [bar]")] = 0.2
    spread_limit_fraction: Annotated[
        float | None, Meta(description="Of the median. Default 0.15: common practice.")
    ] = 0.15


class ReturnToAirRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Calibrated sensors, back in air."""

    ambient_pressure_mbar: AmbientMbar
    temperature_c: AirC
    relative_humidity_fraction: Humidity
    sensors: tuple[SensorReadingRequest, ...]
    tolerance_bar: Annotated[float, Meta(description="From what air has. Default 0.02: our proposal. [bar]")] = 0.02
    spread_limit_bar: Annotated[float, Meta(description="Between sensors. Default 0.02: our proposal. [bar]")] = 0.02
    resolution_bar: Annotated[float, Meta(description="Step of the display. Default 0.01. [bar]")] = 0.01
    pressure_uncertainty_mbar: Annotated[
        float, Meta(description="Standard uncertainty of the barometer. Default: 3 mbar each way. [mbar]")
    ] = ORDINARY_INSTRUMENTS.ambient_pressure_mbar


class KnownGasRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Sensors in a gas of known fraction at a known pressure, as after a diluent flush."""

    oxygen_fraction: Annotated[float, Meta(description="Oxygen in the dry gas, 0 to 1.")]
    ambient_pressure_bar: Annotated[float, Meta(description="Absolute pressure at the sensors, 0.4 to 60. [bar]")]
    water_vapour_bar: Annotated[float, Meta(description="Vapour at the sensors; 0 for dry gas. Default 0. [bar]")] = 0.0
    sensors: tuple[SensorReadingRequest, ...]
    tolerance_bar: Annotated[float, Meta(description="From what the gas has. Default 0.05: our proposal. [bar]")] = 0.05
    spread_limit_bar: Annotated[float, Meta(description="Between sensors. Default 0.2: common practice. [bar]")] = 0.2
    resolution_bar: Annotated[float, Meta(description="Step of the display. Default 0.01. [bar]")] = 0.01
    expected_uncertainty_bar: Annotated[
        float, Meta(description="Standard uncertainty of the gas's oxygen pressure. Default 0. [bar]")
    ] = 0.0


class HistoryRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Today's factor and the earlier ones of the same serial, oldest first."""

    factor_mv_per_bar: Factor
    earlier_factors_mv_per_bar: Annotated[tuple[float, ...], Meta(description="Oldest first; ten count. [mV/bar]")]
    step_limit_fraction: Annotated[float, Meta(description="Largest step. Default 0.05: our proposal.")] = 0.05


class StabilitySampleRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One reading at a time."""

    time_s: Annotated[float, Meta(description="On any clock, rising. [s]")]
    reading_mv: Annotated[float, Meta(description="0 to 250. [mV]")]


class StabilityRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A series of readings of one sensor."""

    samples: tuple[StabilitySampleRequest, ...]
    window_s: Annotated[float, Meta(description="How far to look back. Default 60: our proposal. [s]")] = 60.0
    limit_mv: Annotated[float, Meta(description="Largest change. Default 0.1: our proposal. [mV]")] = 0.1


def _oxygen_check(request: OxygenCheckRequest) -> OxygenCheckAnswer:
    _require_serials([sensor.serial for sensor in request.sensors])
    given = request.uncertainties
    uncertainties = InputUncertainties(
        ambient_pressure_mbar=given.ambient_pressure_mbar,
        temperature_c=given.temperature_c,
        relative_humidity_fraction=given.relative_humidity_fraction,
        oxygen_fraction=given.oxygen_fraction,
        air_oxygen_fraction=given.air_oxygen_fraction,
        reading_mv=given.reading_mv,
        sensor_temperature_difference_k=given.sensor_temperature_difference_k,
    )
    day = oxygen_coefficient(
        ambient_pressure_mbar=request.ambient_pressure_mbar,
        temperature_c=request.temperature_c,
        relative_humidity_fraction=request.relative_humidity_fraction,
        oxygen_fraction=request.oxygen_fraction,
        oxygen_is_humid=request.oxygen_is_humid,
    )
    require_check_limits(request.tolerance_mv, request.resolution_mv, request.set_point_bar)
    answers = []
    for index, sensor in enumerate(request.sensors):
        with inside(f"sensors[{index}]"):
            check = check_oxygen_reading(
                air_mv=sensor.air_mv,
                oxygen_mv=sensor.oxygen_mv,
                ambient_pressure_mbar=request.ambient_pressure_mbar,
                temperature_c=request.temperature_c,
                relative_humidity_fraction=request.relative_humidity_fraction,
                oxygen_fraction=request.oxygen_fraction,
                oxygen_is_humid=request.oxygen_is_humid,
                tolerance_mv=request.tolerance_mv,
                resolution_mv=request.resolution_mv,
                set_point_bar=request.set_point_bar,
                uncertainties=uncertainties,
            )
        answers.append(
            OxygenCheckSensorAnswer(
                serial=sensor.serial,
                expected_mv=check.expected_mv,
                difference_mv=check.difference_mv,
                difference_fraction=check.difference_fraction,
                difference_at_set_point_bar=check.difference_at_set_point_bar,
                uncertainty_mv=check.uncertainty_mv,
                decision=check.decision,
                can_decide=check.can_decide,
                reason=check.reason,
                terms=check.terms,
            )
        )
    return OxygenCheckAnswer(
        coefficient=day.coefficient,
        air_oxygen_bar=day.air_oxygen_bar,
        oxygen_bar=day.oxygen_bar,
        water_vapour_mbar=day.water_vapour_mbar,
        sensors=tuple(answers),
    )


def _factor(request: FactorRequest) -> FactorAnswer:
    return FactorAnswer(factor_mv_per_bar=factor_mv_per_bar(request.reading_mv, request.oxygen_bar))


def _oxygen_from_mv(request: OxygenFromMvRequest) -> OxygenFromMvAnswer:
    return OxygenFromMvAnswer(oxygen_bar=oxygen_pressure_bar(request.reading_mv, request.factor_mv_per_bar))


def _require_serials(serials: list[str], *, at_least: int = 1) -> None:
    if len(serials) < at_least:
        raise InputError("sensors", len(serials), f"{at_least} or more")
    with inside("sensors[]"):
        require_serials_once(serials, at_least=at_least)


def _readings(sensors: tuple[SensorReadingRequest, ...], at_least: int = 1) -> list[SensorReading]:
    """What sensors show, with errors that name the sensor."""
    _require_serials([sensor.serial for sensor in sensors], at_least=at_least)
    readings = []
    for index, sensor in enumerate(sensors):
        with inside(f"sensors[{index}]"):
            readings.append(SensorReading(serial=sensor.serial, oxygen_bar=sensor.oxygen_bar))
    return readings


def _agreement(request: AgreementRequest) -> Agreement:
    return compare_sensors(
        _readings(request.sensors, at_least=2),
        spread_limit_bar=request.spread_limit_bar,
        spread_limit_fraction=request.spread_limit_fraction,
    )


def _return_to_air(request: ReturnToAirRequest) -> KnownGasCheck:
    return check_return_to_air(
        _readings(request.sensors),
        ambient_pressure_mbar=request.ambient_pressure_mbar,
        temperature_c=request.temperature_c,
        relative_humidity_fraction=request.relative_humidity_fraction,
        tolerance_bar=request.tolerance_bar,
        spread_limit_bar=request.spread_limit_bar,
        resolution_bar=request.resolution_bar,
        pressure_uncertainty_mbar=request.pressure_uncertainty_mbar,
    )


def _known_gas(request: KnownGasRequest) -> KnownGasCheck:
    return check_known_gas(
        _readings(request.sensors),
        oxygen_fraction=request.oxygen_fraction,
        ambient_pressure_bar=request.ambient_pressure_bar,
        water_vapour_bar=request.water_vapour_bar,
        tolerance_bar=request.tolerance_bar,
        spread_limit_bar=request.spread_limit_bar,
        resolution_bar=request.resolution_bar,
        expected_uncertainty_bar=request.expected_uncertainty_bar,
    )


def _history(request: HistoryRequest) -> HistoryComparison:
    return compare_with_history(
        request.factor_mv_per_bar,
        request.earlier_factors_mv_per_bar,
        step_limit_fraction=request.step_limit_fraction,
    )


def _stability(request: StabilityRequest) -> Stability:
    samples = []
    for index, sample in enumerate(request.samples):
        with inside(f"samples[{index}]"):
            samples.append(SensorSample(time_s=sample.time_s, reading_mv=sample.reading_mv))
    return assess_stability(samples, window_s=request.window_s, limit_mv=request.limit_mv)


_THREE = [
    {"serial": "A-101", "oxygen_bar": 1.31},
    {"serial": "A-102", "oxygen_bar": 1.28},
    {"serial": "B-207", "oxygen_bar": 1.07},
]

CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="oxygen-sensor-check",
        summary="Oxygen readings against what each sensor's air reading foretells, with uncertainty",
        request_type=OxygenCheckRequest,
        answer_type=OxygenCheckAnswer,
        example={
            "ambient_pressure_mbar": 1008,
            "temperature_c": 22,
            "relative_humidity_fraction": 0.55,
            "oxygen_fraction": 0.992,
            "oxygen_is_humid": False,
            "tolerance_mv": 2.0,
            "resolution_mv": 0.1,
            "set_point_bar": 1.3,
            "sensors": [
                {"serial": "A-101", "air_mv": 10.4, "oxygen_mv": 49.1},
                {"serial": "A-102", "air_mv": 11.1, "oxygen_mv": 52.9},
                {"serial": "B-207", "air_mv": 9.6, "oxygen_mv": 42.9},
            ],
        },
        run=_oxygen_check,
    ),
    Calculation(
        name="sensor-factor",
        summary="Factor of a sensor in mV per bar",
        request_type=FactorRequest,
        answer_type=FactorAnswer,
        example={"reading_mv": 49.1, "oxygen_bar": 0.9999},
        run=_factor,
    ),
    Calculation(
        name="oxygen-from-mv",
        summary="Oxygen pressure that a millivolt reading stands for",
        request_type=OxygenFromMvRequest,
        answer_type=OxygenFromMvAnswer,
        example={"reading_mv": 62.1, "factor_mv_per_bar": 49.105},
        run=_oxygen_from_mv,
    ),
    Calculation(
        name="sensor-agreement",
        summary="Spread of sensors in one gas, and which stands apart",
        request_type=AgreementRequest,
        answer_type=Agreement,
        example={"sensors": _THREE},
        run=_agreement,
    ),
    Calculation(
        name="return-to-air",
        summary="Calibrated sensors back in air, each against what air has",
        request_type=ReturnToAirRequest,
        answer_type=KnownGasCheck,
        example={
            "ambient_pressure_mbar": 1008,
            "temperature_c": 22,
            "relative_humidity_fraction": 0.55,
            "sensors": [{"serial": "A-101", "oxygen_bar": 0.21}, {"serial": "A-102", "oxygen_bar": 0.2}],
        },
        run=_return_to_air,
    ),
    Calculation(
        name="known-gas-check",
        summary="Sensors against a gas of known fraction and pressure, as after a diluent flush",
        request_type=KnownGasRequest,
        answer_type=KnownGasCheck,
        example={
            "oxygen_fraction": 0.2095,
            "ambient_pressure_bar": 3.023,
            "water_vapour_bar": 0.05,
            "sensors": [{"serial": "A-101", "oxygen_bar": 0.62}, {"serial": "A-102", "oxygen_bar": 0.5}],
        },
        run=_known_gas,
    ),
    Calculation(
        name="factor-history",
        summary="Today's factor of a sensor against its last ten",
        request_type=HistoryRequest,
        answer_type=HistoryComparison,
        example={"factor_mv_per_bar": 48.9, "earlier_factors_mv_per_bar": [51.8, 51.4, 50.6, 50.1]},
        run=_history,
    ),
    Calculation(
        name="reading-stability",
        summary="Whether a sensor's reading has settled",
        request_type=StabilityRequest,
        answer_type=Stability,
        example={
            "samples": [
                {"time_s": 0, "reading_mv": 10.1},
                {"time_s": 60, "reading_mv": 10.4},
                {"time_s": 120, "reading_mv": 10.4},
            ]
        },
        run=_stability,
    ),
)
