"""Fit the virial coefficients of oxygen, nitrogen and helium mixtures to the reference equations of CoolProp.

    python scripts/fit_virial.py > src/loopworthy/science/gas/virial_coefficients.py

The second coefficients are taken from the reference equations themselves; the third to fifth are fitted by least
squares to compressibility factors, first of the pure gases (weights moved until the largest error is small), then of
mixtures. The range is -10 to 60 °C and 1 to 330 bar. CoolProp, NumPy and SciPy are needed here only.
"""

from __future__ import annotations

import math
from itertools import combinations_with_replacement

import CoolProp
import numpy as np
from CoolProp.CoolProp import AbstractState, PropsSI

GASES = ("Oxygen", "Nitrogen", "Helium")
GAS_CONSTANT = 8.31446261815324
TEMPERATURES_K = (263.15, 268.15, 273.15, 278.15, 283.15, 288.15, 293.15, 298.15, 303.15, 313.15, 323.15, 333.15)
PRESSURES_BAR = (1.01325, 10, 25, 50, 75, 100, 125, 150, 175, 200, 232, 260, 300, 330)
AIR = (0.2095 + 0.0093, 0.7812, 0.0)
"""Air with its argon counted as oxygen, which its second coefficient resembles to 1 cm³/mol."""

AIR_COUNTS_AS = 12
"""As many mixtures as the equation for air weighs in the fit."""

TERMS_IN_TEMPERATURE = {2: 3, 3: 2, 4: 1, 5: 1}
"""Order of a coefficient (2 is the second) to its number of powers of 300 K / T."""

TERMS = [
    (group, power)
    for order, powers in TERMS_IN_TEMPERATURE.items()
    for group in combinations_with_replacement(range(3), order)
    for power in range(powers)
]


def ways(group: tuple[int, ...]) -> int:
    """In how many orders a group of molecules can be named."""
    return math.factorial(len(group)) // math.prod(math.factorial(group.count(gas)) for gas in set(group))


def mixture(fractions: tuple[float, ...]) -> AbstractState:
    """The reference state of a mixture, without the components that it does not hold."""
    held = [(name, share) for name, share in zip(GASES, fractions, strict=True) if share > 0]
    state = AbstractState("HEOS", "&".join(name for name, _ in held))
    if len(held) > 1:
        state.set_mole_fractions([share for _, share in held])
    state.specify_phase(CoolProp.iphase_gas)
    return state


