"""Oxygen exposure: what is counted, what is said, and what is refused."""

from __future__ import annotations

import pytest

from loopworthy.science.exposure.lungs import METHOD, lung_dose, repex_day_average_uptd, uptd_per_min
from loopworthy.science.exposure.nervous_system import LimitKind, decayed_fraction, limit_min, nervous_system_exposure
from loopworthy.science.exposure.segments import OxygenSegment, steady
from loopworthy.vocabulary.errors import DomainError, InputError


def test_nothing_is_counted_at_half_a_bar_and_below() -> None:
    shares = nervous_system_exposure([steady(600.0, 0.5), steady(60.0, 0.21)])
    assert (shares.single_fraction, shares.day_fraction, shares.warnings) == (0.0, 0.0, ())
    assert lung_dose([steady(600.0, 0.5)]).uptd == 0.0
    assert limit_min(0.5) is None


def test_from_half_a_bar_to_the_first_row_the_first_row_counts() -> None:
    assert limit_min(0.51) == limit_min(0.6) == 720.0


def test_above_the_table_it_says_so_in_words_and_counts_at_least_the_last_row() -> None:
    shares = nervous_system_exposure([steady(9.0, 1.8)])
    assert shares.minutes_above_table == 9.0
    assert shares.single_fraction == pytest.approx(9.0 / 45.0)
    assert "convulsion" in shares.warnings[0]
    assert "too small" in shares.warnings[0]


def test_oxygen_at_the_six_metre_stop_counts_as_1_6() -> None:
    shares = nervous_system_exposure([steady(10.0, 1.613)])
    assert shares.minutes_above_table == 0.0
    assert shares.single_fraction == pytest.approx(10.0 / 45.0)
    assert "above 1.4" in shares.warnings[0]


def test_a_ramp_through_the_end_of_the_table_counts_only_its_part_above() -> None:
    ramp = OxygenSegment(duration_min=10.0, start_oxygen_bar=1.52, end_oxygen_bar=1.72)
    assert nervous_system_exposure([ramp]).minutes_above_table == pytest.approx(5.0)


def test_a_ramp_counts_the_same_in_both_directions() -> None:
    up = OxygenSegment(duration_min=7.0, start_oxygen_bar=0.3, end_oxygen_bar=1.55)
    down = OxygenSegment(duration_min=7.0, start_oxygen_bar=1.55, end_oxygen_bar=0.3)
    assert nervous_system_exposure([up]).single_fraction == pytest.approx(
        nervous_system_exposure([down]).single_fraction, rel=1e-12
    )
    assert lung_dose([up]).uptd == pytest.approx(lung_dose([down]).uptd, rel=1e-12)


def test_exceeded_limits_are_named() -> None:
    shares = nervous_system_exposure([steady(200.0, 1.3)], carried_day_fraction=0.2)
    assert any("single-exposure" in said for said in shares.warnings)
    assert any("24 hours" in said for said in shares.warnings)
    dose = lung_dose([steady(200.0, 1.3)], carried_uptd=700.0)
    assert METHOD in dose.warnings[0]
    assert dose.method == METHOD


def test_what_was_carried_in_is_added() -> None:
    with_it = nervous_system_exposure([steady(18.0, 1.3)], carried_single_fraction=0.25)
    assert with_it.single_fraction == pytest.approx(0.35)
    assert lung_dose([], carried_uptd=12.0).uptd == 12.0


def test_a_share_halves_with_each_half_time() -> None:
    assert decayed_fraction(0.8, 90.0) == pytest.approx(0.4)
    assert decayed_fraction(0.8, 0.0) == 0.8


def test_a_long_mission_is_held_to_the_lowest_average() -> None:
    assert repex_day_average_uptd(40) == min(repex_day_average_uptd(days) for days in range(1, 40))
    with pytest.raises(InputError, match="days must be 1 or more"):
        repex_day_average_uptd(0)


@pytest.mark.parametrize("bad", [float("nan"), -0.1, 5.1])
def test_oxygen_outside_its_range_is_refused(bad: float) -> None:
    with pytest.raises(DomainError, match="oxygen_bar"):
        steady(1.0, bad)
    with pytest.raises(DomainError, match="oxygen_bar"):
        limit_min(bad, LimitKind.DAY)
    with pytest.raises(DomainError, match="oxygen_bar"):
        uptd_per_min(bad)


def test_a_negative_time_is_refused() -> None:
    with pytest.raises(DomainError, match="duration_min"):
        steady(-1.0, 1.3)
