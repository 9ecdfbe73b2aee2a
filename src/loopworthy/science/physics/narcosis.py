"""Equivalent narcotic depth in its two definitions: nitrogen alone, or nitrogen and oxygen together.

The trade uses both and they differ by several metres in a loop, so a number without its definition is worthless.
Either is negative where the gas is less narcotic than air at the surface.
"""

from __future__ import annotations

from loopworthy.science.checks import require_between, require_surface_pressure_bar
from loopworthy.science.physics.constants import AIR_NITROGEN_FRACTION
from loopworthy.science.physics.depth import Water, pressure_per_metre_bar


def nitrogen_equivalent_depth_m(
    nitrogen_bar: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Depth at which air has this nitrogen pressure: (p_N2 / 0.79 - p0) / (rho g). [m]

    With one inert gas this is also the equivalent air depth.

    Examples
    --------
    >>> round(nitrogen_equivalent_depth_m(0.64 * 3.7, 1.0), 2)  # 36 % oxygen at 27 m, 10 m to the bar
    19.97
    """
    require_between("nitrogen_bar", nitrogen_bar, 0.0, 60.0, "bar")
    require_surface_pressure_bar(surface_pressure_bar)
    per_metre_bar = pressure_per_metre_bar(water, density_kg_per_m3)
    return (nitrogen_bar / AIR_NITROGEN_FRACTION - surface_pressure_bar) / per_metre_bar


def narcotic_equivalent_depth_m(
    nitrogen_bar: float,
    oxygen_bar: float,
    surface_pressure_bar: float,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> float:
    """Depth at which air has this pressure of nitrogen and oxygen together: (p_N2 + p_O2 - p0) / (rho g). [m]"""
    require_between("nitrogen_bar", nitrogen_bar, 0.0, 60.0, "bar")
    require_between("oxygen_bar", oxygen_bar, 0.0, 60.0, "bar")
    require_surface_pressure_bar(surface_pressure_bar)
    return (nitrogen_bar + oxygen_bar - surface_pressure_bar) / pressure_per_metre_bar(water, density_kg_per_m3)
