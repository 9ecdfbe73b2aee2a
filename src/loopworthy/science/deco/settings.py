"""What a schedule is computed with: the place, the limits, the rates and the form of its stops.

Everything that changes a number of a schedule stands here, so that two answers can be compared only if this is equal.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from loopworthy.science.checks import require_above, require_between, require_fraction, require_surface_pressure_bar
from loopworthy.science.deco.coefficients import Coefficients, FirstCompartment, Variant, coefficients
from loopworthy.vocabulary.errors import DomainError

MODEL_NAME = "ZH-L16 with gradient factors"
LUNG_WATER_VAPOUR_BAR = 0.0627
"""Saturated vapour at 37 °C, the model's own convention (read in an encyclopaedia article on the model)."""

CAUTION = (
    "A schedule is a model's answer, not a promise. Check it against a second, independent source before it is dived; "
    "the unit's manual, training and local codes come first"
)


class StopTest(Enum):
    """When the tissues are compared with the next level's limit."""

    DEPARTURE = "departure"
    ARRIVAL = "arrival"


class StopForm(Enum):
    """How finely a stop is timed."""

    CONTINUOUS = "continuous"
    WHOLE_MINUTES = "whole minutes"


@dataclass(frozen=True, slots=True, kw_only=True)
class DecoSettings:
    """Place, limits, rates and form.

    Attributes
    ----------
    surface_bar, bar_per_m, water_vapour_bar : float
        Pressure at the surface, 0.45 to 1.1; its rise in a metre, 0.09 to 0.11; water vapour in the lungs, 0 to 0.2.
    gf_low, gf_high : float
        Part of the allowed overpressure that is used at the first stop and at the surface, above 0 to 1.
    ascent_m_per_min, descent_m_per_min : float
        Every travel up and down, 0.5 to 1,000,000 (an instant, for comparing with tables).
    stop_step_m, last_stop_m : float
        Stops lie at multiples of the step, 0.5 to 10, none shallower than the last stop, a multiple of the step.
    test, stops : StopTest, StopForm
        See there.
    variant, first_compartment : Variant, FirstCompartment
        Which coefficients.
    """

    gf_low: float
    gf_high: float
    surface_bar: float = 1.01325
    bar_per_m: float = 0.1
    water_vapour_bar: float = LUNG_WATER_VAPOUR_BAR
    ascent_m_per_min: float = 9.0
    descent_m_per_min: float = 20.0
    stop_step_m: float = 3.0
    last_stop_m: float = 3.0
    test: StopTest = StopTest.DEPARTURE
    stops: StopForm = StopForm.WHOLE_MINUTES
    variant: Variant = Variant.C
    first_compartment: FirstCompartment = FirstCompartment.FIVE_MINUTES

    def __post_init__(self) -> None:
        require_fraction("gf_low", self.gf_low, above_zero=True)
        require_fraction("gf_high", self.gf_high, above_zero=True)
        require_surface_pressure_bar(self.surface_bar, "surface_bar")
        require_between("bar_per_m", self.bar_per_m, 0.09, 0.11, "bar/m")
        require_between("water_vapour_bar", self.water_vapour_bar, 0.0, 0.2, "bar")
        require_between("ascent_m_per_min", self.ascent_m_per_min, 0.5, 1e6, "m/min")
        require_between("descent_m_per_min", self.descent_m_per_min, 0.5, 1e6, "m/min")
        require_between("stop_step_m", self.stop_step_m, 0.5, 10.0, "m")
        require_above("last_stop_m", self.last_stop_m, 0.0, 100.0, "m")
        steps = self.last_stop_m / self.stop_step_m
        if abs(steps - round(steps)) > 1e-9 or round(steps) < 1:
            raise DomainError("last_stop_m", self.last_stop_m, f"a multiple of stop_step_m={self.stop_step_m:g}")

    @property
    def coefficients(self) -> Coefficients:
        """The chosen coefficients."""
        return coefficients(self.variant, self.first_compartment)

    def pressure_bar(self, depth_m: float) -> float:
        """Absolute pressure at a depth. [bar]"""
        return self.surface_bar + self.bar_per_m * depth_m

    def next_level_m(self, depth_m: float) -> float:
        """Where an ascent from this depth goes next: the nearest shallower stop depth, or the surface. [m]"""
        steps = depth_m / self.stop_step_m
        below = round(steps)
        if abs(steps - below) > 1e-9:
            below = int(steps) + 1  # off the grid: the stop depth just above is the next one
        level_m = (below - 1) * self.stop_step_m
        return level_m if level_m >= self.last_stop_m - 1e-9 else 0.0
