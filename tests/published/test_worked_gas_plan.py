"""The worked numbers of a gas plan, computed by hand beforehand: budgets, way back, weight, loop oxygen, temperature.

They are own examples of the trade's formulas (common practice, no source) and no measurements. Each tolerance is half
of the last digit that the example gives, unless a comment says more.
"""

from __future__ import annotations

import pytest
import scipy.integrate

from loopworthy.science.gas.budgets import WayBack, diluent_budget, oxygen_endurance_min, oxygen_use_l_per_min
from loopworthy.science.gas.content import content_bar_l, pressure_of_content_bar
from loopworthy.science.gas.diluent import best_diluent
from loopworthy.science.gas.loop_oxygen import (
    fixed_flow_fraction,
    flow_for_fraction_l_per_min,
    oxygen_on_ascent,
    time_to_oxygen_min,
)
from loopworthy.science.gas.real_gas import Method, settled_pressure_bar
from loopworthy.science.gas.weight import weight_through_dive
from loopworthy.science.physics.depth import Water, pressure_at_depth_bar
from loopworthy.science.physics.gas import AIR, GasMixture
from loopworthy.science.physics.loop_gas import loop_gas

OXYGEN = GasMixture(oxygen_fraction=1.0)
BOTTOM = GasMixture(oxygen_fraction=0.15, helium_fraction=0.45)
AT_60_M = pressure_at_depth_bar(60, 1.013, Water.SEA)


def test_oxygen_lasts_194_minutes_with_a_fifth_for_losses() -> None:
    above_reserve = 2.0 * (190.0 - 50.0)
    assert oxygen_endurance_min(above_reserve, 1.2, 0.0) == pytest.approx(233, abs=0.5)
    assert oxygen_endurance_min(above_reserve, 1.2, 0.2) == pytest.approx(194, abs=0.5)


def test_the_check_after_the_dive_says_1_6_litres_a_minute() -> None:
    used = 2.0 * (185.0 - 118.0)
    assert used == 134.0
    assert oxygen_use_l_per_min(used, 84.0) == pytest.approx(1.6, abs=0.05)


def test_the_diluent_of_a_60_m_dive_leaves_no_third_flush() -> None:
    budget = diluent_budget(
        3.0 * 180.0 - 3.0 * 50.0,
        6.0,
        AT_60_M,
        1.013,
        flushes=2,
        buoyancy_l=5.0,
        redescents_bar=3 * (pressure_at_depth_bar(10, 1.013, Water.SEA) - 1.013),
    )
    assert budget.descent_bar_l == pytest.approx(36, abs=0.5)
    assert budget.one_flush_bar_l == pytest.approx(106, abs=0.5)
    assert budget.buoyancy_bar_l == pytest.approx(35, abs=0.5)
    assert budget.redescents_bar_l == pytest.approx(18, abs=0.5)
    assert budget.total_bar_l == pytest.approx(301, abs=0.6)  # the example adds rounded parts
    assert budget.margin_bar_l == pytest.approx(89, abs=0.6)
    assert budget.further_flushes == 0


def test_the_way_back_of_300_m_takes_170_bar_of_two_cylinders() -> None:
    way = WayBack(
        ambient_pressure_bar=pressure_at_depth_bar(30, 1.013, Water.SEA),
        speed_m_per_min=15.0,
        rmv_l_per_min=25.0,
        problem_min=3.0,
        problem_rmv_l_per_min=40.0,
        reserve_factor=1.5,
    )
    need = way.need_bar_l(300.0)
    assert need / 1.5 == pytest.approx(2497, abs=1.5)  # the example rounds the pressure to 4.03 bar
    assert need == pytest.approx(3746, abs=2.0)
    assert pressure_of_content_bar(AIR, 22.0, need, 20.0, Method.IDEAL) == pytest.approx(170, abs=0.5)
    assert way.furthest_distance_m(150.0 * 22.0) == pytest.approx(256, abs=0.5)


@pytest.mark.parametrize(("use", "per_cent"), [(0.5, 36.8), (1.0, 33.3), (1.5, 29.4), (2.5, 20.0)])
def test_fixed_flow_is_lean_at_work(use: float, per_cent: float) -> None:
    assert 100 * fixed_flow_fraction(10.0, 0.40, use) == pytest.approx(per_cent, abs=0.05)


def test_a_flow_gives_the_fraction_that_asked_for_it() -> None:
    flow = flow_for_fraction_l_per_min(0.25, 0.40, 1.3)
    assert fixed_flow_fraction(flow, 0.40, 1.3) == pytest.approx(0.25, abs=1e-12)


@pytest.mark.parametrize(
    ("fraction", "use", "minutes", "half_digit"),
    [
        (0.2095, 1.0, 0.54, 0.015),  # the example takes air as 21 %
        (0.50, 1.0, 3.6, 0.05),
        (0.70, 1.0, 5.8, 0.05),
        (0.98, 1.0, 8.8, 0.05),
        (0.2095, 1.5, 21 / 60, 0.6 / 60),
    ],
)
def test_time_to_hypoxia_with_oxygen_shut(fraction: float, use: float, minutes: float, half_digit: float) -> None:
    assert time_to_oxygen_min(fraction, 0.16, 9.0, 1.0, use) == pytest.approx(minutes, abs=half_digit)


@pytest.mark.parametrize(("use", "minutes", "half_digit"), [(1.0, 8.4, 0.05), (0.64, 13.0, 0.5)])
def test_a_loop_left_full_of_oxygen_takes_minutes_to_reach_the_set_point(
    use: float, minutes: float, half_digit: float
) -> None:
    assert time_to_oxygen_min(0.98, 0.70, 9.0, 1.0, use) == pytest.approx(minutes, abs=half_digit)


