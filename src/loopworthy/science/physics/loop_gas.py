"""What is breathed from a closed loop at a depth: oxygen at the set point, the diluent's inert gases, water vapour.

With a helium diluent the loop gas is denser than the diluent, because oxygen is added; planning by the cylinder alone
flatters. The module says what the loop holds when set point, depth and diluent allow it, and which of them ruled.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from loopworthy.science.checks import (
    require_absolute_pressure_bar,
    require_between,
    require_oxygen_pressure_bar,
)
from loopworthy.science.physics.gas import DENSITY_REFERENCE_TEMPERATURE_C, GasMixture, density_g_per_l

LOOP_WATER_VAPOUR_BAR = 0.05
"""Vapour of a warm wet loop, saturated near 33 °C. Common practice; full saturation at 37 °C would be 0.063."""


class OxygenRuledBy(Enum):
    """What decides how much oxygen the loop holds."""

    SET_POINT = "set point"
    AMBIENT_PRESSURE = "ambient pressure"
    DILUENT = "diluent"


@dataclass(frozen=True, slots=True, kw_only=True)
class LoopGas:
    """Partial pressures in the loop, density of the dry gas at its reference temperature, and what ruled the oxygen."""

    oxygen_bar: float
    nitrogen_bar: float
    helium_bar: float
    water_vapour_bar: float
    density_g_per_l: float
    reference_temperature_c: float
    oxygen_ruled_by: OxygenRuledBy


def loop_gas(
    diluent: GasMixture,
    set_point_bar: float,
    ambient_pressure_bar: float,
    water_vapour_bar: float = LOOP_WATER_VAPOUR_BAR,
    reference_temperature_c: float = DENSITY_REFERENCE_TEMPERATURE_C,
) -> LoopGas:
    """Gas in a loop that is held at its set point.

    Parameters
    ----------
    diluent : GasMixture
        The gas that is not oxygen.
    set_point_bar : float
        Oxygen partial pressure aimed for, above 0 to 5. [bar]
    ambient_pressure_bar : float
        Absolute pressure, 0.4 to 60. [bar]
    water_vapour_bar : float
        Vapour in the loop, 0 to 0.2. [bar]
    reference_temperature_c : float
        Temperature at which the density is stated. [°C]

    Returns
    -------
    LoopGas
        Partial pressures that add up to the ambient pressure, and the density.

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    inert = P - set point - vapour, shared as in the diluent. Where the set point is more than P - vapour the loop is
    pure oxygen; where the diluent brings more oxygen than the set point, adding nothing still leaves the diluent's.
    A diluent of pure oxygen has no inert gas to share, so its loop is oxygen at any set point.
    """
    require_oxygen_pressure_bar(set_point_bar, "set_point_bar")
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_between("water_vapour_bar", water_vapour_bar, 0.0, 0.2, "bar")
    dry_bar = ambient_pressure_bar - water_vapour_bar
    from_diluent_bar = diluent.oxygen_fraction * dry_bar
    if from_diluent_bar > set_point_bar:
        oxygen_bar, ruled_by = from_diluent_bar, OxygenRuledBy.DILUENT
    elif set_point_bar > dry_bar:
        oxygen_bar, ruled_by = dry_bar, OxygenRuledBy.AMBIENT_PRESSURE
    else:
        oxygen_bar, ruled_by = set_point_bar, OxygenRuledBy.SET_POINT
    inert_bar = dry_bar - oxygen_bar
    share = diluent.helium_fraction / diluent.inert_fraction if diluent.inert_fraction > 0.0 else 0.0
    helium_bar = inert_bar * min(1.0, share)
    nitrogen_bar = max(0.0, inert_bar - helium_bar)
    return LoopGas(
        oxygen_bar=oxygen_bar,
        nitrogen_bar=nitrogen_bar,
        helium_bar=helium_bar,
        water_vapour_bar=water_vapour_bar,
        density_g_per_l=density_g_per_l(oxygen_bar, nitrogen_bar, helium_bar, reference_temperature_c),
        reference_temperature_c=reference_temperature_c,
        oxygen_ruled_by=ruled_by,
    )
