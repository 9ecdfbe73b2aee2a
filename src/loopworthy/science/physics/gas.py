"""Gas mixtures of oxygen, helium and nitrogen: partial pressures, molar mass and density.

Ideal and dry. Real-gas effects stay below 0.5 % of the density at breathing pressures; air's argon is counted as
nitrogen, which makes air 0.4 % too light. A density is only a number together with its reference temperature.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import (
    require_absolute_pressure_bar,
    require_air_temperature_c,
    require_between,
    require_fraction,
)
from loopworthy.science.physics.constants import (
    AIR_OXYGEN_FRACTION,
    GAS_CONSTANT_J_PER_MOL_K,
    HELIUM_MOLAR_MASS_G_PER_MOL,
    NITROGEN_MOLAR_MASS_G_PER_MOL,
    OXYGEN_MOLAR_MASS_G_PER_MOL,
)
from loopworthy.science.physics.units import kelvin_from_celsius
from loopworthy.vocabulary.errors import DomainError

DENSITY_REFERENCE_TEMPERATURE_C = 0.0
"""The limits of 5.2 and 6.2 g/L (air at 31 and 39 m) fit densities at 0 °C; at 37 °C the same gas is 12 % lighter."""


@dataclass(frozen=True, slots=True, kw_only=True)
class GasMixture:
    """Oxygen, helium, and nitrogen as the rest; fractions of the dry gas, 0 to 1."""

    oxygen_fraction: float
    helium_fraction: float = 0.0

    def __post_init__(self) -> None:
        require_fraction("oxygen_fraction", self.oxygen_fraction)
        require_fraction("helium_fraction", self.helium_fraction)
        total = self.oxygen_fraction + self.helium_fraction
        if total > 1.0 + 1e-9:
            raise DomainError("oxygen_fraction + helium_fraction", total, "at most 1")

    @property
    def nitrogen_fraction(self) -> float:
        """What is neither oxygen nor helium."""
        return max(0.0, 1.0 - self.oxygen_fraction - self.helium_fraction)

    @property
    def inert_fraction(self) -> float:
        """Helium and nitrogen together."""
        return max(0.0, 1.0 - self.oxygen_fraction)


AIR = GasMixture(oxygen_fraction=AIR_OXYGEN_FRACTION)
"""Dry air with its argon counted as nitrogen."""


def molar_mass_g_per_mol(gas: GasMixture) -> float:
    """Mean molar mass of a mixture. [g/mol]"""
    return (
        gas.oxygen_fraction * OXYGEN_MOLAR_MASS_G_PER_MOL
        + gas.helium_fraction * HELIUM_MOLAR_MASS_G_PER_MOL
        + gas.nitrogen_fraction * NITROGEN_MOLAR_MASS_G_PER_MOL
    )


def oxygen_partial_pressure_bar(
    oxygen_fraction: float, ambient_pressure_bar: float, water_vapour_bar: float = 0.0
) -> float:
    """Partial pressure of oxygen in a gas at a pressure.

    Parameters
    ----------
    oxygen_fraction : float
        Fraction of the dry gas, 0 to 1.
    ambient_pressure_bar : float
        Absolute pressure of the gas, 0.4 to 60. [bar]
    water_vapour_bar : float
        Pressure of water vapour in it, 0 for gas from a cylinder, at most 0.2. [bar]

    Returns
    -------
    float
        Oxygen partial pressure. [bar]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    Dalton's law: p_O2 = F (P - p_H2O). Water vapour displaces the dry gas as a whole.

    Examples
    --------
    >>> round(oxygen_partial_pressure_bar(0.21, 3.0), 2)
    0.63
    """
    require_fraction("oxygen_fraction", oxygen_fraction)
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_between("water_vapour_bar", water_vapour_bar, 0.0, 0.2, "bar")
    return oxygen_fraction * (ambient_pressure_bar - water_vapour_bar)


def density_g_per_l(
    oxygen_bar: float,
    nitrogen_bar: float,
    helium_bar: float,
    reference_temperature_c: float = DENSITY_REFERENCE_TEMPERATURE_C,
) -> float:
    """Density of a gas from its partial pressures.

    Parameters
    ----------
    oxygen_bar, nitrogen_bar, helium_bar : float
        Partial pressures, 0 to 60 each. [bar]
    reference_temperature_c : float
        Temperature at which the density is stated, -20 to 60. [°C]

    Returns
    -------
    float
        Density. [g/L]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    rho = sum(p M) / (R T): at 0 °C 1.409 g/L for each bar of oxygen, 1.233 of nitrogen, 0.176 of helium. Water vapour
    is left out; saturated at 37 °C it would add 0.04 g/L.
    """
    for name, value in (("oxygen_bar", oxygen_bar), ("nitrogen_bar", nitrogen_bar), ("helium_bar", helium_bar)):
        require_between(name, value, 0.0, 60.0, "bar")
    require_air_temperature_c(reference_temperature_c, "reference_temperature_c")
    weighted = (
        oxygen_bar * OXYGEN_MOLAR_MASS_G_PER_MOL
        + nitrogen_bar * NITROGEN_MOLAR_MASS_G_PER_MOL
        + helium_bar * HELIUM_MOLAR_MASS_G_PER_MOL
    )
    # bar and g/mol: 1e5 Pa/bar over 1000 L/m3 leaves a factor of 100.
    return 100.0 * weighted / (GAS_CONSTANT_J_PER_MOL_K * kelvin_from_celsius(reference_temperature_c))


def mixture_density_g_per_l(
    gas: GasMixture,
    ambient_pressure_bar: float,
    reference_temperature_c: float = DENSITY_REFERENCE_TEMPERATURE_C,
) -> float:
    """Density of a dry mixture at an absolute pressure, breathed as it comes from its cylinder. [g/L]"""
    require_absolute_pressure_bar(ambient_pressure_bar)
    return density_g_per_l(
        gas.oxygen_fraction * ambient_pressure_bar,
        gas.nitrogen_fraction * ambient_pressure_bar,
        gas.helium_fraction * ambient_pressure_bar,
        reference_temperature_c,
    )
