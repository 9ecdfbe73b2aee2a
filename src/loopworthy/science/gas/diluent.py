"""The diluent for a depth: lean enough to flush a high oxygen pressure down, and thin and clear enough in the loop.

The three rules are of the trade: oxygen at depth 0.2 bar or more below the set point, narcotic depth of 30 m at most,
density in the loop of 5.2 g/L wished and 6.2 at most. The loop decides, not the cylinder: added oxygen makes it denser.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import (
    require_above,
    require_absolute_pressure_bar,
    require_between,
    require_fraction,
    require_oxygen_pressure_bar,
)
from loopworthy.science.physics.constants import AIR_OXYGEN_FRACTION
from loopworthy.science.physics.depth import Water, depth_at_pressure_m
from loopworthy.science.physics.depth_limit import least_depth_m
from loopworthy.science.physics.gas import DENSITY_REFERENCE_TEMPERATURE_C, GasMixture
from loopworthy.science.physics.loop_gas import LOOP_WATER_VAPOUR_BAR, LoopGas, loop_gas
from loopworthy.science.physics.narcosis import narcotic_equivalent_depth_m, nitrogen_equivalent_depth_m

BELOW_SET_POINT_BAR = 0.2
"""How far the diluent's oxygen should lie below the set point at depth. Common practice."""

NARCOTIC_DEPTH_M = 30.0
"""Common practice."""

DENSITY_WISHED_G_PER_L = 5.2
DENSITY_MOST_G_PER_L = 6.2
"""Anthony and Mitchell (2016), for densities at 0 °C: recommended limit, and the one where trouble was common."""

BREATHABLE_OXYGEN_BAR = 0.18
"""Least oxygen to breathe. Common practice."""

WHOLE_PER_CENT = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class DiluentChoice:
    """A diluent and what it does at the depth that it was chosen for.

    Attributes
    ----------
    gas : GasMixture
        In whole per cent.
    loop : LoopGas
        What the loop holds at depth at the set point.
    diluent_oxygen_bar : float
        Oxygen of the diluent itself at depth, as after a flush. [bar]
    nitrogen_equivalent_depth_m, narcotic_equivalent_depth_m : float
        Of the loop, in both definitions. [m]
    least_depth_m : float
        Depth from which the diluent alone can be breathed; 0 if it can at the surface. [m]
    keeps_narcotic_depth, keeps_wished_density, keeps_highest_density : bool
        Which rules the loop keeps.
    """

    gas: GasMixture
    loop: LoopGas
    diluent_oxygen_bar: float
    nitrogen_equivalent_depth_m: float
    narcotic_equivalent_depth_m: float
    least_depth_m: float
    keeps_narcotic_depth: bool
    keeps_wished_density: bool
    keeps_highest_density: bool


def best_diluent(
    ambient_pressure_bar: float,
    set_point_bar: float,
    surface_pressure_bar: float,
    *,
    below_set_point_bar: float = BELOW_SET_POINT_BAR,
    narcotic_depth_limit_m: float = NARCOTIC_DEPTH_M,
    oxygen_is_narcotic: bool = True,
    density_wished_g_per_l: float = DENSITY_WISHED_G_PER_L,
    density_most_g_per_l: float = DENSITY_MOST_G_PER_L,
    richest_oxygen_fraction: float = AIR_OXYGEN_FRACTION,
    water_vapour_bar: float = LOOP_WATER_VAPOUR_BAR,
    reference_temperature_c: float = DENSITY_REFERENCE_TEMPERATURE_C,
    water: Water = Water.EN_13319,
    density_kg_per_m3: float | None = None,
) -> DiluentChoice:
    """The richest diluent with the least helium that keeps the rules at a depth, in whole per cent.

    Parameters
    ----------
    ambient_pressure_bar : float
        Absolute pressure at the greatest depth, 0.4 to 60. [bar]
    set_point_bar : float
        Set point there, above `below_set_point_bar` to 5. [bar]
    surface_pressure_bar : float
        Absolute pressure at the surface, 0.45 to 1.1. [bar]
    below_set_point_bar, narcotic_depth_limit_m, density_wished_g_per_l, density_most_g_per_l
        The rules; 0 to 1 bar, 0 to 100 m, 1 to 10 g/L.
    oxygen_is_narcotic : bool
        Which definition of the narcotic depth is compared with its limit.
    richest_oxygen_fraction : float
        Most oxygen to consider; air unless said.
    water_vapour_bar, reference_temperature_c, water, density_kg_per_m3
        As in `loop_gas` and `pressure_per_metre_bar`.

    Returns
    -------
    DiluentChoice
        If no amount of helium keeps all rules, the one with the most helium, and which rules it breaks.

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    More helium lowers density and narcotic depth together, so the first whole per cent that keeps both is the least.
    Nothing here says that a gas is fit to breathe; that is for its analysis.
    """
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_between("below_set_point_bar", below_set_point_bar, 0.0, 1.0, "bar")
    require_oxygen_pressure_bar(set_point_bar, "set_point_bar")
    require_above("set_point_bar", set_point_bar, below_set_point_bar, 5.0, "bar")
    require_between("narcotic_depth_limit_m", narcotic_depth_limit_m, 0.0, 100.0, "m")
    require_between("density_wished_g_per_l", density_wished_g_per_l, 1.0, 10.0, "g/L")
    require_between("density_most_g_per_l", density_most_g_per_l, density_wished_g_per_l, 12.0, "g/L")
    require_fraction("richest_oxygen_fraction", richest_oxygen_fraction, above_zero=True)
    # A hair is added before cutting, so that exactly 18 % is not cut to 17.
    most = min(richest_oxygen_fraction, (set_point_bar - below_set_point_bar) / ambient_pressure_bar)
    oxygen_per_cent = max(1, int(most * WHOLE_PER_CENT + 1e-9))

    def choice(helium_per_cent: int) -> DiluentChoice:
        gas = GasMixture(
            oxygen_fraction=oxygen_per_cent / WHOLE_PER_CENT, helium_fraction=helium_per_cent / WHOLE_PER_CENT
        )
        loop = loop_gas(gas, set_point_bar, ambient_pressure_bar, water_vapour_bar, reference_temperature_c)
        place = (surface_pressure_bar, water, density_kg_per_m3)
        by_nitrogen = nitrogen_equivalent_depth_m(loop.nitrogen_bar, *place)
        by_both = narcotic_equivalent_depth_m(loop.nitrogen_bar, loop.oxygen_bar, *place)
        compared = by_both if oxygen_is_narcotic else by_nitrogen
        return DiluentChoice(
            gas=gas,
            loop=loop,
            diluent_oxygen_bar=gas.oxygen_fraction * ambient_pressure_bar,
            nitrogen_equivalent_depth_m=by_nitrogen,
            narcotic_equivalent_depth_m=by_both,
            least_depth_m=least_depth_m(gas.oxygen_fraction, BREATHABLE_OXYGEN_BAR, *place),
            keeps_narcotic_depth=compared <= narcotic_depth_limit_m + 1e-9,
            keeps_wished_density=loop.density_g_per_l <= density_wished_g_per_l + 1e-9,
            keeps_highest_density=loop.density_g_per_l <= density_most_g_per_l + 1e-9,
        )

    depth_at_pressure_m(ambient_pressure_bar, surface_pressure_bar, water, density_kg_per_m3)  # refuses a depth in air
    found = choice(0)
    for helium_per_cent in range(1, WHOLE_PER_CENT - oxygen_per_cent + 1):
        if found.keeps_narcotic_depth and found.keeps_wished_density:
            break
        found = choice(helium_per_cent)
    return found
