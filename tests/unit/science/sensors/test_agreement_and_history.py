"""Agreement, known gas, return to air, history, factor and stability of sensors."""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from loopworthy.science.sensors.agreement import SensorReading, compare_sensors
from loopworthy.science.sensors.air import check_return_to_air, oxygen_in_air_bar
from loopworthy.science.sensors.factor import factor_mv_per_bar, oxygen_pressure_bar
from loopworthy.science.sensors.history import HistoryAnswer, compare_with_history
from loopworthy.science.sensors.known_gas import KnownGasCheck, check_known_gas
from loopworthy.science.sensors.stability import SensorSample, StabilityAnswer, assess_stability
from loopworthy.science.uncertainty import Decision
from loopworthy.vocabulary.errors import DomainError, InputError


def _show(*values: float) -> list[SensorReading]:
    return [SensorReading(serial=f"S{number}", oxygen_bar=value) for number, value in enumerate(values, start=1)]


def test_two_sensors_have_a_spread_but_no_outlier() -> None:
    found = compare_sensors(_show(1.30, 1.00), spread_limit_bar=0.2)
    assert found.outlier is None
    assert found.outlier_difference_bar is None
    assert not found.agree


def test_nobody_is_named_when_two_are_equally_far() -> None:
    assert compare_sensors(_show(1.2, 1.3, 1.4), spread_limit_bar=0.3).outlier is None


def test_sensors_agree_at_the_very_limit() -> None:
    assert compare_sensors(_show(0.23, 0.21), spread_limit_bar=0.02).agree


def test_the_fraction_of_the_median_is_a_limit_of_its_own() -> None:
    readings = _show(0.70, 0.72, 0.83)
    assert compare_sensors(readings, spread_limit_bar=0.2).agree
    assert not compare_sensors(readings, spread_limit_bar=0.2, spread_limit_fraction=0.15).agree


def test_dead_sensors_have_no_fraction() -> None:
    dead = compare_sensors(_show(0.0, 0.0, 0.1), spread_limit_bar=0.2, spread_limit_fraction=0.15)
    assert dead.spread_fraction is None
    assert not dead.agree


@pytest.mark.parametrize("readings", [[], _show(1.3)])
def test_fewer_than_two_sensors_cannot_be_compared(readings: list[SensorReading]) -> None:
    with pytest.raises(InputError, match="number of sensors must be at least 2"):
        compare_sensors(readings, spread_limit_bar=0.2)


def test_one_serial_cannot_be_two_sensors() -> None:
    twice = [SensorReading(serial="S1", oxygen_bar=1.0), SensorReading(serial="S1", oxygen_bar=1.1)]
    with pytest.raises(InputError, match="given once"):
        compare_sensors(twice, spread_limit_bar=0.2)


def test_a_sensor_needs_a_serial() -> None:
    with pytest.raises(InputError, match="serial"):
        compare_sensors([SensorReading(serial=" ", oxygen_bar=1.0), *_show(1.0)], spread_limit_bar=0.2)


@pytest.mark.parametrize("value", [-0.01, 5.1, math.nan])
def test_an_absurd_oxygen_pressure_is_refused(value: float) -> None:
    with pytest.raises(DomainError, match="oxygen_bar"):
        SensorReading(serial="S1", oxygen_bar=value)


def _in_air(
    values: Sequence[float], spread_limit_bar: float = 0.02, pressure_uncertainty: float = 0.0
) -> KnownGasCheck:
    return check_return_to_air(
        _show(*values),
        ambient_pressure_mbar=1013.0,
        temperature_c=20.0,
        relative_humidity_fraction=0.5,
        tolerance_bar=0.02,
        spread_limit_bar=spread_limit_bar,
        resolution_bar=0.01,
        pressure_uncertainty_mbar=pressure_uncertainty,
    )


def test_sensors_back_in_air_show_what_air_has() -> None:
    check = _in_air([0.21, 0.21, 0.20])
    # 0.2095 x (1013 - 11.7 mbar), by hand.
    assert check.expected_bar == pytest.approx(0.20978, abs=0.00001)
    assert check.decision is Decision.INSIDE


def test_one_sensor_that_is_out_decides_for_all() -> None:
    check = _in_air([0.21, 0.21, 0.25], spread_limit_bar=0.1)
    assert [sensor.decision for sensor in check.sensors] == [Decision.INSIDE, Decision.INSIDE, Decision.OUTSIDE]
    assert check.decision is Decision.OUTSIDE


def test_sensors_inside_one_by_one_may_lie_too_far_apart() -> None:
    check = _in_air([0.196, 0.223], spread_limit_bar=0.02)
    assert {sensor.decision for sensor in check.sensors} == {Decision.INSIDE}
    assert not check.spread_within_limit
    assert check.decision is Decision.OUTSIDE


def test_a_reading_near_the_limit_in_air_is_near_the_limit() -> None:
    assert _in_air([0.19]).decision is Decision.NEAR_LIMIT


def test_a_poor_barometer_widens_the_guard_band() -> None:
    assert _in_air([0.21], pressure_uncertainty=10.0).uncertainty_bar > _in_air([0.21]).uncertainty_bar


def test_sensors_calibrated_as_if_at_sea_level_are_found_at_1500_m() -> None:
    # True 0.177 bar in air; a controller that took 0.839 bar for 1.00 shows a fifth more.
    true_bar = oxygen_in_air_bar(846.0, 15.0, 0.3)
    check = check_return_to_air(
        _show(true_bar * 1.19),
        ambient_pressure_mbar=846.0,
        temperature_c=15.0,
        relative_humidity_fraction=0.3,
        tolerance_bar=0.02,
        spread_limit_bar=0.02,
        resolution_bar=0.01,
    )
    assert check.decision is Decision.OUTSIDE


