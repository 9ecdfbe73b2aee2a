"""Depth and pressure, both ways, for water of a stated density.

A depth in metres means nothing without its convention: a gauge after EN 13319 shows 0.1 bar a metre whatever the
water. Ocean water lies 0 to 0.6 % above the sea convention used here, from equator to pole; brackish water up to 2 %
below it.
"""

from __future__ import annotations

from enum import Enum

from loopworthy.science.checks import (
    require_absolute_pressure_bar,
    require_between,
    require_depth_m,
    require_surface_pressure_bar,
)
from loopworthy.science.physics.constants import STANDARD_GRAVITY_M_PER_S2
from loopworthy.vocabulary.errors import DomainError

EN_13319_BAR_PER_M = 0.1


class Water(Enum):
    """Conventions for turning metres into pressure."""

    FRESH = "fresh"
    SEA = "sea"
    EN_13319 = "en13319"


DENSITY_KG_PER_M3 = {
    Water.FRESH: 1000.0,
    Water.SEA: 1025.0,
    # The standard prints 1.0197 kg/L; the exact value behind 0.1 bar a metre is used, 0.002 % more.
    Water.EN_13319: EN_13319_BAR_PER_M * 1e5 / STANDARD_GRAVITY_M_PER_S2,
}
"""Density behind each convention: 1000 and 1025 are common practice."""


def pressure_per_metre_bar(water: Water = Water.EN_13319, density_kg_per_m3: float | None = None) -> float:
    """Rise of pressure for one metre of depth: density times standard gravity. [bar/m]

    A measured density (950 to 1100 kg/m³) takes precedence over the convention.
    """
    if density_kg_per_m3 is None:
        density_kg_per_m3 = DENSITY_KG_PER_M3[water]
    hint = "It looks like kg/L; multiply by 1000" if 0.9 <= density_kg_per_m3 <= 1.1 else ""
    require_between("density_kg_per_m3", density_kg_per_m3, 950.0, 1100.0, "kg/m³", next_step=hint)
    return density_kg_per_m3 * STANDARD_GRAVITY_M_PER_S2 / 1e5


def pressure_at_depth_bar(
    depth_m: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Absolute pressure at a depth.

    Parameters
    ----------
    depth_m : float
        Depth below the surface, 0 to 500. [m]
    surface_pressure_bar : float
        Absolute pressure at the surface, 0.45 to 1.1. [bar]
    water : Water
        Convention for the density.
    density_kg_per_m3 : float, optional
        Measured density, used instead of the convention. [kg/m³]

    Returns
    -------
    float
        Absolute pressure. [bar]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    p = p0 + rho g h with standard gravity and a density that does not change with depth. Compression of sea water
    adds 0.02 % at 100 m, latitude moves gravity by 0.26 % each way.

    Examples
    --------
    >>> round(pressure_at_depth_bar(60, 1.013, Water.SEA), 3)
    7.044
    """
    require_depth_m(depth_m)
    require_surface_pressure_bar(surface_pressure_bar)
    return surface_pressure_bar + depth_m * pressure_per_metre_bar(water, density_kg_per_m3)


def depth_at_pressure_m(
    ambient_pressure_bar: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Depth at which this absolute pressure reigns; inverse of `pressure_at_depth_bar`. [m]"""
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_surface_pressure_bar(surface_pressure_bar)
    if ambient_pressure_bar < surface_pressure_bar:
        raise DomainError(
            "ambient_pressure_bar",
            ambient_pressure_bar,
            f"at least the surface pressure of {surface_pressure_bar} bar",
            next_step="Give absolute pressures, not gauge pressures",
        )
    return (ambient_pressure_bar - surface_pressure_bar) / pressure_per_metre_bar(water, density_kg_per_m3)
