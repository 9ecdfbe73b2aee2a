"""Recipes, banks, one-mixture fills and analyses: what they say where a fill is possible and where it is not."""

from __future__ import annotations

import pytest

from loopworthy.science.gas.analysis import check_analysis
from loopworthy.science.gas.blending import PURE_HELIUM, CylinderGas, FillGas, FillRecipe, fill_recipe, filled_to
from loopworthy.science.gas.content import (
    content_bar_l,
    pressure_after_use_bar,
    pressure_of_content_bar,
    usable_bar_l,
)
from loopworthy.science.gas.continuous import continuous_fill
from loopworthy.science.gas.real_gas import Method, compressibility, density_mol_per_l
from loopworthy.science.gas.sources import GasSource, check_sources
from loopworthy.science.physics.gas import AIR, GasMixture
from loopworthy.science.uncertainty import Decision
from loopworthy.vocabulary.errors import DomainError, InputError

OXYGEN_AND_AIR = (FillGas.OXYGEN, FillGas.TOP_UP)


def _mix(oxygen: float, helium: float = 0.0) -> GasMixture:
    return GasMixture(oxygen_fraction=oxygen, helium_fraction=helium)


def _fill(oxygen: float, bar: float, helium: float = 0.0) -> CylinderGas:
    return CylinderGas(gas=_mix(oxygen, helium), pressure_bar=bar)


EMPTY = CylinderGas(gas=AIR, pressure_bar=0.0)


def _because(recipe: FillRecipe) -> str:
    assert recipe.obstacle is not None
    assert recipe.steps == ()
    return recipe.obstacle.reason


# --- recipes ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", Method)
def test_a_start_mix_is_topped_up_to_another(method: Method) -> None:
    recipe = fill_recipe(_fill(0.21, 60.0, 0.35), _fill(0.18, 220.0, 0.45), 20.0, method=method)
    assert [step.gas for step in recipe.steps] == [FillGas.HELIUM, FillGas.OXYGEN, FillGas.TOP_UP]
    assert recipe.steps[0].from_bar == 60.0
    assert [step.from_bar for step in recipe.steps[1:]] == [step.to_bar for step in recipe.steps[:-1]]
    assert recipe.result.pressure_bar == pytest.approx(220.0, abs=1e-9)
    assert recipe.result.gas.oxygen_fraction == pytest.approx(0.18, abs=1e-12)


def test_gases_of_which_nothing_is_needed_have_no_step() -> None:
    recipe = fill_recipe(EMPTY, _fill(0.32, 200.0), 20.0)
    assert [step.gas for step in recipe.steps] == [FillGas.OXYGEN, FillGas.TOP_UP]
    same = fill_recipe(_fill(0.32, 200.0), _fill(0.32, 200.0), 20.0)
    assert same.steps == ()
    assert same.obstacle is None


def test_too_rich_a_start_is_bled_to_a_named_pressure_and_then_topped_with_air_alone() -> None:
    start, target = _fill(0.5, 150.0), _fill(0.32, 200.0)
    refused = fill_recipe(start, target, 20.0, order=OXYGEN_AND_AIR)
    assert "too much oxygen" in _because(refused)
    assert refused.obstacle is not None
    bleed_to = refused.obstacle.bleed_to_bar
    assert bleed_to is not None
    assert f"Bleed it to {bleed_to:.1f} bar" in refused.obstacle.reason
    bled = fill_recipe(start, target, 20.0, order=OXYGEN_AND_AIR, may_bleed=True)
    assert bled.bleed_to_bar == bleed_to
    assert [step.gas for step in bled.steps] == [FillGas.TOP_UP]
    assert bled.result.gas.oxygen_fraction == pytest.approx(0.32, abs=1e-9)
    again = fill_recipe(_fill(0.5, bleed_to), target, 20.0, order=OXYGEN_AND_AIR)
    assert again.obstacle is None


def test_helium_that_must_go_entirely_takes_a_vacuum_pump_even_if_bleeding_is_allowed() -> None:
    recipe = fill_recipe(_fill(0.18, 100.0, 0.45), _fill(0.32, 200.0), 20.0, may_bleed=True)
    assert "too much helium" in _because(recipe)
    assert "vacuum" in _because(recipe)