def samples(fractions: tuple[float, ...], state: AbstractState | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Rows of terms and compressibility factors less one over the whole range."""
    state = state or mixture(fractions)
    rows, values = [], []
    for temperature in TEMPERATURES_K:
        for pressure in PRESSURES_BAR:
            state.update(CoolProp.PT_INPUTS, pressure * 1e5, temperature)
            density = state.rhomolar() / 1000.0
            rows.append(
                [
                    ways(group)
                    * math.prod(fractions[gas] for gas in group)
                    * density ** (len(group) - 1)
                    * (300.0 / temperature) ** power
                    for group, power in TERMS
                ]
            )
            values.append(pressure * 100.0 / (density * GAS_CONSTANT * temperature) - 1.0)
    return np.array(rows), np.array(values)


def second_coefficient(one: int, other: int, temperature: float) -> float:
    """The second virial coefficient of two molecules in the reference equations. [L/mol]"""
    if one == other:
        return float(PropsSI("Bvirial", "T", temperature, "Dmolar", 1e-6, GASES[one]) * 1000.0)
    fractions = tuple(0.5 if gas in (one, other) else 0.0 for gas in range(3))
    state = mixture(fractions)
    state.update(CoolProp.DmolarT_INPUTS, 1e-3, temperature)
    pure = sum(second_coefficient(gas, gas, temperature) for gas in (one, other))
    return 2.0 * (float(state.Bvirial()) * 1000.0 - 0.25 * pure)


def solve(found: dict, rows: np.ndarray, values: np.ndarray, *, minimax: bool) -> None:
    """Add the terms that are still unknown and that these samples have."""
    known = np.array([found.get(term, 0.0) for term in TERMS])
    open_terms = [place for place, term in enumerate(TERMS) if term not in found and np.any(rows[:, place] != 0.0)]
    matrix, rest = rows[:, open_terms], values - rows @ known
    weights, best = np.ones(len(rest)), (math.inf, np.zeros(len(open_terms)))
    for _ in range(40 if minimax else 1):
        solution = np.linalg.lstsq(matrix * weights[:, None], rest * weights, rcond=None)[0]
        error = np.abs(matrix @ solution - rest)
        best = min(best, (float(error.max()), solution), key=lambda pair: pair[0])
        weights = weights * (error / error.max() + 0.3) ** 0.3
        weights /= weights.max()
    found.update({TERMS[place]: value for place, value in zip(open_terms, best[1], strict=True)})


def compositions() -> list[tuple[float, ...]]:
    """Mixtures over the whole triangle, closer where divers use it."""
    pairs = [0.1, 0.21, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9]
    two = [(one, 1 - one, 0.0) for one in pairs] + [(0.0, 1 - one, one) for one in pairs]
    two += [(one, 0.0, 1 - one) for one in pairs]
    three = [(0.18, 0.45), (0.10, 0.70), (0.21, 0.35), (0.15, 0.45), (0.14, 0.5), (0.3, 0.3), (0.5, 0.2), (0.25, 0.25)]
    three += [(0.08, 0.8), (0.35, 0.25), (0.12, 0.6), (0.6, 0.3)]
    return two + [(oxygen, 1 - oxygen - helium, helium) for oxygen, helium in three]


def fitted() -> dict:
    """All coefficients by term."""
    found: dict = {}
    temperatures = np.linspace(min(TEMPERATURES_K), max(TEMPERATURES_K), 30)
    for pair in combinations_with_replacement(range(3), 2):
        powers = np.array([[(300.0 / t) ** power for power in range(3)] for t in temperatures])
        values = np.array([second_coefficient(*pair, t) for t in temperatures])
        found |= {(pair, power): value for power, value in enumerate(np.linalg.lstsq(powers, values, rcond=None)[0])}
    for gas in range(3):
        solve(found, *samples(tuple(1.0 if other == gas else 0.0 for other in range(3))), minimax=True)
    parts = [samples(fractions) for fractions in compositions()]
    # The equation for air itself stands 0.13 % away from the mixture of its parts; it is nearer to measurements.
    parts += AIR_COUNTS_AS * [samples(AIR, AbstractState("HEOS", "Air"))]
    solve(found, np.vstack([part[0] for part in parts]), np.concatenate([part[1] for part in parts]), minimax=False)
    return found


HEADER = f'''"""Virial coefficients of oxygen, nitrogen and helium mixtures. Made by scripts/fit_virial.py; do not edit.

Second to fifth coefficients in L/mol, (L/mol)² and so on, each a polynomial in 300 K / T with the constant first. A key
names the molecules that meet: 0 oxygen, 1 nitrogen, 2 helium. The second ones are those of the reference equations in
CoolProp {CoolProp.__version__}; the higher ones are fitted to its compressibility factors, -10 to 60 °C and to 330 bar.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

VIRIAL_COEFFICIENTS: Mapping[tuple[int, ...], tuple[float, ...]] = MappingProxyType(
    {{'''


def main() -> None:
    """Write the module."""
    found = fitted()
    print(HEADER)
    for group in dict.fromkeys(group for group, _ in TERMS):
        numbers = [f"{found[group, power]:.9g}" for power in range(TERMS_IN_TEMPERATURE[len(group)])]
        print(f"        {group}: ({', '.join(numbers)}{',' if len(numbers) == 1 else ''}),")
    print("    }\n)")


if __name__ == "__main__":
    main()
