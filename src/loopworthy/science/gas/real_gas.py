"""How oxygen, nitrogen and helium fill a cylinder: pressure, density and temperature by a virial equation of state.

Oxygen packs closer than an ideal gas and helium less close, and a mixture stands between them in a way of its own, so
that ideal recipes miss by up to two per cent of oxygen or three of helium. A method has its name with each number.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

from loopworthy.science.checks import require_between
from loopworthy.science.gas.virial_coefficients import VIRIAL_COEFFICIENTS
from loopworthy.science.physics.constants import GAS_CONSTANT_J_PER_MOL_K
from loopworthy.science.physics.gas import GasMixture
from loopworthy.science.physics.units import kelvin_from_celsius
from loopworthy.vocabulary.errors import DomainError

HIGHEST_PRESSURE_BAR = 330.0
LOWEST_TEMPERATURE_C = -10.0
HIGHEST_TEMPERATURE_C = 60.0

ARGON_IN_AIR_NITROGEN_FRACTION = 0.0093 / (0.7812 + 0.0093)
"""Argon in what a diving gas calls nitrogen, because it came from air. Source: air of Lemmon et al. (2000)."""


class Method(Enum):
    """By which law a gas fills a volume."""

    IDEAL = "ideal"
    REAL = "real"


def density_mol_per_l(
    gas: GasMixture,
    pressure_bar: float,
    temperature_c: float,
    method: Method = Method.REAL,
    *,
    nitrogen_is_from_air: bool = True,
) -> float:
    """Amount of gas in a litre of space.

    Parameters
    ----------
    gas : GasMixture
        The mixture in it.
    pressure_bar : float
        Absolute pressure, 0 to 330. [bar]
    temperature_c : float
        Temperature of the gas, settled, -10 to 60. [°C]
    method : Method
        Virial equation, or ideal gas.
    nitrogen_is_from_air : bool
        Whether the nitrogen carries the argon of air, as in every gas that is topped up with air.

    Returns
    -------
    float
        Density. [mol/L]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    p = rho R T (1 + B rho + C rho² + D rho³ + E rho⁴), solved by Newton's method. The coefficients depend on
    temperature; B of a mixture is the sum over pairs of molecules of x_i x_j B_ij, C over triples, and so on, which is
    exact in the composition [1]_. B_ij are those of the reference equations, the higher ones are fitted [2]_. Against
    CoolProp the compressibility factor is within 0.001 for oxygen, nitrogen, helium and air, 0.002 for nitrox and
    0.0025 with helium. Argon counts as oxygen here: their second coefficients differ by 1 cm³/mol.

    For mixtures of helium and oxygen the reference itself rests on no measurement of that pair.

    Examples
    --------
    >>> from loopworthy.science.physics.gas import AIR
    >>> round(density_mol_per_l(AIR, 200, 20), 3), round(density_mol_per_l(AIR, 200, 20, Method.IDEAL), 3)
    (7.995, 8.206)

    References
    ----------
    .. [1] J. O. Hirschfelder, C. F. Curtiss, R. B. Bird, "Molecular Theory of Gases and Liquids", 1954, ch. 3.
    .. [2] Reference equations as in CoolProp 8.0.0: Schmidt and Wagner (1985), Span et al. (2000), Ortiz Vega et al.,
       Lemmon et al. (2000); pair of helium and nitrogen after Kunz and Wagner (2012). Fit: scripts/fit_virial.py.
    """
    require_gas_pressure_bar(pressure_bar)
    require_gas_temperature_c(temperature_c)
    ideal = pressure_bar / _bar_l_per_mol(temperature_c)
    if method is Method.IDEAL or pressure_bar == 0.0:
        return ideal
    second, third, fourth, fifth = _mixture(gas, temperature_c, nitrogen_is_from_air).coefficients
    density = ideal
    for _ in range(60):
        factor = 1.0 + density * (second + density * (third + density * (fourth + density * fifth)))
        slope = 1.0 + density * (
            2.0 * second + density * (3.0 * third + density * (4.0 * fourth + density * 5.0 * fifth))
        )
        step = (density * factor - ideal) / slope
        density -= step
        if abs(step) <= 1e-14 * density:
            break
    return density


def pressure_bar(
    gas: GasMixture,
    amount_mol_per_l: float,
    temperature_c: float,
    method: Method = Method.REAL,
    *,
    nitrogen_is_from_air: bool = True,
) -> float:
    """Absolute pressure of this amount in a litre; the inverse of `density_mol_per_l`, with its ranges. [bar]"""
    require_between("amount_mol_per_l", amount_mol_per_l, 0.0, 25.0, "mol/L")
    require_gas_temperature_c(temperature_c)
    ideal = amount_mol_per_l * _bar_l_per_mol(temperature_c)
    if method is Method.IDEAL:
        return ideal
    second, third, fourth, fifth = _mixture(gas, temperature_c, nitrogen_is_from_air).coefficients
    density = amount_mol_per_l
    return ideal * (1.0 + density * (second + density * (third + density * (fourth + density * fifth))))


def compressibility(
    gas: GasMixture, pressure_bar: float, temperature_c: float, *, nitrogen_is_from_air: bool = True
) -> float:
    """Z = p / (rho R T): below 1 the gas packs closer than an ideal one. Above 0 to 330 bar, -10 to 60 °C."""
    if pressure_bar <= 0.0:
        raise DomainError("pressure_bar", pressure_bar, "above 0 bar")
    density = density_mol_per_l(gas, pressure_bar, temperature_c, nitrogen_is_from_air=nitrogen_is_from_air)
    return pressure_bar / (density * _bar_l_per_mol(temperature_c))


def settled_pressure_bar(
    gas: GasMixture, pressure_bar_when_read: float, read_at_c: float, settles_at_c: float, method: Method = Method.REAL
) -> float:
    """What a gauge will show when a closed cylinder has come from one temperature to another; volume kept. [bar]

    Examples
    --------
    >>> from loopworthy.science.physics.gas import AIR
    >>> round(settled_pressure_bar(AIR, 200, 40, 10, Method.IDEAL)), round(settled_pressure_bar(AIR, 200, 40, 10))
    (181, 174)
    """
    require_gas_pressure_bar(pressure_bar_when_read)
    require_gas_temperature_c(read_at_c, "read_at_c")
    require_gas_temperature_c(settles_at_c, "settles_at_c")
    amount = density_mol_per_l(gas, pressure_bar_when_read, read_at_c, method)
    return pressure_bar(gas, amount, settles_at_c, method)


def require_gas_pressure_bar(value: float, name: str = "pressure_bar") -> float:
    """Absolute pressure in a cylinder, 0 to 330. [bar]"""
    hint = "It looks like psi; divide by 14.5038" if value > 400.0 else ""
    return require_between(name, value, 0.0, HIGHEST_PRESSURE_BAR, "bar, absolute", next_step=hint)


def require_gas_temperature_c(value: float, name: str = "temperature_c") -> float:
    """Temperature of the gas in a cylinder, -10 to 60. [°C]"""
    hint = f"It looks like kelvin; in °C it is {value - 273.15:.2f}" if 250.0 <= value <= 335.0 else ""
    return require_between(name, value, LOWEST_TEMPERATURE_C, HIGHEST_TEMPERATURE_C, "°C", next_step=hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Mixture:
    """Second to fifth virial coefficient of a mixture at a temperature, in powers of L/mol."""

    coefficients: tuple[float, float, float, float]


@lru_cache(maxsize=512)  # a recipe asks for the same mixture some thirty times while it closes in on an amount
def _mixture(gas: GasMixture, temperature_c: float, nitrogen_is_from_air: bool) -> _Mixture:
    argon = ARGON_IN_AIR_NITROGEN_FRACTION * gas.nitrogen_fraction if nitrogen_is_from_air else 0.0
    shares = (gas.oxygen_fraction + argon, gas.nitrogen_fraction - argon, gas.helium_fraction)
    tau = 300.0 / kelvin_from_celsius(temperature_c)
    sums: dict[int, list[float]] = {2: [], 3: [], 4: [], 5: []}
    for group, powers in VIRIAL_COEFFICIENTS.items():
        value = math.fsum(number * tau**power for power, number in enumerate(powers))
        sums[len(group)].append(_WAYS[group] * math.prod(shares[molecule] for molecule in group) * value)
    second, third, fourth, fifth = (math.fsum(sums[order]) for order in (2, 3, 4, 5))
    return _Mixture(coefficients=(second, third, fourth, fifth))


_WAYS = {
    group: math.factorial(len(group)) // math.prod(math.factorial(group.count(each)) for each in set(group))
    for group in VIRIAL_COEFFICIENTS
}
"""In how many orders a group of molecules can be named: 2 for a pair of different ones."""


def _bar_l_per_mol(temperature_c: float) -> float:
    """R T, the volume that a mole of ideal gas takes at 1 bar. [bar L/mol]"""
    return GAS_CONSTANT_J_PER_MOL_K * kelvin_from_celsius(temperature_c) / 100.0
