"""How a diver's weight changes through the dive: gas that leaves, and carbon dioxide that stays in the canister.

On the loop the changes nearly cancel; breathed bailout does not, and the last stop is where it counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import require_air_temperature_c, require_between
from loopworthy.science.physics.constants import GAS_CONSTANT_J_PER_MOL_K
from loopworthy.science.physics.gas import GasMixture, molar_mass_g_per_mol
from loopworthy.science.physics.units import kelvin_from_celsius

CARBON_DIOXIDE_MOLAR_MASS_G_PER_MOL = 44.0098
"""From memory of the IUPAC atomic weights: confirm."""

OXYGEN = GasMixture(oxygen_fraction=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightThroughDive:
    """Change of mass by what changes it; negative is lighter. [kg]"""

    oxygen_kg: float
    diluent_kg: float
    carbon_dioxide_kg: float
    bailout_kg: tuple[float, ...]
    total_kg: float


def weight_through_dive(
    oxygen_bar_l: float,
    diluent: GasMixture,
    diluent_bar_l: float,
    carbon_dioxide_bar_l: float,
    bailout: Sequence[tuple[GasMixture, float]] = (),
    temperature_c: float = 20.0,
) -> WeightThroughDive:
    """Change of mass from the gas used, in bar litres at the temperature of the cylinders, and the CO2 bound.

    What is left out: a flooded loop (a kilogram for each litre) and a suit that is squeezed.
    """
    require_air_temperature_c(temperature_c)
    oxygen_kg = -mass_kg(molar_mass_g_per_mol(OXYGEN), oxygen_bar_l, temperature_c, "oxygen_bar_l")
    diluent_kg = -mass_kg(molar_mass_g_per_mol(diluent), diluent_bar_l, temperature_c, "diluent_bar_l")
    bound_kg = mass_kg(CARBON_DIOXIDE_MOLAR_MASS_G_PER_MOL, carbon_dioxide_bar_l, temperature_c, "carbon_dioxide_bar_l")
    bailout_kg = tuple(
        -mass_kg(molar_mass_g_per_mol(gas), used, temperature_c, f"bailout[{place}].used_bar_l")
        for place, (gas, used) in enumerate(bailout)
    )
    return WeightThroughDive(
        oxygen_kg=oxygen_kg,
        diluent_kg=diluent_kg,
        carbon_dioxide_kg=bound_kg,
        bailout_kg=bailout_kg,
        total_kg=math.fsum((oxygen_kg, diluent_kg, bound_kg, *bailout_kg)),
    )


def mass_kg(molar_mass: float, gas_bar_l: float, temperature_c: float, name: str = "gas_bar_l") -> float:
    """Mass of so many bar litres of a gas (0 to 50 000): n M with n = bar L / (R T). [kg]"""
    require_between(name, gas_bar_l, 0.0, 50_000.0, "bar L")
    return gas_bar_l * 100.0 / (GAS_CONSTANT_J_PER_MOL_K * kelvin_from_celsius(temperature_c)) * molar_mass / 1000.0