@pytest.mark.parametrize(
    ("target", "order", "words"),
    [
        (_fill(0.18, 200.0), tuple(FillGas), "more oxygen than the target"),
        (_fill(0.10, 200.0, 0.70), OXYGEN_AND_AIR, "more helium than the order"),
        (_fill(0.10, 200.0, 0.70), (FillGas.HELIUM, FillGas.OXYGEN), "no gas of the order brings any"),
        (_fill(0.32, 200.0), (FillGas.TOP_UP,), "more oxygen than the order"),
    ],
)
def test_a_target_out_of_reach_says_which_gas_is_wrong(
    target: CylinderGas, order: tuple[FillGas, ...], words: str
) -> None:
    assert words in _because(fill_recipe(EMPTY, target, 20.0, order=order))


def test_a_top_up_with_helium_in_it_needs_less_helium() -> None:
    leaner = fill_recipe(EMPTY, _fill(0.18, 200.0, 0.45), 20.0, top_up=_mix(0.12, 0.30))
    plain = fill_recipe(EMPTY, _fill(0.18, 200.0, 0.45), 20.0)
    assert leaner.steps[0].to_bar < plain.steps[0].to_bar
    assert leaner.result.gas.helium_fraction == pytest.approx(0.45, abs=1e-12)


def test_heliox_is_made_without_any_top_up() -> None:
    recipe = fill_recipe(EMPTY, _fill(0.21, 200.0, 0.79), 20.0, order=(FillGas.OXYGEN, FillGas.HELIUM))
    assert recipe.result.gas.nitrogen_fraction == pytest.approx(0.0, abs=1e-12)


def test_a_top_up_of_heliox_serves_as_the_only_gas() -> None:
    recipe = fill_recipe(EMPTY, _fill(0.2, 200.0, 0.8), 20.0, top_up=_mix(0.2, 0.8), order=(FillGas.TOP_UP,))
    assert recipe.result.pressure_bar == pytest.approx(200.0)


@pytest.mark.parametrize(
    ("order", "limit"), [((), "one gas or more"), ((FillGas.OXYGEN, FillGas.OXYGEN), "each gas once")]
)
def test_an_order_that_is_none_is_refused(order: tuple[FillGas, ...], limit: str) -> None:
    with pytest.raises(InputError, match=limit):
        fill_recipe(EMPTY, _fill(0.32, 200.0), 20.0, order=order)


def test_a_target_without_pressure_is_refused() -> None:
    with pytest.raises(InputError, match=r"target\.pressure_bar must be above 0"):
        fill_recipe(EMPTY, _fill(0.32, 0.0), 20.0)


def test_topping_up_against_a_higher_pressure_is_refused() -> None:
    with pytest.raises(InputError, match=r"steps\[0\]\.to_bar must be above the 200 bar"):
        filled_to(_fill(0.32, 200.0), [(AIR, 180.0)], 20.0)


def test_filling_to_pressures_undoes_a_recipe() -> None:
    start = _fill(0.3, 40.0, 0.2)
    recipe = fill_recipe(start, _fill(0.18, 210.0, 0.45), 12.0)
    gases = {FillGas.HELIUM: PURE_HELIUM, FillGas.OXYGEN: _mix(1.0), FillGas.TOP_UP: AIR}
    filled = filled_to(start, [(gases[step.gas], step.to_bar) for step in recipe.steps], 12.0)
    assert filled.gas.helium_fraction == pytest.approx(0.45, abs=1e-9)
    assert filled.gas.oxygen_fraction == pytest.approx(0.18, abs=1e-9)


@pytest.mark.parametrize(
    ("bar", "temperature_c", "hint"),
    [(3000.0, 20.0, "psi"), (-1.0, 20.0, "pressure_bar"), (200.0, 293.15, "kelvin"), (200.0, 61.0, "temperature_c")],
)
def test_pressures_and_temperatures_outside_the_fit_are_refused(bar: float, temperature_c: float, hint: str) -> None:
    with pytest.raises(DomainError, match=hint):
        density_mol_per_l(AIR, bar, temperature_c)