@pytest.mark.parametrize(
    ("start_bar", "start_m", "steps"),
    [
        (1.2, 30, {20: 0.90, 10: 0.60, 6: 0.48, 3: 0.39, 0: 0.30}),
        (1.3, 60, {20: 0.56, 6: 0.30, 3: 0.24, 0: 0.19}),
    ],
)
def test_oxygen_falls_on_an_ascent_without_addition(start_bar: float, start_m: float, steps: dict[int, float]) -> None:
    pressures = [pressure_at_depth_bar(depth, 1.013, Water.SEA) for depth in steps]
    along = oxygen_on_ascent(start_bar, pressure_at_depth_bar(start_m, 1.013, Water.SEA), pressures)
    assert [each.oxygen_bar for each in along] == pytest.approx(list(steps.values()), abs=0.0051)


def test_use_on_the_ascent_is_what_scipy_integrates() -> None:
    # Molecules in the loop: n = V P. Expansion vents dn at the loop's fraction, use takes oxygen only.
    volume, use, rate, start_bar = 6.0, 0.7, 0.9, 7.0

    def slope(time: float, oxygen: list[float]) -> list[float]:
        pressure = start_bar - rate * time
        vented = volume * rate - use
        return [-use - vented * oxygen[0] / (volume * pressure)]

    minutes = (start_bar - 1.5) / rate
    solution = scipy.integrate.solve_ivp(slope, (0.0, minutes), [1.3 * volume], rtol=1e-10, atol=1e-12)
    ours = oxygen_on_ascent(
        1.3, start_bar, [1.5], loop_volume_l=volume, metabolic_l_per_min=use, ascent_bar_per_min=rate
    )
    assert ours[0].oxygen_bar == pytest.approx(solution.y[0][-1] / volume, rel=1e-7)


def test_refilled_bags_are_what_scipy_integrates() -> None:
    # Used oxygen is replaced by diluent, so the gas stays 8 L at 3 bar.
    def slope(time: float, oxygen: list[float]) -> list[float]:
        return [-1.1 + 1.1 * 0.18]

    minutes = time_to_oxygen_min(1.2, 0.6, 8.0, 3.0, 1.1, refill_oxygen_fraction=0.18)
    assert minutes is not None
    solution = scipy.integrate.solve_ivp(slope, (0.0, minutes), [1.2 * 8.0], rtol=1e-10)
    assert solution.y[0][-1] / 8.0 == pytest.approx(0.6, rel=1e-9)


def test_the_loop_changes_a_divers_weight_by_almost_nothing_and_bailout_does() -> None:
    fifty = GasMixture(oxygen_fraction=0.5)
    change = weight_through_dive(134.0, BOTTOM, 280.0, 102.0, [(BOTTOM, 1650.0), (fifty, 1650.0)])
    assert change.oxygen_kg == pytest.approx(-0.18, abs=0.005)
    assert change.diluent_kg == pytest.approx(-0.21, abs=0.006)  # the example takes litres at one atmosphere
    assert change.carbon_dioxide_kg == pytest.approx(0.19, abs=0.006)
    assert list(change.bailout_kg) == pytest.approx([-1.2, -2.0], abs=0.05)
    on_the_loop = change.oxygen_kg + change.diluent_kg + change.carbon_dioxide_kg
    assert abs(on_the_loop) < 0.25
    assert change.total_kg == pytest.approx(on_the_loop + sum(change.bailout_kg))


@pytest.mark.parametrize(("temperature_c", "bar"), [(20.0, 187), (10.0, 181)])
def test_a_cylinder_of_200_bar_at_40_degrees_cools(temperature_c: float, bar: float) -> None:
    assert settled_pressure_bar(AIR, 200.0, 40.0, temperature_c, Method.IDEAL) == pytest.approx(bar, abs=0.5)
    # The real gas falls further; the reference figure for 10 degrees is in the table of gas laws.
    assert settled_pressure_bar(AIR, 200.0, 40.0, temperature_c) < bar - 3.0


def test_the_best_diluent_for_60_m_keeps_all_three_rules_in_the_loop() -> None:
    choice = best_diluent(AT_60_M, 1.3, 1.013, water=Water.SEA)
    # The example's 14/50 still has 5.36 g/L in the loop, so more helium is needed; 15 % is 1.06 bar at depth.
    assert choice.gas.oxygen_fraction == 0.15
    assert choice.diluent_oxygen_bar == pytest.approx(1.06, abs=0.005)
    assert 0.50 < choice.gas.helium_fraction < 0.60
    assert choice.keeps_narcotic_depth
    assert choice.keeps_wished_density
    denser = GasMixture(oxygen_fraction=0.15, helium_fraction=choice.gas.helium_fraction - 0.01)
    assert choice.loop.density_g_per_l <= 5.2 < loop_gas(denser, 1.3, AT_60_M).density_g_per_l


def test_a_bailout_cylinder_of_trimix_holds_a_tenth_less_than_by_the_ideal_law() -> None:
    # 18/45 at 200 bar and 15 degrees: compressibility 1.11294 in the table of CoolProp 8.0.0.
    mix = GasMixture(oxygen_fraction=0.18, helium_fraction=0.45)
    ratio = content_bar_l(mix, 11.0, 200.0, 15.0, Method.IDEAL) / content_bar_l(mix, 11.0, 200.0, 15.0)
    assert ratio == pytest.approx(1.11294, abs=0.002)
