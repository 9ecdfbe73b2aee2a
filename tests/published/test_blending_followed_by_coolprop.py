"""Recipes followed step by step in the reference mixture model of CoolProp 8, argon of the air included.

The recipe tells pressures; CoolProp says which amount of each gas brings the cylinder to them, and what it then holds.
Tolerances of the blending table: 0.002 in fraction for nitrox, 0.01 with helium.
"""

from __future__ import annotations

import functools
import math

import CoolProp
import pytest
from CoolProp.CoolProp import AbstractState
from scipy.optimize import brentq

from loopworthy.science.gas.blending import CylinderGas, FillGas, fill_recipe, mixture_of
from loopworthy.science.physics.gas import AIR, GasMixture

NAMES = ("Oxygen", "Helium", "Nitrogen", "Argon")
ARGON_OF_NITROGEN = 0.0093 / 0.7905  # air O2 0.2095, N2 0.7812, Ar 0.0093, as in the blending table


def _parts(gas: GasMixture) -> tuple[float, ...]:
    argon = ARGON_OF_NITROGEN * gas.nitrogen_fraction
    return (gas.oxygen_fraction, gas.helium_fraction, gas.nitrogen_fraction - argon, argon)


@functools.cache
def _state(names: tuple[str, ...]) -> AbstractState:
    state = AbstractState("HEOS", "&".join(names))
    state.specify_phase(CoolProp.iphase_gas)
    return state


def _pressure_bar(amounts: tuple[float, ...], temperature_c: float) -> float:
    """Pressure of so many moles of each gas in a litre."""
    held = [(name, amount) for name, amount in zip(NAMES, amounts, strict=True) if amount > 1e-9]
    total = math.fsum(amount for _, amount in held)
    if total <= 1e-9:
        return 0.0
    state = _state(tuple(name for name, _ in held))
    if len(held) > 1:
        state.set_mole_fractions([amount / total for _, amount in held])
    state.update(CoolProp.DmolarT_INPUTS, total * 1000.0, temperature_c + 273.15)
    return float(state.p()) / 1e5


def _plus(amounts: tuple[float, ...], parts: tuple[float, ...], added: float) -> tuple[float, ...]:
    return tuple(amount + added * part for amount, part in zip(amounts, parts, strict=True))


def _raise_to(amounts: tuple[float, ...], gas: GasMixture, to_bar: float, temperature_c: float) -> tuple[float, ...]:
    parts = _parts(gas)
    added = brentq(
        lambda amount: _pressure_bar(_plus(amounts, parts, amount), temperature_c) - to_bar, 0.0, 20.0, xtol=1e-10
    )
    return _plus(amounts, parts, added)


def _mix(oxygen: float, helium: float = 0.0) -> GasMixture:
    return GasMixture(oxygen_fraction=oxygen, helium_fraction=helium)


@pytest.mark.parametrize(
    ("start", "start_bar", "target", "target_bar", "temperature_c", "top_up", "tolerance"),
    [
        (AIR, 0.0, _mix(0.32), 200.0, 5.0, AIR, 0.002),
        (AIR, 51.0, _mix(0.36), 233.0, 35.0, AIR, 0.002),
        (_mix(0.28), 90.0, _mix(0.50), 201.0, 15.0, AIR, 0.002),
        (_mix(0.36), 40.0, _mix(0.40), 221.0, 20.0, _mix(0.32), 0.002),
        (AIR, 1.0, _mix(0.80), 201.0, 20.0, AIR, 0.002),
        (AIR, 0.0, _mix(0.32), 300.0, 0.0, AIR, 0.002),
        (_mix(0.21, 0.35), 61.0, _mix(0.18, 0.45), 221.0, 10.0, AIR, 0.01),
        (_mix(0.18, 0.45), 120.0, _mix(0.12, 0.60), 233.0, 30.0, AIR, 0.01),
        (AIR, 1.0, _mix(0.10, 0.70), 233.0, 0.0, AIR, 0.01),
        (_mix(0.15, 0.45), 80.0, _mix(0.25, 0.25), 201.0, 20.0, _mix(0.32), 0.01),
        (AIR, 1.0, _mix(0.50, 0.20), 201.0, 25.0, AIR, 0.01),
        (_mix(0.10, 0.80), 30.0, _mix(0.08, 0.76), 301.0, 15.0, AIR, 0.01),
    ],
)
@pytest.mark.parametrize("order", [(FillGas.HELIUM, FillGas.OXYGEN, FillGas.TOP_UP), tuple(reversed(FillGas))])
def test_the_reference_model_ends_with_the_target(
    start: GasMixture,
    start_bar: float,
    target: GasMixture,
    target_bar: float,
    temperature_c: float,
    top_up: GasMixture,
    tolerance: float,
    order: tuple[FillGas, ...],
) -> None:
    recipe = fill_recipe(
        CylinderGas(gas=start, pressure_bar=start_bar),
        CylinderGas(gas=target, pressure_bar=target_bar),
        temperature_c,
        top_up,
        order,
    )
    assert recipe.obstacle is None, recipe.obstacle
    amounts: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    if start_bar > 0.0:
        amounts = _raise_to(amounts, start, start_bar, temperature_c)
    for step in recipe.steps:
        amounts = _raise_to(amounts, mixture_of(step.gas, top_up), step.to_bar, temperature_c)
    total = math.fsum(amounts)
    assert amounts[0] / total == pytest.approx(target.oxygen_fraction, abs=tolerance)
    assert amounts[1] / total == pytest.approx(target.helium_fraction, abs=tolerance)
