"""How long oxygen lasts, how much diluent a dive takes, and how far in one may go with the bailout that there is.

All amounts are bar litres (litres at 1 bar), all pressures absolute. The sums are plain, and each part stands by itself
so that a reader sees which one rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loopworthy.science.checks import (
    require_above,
    require_absolute_pressure_bar,
    require_between,
    require_surface_pressure_bar,
)
from loopworthy.vocabulary.errors import DomainError

FLUSH_LOOP_VOLUMES = 2.5
"""Diluent for one flush, in volumes of the loop. Common practice."""

RESERVE_FACTOR = 1.5
"""Own need times this is carried, where a team shares. Common practice."""

PROBLEM_MIN = 3.0
PROBLEM_RMV_L_PER_MIN = 50.0
"""Minutes and breathing rate with which a bailout begins; published subjects breathed 50 to 80 L/min under CO2."""


def oxygen_endurance_min(available_bar_l: float, metabolic_l_per_min: float, losses_fraction: float = 0.2) -> float:
    """How long an oxygen supply lasts.

    Parameters
    ----------
    available_bar_l : float
        Content above the reserve, 0 to 50 000. [bar L]
    metabolic_l_per_min : float
        Oxygen that the diver uses, above 0 to 6. [L/min]
    losses_fraction : float
        What ascents, flushes and leaks take, as a share of it, 0 to 5.

    Returns
    -------
    float
        Time; independent of depth, because metabolism counts molecules. [min]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Examples
    --------
    >>> round(oxygen_endurance_min(2 * (190 - 50), 1.2))
    194
    """
    _require_amount("available_bar_l", available_bar_l)
    require_metabolic_l_per_min(metabolic_l_per_min)
    require_between("losses_fraction", losses_fraction, 0.0, 5.0)
    return available_bar_l / (metabolic_l_per_min * (1.0 + losses_fraction))


def oxygen_use_l_per_min(used_bar_l: float, run_time_min: float) -> float:
    """What was really used, to be held against the plan: a difference is work, a leak or a valve. [L/min]"""
    _require_amount("used_bar_l", used_bar_l)
    require_above("run_time_min", run_time_min, 0.0, 2000.0, "min")
    return used_bar_l / run_time_min


@dataclass(frozen=True, slots=True, kw_only=True)
class DiluentBudget:
    """Diluent that a dive takes, by what takes it, and what is left. [bar L]

    `further_flushes` is how many more at the greatest depth the margin allows; negative if the plan does not fit.
    """

    descent_bar_l: float
    flushes_bar_l: float
    buoyancy_bar_l: float
    redescents_bar_l: float
    total_bar_l: float
    margin_bar_l: float
    one_flush_bar_l: float
    further_flushes: int


def diluent_budget(
    available_bar_l: float,
    loop_volume_l: float,
    bottom_pressure_bar: float,
    surface_pressure_bar: float,
    *,
    flushes: int = 2,
    flush_loop_volumes: float = FLUSH_LOOP_VOLUMES,
    buoyancy_l: float = 5.0,
    redescents_bar: float = 0.0,
) -> DiluentBudget:
    """Diluent for descent, flushes at the greatest depth, buoyancy there, and going down again.

    Parameters
    ----------
    available_bar_l : float
        Content above the reserve, 0 to 50 000. [bar L]
    loop_volume_l : float
        Loop and lungs, 1 to 30. [L]
    bottom_pressure_bar, surface_pressure_bar : float
        Absolute pressures. [bar]
    flushes : int
        Planned flushes at the greatest depth, 0 to 50.
    flush_loop_volumes : float
        Volumes of the loop for one, 1 to 10.
    buoyancy_l : float
        Volume let into a compensator at the greatest depth, 0 to 100. [L]
    redescents_bar : float
        Sum of all rises of pressure on the way but the first, 0 to 100. [bar]

    Returns
    -------
    DiluentBudget
        Parts, sum and margin.

    Raises
    ------
    DomainError
        If an argument lies outside its range.
    """
    _require_amount("available_bar_l", available_bar_l)
    require_loop_volume_l(loop_volume_l)
    require_absolute_pressure_bar(bottom_pressure_bar, "bottom_pressure_bar")
    require_surface_pressure_bar(surface_pressure_bar)
    require_between("flushes", flushes, 0, 50)
    require_between("flush_loop_volumes", flush_loop_volumes, 1.0, 10.0)
    require_between("buoyancy_l", buoyancy_l, 0.0, 100.0, "L")
    require_between("redescents_bar", redescents_bar, 0.0, 100.0, "bar")
    if bottom_pressure_bar < surface_pressure_bar:
        raise DomainError("bottom_pressure_bar", bottom_pressure_bar, f"at least {surface_pressure_bar:.4g} bar")
    one_flush = flush_loop_volumes * loop_volume_l * bottom_pressure_bar
    parts = (
        loop_volume_l * (bottom_pressure_bar - surface_pressure_bar),
        flushes * one_flush,
        buoyancy_l * bottom_pressure_bar,
        loop_volume_l * redescents_bar,
    )
    total = math.fsum(parts)
    margin = available_bar_l - total
    return DiluentBudget(
        descent_bar_l=parts[0],
        flushes_bar_l=parts[1],
        buoyancy_bar_l=parts[2],
        redescents_bar_l=parts[3],
        total_bar_l=total,
        margin_bar_l=margin,
        one_flush_bar_l=one_flush,
        further_flushes=math.floor(margin / one_flush + 1e-9),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class WayBack:
    """Breathing on the way out at a depth: a problem first, then a steady pace.

    Attributes
    ----------
    ambient_pressure_bar : float
        Absolute pressure on the way, 0.4 to 60. [bar]
    speed_m_per_min : float
        Pace of the way out, above 0 to 200. [m/min]
    rmv_l_per_min : float
        Breathing rate on it, above 0 to 120. [L/min]
    problem_min, problem_rmv_l_per_min : float
        Minutes before setting off, 0 to 30, and the breathing rate in them, above 0 to 120.
    reserve_factor : float
        What is carried for each litre needed, 1 to 4.
    """

    ambient_pressure_bar: float
    speed_m_per_min: float
    rmv_l_per_min: float
    problem_min: float = PROBLEM_MIN
    problem_rmv_l_per_min: float = PROBLEM_RMV_L_PER_MIN
    reserve_factor: float = RESERVE_FACTOR

    def __post_init__(self) -> None:
        require_absolute_pressure_bar(self.ambient_pressure_bar)
        require_above("speed_m_per_min", self.speed_m_per_min, 0.0, 200.0, "m/min")
        require_above("rmv_l_per_min", self.rmv_l_per_min, 0.0, 120.0, "L/min")
        require_between("problem_min", self.problem_min, 0.0, 30.0, "min")
        require_above("problem_rmv_l_per_min", self.problem_rmv_l_per_min, 0.0, 120.0, "L/min")
        require_between("reserve_factor", self.reserve_factor, 1.0, 4.0)

    @property
    def problem_bar_l(self) -> float:
        """Gas for the problem, without reserve. [bar L]"""
        return self.problem_min * self.ambient_pressure_bar * self.problem_rmv_l_per_min

    def need_bar_l(self, distance_m: float) -> float:
        """Gas for the way out from a distance of 0 to 20 000 m, reserve included. [bar L]"""
        require_between("distance_m", distance_m, 0.0, 20_000.0, "m")
        swimming = distance_m / self.speed_m_per_min * self.ambient_pressure_bar * self.rmv_l_per_min
        return self.reserve_factor * (self.problem_bar_l + swimming)

    def furthest_distance_m(self, available_bar_l: float) -> float:
        """Distance from which that gas still leads out; 0 where it does not even cover the problem. [m]"""
        _require_amount("available_bar_l", available_bar_l)
        for_swimming = available_bar_l / self.reserve_factor - self.problem_bar_l
        return max(0.0, for_swimming / (self.ambient_pressure_bar * self.rmv_l_per_min) * self.speed_m_per_min)


def require_metabolic_l_per_min(value: float, name: str = "metabolic_l_per_min") -> float:
    """Oxygen that a diver uses, above 0 to 6 L/min; rest is 0.3, the hardest work of an athlete near 5."""
    return require_above(name, value, 0.0, 6.0, "L/min")


def require_loop_volume_l(value: float, name: str = "loop_volume_l") -> float:
    """Volume of loop and lungs, 1 to 30 L."""
    return require_between(name, value, 1.0, 30.0, "L")


def _require_amount(name: str, value: float) -> float:
    return require_between(name, value, 0.0, 50_000.0, "bar L")
