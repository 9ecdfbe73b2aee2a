"""Return to air after calibration: the second point that calibration did not set.

Agreement right after a calibration in oxygen is there by construction and proves nothing. Back in air every sensor
must show what air has, 0.2095 of the dry pressure, and all of them together.
"""

from __future__ import annotations

from collections.abc import Sequence

from loopworthy.science.checks import require_ambient_pressure_mbar, require_between
from loopworthy.science.physics.constants import AIR_OXYGEN_FRACTION
from loopworthy.science.physics.units import bar_from_mbar
from loopworthy.science.physics.water_vapour import vapour_pressure_mbar
from loopworthy.science.sensors.agreement import SensorReading
from loopworthy.science.sensors.known_gas import KnownGasCheck, check_known_gas


def oxygen_in_air_bar(ambient_pressure_mbar: float, temperature_c: float, relative_humidity_fraction: float) -> float:
    """Oxygen pressure of air of this pressure, temperature and humidity: 0.2095 (P - RH psat). [bar]

    Examples
    --------
    >>> round(oxygen_in_air_bar(1008, 22, 0.55), 4)
    0.2081
    """
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    vapour_mbar = vapour_pressure_mbar(temperature_c, relative_humidity_fraction)
    return AIR_OXYGEN_FRACTION * bar_from_mbar(ambient_pressure_mbar - vapour_mbar)


def check_return_to_air(
    readings: Sequence[SensorReading],
    *,
    ambient_pressure_mbar: float,
    temperature_c: float,
    relative_humidity_fraction: float,
    tolerance_bar: float,
    spread_limit_bar: float,
    resolution_bar: float,
    pressure_uncertainty_mbar: float = 0.0,
) -> KnownGasCheck:
    """Compare what calibrated sensors show in air with what air has.

    Parameters
    ----------
    readings : sequence of SensorReading
        One or more, each serial once.
    ambient_pressure_mbar, temperature_c, relative_humidity_fraction : float
        Of the air at the sensors: 450 to 1100 [mbar], -20 to 60 [°C], 0 to 1. A loop that is still wet after the flush
        has a humidity of 1.
    tolerance_bar, spread_limit_bar, resolution_bar : float
        As in `check_known_gas`. [bar]
    pressure_uncertainty_mbar : float
        Standard uncertainty of the barometer, 0 to 100. [mbar]

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
    """
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    require_between("pressure_uncertainty_mbar", pressure_uncertainty_mbar, 0.0, 100.0, "mbar")
    return check_known_gas(
        readings,
        oxygen_fraction=AIR_OXYGEN_FRACTION,
        ambient_pressure_bar=bar_from_mbar(ambient_pressure_mbar),
        water_vapour_bar=bar_from_mbar(vapour_pressure_mbar(temperature_c, relative_humidity_fraction)),
        tolerance_bar=tolerance_bar,
        spread_limit_bar=spread_limit_bar,
        resolution_bar=resolution_bar,
        expected_uncertainty_bar=AIR_OXYGEN_FRACTION * bar_from_mbar(pressure_uncertainty_mbar),
    )
