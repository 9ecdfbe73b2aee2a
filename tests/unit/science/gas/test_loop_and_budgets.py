"""Loop oxygen, budgets and the choice of a diluent at their edges."""

from __future__ import annotations

import pytest

from loopworthy.science.gas.budgets import WayBack, diluent_budget, oxygen_endurance_min
from loopworthy.science.gas.diluent import best_diluent
from loopworthy.science.gas.loop_oxygen import (
    dumped_share_fraction,
    fixed_flow_fraction,
    flow_for_fraction_l_per_min,
    oxygen_on_ascent,
    time_to_oxygen_min,
)
from loopworthy.science.gas.weight import weight_through_dive
from loopworthy.science.physics.gas import AIR
from loopworthy.vocabulary.errors import DomainError


def test_a_loop_from_which_breaths_are_dumped_balances_like_a_flow() -> None:
    dumped, pressure, use = 2.5, 4.0, 1.2
    flow = dumped * pressure + use
    assert dumped_share_fraction(dumped, pressure, 0.4, use) == pytest.approx(fixed_flow_fraction(flow, 0.4, use))


def test_a_loop_that_is_dumped_is_leaner_near_the_surface() -> None:
    assert dumped_share_fraction(2.5, 1.0, 0.4, 1.2) < dumped_share_fraction(2.5, 4.0, 0.4, 1.2)


def test_a_flow_below_the_use_is_refused() -> None:
    with pytest.raises(DomainError, match="flow_l_per_min must be above 1.2"):
        fixed_flow_fraction(1.2, 0.4, 1.2)


def test_hard_work_can_use_up_all_oxygen_of_a_flow() -> None:
    assert fixed_flow_fraction(10.0, 0.2, 2.5) == 0.0


def test_no_flow_makes_a_loop_richer_than_its_supply() -> None:
    with pytest.raises(DomainError, match="below the 0.32 of the supply"):
        flow_for_fraction_l_per_min(0.32, 0.32, 1.0)


def test_oxygen_that_is_below_the_floor_already_takes_no_time() -> None:
    assert time_to_oxygen_min(0.15, 0.16, 6.0, 1.0, 1.0) == 0.0


def test_a_refill_delays_and_one_of_oxygen_never_ends() -> None:
    shrinking = time_to_oxygen_min(1.3, 0.5, 6.0, 4.0, 1.0)
    refilled = time_to_oxygen_min(1.3, 0.5, 6.0, 4.0, 1.0, refill_oxygen_fraction=0.21)
    assert shrinking is not None
    assert refilled is not None
    assert refilled > shrinking
    assert time_to_oxygen_min(1.3, 0.5, 6.0, 4.0, 1.0, refill_oxygen_fraction=1.0) is None


def test_a_refill_of_air_at_depth_does_not_stop_the_fall() -> None:
    # Air at 5 bar holds 1.05 bar itself; but used oxygen is replaced by gas that is mostly nitrogen.
    assert time_to_oxygen_min(1.3, 0.5, 6.0, 5.0, 1.0, refill_oxygen_fraction=0.21) is not None


def test_more_use_than_expansion_is_refused_and_a_deeper_place_as_well() -> None:
    with pytest.raises(DomainError, match="metabolic_l_per_min must be at most the 0.6"):
        oxygen_on_ascent(1.2, 4.0, [2.0], metabolic_l_per_min=1.0, loop_volume_l=6.0, ascent_bar_per_min=0.1)
    with pytest.raises(DomainError, match=r"pressures_bar\[1\]"):
        oxygen_on_ascent(1.2, 4.0, [2.0, 4.1])


def test_oxygen_never_falls_below_nothing() -> None:
    along = oxygen_on_ascent(0.2, 7.0, [1.0], metabolic_l_per_min=3.0, loop_volume_l=5.0, ascent_bar_per_min=0.9)
    assert along[0].oxygen_bar == 0.0


def test_a_plan_that_does_not_fit_has_a_negative_margin() -> None:
    budget = diluent_budget(100.0, 6.0, 7.0, 1.0)
    assert budget.margin_bar_l < 0
    assert budget.further_flushes < 0


def test_gas_that_does_not_cover_the_problem_leads_nowhere() -> None:
    way = WayBack(ambient_pressure_bar=4.0, speed_m_per_min=15.0, rmv_l_per_min=25.0)
    assert way.furthest_distance_m(way.reserve_factor * way.problem_bar_l) == 0.0
    assert way.furthest_distance_m(10.0) == 0.0
    assert way.need_bar_l(way.furthest_distance_m(3000.0)) == pytest.approx(3000.0)


def test_a_shallow_dive_needs_no_helium_and_no_more_oxygen_than_air() -> None:
    choice = best_diluent(2.5, 1.3, 1.0)
    assert choice.gas.helium_fraction == 0.0
    assert choice.gas.oxygen_fraction == 0.20  # whole per cent at or below air
    assert choice.least_depth_m == 0.0


def test_where_no_helium_is_enough_the_choice_says_which_rules_it_breaks() -> None:
    choice = best_diluent(40.0, 1.3, 1.0)
    assert choice.gas.nitrogen_fraction == pytest.approx(0.0, abs=1e-12)
    assert not choice.keeps_wished_density
    assert choice.least_depth_m > 0.0


def test_counting_nitrogen_alone_never_asks_for_more_helium() -> None:
    both = best_diluent(7.0, 1.3, 1.0, density_wished_g_per_l=9.0, density_most_g_per_l=9.0)
    alone = best_diluent(7.0, 1.3, 1.0, density_wished_g_per_l=9.0, density_most_g_per_l=9.0, oxygen_is_narcotic=False)
    assert alone.gas.helium_fraction < both.gas.helium_fraction


def test_a_set_point_at_or_below_the_distance_is_refused() -> None:
    with pytest.raises(DomainError, match="set_point_bar must be above 0.2"):
        best_diluent(7.0, 0.2, 1.0)


@pytest.mark.parametrize("bad", [-1.0, float("nan"), 1e6])
def test_amounts_outside_their_range_are_refused(bad: float) -> None:
    with pytest.raises(DomainError, match="available_bar_l"):
        oxygen_endurance_min(bad, 1.0)
    with pytest.raises(DomainError, match="oxygen_bar_l"):
        weight_through_dive(bad, AIR, 0.0, 0.0)
