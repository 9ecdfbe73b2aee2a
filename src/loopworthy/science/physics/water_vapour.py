"""Water vapour in air and in a wet loop: the part of the pressure that is not the gas one thinks of.

The Magnus form of the WMO over liquid water, within 0.35 % of the reference formulation from 0 to 40 °C. That error
is far below what a hygrometer adds and does not enter the uncertainty budgets.
"""

from __future__ import annotations

import math

from loopworthy.science.checks import require_air_temperature_c, require_between, require_humidity_fraction

# WMO-No. 8, Guide to Instruments and Methods of Observation, saturation over water.
MAGNUS_PRESSURE_MBAR = 6.112
MAGNUS_FACTOR = 17.62
MAGNUS_TEMPERATURE_C = 243.12


def saturated_vapour_pressure_mbar(temperature_c: float) -> float:
    """Pressure of water vapour over liquid water.

    Parameters
    ----------
    temperature_c : float
        Temperature of water and gas, -20 to 60. [°C]

    Returns
    -------
    float
        Saturated vapour pressure. [mbar]

    Raises
    ------
    DomainError
        If the temperature lies outside the range.

    Notes
    -----
    6.112 exp(17.62 t / (243.12 + t)) after [1]_. Compared with IAPWS-95 it is 0.08 % low at 0 °C and 0.3 % low at
    35 °C. The enhancement of vapour pressure by air (0.4 % at 1 bar) is left out. Below 0 °C it is the pressure over
    supercooled water, to which relative humidity refers.

    Examples
    --------
    >>> round(saturated_vapour_pressure_mbar(20), 1)
    23.3

    References
    ----------
    .. [1] World Meteorological Organization, "Guide to Instruments and Methods of Observation", WMO-No. 8.
    """
    require_air_temperature_c(temperature_c)
    return MAGNUS_PRESSURE_MBAR * math.exp(MAGNUS_FACTOR * temperature_c / (MAGNUS_TEMPERATURE_C + temperature_c))


def saturated_vapour_slope_mbar_per_k(temperature_c: float) -> float:
    """Change of the saturated vapour pressure with temperature, the derivative of the formula above."""
    saturated = saturated_vapour_pressure_mbar(temperature_c)
    return saturated * MAGNUS_FACTOR * MAGNUS_TEMPERATURE_C / (MAGNUS_TEMPERATURE_C + temperature_c) ** 2


def vapour_pressure_mbar(temperature_c: float, relative_humidity_fraction: float) -> float:
    """Pressure of the water vapour in air of this temperature and relative humidity (0 to 1). [mbar]"""
    require_humidity_fraction(relative_humidity_fraction)
    return relative_humidity_fraction * saturated_vapour_pressure_mbar(temperature_c)


def dew_point_c(vapour_mbar: float) -> float:
    """Temperature at which this vapour pressure (1.26 to 199.9 mbar) saturates; inverse of the Magnus form."""
    lowest, highest = saturated_vapour_pressure_mbar(-20.0), saturated_vapour_pressure_mbar(60.0)
    require_between("vapour_mbar", vapour_mbar, lowest, highest, "mbar")
    logarithm = math.log(vapour_mbar / MAGNUS_PRESSURE_MBAR)
    return MAGNUS_TEMPERATURE_C * logarithm / (MAGNUS_FACTOR - logarithm)
