"""A reading: what an instrument showed, as somebody typed it.

The value stays a decimal string with its unit and, where it is known, the step in which the instrument shows it.
Floats appear only in science, never in a record.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Final

import msgspec

from loopworthy.vocabulary.errors import InputError

UNITS: Final[tuple[str, ...]] = (
    "mV", "mV/bar", "V", "bar", "mbar", "hPa", "psi", "kPa", "m", "ft", "C", "F", "K", "K/min", "%", "ppm", "mg/m3",
    "L", "mL", "L/min", "mL/min", "mL/mbar", "g", "kg", "g/L", "s", "min", "h", "d", "count", "1",
)  # fmt: skip
"""Units that a reading may carry; ``1`` is a bare number, ``count`` a whole one."""

_DECIMAL = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)\Z")


class Reading(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One value with its unit.

    Attributes
    ----------
    value : str
        Plain decimal with a point, as read: ``"47.9"``. Trailing zeros are kept: they tell how finely it was read.
    unit : str
        One of `UNITS`.
    resolution : str
        The step in which the instrument shows the value, same unit; empty where it is not known.
    """

    value: str
    unit: str
    resolution: str = ""

    def __post_init__(self) -> None:
        if not _DECIMAL.match(self.value):
            raise InputError("value", self.value, "a plain decimal number such as 47.9")
        if self.unit not in UNITS:
            raise InputError("unit", self.unit, f"one of {', '.join(UNITS)}")
        if self.resolution and (not _DECIMAL.match(self.resolution) or Decimal(self.resolution) <= 0):
            raise InputError("resolution", self.resolution, "a decimal number above 0, or empty")

    @property
    def decimal(self) -> Decimal:
        """The value for comparison with a limit."""
        return Decimal(self.value)

    @property
    def number(self) -> float:
        """The value for science."""
        return float(self.value)

    @property
    def step(self) -> Decimal:
        """How finely it was read: the stated resolution, else one unit of the last digit as typed."""
        if self.resolution:
            return Decimal(self.resolution)
        _, _, decimals = self.value.partition(".")
        return Decimal(1).scaleb(-len(decimals))

    def __str__(self) -> str:
        return f"{self.value} {self.unit}" if self.unit not in ("1", "count") else self.value


def parse_number(name: str, text: str) -> str:
    """A typed number as the plain decimal that a reading holds.

    Decimal comma and decimal point are both taken; digits are kept as typed.

    Raises
    ------
    InputError
        If the text is not one plain decimal number.

    Examples
    --------
    >>> parse_number("air", " 10,40 ")
    '10.40'
    """
    plain = text.strip().replace("\N{MINUS SIGN}", "-")
    if plain.count(",") == 1 and "." not in plain:
        plain = plain.replace(",", ".")
    if not _DECIMAL.match(plain) or len(plain) > 24:
        raise InputError(
            name, text, "one number such as 10.4 or 10,4", next_step="Type the digits that the display shows"
        )
    return plain
