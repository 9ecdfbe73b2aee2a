"""Blending for any start and target: molecules are conserved, and the real gas stays a gas."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from loopworthy.science.exposure.nervous_system import nervous_system_exposure
from loopworthy.science.exposure.segments import OxygenSegment
from loopworthy.science.gas.blending import CylinderGas, FillGas, fill_recipe, filled_to, mixture_of
from loopworthy.science.gas.real_gas import Method, density_mol_per_l, pressure_bar
from loopworthy.science.physics.gas import AIR, GasMixture

methods = st.sampled_from(Method)
temperatures = st.floats(-10.0, 60.0)


@st.composite
def mixtures(draw: st.DrawFn) -> GasMixture:
    oxygen = draw(st.floats(0.0, 1.0))
    return GasMixture(oxygen_fraction=oxygen, helium_fraction=draw(st.floats(0.0, 1.0)) * (1.0 - oxygen))


fills = st.builds(CylinderGas, gas=mixtures(), pressure_bar=st.floats(0.0, 300.0))
targets = st.builds(CylinderGas, gas=mixtures(), pressure_bar=st.floats(1.0, 300.0))


def _amounts(fill: CylinderGas, temperature_c: float, method: Method) -> tuple[float, float, float]:
    amount = density_mol_per_l(fill.gas, fill.pressure_bar, temperature_c, method)
    return (
        amount * fill.gas.oxygen_fraction,
        amount * fill.gas.helium_fraction,
        amount * fill.gas.nitrogen_fraction,
    )


@given(fills, targets, temperatures, st.permutations(list(FillGas)), methods, mixtures() | st.just(AIR))
def test_a_recipe_conserves_every_gas_or_says_why_there_is_none(
    start: CylinderGas,
    target: CylinderGas,
    temperature_c: float,
    order: list[FillGas],
    method: Method,
    top_up: GasMixture,
) -> None:
    assume(top_up.nitrogen_fraction > 0.01)
    recipe = fill_recipe(start, target, temperature_c, top_up, order, method, may_bleed=True)
    if recipe.obstacle is not None:
        assert recipe.obstacle.reason
        assert recipe.steps == ()
        return
    begin = start
    if recipe.bleed_to_bar is not None:
        assert 1.0 <= recipe.bleed_to_bar <= start.pressure_bar
        begin = CylinderGas(gas=start.gas, pressure_bar=recipe.bleed_to_bar)
    had = _amounts(begin, temperature_c, method)
    has = _amounts(target, temperature_c, method)
    for place, share in enumerate(("oxygen_fraction", "helium_fraction", "nitrogen_fraction")):
        added = sum(step.amount_mol_per_l * getattr(mixture_of(step.gas, top_up), share) for step in recipe.steps)
        assert had[place] + added == pytest.approx(has[place], abs=1e-6)
    assert recipe.result.pressure_bar == pytest.approx(target.pressure_bar, abs=1e-4)
    assert recipe.result.gas.oxygen_fraction == pytest.approx(target.gas.oxygen_fraction, abs=1e-6)
    assert recipe.result.gas.helium_fraction == pytest.approx(target.gas.helium_fraction, abs=1e-6)
    assert all(step.to_bar > step.from_bar for step in recipe.steps)
    assert [step.gas for step in recipe.steps] == [gas for gas in order if gas in {step.gas for step in recipe.steps}]


@given(mixtures(), st.floats(0.001, 330.0), temperatures, methods)
def test_pressure_and_density_undo_each_other(
    gas: GasMixture, bar: float, temperature_c: float, method: Method
) -> None:
    amount = density_mol_per_l(gas, bar, temperature_c, method)
    assert pressure_bar(gas, amount, temperature_c, method) == pytest.approx(bar, rel=1e-11)


@given(mixtures(), st.floats(1.0, 329.0), temperatures)
def test_more_gas_is_more_pressure_and_warmer_is_more_pressure(
    gas: GasMixture, bar: float, temperature_c: float
) -> None:
    amount = density_mol_per_l(gas, bar, temperature_c)
    assert density_mol_per_l(gas, bar + 0.5, temperature_c) > amount
    assume(temperature_c < 59.0)
    assert pressure_bar(gas, amount, temperature_c + 1.0) > bar


@given(mixtures(), st.floats(0.1, 299.0), st.floats(0.5, 30.0), mixtures(), temperatures, methods)
def test_topping_up_lies_between_what_was_in_it_and_what_was_added(
    held: GasMixture, bar: float, more_bar: float, added: GasMixture, temperature_c: float, method: Method
) -> None:
    filled = filled_to(CylinderGas(gas=held, pressure_bar=bar), [(added, bar + more_bar)], temperature_c, method).gas
    for share in ("oxygen_fraction", "helium_fraction"):
        low, high = sorted((getattr(held, share), getattr(added, share)))
        assert low - 1e-9 <= getattr(filled, share) <= high + 1e-9


oxygen_pressures = st.floats(0.0, 3.0)


@given(oxygen_pressures, oxygen_pressures, st.floats(0.01, 0.99))
def test_a_segment_counts_as_much_as_its_two_parts(start: float, end: float, cut: float) -> None:
    middle = start + (end - start) * cut
    whole = OxygenSegment(duration_min=30.0, start_oxygen_bar=start, end_oxygen_bar=end)
    parts = [
        OxygenSegment(duration_min=30.0 * cut, start_oxygen_bar=start, end_oxygen_bar=middle),
        OxygenSegment(duration_min=30.0 * (1.0 - cut), start_oxygen_bar=middle, end_oxygen_bar=end),
    ]
    assume(abs(end - start) > 1e-6 or start == end)
    assert nervous_system_exposure(parts).single_fraction == pytest.approx(
        nervous_system_exposure([whole]).single_fraction, rel=1e-6, abs=1e-9
    )