def test_an_empty_cylinder_has_no_compressibility() -> None:
    with pytest.raises(DomainError, match="above 0 bar"):
        compressibility(AIR, 0.0, 20.0)
    assert density_mol_per_l(AIR, 0.0, 20.0) == 0.0


# --- banks -----------------------------------------------------------------------------------------------------------

NITROX = fill_recipe(EMPTY, _fill(0.5, 200.0), 20.0)


def test_a_bank_gives_up_to_its_own_pressure() -> None:
    (oxygen,) = check_sources(NITROX, {FillGas.OXYGEN: GasSource(pressure_bar=120.0)}, 20.0)
    assert oxygen.gives
    (oxygen,) = check_sources(NITROX, {FillGas.OXYGEN: GasSource(pressure_bar=60.0)}, 20.0)
    assert not oxygen.gives
    assert "uphill" in oxygen.reason


def test_a_small_bank_falls_as_it_gives() -> None:
    bank = {FillGas.OXYGEN: GasSource(pressure_bar=90.0, volume_l=50.0)}
    (oxygen,) = check_sources(NITROX, bank, 20.0, cylinder_volume_l=12.0)
    assert oxygen.pressure_after_bar is not None
    # What left the bank is in the cylinder.
    left = density_mol_per_l(_mix(1.0), oxygen.pressure_after_bar, 20.0) * 50.0
    assert left + NITROX.steps[0].amount_mol_per_l * 12.0 == pytest.approx(
        density_mol_per_l(_mix(1.0), 90.0, 20.0) * 50.0, rel=1e-9
    )
    assert oxygen.pressure_after_bar < 75.0
    with pytest.raises(InputError, match="cylinder_volume_l"):
        check_sources(NITROX, bank, 20.0)


def test_a_booster_lifts_from_its_inlet_to_its_outlet() -> None:
    lifts = GasSource(pressure_bar=60.0, booster_inlet_bar=30.0, booster_outlet_bar=200.0)
    assert check_sources(NITROX, {FillGas.OXYGEN: lifts}, 20.0)[0].gives
    starved = GasSource(pressure_bar=25.0, booster_inlet_bar=30.0)
    assert "booster needs" in check_sources(NITROX, {FillGas.OXYGEN: starved}, 20.0)[0].reason
    weak = GasSource(pressure_bar=60.0, booster_inlet_bar=30.0, booster_outlet_bar=65.0)
    assert "reaches 65.0 bar" in check_sources(NITROX, {FillGas.OXYGEN: weak}, 20.0)[0].reason
    with pytest.raises(InputError, match="booster_inlet_bar"):
        GasSource(pressure_bar=60.0, booster_outlet_bar=200.0)


def test_a_bank_that_is_emptied_gives_nothing() -> None:
    bank = {FillGas.OXYGEN: GasSource(pressure_bar=75.0, volume_l=1.0)}
    (oxygen,) = check_sources(NITROX, bank, 20.0, cylinder_volume_l=12.0)
    assert (oxygen.gives, oxygen.pressure_after_bar) == (False, 0.0)


# --- one mixture through a compressor --------------------------------------------------------------------------------


def test_the_pumped_mixture_and_the_start_make_the_target() -> None:
    start, target = _fill(0.21, 60.0, 0.35), _fill(0.20, 220.0, 0.40)
    fill = continuous_fill(start, target, 20.0)
    assert fill.obstacle is None
    assert fill.pumped is not None
    filled = filled_to(start, [(fill.pumped, 220.0)], 20.0)
    assert filled.gas.oxygen_fraction == pytest.approx(0.20, abs=1e-9)
    assert filled.gas.helium_fraction == pytest.approx(0.40, abs=1e-9)


def test_from_empty_the_pumped_mixture_is_the_target_whatever_the_method() -> None:
    for method in Method:
        fill = continuous_fill(EMPTY, _fill(0.32, 200.0), 20.0, method=method)
        assert fill.pumped is not None
        assert fill.pumped.oxygen_fraction == pytest.approx(0.32, abs=1e-12)
        assert fill.oxygen_after_helium_fraction == pytest.approx(AIR.oxygen_fraction)


