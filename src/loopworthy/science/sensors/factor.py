"""A sensor's factor in mV per bar of oxygen, and the oxygen pressure that a later reading stands for.

The factor belongs to the sensor and does not change with the height of the place, so it is what is compared from one
preparation to the next. A zero offset is taken as none; a sensor limited in current reads low above its ceiling.
"""

from __future__ import annotations

from loopworthy.science.checks import require_above, require_between, require_oxygen_pressure_bar


def factor_mv_per_bar(reading_mv: float, oxygen_bar: float) -> float:
    """Output for one bar of oxygen, from a reading (above 0 to 250 mV) at a known oxygen pressure (to 5 bar)."""
    require_above("reading_mv", reading_mv, 0.0, 250.0, "mV")
    require_oxygen_pressure_bar(oxygen_bar, "oxygen_bar")
    return reading_mv / oxygen_bar


def oxygen_pressure_bar(reading_mv: float, factor: float) -> float:
    """Oxygen pressure that a reading (0 to 500 mV) stands for, with the factor in mV per bar.

    Examples
    --------
    >>> round(oxygen_pressure_bar(62.1, factor_mv_per_bar(49.1, 0.9999)), 3)
    1.265
    """
    require_between("reading_mv", reading_mv, 0.0, 500.0, "mV")
    require_factor_mv_per_bar(factor)
    return reading_mv / factor


def require_factor_mv_per_bar(value: float, name: str = "factor_mv_per_bar") -> float:
    """The value, if it can be the factor of a galvanic sensor: above 5 to 250 mV per bar."""
    return require_above(name, value, 5.0, 250.0, "mV per bar")
