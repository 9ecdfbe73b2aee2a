"""The standard atmosphere: which pressure to expect at a height, and the other way round.

This is the troposphere of ISO 2533. It says what a barometer ought to show on an ordinary day; weather moves the real
pressure by 30 mbar and more, so it can query a reading but never replace one.
"""

from __future__ import annotations

from loopworthy.science.checks import require_between

# ISO 2533:1975, the values that define the model (the gas constant is the model's own, not CODATA's).
SEA_LEVEL_PRESSURE_MBAR = 1013.25
SEA_LEVEL_TEMPERATURE_K = 288.15
LAPSE_K_PER_M = 0.0065
MODEL_GAS_CONSTANT_J_PER_MOL_K = 8.31432
AIR_MOLAR_MASS_KG_PER_MOL = 0.028964420
MODEL_GRAVITY_M_PER_S2 = 9.80665
EARTH_RADIUS_M = 6_356_766.0
LOWEST_M = -500.0
HIGHEST_M = 9_000.0

_EXPONENT = MODEL_GRAVITY_M_PER_S2 * AIR_MOLAR_MASS_KG_PER_MOL / (MODEL_GAS_CONSTANT_J_PER_MOL_K * LAPSE_K_PER_M)


def standard_pressure_mbar(altitude_m: float) -> float:
    """Pressure of the standard atmosphere at a geopotential height.

    Parameters
    ----------
    altitude_m : float
        Geopotential height above mean sea level, -500 to 9000 [m]. At 4000 m it is 2.5 m less than the height on a
        map, which changes the pressure by 0.2 mbar.

    Returns
    -------
    float
        Pressure. [mbar]

    Raises
    ------
    DomainError
        If the height lies outside the range.

    Notes
    -----
    p = p0 (1 - L H / T0) ^ (g M / (R L)), the exponent being 5.25588, after [1]_.

    Examples
    --------
    >>> round(standard_pressure_mbar(1500), 1)
    845.6

    References
    ----------
    .. [1] ISO 2533:1975, Standard Atmosphere; the same below 32 km as the U.S. Standard Atmosphere, 1976.
    """
    require_between("altitude_m", altitude_m, LOWEST_M, HIGHEST_M, "m")
    return float(SEA_LEVEL_PRESSURE_MBAR * (1.0 - LAPSE_K_PER_M * altitude_m / SEA_LEVEL_TEMPERATURE_K) ** _EXPONENT)


def standard_altitude_m(ambient_pressure_mbar: float) -> float:
    """Geopotential height where the standard atmosphere has this pressure, 308 to 1075 mbar; inverse of the above."""
    lowest = standard_pressure_mbar(HIGHEST_M)
    highest = standard_pressure_mbar(LOWEST_M)
    require_between("ambient_pressure_mbar", ambient_pressure_mbar, lowest, highest, "mbar")
    ratio = ambient_pressure_mbar / SEA_LEVEL_PRESSURE_MBAR
    return float(SEA_LEVEL_TEMPERATURE_K / LAPSE_K_PER_M * (1.0 - ratio ** (1.0 / _EXPONENT)))


def geopotential_from_geometric_m(altitude_m: float) -> float:
    """Geopotential height of a height on the map (ISO 2533: H = r h / (r + h)). [m]"""
    require_between("altitude_m", altitude_m, LOWEST_M, HIGHEST_M + 20.0, "m")
    return EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