def test_helium_before_oxygen_is_read_on_an_oxygen_analyser() -> None:
    fill = continuous_fill(EMPTY, _fill(0.18, 200.0, 0.45), 20.0)
    # Nitrogen 0.37 comes with air 0.37 / 0.7905; helium 0.45 thins its oxygen.
    air = 0.37 / 0.7905
    assert fill.oxygen_after_helium_fraction == pytest.approx(0.2095 * air / (air + 0.45), abs=1e-12)


def test_an_intake_too_rich_for_the_compressor_is_told() -> None:
    fill = continuous_fill(EMPTY, _fill(0.5, 200.0), 20.0)
    assert fill.obstacle is not None
    assert "50.0 % oxygen" in fill.obstacle.reason


def test_what_a_recipe_cannot_make_a_compressor_cannot_either() -> None:
    fill = continuous_fill(_fill(0.5, 150.0), _fill(0.32, 200.0), 20.0)
    assert fill.pumped is None
    assert fill.obstacle is not None
    assert fill.obstacle.bleed_to_bar is not None


# --- content ---------------------------------------------------------------------------------------------------------


def test_usable_gas_leaves_ambient_and_regulator_behind() -> None:
    trimix = _mix(0.18, 0.45)
    whole = content_bar_l(trimix, 11.0, 201.0, 10.0)
    usable = usable_bar_l(trimix, 11.0, 201.0, 10.0, 7.0)
    assert whole - usable == pytest.approx(content_bar_l(trimix, 11.0, 17.0, 10.0))
    assert usable_bar_l(trimix, 11.0, 15.0, 10.0, 7.0) == 0.0


@pytest.mark.parametrize("method", Method)
def test_pressure_after_use_is_what_the_rest_has(method: Method) -> None:
    oxygen = _mix(1.0)
    after = pressure_after_use_bar(oxygen, 2.0, 190.0, 134.0, 15.0, method)
    left = content_bar_l(oxygen, 2.0, after, 15.0, method)
    assert left + 134.0 == pytest.approx(content_bar_l(oxygen, 2.0, 190.0, 15.0, method), rel=1e-12)
    assert pressure_of_content_bar(oxygen, 2.0, left, 15.0, method) == pytest.approx(after)
    assert pressure_after_use_bar(oxygen, 2.0, 20.0, 500.0, 15.0, method) == 0.0


# --- analysis --------------------------------------------------------------------------------------------------------


def test_an_analyser_of_one_per_cent_cannot_decide_one_per_cent() -> None:
    coarse = check_analysis(0.32, 0.325, tolerance_fraction=0.01, accuracy_fraction=0.01, resolution_fraction=0.001)
    assert coarse.decision is Decision.NEAR_LIMIT
    fine = check_analysis(0.32, 0.325, tolerance_fraction=0.01, accuracy_fraction=0.002, resolution_fraction=0.001)
    assert fine.decision is Decision.INSIDE
    wrong = check_analysis(0.32, 0.345, tolerance_fraction=0.01, accuracy_fraction=0.002, resolution_fraction=0.001)
    assert wrong.decision is Decision.OUTSIDE


def test_the_bounds_of_an_analysis_are_its_reading_and_twice_its_uncertainty() -> None:
    check = check_analysis(
        0.5,
        0.497,
        tolerance_fraction=0.01,
        accuracy_fraction=0.003,
        resolution_fraction=0.001,
        calibrated_at_fraction=0.209,
        calibration_uncertainty_fraction=0.0005,
    )
    root = sum(each.contribution**2 for each in check.terms) ** 0.5
    assert check.uncertainty_fraction == pytest.approx(2 * root)
    assert check.highest_fraction - check.lowest_fraction == pytest.approx(4 * root)
    # Set on air, an error of half a tenth of a per cent more than doubles at 50 %.
    assert check.terms[-1].contribution == pytest.approx(0.0005 * 0.497 / 0.209)
