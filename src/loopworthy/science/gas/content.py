"""What a cylinder holds and what of it can be breathed, in bar litres at the temperature of the gas.

A bar litre is a litre at 1 bar: the amount of gas times R T. Breathing at an ambient pressure of p bar takes p of them
for each litre breathed. By the ideal law a cylinder holds volume times pressure; a helium mix holds a tenth less.
"""

from __future__ import annotations

from loopworthy.science.checks import require_above, require_absolute_pressure_bar, require_between
from loopworthy.science.gas.real_gas import Method, density_mol_per_l, pressure_bar, require_gas_pressure_bar
from loopworthy.science.physics.constants import GAS_CONSTANT_J_PER_MOL_K, STANDARD_ATMOSPHERE_BAR
from loopworthy.science.physics.gas import GasMixture
from loopworthy.science.physics.units import kelvin_from_celsius

REGULATOR_NEEDS_BAR = 10.0
"""What a first stage needs above ambient pressure to give gas at all. Common practice, roughly; the manual rules."""


def content_bar_l(
    gas: GasMixture,
    cylinder_volume_l: float,
    cylinder_pressure_bar: float,
    temperature_c: float,
    method: Method = Method.REAL,
) -> float:
    """Gas in a cylinder.

    Parameters
    ----------
    gas : GasMixture
        What is in it.
    cylinder_volume_l : float
        Water capacity, above 0 to 100. [L]
    cylinder_pressure_bar : float
        Absolute pressure, 0 to 330; a gauge shows about 1 bar less. [bar]
    temperature_c : float
        Temperature of the gas, -10 to 60. [°C]
    method : Method
        Real or ideal gas.

    Returns
    -------
    float
        Litres at 1 bar and the same temperature, as an ideal gas. [bar L]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Examples
    --------
    >>> trimix = GasMixture(oxygen_fraction=0.18, helium_fraction=0.45)
    >>> round(content_bar_l(trimix, 11, 201, 15, Method.IDEAL)), round(content_bar_l(trimix, 11, 201, 15))
    (2211, 1986)
    """
    require_cylinder_volume_l(cylinder_volume_l)
    density = density_mol_per_l(gas, cylinder_pressure_bar, temperature_c, method)
    return density * cylinder_volume_l * _bar_l_per_mol(temperature_c)


def free_volume_l(
    gas: GasMixture,
    cylinder_volume_l: float,
    cylinder_pressure_bar: float,
    temperature_c: float,
    method: Method = Method.REAL,
    *,
    at_pressure_bar: float = STANDARD_ATMOSPHERE_BAR,
) -> float:
    """Litres that the content takes when it is let out to a pressure at its own temperature. [L]"""
    require_absolute_pressure_bar(at_pressure_bar, "at_pressure_bar")
    require_cylinder_volume_l(cylinder_volume_l)
    inside = density_mol_per_l(gas, cylinder_pressure_bar, temperature_c, method)
    outside = density_mol_per_l(gas, at_pressure_bar, temperature_c, method)
    return cylinder_volume_l * inside / outside


def usable_bar_l(
    gas: GasMixture,
    cylinder_volume_l: float,
    cylinder_pressure_bar: float,
    temperature_c: float,
    ambient_pressure_bar: float,
    method: Method = Method.REAL,
    *,
    regulator_needs_bar: float = REGULATOR_NEEDS_BAR,
) -> float:
    """What can be breathed: the content less what stays in at ambient pressure and what the regulator needs.

    0 where the cylinder has no more than that. [bar L]
    """
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_between("regulator_needs_bar", regulator_needs_bar, 0.0, 50.0, "bar")
    stays_bar = min(ambient_pressure_bar + regulator_needs_bar, cylinder_pressure_bar)
    return content_bar_l(gas, cylinder_volume_l, cylinder_pressure_bar, temperature_c, method) - content_bar_l(
        gas, cylinder_volume_l, stays_bar, temperature_c, method
    )


def pressure_of_content_bar(
    gas: GasMixture, cylinder_volume_l: float, gas_bar_l: float, temperature_c: float, method: Method = Method.REAL
) -> float:
    """Pressure at which a cylinder holds so much gas; the inverse of `content_bar_l`. [bar]"""
    require_cylinder_volume_l(cylinder_volume_l)
    require_between("gas_bar_l", gas_bar_l, 0.0, 600.0 * cylinder_volume_l, "bar L")
    return pressure_bar(gas, gas_bar_l / cylinder_volume_l / _bar_l_per_mol(temperature_c), temperature_c, method)


def pressure_after_use_bar(
    gas: GasMixture,
    cylinder_volume_l: float,
    cylinder_pressure_bar: float,
    used_bar_l: float,
    temperature_c: float,
    method: Method = Method.REAL,
) -> float:
    """Pressure left in a cylinder when so much was taken; 0 where more was taken than it held. [bar]"""
    require_between("used_bar_l", used_bar_l, 0.0, 1e6, "bar L")
    require_gas_pressure_bar(cylinder_pressure_bar, "cylinder_pressure_bar")
    left = content_bar_l(gas, cylinder_volume_l, cylinder_pressure_bar, temperature_c, method) - used_bar_l
    return pressure_of_content_bar(gas, cylinder_volume_l, left, temperature_c, method) if left > 0.0 else 0.0


def require_cylinder_volume_l(value: float, name: str = "cylinder_volume_l") -> float:
    """Water capacity of a cylinder or of several as one, above 0 to 100. [L]"""
    return require_above(name, value, 0.0, 100.0, "L")


def _bar_l_per_mol(temperature_c: float) -> float:
    return GAS_CONSTANT_J_PER_MOL_K * kelvin_from_celsius(temperature_c) / 100.0
