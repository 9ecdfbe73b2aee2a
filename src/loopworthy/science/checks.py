"""Range checks shared by the science rooms, each in the form name, value, limit, next step.

A number that looks like another unit (1.013 where millibars are asked for) is refused with that unit named, because a
slipped unit is the likeliest way for a wrong number to get in. Checks return the value, so that they can be inlined.
"""

from __future__ import annotations

import math

from loopworthy.vocabulary.errors import DomainError

ROUNDING_DIGITS = 9
"""Differences are compared with limits after rounding to this many decimals, so that 0.23 - 0.21 is 0.02."""


def require_between(name: str, value: float, low: float, high: float, unit: str = "", *, next_step: str = "") -> float:
    """The value, if it is a finite number from `low` to `high`, both included."""
    if not low <= value <= high:  # also catches NaN, which compares as false
        raise DomainError(name, value, f"between {low:.10g} and {high:.10g} {unit}".rstrip(), next_step=next_step)
    return value


def require_above(name: str, value: float, low: float, high: float, unit: str = "", *, next_step: str = "") -> float:
    """The value, if it is a finite number above `low` and at most `high`."""
    if not low < value <= high:
        limit = f"above {low:.10g} and at most {high:.10g} {unit}".rstrip()
        raise DomainError(name, value, limit, next_step=next_step)
    return value


def require_fraction(name: str, value: float, *, low: float = 0.0, above_zero: bool = False) -> float:
    """The value, if it is a fraction from `low` to 1; 55 is refused with the hint that it looks like per cent."""
    hint = ""
    if 1.0 < value <= 100.0:
        hint = f"It looks like per cent; as a fraction it is {value / 100:.6g}"
    if above_zero:
        return require_above(name, value, 0.0, 1.0, "(a fraction)", next_step=hint)
    return require_between(name, value, low, 1.0, "(a fraction)", next_step=hint)


def require_ambient_pressure_mbar(value: float, name: str = "ambient_pressure_mbar") -> float:
    """Barometric pressure from about 6000 m of height to the highest ever measured at sea level. [mbar]"""
    return require_between(name, value, 450.0, 1100.0, "mbar", next_step=_pressure_hint(value))


def require_surface_pressure_bar(value: float, name: str = "surface_pressure_bar") -> float:
    """The same range in bar, absolute."""
    hint = "It looks like mbar; divide by 1000" if 450.0 <= value <= 1100.0 else ""
    return require_between(name, value, 0.45, 1.1, "bar", next_step=hint)


def require_absolute_pressure_bar(value: float, name: str = "ambient_pressure_bar") -> float:
    """Absolute pressure of a gas that is breathed, to 60 bar. [bar]"""
    hint = "It looks like mbar; divide by 1000" if 450.0 <= value <= 1100.0 else ""
    return require_between(name, value, 0.4, 60.0, "bar", next_step=hint)


def require_air_temperature_c(value: float, name: str = "temperature_c") -> float:
    """Temperature of the air or the gas in a loop at the surface. [°C]"""
    hint = ""
    if 250.0 <= value <= 335.0:
        hint = f"It looks like kelvin; in °C it is {value - 273.15:.2f}"
    elif 60.0 < value <= 140.0:
        hint = f"It may be °F; in °C it would be {(value - 32.0) / 1.8:.1f}"
    return require_between(name, value, -20.0, 60.0, "°C", next_step=hint)


def require_humidity_fraction(value: float, name: str = "relative_humidity_fraction") -> float:
    """Relative humidity over liquid water, 0 to 1."""
    return require_fraction(name, value)


def require_depth_m(value: float, name: str = "depth_m") -> float:
    """Depth below the surface, 0 to 500 m."""
    return require_between(name, value, 0.0, 500.0, "m")


def require_oxygen_pressure_bar(value: float, name: str) -> float:
    """An oxygen partial pressure, above 0 and at most 5 bar (a test pot goes to 3.5)."""
    hint = "It looks like mbar; divide by 1000" if value > 100.0 else ""
    return require_above(name, value, 0.0, 5.0, "bar", next_step=hint)


def is_above(value: float, limit: float) -> bool:
    """Whether the value is above the limit, compared after rounding their difference to nine decimals."""
    return round(value - limit, ROUNDING_DIGITS) > 0.0


def is_finite(*values: float) -> bool:
    """Whether every value is an ordinary number."""
    return all(math.isfinite(value) for value in values)


def _pressure_hint(value: float) -> str:
    """Which other unit a pressure in millibars may have been given in."""
    if 0.4 <= value <= 1.2:
        return f"It looks like bar, must be mbar: {value * 1000:.6g}"
    if 6.0 <= value <= 16.0:
        return "It looks like psi, must be mbar: multiply by 68.94757"
    if 17.0 <= value <= 32.0:
        return "It looks like inches of mercury, must be mbar: multiply by 33.8639"
    if 45.0 <= value <= 110.0:
        return f"It looks like kPa, must be mbar: {value * 10:.6g}"
    if 45_000.0 <= value <= 110_000.0:
        return f"It looks like Pa, must be mbar: {value / 100:.6g}"
    return ""
