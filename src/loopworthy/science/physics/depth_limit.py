"""Between which depths a gas can be breathed: deepest for its oxygen, and least deep for a lean one.

Both answers are for the dry gas of a cylinder and do not say that breathing it there is wise; density and narcosis
have limits of their own.
"""

from __future__ import annotations

from loopworthy.science.checks import (
    require_fraction,
    require_oxygen_pressure_bar,
    require_surface_pressure_bar,
)
from loopworthy.science.physics.depth import Water, pressure_per_metre_bar
from loopworthy.vocabulary.errors import DomainError


def maximum_depth_m(
    oxygen_fraction: float,
    oxygen_limit_bar: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Depth at which the gas reaches its upper oxygen limit.

    Parameters
    ----------
    oxygen_fraction : float
        Fraction of the dry gas, above 0 to 1.
    oxygen_limit_bar : float
        Highest partial pressure allowed, above 0 to 5. [bar]
    surface_pressure_bar : float
        Absolute pressure at the surface, 0.45 to 1.1. [bar]
    water, density_kg_per_m3
        As in `depth.pressure_per_metre_bar`.

    Returns
    -------
    float
        Depth. [m]

    Raises
    ------
    DomainError
        If an argument lies outside its range, or the gas is above the limit at the surface already.

    Notes
    -----
    (limit / F - p0) / (rho g).

    Examples
    --------
    >>> round(maximum_depth_m(0.18, 1.4, 1.013, Water.SEA), 1)
    67.3
    """
    pressure_bar = _pressure_of_limit_bar(oxygen_fraction, oxygen_limit_bar, "oxygen_limit_bar", surface_pressure_bar)
    if pressure_bar < surface_pressure_bar:
        raise DomainError(
            "oxygen_limit_bar",
            oxygen_limit_bar,
            f"at least the {oxygen_fraction * surface_pressure_bar:.3f} bar that the gas has at the surface",
        )
    return (pressure_bar - surface_pressure_bar) / pressure_per_metre_bar(water, density_kg_per_m3)


def least_depth_m(
    oxygen_fraction: float,
    oxygen_floor_bar: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Depth from which the gas holds enough oxygen; 0 if it does so at the surface. Arguments as above. [m]"""
    pressure_bar = _pressure_of_limit_bar(oxygen_fraction, oxygen_floor_bar, "oxygen_floor_bar", surface_pressure_bar)
    return max(0.0, (pressure_bar - surface_pressure_bar) / pressure_per_metre_bar(water, density_kg_per_m3))


def _pressure_of_limit_bar(oxygen_fraction: float, limit_bar: float, name: str, surface_pressure_bar: float) -> float:
    require_fraction("oxygen_fraction", oxygen_fraction, above_zero=True)
    require_oxygen_pressure_bar(limit_bar, name)
    require_surface_pressure_bar(surface_pressure_bar)
    return limit_bar / oxygen_fraction
