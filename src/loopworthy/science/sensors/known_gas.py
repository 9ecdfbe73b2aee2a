"""Each sensor against a gas that is known: a diluent flush, a second gas after calibration, air at another height.

This is the check that can find two sensors wrong alike. It holds at the pressure of the gas in hand and says nothing
about higher oxygen pressures.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import is_above, require_above, require_between
from loopworthy.science.physics.gas import oxygen_partial_pressure_bar
from loopworthy.science.sensors.agreement import SensorReading, require_serials_once
from loopworthy.science.uncertainty import Decision, decide, expanded_uncertainty, resolution_uncertainty, term


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorInKnownGas:
    """One sensor's reading less what the gas has, and whether that is within the tolerance."""

    serial: str
    oxygen_bar: float
    difference_bar: float
    decision: Decision


@dataclass(frozen=True, slots=True, kw_only=True)
class KnownGasCheck:
    """Every sensor against the gas, their spread, and one decision for all of them.

    Attributes
    ----------
    expected_bar : float
        Oxygen pressure of the gas. [bar]
    uncertainty_bar : float
        Expanded uncertainty of each difference. [bar]
    spread_bar : float
        Highest reading less lowest. [bar]
    spread_within_limit : bool
        Whether the sensors also agree among themselves.
    decision : Decision
        The worst of the sensors; outside as well where the spread is above its limit.
    """

    expected_bar: float
    uncertainty_bar: float
    sensors: tuple[SensorInKnownGas, ...]
    spread_bar: float
    spread_within_limit: bool
    decision: Decision


def check_known_gas(
    readings: Sequence[SensorReading],
    *,
    oxygen_fraction: float,
    ambient_pressure_bar: float,
    water_vapour_bar: float,
    tolerance_bar: float,
    spread_limit_bar: float,
    resolution_bar: float,
    expected_uncertainty_bar: float = 0.0,
) -> KnownGasCheck:
    """Compare sensors with the oxygen pressure of a gas of known fraction at a known pressure.

    Parameters
    ----------
    readings : sequence of SensorReading
        One or more, each serial once.
    oxygen_fraction : float
        Oxygen in the dry gas, 0 to 1.
    ambient_pressure_bar : float
        Absolute pressure at the sensors, 0.4 to 60. [bar]
    water_vapour_bar : float
        Vapour in the gas at the sensors, 0 to 0.2: none for gas straight from a cylinder. [bar]
    tolerance_bar, spread_limit_bar : float
        Largest difference from the gas, and between sensors, above 0 to 1. [bar]
    resolution_bar : float
        Smallest step of the display, above 0 to 0.1. [bar]
    expected_uncertainty_bar : float
        Standard uncertainty of the expected pressure, 0 to 0.5. [bar]

    Returns
    -------
    KnownGasCheck
        A decision for each sensor and for all.

    Raises
    ------
    InputError
        If there is no reading, or a serial appears twice.
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    Expected: F (P - p_H2O). Each decision has the expanded uncertainty as its guard band.
    """
    require_serials_once([reading.serial for reading in readings])
    require_above("tolerance_bar", tolerance_bar, 0.0, 1.0, "bar")
    require_above("spread_limit_bar", spread_limit_bar, 0.0, 1.0, "bar")
    require_above("resolution_bar", resolution_bar, 0.0, 0.1, "bar")
    require_between("expected_uncertainty_bar", expected_uncertainty_bar, 0.0, 0.5, "bar")
    expected_bar = oxygen_partial_pressure_bar(oxygen_fraction, ambient_pressure_bar, water_vapour_bar)
    terms = (
        term("resolution of the reading", "bar", resolution_uncertainty(resolution_bar), 1.0),
        term("pressure of the gas", "bar", expected_uncertainty_bar, -1.0),
    )
    uncertainty_bar = expanded_uncertainty(terms)
    sensors = tuple(
        SensorInKnownGas(
            serial=reading.serial,
            oxygen_bar=reading.oxygen_bar,
            difference_bar=reading.oxygen_bar - expected_bar,
            decision=decide(reading.oxygen_bar - expected_bar, tolerance_bar, uncertainty_bar),
        )
        for reading in readings
    )
    values = [reading.oxygen_bar for reading in readings]
    spread_bar = max(values) - min(values)
    spread_within_limit = not is_above(spread_bar, spread_limit_bar)
    return KnownGasCheck(
        expected_bar=expected_bar,
        uncertainty_bar=uncertainty_bar,
        sensors=sensors,
        spread_bar=spread_bar,
        spread_within_limit=spread_within_limit,
        decision=_worst(sensors, spread_within_limit),
    )


def _worst(sensors: Sequence[SensorInKnownGas], spread_within_limit: bool) -> Decision:
    decisions = {sensor.decision for sensor in sensors}
    if Decision.OUTSIDE in decisions or not spread_within_limit:
        return Decision.OUTSIDE
    return Decision.NEAR_LIMIT if Decision.NEAR_LIMIT in decisions else Decision.INSIDE
