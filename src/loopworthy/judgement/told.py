"""Computed numbers in the digits in which they are told, so that what stands beside each other adds up.

A reading less what was expected is the difference that is told, and the limit less that difference is the margin that
is told. Where rounding would move a number across its limit, it is told with more digits.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from loopworthy.judgement.outcome import EffectiveLimit, rounded

MOST_PLACES: Final = 6
"""As many as are held against a limit (`outcome.COMPARE_TO`)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A reading against what was expected, as it is told.

    Attributes
    ----------
    expected, difference, margin : Decimal
        In the unit of the reading; reading - expected = difference, and tolerance - abs(difference) = margin, exactly.
    """

    expected: Decimal
    difference: Decimal
    margin: Decimal


def told_difference(reading: Decimal, expected: float, tolerance: EffectiveLimit, *, places: int) -> Told:
    """A reading against what was expected, with at least so many decimals, on the side of its limit where it is."""
    exact = rounded(expected)
    side = _side(abs(reading - exact), tolerance)
    digits = min(max(places, _places(reading)), MOST_PLACES)
    told = _rounded(exact, digits)
    while digits < MOST_PLACES and _side(abs(reading - told), tolerance) != side:
        digits += 1
        told = _rounded(exact, digits)
    difference = reading - told
    return Told(expected=told, difference=difference, margin=tolerance.decimal - abs(difference))


def told_value(value: Decimal, *limits: EffectiveLimit, places: int) -> Decimal:
    """A computed value with at least so many decimals, on the side of each limit where it is."""
    for digits in range(places, MOST_PLACES):
        told = _rounded(value, digits)
        if all(_side(told, one) == _side(value, one) for one in limits):
            return told
    return value


def told_margin(told: Decimal, limit: EffectiveLimit) -> Decimal:
    """The margin of a value as it is told, positive on the good side."""
    return told - limit.decimal if limit.limit.tighter.value == "higher" else limit.decimal - told


def _side(value: Decimal, limit: EffectiveLimit) -> int:
    """-1 below the limit, 0 at it, 1 above."""
    return (value > limit.decimal) - (value < limit.decimal)


def _places(value: Decimal) -> int:
    exponent = value.as_tuple().exponent
    return max(0, -exponent) if isinstance(exponent, int) else 0


def _rounded(value: Decimal, places: int) -> Decimal:
    return value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN)
