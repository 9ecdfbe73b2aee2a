"""Conversions between the units that instruments and tables of the trade show.

Every factor is exact by definition of its unit, except that a division may round in the last digit of a float. Depth
units of pressure (metre and foot of sea water) are pressures here, never lengths.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from loopworthy.science.physics.constants import ZERO_CELSIUS_K
from loopworthy.vocabulary.errors import DomainError, InputError

_POUND_KG = 0.45359237
_FOOT_M = 0.3048
_INCH_M = 0.0254
_GRAVITY = 9.80665

PASCALS: Mapping[str, float] = MappingProxyType(
    {
        "Pa": 1.0,
        "hPa": 100.0,
        "mbar": 100.0,
        "kPa": 1000.0,
        "bar": 100_000.0,
        "atm": 101_325.0,
        "psi": _POUND_KG * _GRAVITY / _INCH_M**2,  # pound-force on a square inch, 6894.757...
        "mmHg": 13.5951 * _GRAVITY,  # conventional millimetre of mercury, 133.322...
        "msw": 10_000.0,  # metre of sea water, a tenth of a bar by definition
        # Foot of sea water after the US Navy Diving Manual: a foot of water of 64 lb/ft3, 3064.3 Pa. Tables that count
        # 33 fsw to the atmosphere are 0.2 % away from it.
        "fsw": 64.0 * _POUND_KG / _FOOT_M**3 * _GRAVITY * _FOOT_M,
    }
)
"""Pascals in one of each pressure unit."""

METRES: Mapping[str, float] = MappingProxyType({"m": 1.0, "ft": _FOOT_M})
"""Metres in one of each unit of length."""

TEMPERATURES = ("°C", "°F", "K")

_ALIASES = {"C": "°C", "F": "°F", "degC": "°C", "degF": "°F"}


def known_units() -> tuple[str, ...]:
    """Every unit that `convert` knows."""
    return (*PASCALS, *METRES, *TEMPERATURES)


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """The same pressure, length or temperature in another unit.

    Parameters
    ----------
    value : float
        What was read, in `from_unit`. Negative gauge pressures are allowed; a temperature must be above 0 K.
    from_unit, to_unit : str
        Names as in `known_units`; ``C`` and ``F`` stand for °C and °F.

    Returns
    -------
    float
        The value in `to_unit`.

    Raises
    ------
    InputError
        If a unit is unknown, or the two do not measure the same thing.
    DomainError
        If the value is not finite, or a temperature is below absolute zero.

    Examples
    --------
    >>> round(convert(200, "bar", "psi"), 1)
    2900.8
    >>> round(convert(98.6, "F", "C"), 6)
    37.0
    """
    source = _named(from_unit, "from_unit")
    target = _named(to_unit, "to_unit")
    if not abs(value) <= 1e12:
        raise DomainError("value", value, "a finite number of at most 1e12 in size")
    for table in (PASCALS, METRES):
        if source in table and target in table:
            return value if source == target else value * table[source] / table[target]
    if source in TEMPERATURES and target in TEMPERATURES:
        kelvin = _to_kelvin(value, source)  # refuses what is colder than absolute zero, whatever the target
        return value if source == target else _from_kelvin(kelvin, target)
    raise InputError("to_unit", to_unit, f"a unit of the same kind as {from_unit}")


def mbar_from_bar(pressure_bar: float) -> float:
    """Millibars in these bars; 1 mbar is 1 hPa."""
    return pressure_bar * 1000.0


def bar_from_mbar(pressure_mbar: float) -> float:
    """Bars in these millibars."""
    return pressure_mbar / 1000.0


def kelvin_from_celsius(temperature_c: float) -> float:
    """Absolute temperature. [K]"""
    return temperature_c + ZERO_CELSIUS_K


def _named(unit: str, argument: str) -> str:
    name = _ALIASES.get(unit, unit)
    if name not in known_units():
        raise InputError(argument, unit, f"one of {', '.join(known_units())}")
    return name


def _to_kelvin(value: float, unit: str) -> float:
    if unit == "°C":
        kelvin = value + ZERO_CELSIUS_K
    elif unit == "°F":
        kelvin = (value + 459.67) / 1.8
    else:
        kelvin = value
    if kelvin < 0.0:
        raise DomainError("value", value, f"at or above absolute zero in {unit}")
    return kelvin


def _from_kelvin(kelvin: float, unit: str) -> float:
    if unit == "°C":
        return kelvin - ZERO_CELSIUS_K
    if unit == "°F":
        return kelvin * 1.8 - 459.67
    return kelvin
