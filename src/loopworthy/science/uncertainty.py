"""How well a result is known: a budget of terms after the GUM, and a decision with a guard band.

Each term keeps its own standard uncertainty, sensitivity and contribution, so that a reader sees what eats the
tolerance. The decision has three values, because a difference closer to its limit than it is known cannot be called.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum

from loopworthy.science.checks import is_above

COVERAGE_FACTOR = 2.0
"""Expanded uncertainty is twice the combined one: about 95 % coverage where the terms are many and alike."""

RECTANGULAR = math.sqrt(3.0)
"""A half-width of which nothing more is known, divided by this, is a standard uncertainty (GUM 4.3.7)."""


class Decision(Enum):
    """What a difference, its tolerance and its uncertainty can say together."""

    INSIDE = "inside"
    NEAR_LIMIT = "near limit"
    OUTSIDE = "outside"


@dataclass(frozen=True, slots=True, kw_only=True)
class UncertaintyTerm:
    """One line of a budget.

    Attributes
    ----------
    name : str
        The input this line stands for.
    unit : str
        Unit of the input.
    standard_uncertainty : float
        One standard deviation of the input, in its unit.
    sensitivity : float
        Change of the result for one unit of the input, signed.
    contribution : float
        Size of `standard_uncertainty` times `sensitivity`, in the unit of the result.
    """

    name: str
    unit: str
    standard_uncertainty: float
    sensitivity: float
    contribution: float


def term(name: str, unit: str, standard_uncertainty: float, sensitivity: float) -> UncertaintyTerm:
    """A line of a budget with its contribution worked out."""
    return UncertaintyTerm(
        name=name,
        unit=unit,
        standard_uncertainty=standard_uncertainty,
        sensitivity=sensitivity,
        contribution=abs(standard_uncertainty * sensitivity),
    )


def combined_standard_uncertainty(terms: tuple[UncertaintyTerm, ...]) -> float:
    """Root of the sum of squares of independent contributions (GUM eq. 10)."""
    return math.sqrt(math.fsum(line.contribution**2 for line in terms))


def expanded_uncertainty(terms: tuple[UncertaintyTerm, ...]) -> float:
    """Coverage factor 2 times the combined standard uncertainty (GUM 6.2)."""
    return COVERAGE_FACTOR * combined_standard_uncertainty(terms)


def resolution_uncertainty(resolution: float) -> float:
    """Standard uncertainty of one reading on a display with this step: half a step each way (GUM F.2.2.1)."""
    return resolution / 2.0 / RECTANGULAR


def decide(difference: float, tolerance: float, uncertainty: float) -> Decision:
    """Inside, near limit or outside, with the expanded uncertainty as guard band on both sides of the tolerance.

    Inside means that the size of the difference is at most ``tolerance - uncertainty``; outside that it is above
    ``tolerance + uncertainty``; in between the readings cannot tell. Where the uncertainty is larger than the
    tolerance, nothing can be inside.
    """
    size = abs(difference)
    if not is_above(size, tolerance - uncertainty):
        return Decision.INSIDE
    if is_above(size, tolerance + uncertainty):
        return Decision.OUTSIDE
    return Decision.NEAR_LIMIT