@pytest.mark.parametrize(
    "changes",
    [{"tolerance_bar": 0.0}, {"spread_limit_bar": 2.0}, {"resolution_bar": 0.0}, {"expected_uncertainty_bar": -1}],
)
def test_absurd_limits_of_a_known_gas_are_refused(changes: dict[str, float]) -> None:
    arguments = {
        "oxygen_fraction": 0.21,
        "ambient_pressure_bar": 3.0,
        "water_vapour_bar": 0.0,
        "tolerance_bar": 0.05,
        "spread_limit_bar": 0.2,
        "resolution_bar": 0.01,
    }
    with pytest.raises(DomainError, match=next(iter(changes))):
        check_known_gas(_show(0.63), **(arguments | changes))


# --- history ---------------------------------------------------------------------------------------------------------


def test_a_sensor_without_history_has_none() -> None:
    found = compare_with_history(50.0, [], step_limit_fraction=0.05)
    assert found.answer is HistoryAnswer.NO_HISTORY
    assert found.step_fraction is None


@pytest.mark.parametrize(
    ("factor", "answer"), [(47.5, HistoryAnswer.STEADY), (47.4, HistoryAnswer.STEP), (52.6, HistoryAnswer.STEP)]
)
def test_a_step_of_more_than_five_per_cent_is_found_up_and_down(factor: float, answer: HistoryAnswer) -> None:
    assert compare_with_history(factor, [50.0], step_limit_fraction=0.05).answer is answer


def test_a_slow_decline_of_small_steps_is_a_drift() -> None:
    decline = [52.0 * 0.985**step for step in range(10)]
    found = compare_with_history(decline[-1] * 0.985, decline, step_limit_fraction=0.05)
    assert found.step_fraction == pytest.approx(-0.015)
    assert found.answer is HistoryAnswer.DRIFT


def test_only_the_last_ten_count() -> None:
    found = compare_with_history(50.0, [80.0, 80.0, 80.0, *[50.0] * 10], step_limit_fraction=0.05)
    assert found.compared_with == 10
    assert found.answer is HistoryAnswer.STEADY


def test_an_absurd_factor_in_the_history_is_named_by_its_place() -> None:
    with pytest.raises(DomainError, match=r"earlier_factors_mv_per_bar\[1\]"):
        compare_with_history(50.0, [50.0, 0.05], step_limit_fraction=0.05)


def test_a_factor_turns_a_reading_into_a_pressure_and_back() -> None:
    factor = factor_mv_per_bar(49.1, 0.9999)
    assert oxygen_pressure_bar(49.1, factor) == pytest.approx(0.9999)
    assert oxygen_pressure_bar(0.0, factor) == 0.0
    with pytest.raises(DomainError, match="factor_mv_per_bar"):
        oxygen_pressure_bar(49.1, 0.0)
    with pytest.raises(DomainError, match="reading_mv"):
        factor_mv_per_bar(0.0, 1.0)


# --- stability -------------------------------------------------------------------------------------------------------


def _series(*pairs: tuple[float, float]) -> list[SensorSample]:
    return [SensorSample(time_s=time, reading_mv=value) for time, value in pairs]


def test_a_reading_that_moved_a_tenth_in_the_last_minute_is_steady() -> None:
    found = assess_stability(_series((0, 9.1), (60, 10.3), (90, 10.4), (120, 10.4)), window_s=60, limit_mv=0.1)
    assert found.answer is StabilityAnswer.STEADY
    assert found.change_mv == pytest.approx(0.1)
    assert found.samples == 3


def test_a_reading_that_still_climbs_is_changing() -> None:
    found = assess_stability(_series((0, 9.1), (60, 10.2), (120, 10.4)), window_s=60, limit_mv=0.1)
    assert found.answer is StabilityAnswer.CHANGING


def test_a_reading_that_went_away_and_came_back_has_not_settled() -> None:
    found = assess_stability(_series((0, 10.4), (30, 10.8), (60, 10.4)), window_s=60, limit_mv=0.1)
    assert found.change_mv == 0.0
    assert found.range_mv == pytest.approx(0.4)
    assert found.answer is StabilityAnswer.CHANGING


def test_the_reading_at_the_start_of_the_window_is_interpolated() -> None:
    found = assess_stability(_series((0, 10.0), (100, 11.0)), window_s=50, limit_mv=0.1)
    assert found.change_mv == pytest.approx(0.5)


def test_a_series_shorter_than_the_window_cannot_tell() -> None:
    found = assess_stability(_series((0, 10.4), (59, 10.4)), window_s=60, limit_mv=0.1)
    assert found.answer is StabilityAnswer.CANNOT_TELL
    assert found.change_mv is None


@pytest.mark.parametrize("series", [[], _series((0, 10.4))])
def test_one_reading_is_no_series(series: list[SensorSample]) -> None:
    with pytest.raises(DomainError, match="at least 2"):
        assess_stability(series, window_s=60, limit_mv=0.1)


def test_times_must_rise() -> None:
    with pytest.raises(DomainError, match=r"samples\[1\].time_s must be later"):
        assess_stability(_series((60, 10.4), (60, 10.4)), window_s=60, limit_mv=0.1)
