"""Sensors for any input: ratios that may not change, order that may not matter, guard bands that hold."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.science.sensors.agreement import SensorReading, compare_sensors
from loopworthy.science.sensors.factor import factor_mv_per_bar, oxygen_pressure_bar
from loopworthy.science.sensors.history import HistoryAnswer, compare_with_history
from loopworthy.science.sensors.oxygen_check import check_oxygen_reading, oxygen_coefficient
from loopworthy.science.sensors.stability import SensorSample, StabilityAnswer, assess_stability
from loopworthy.science.uncertainty import Decision, decide

pressures = st.floats(600, 1080)
temperatures = st.floats(-5, 45)
humidities = st.floats(0, 1)
purities = st.floats(0.9, 1.0)


@given(pressures, pressures, temperatures, purities)
def test_with_both_gases_saturated_pressure_and_temperature_do_not_matter(
    first_mbar: float, second_mbar: float, temperature_c: float, purity: float
) -> None:
    first, second = (
        oxygen_coefficient(
            ambient_pressure_mbar=mbar,
            temperature_c=temperature_c,
            relative_humidity_fraction=1.0,
            oxygen_fraction=purity,
            oxygen_is_humid=True,
        ).coefficient
        for mbar in (first_mbar, second_mbar)
    )
    assert first == pytest.approx(second, rel=1e-12)
    assert first == pytest.approx(purity / 0.2095, rel=1e-12)


@given(pressures, temperatures, humidities, purities)
def test_humid_air_raises_the_coefficient_and_humid_oxygen_lowers_it(
    mbar: float, temperature_c: float, humidity: float, purity: float
) -> None:
    def coefficient(relative_humidity: float, humid: bool) -> float:
        return oxygen_coefficient(
            ambient_pressure_mbar=mbar,
            temperature_c=temperature_c,
            relative_humidity_fraction=relative_humidity,
            oxygen_fraction=purity,
            oxygen_is_humid=humid,
        ).coefficient

    assert coefficient(humidity, False) >= coefficient(0.0, False)
    assert coefficient(humidity, True) < coefficient(humidity, False)


@given(
    st.floats(5, 20),
    st.floats(0.5, 1.5),
    st.floats(0.5, 2.4),
    pressures,
    temperatures,
    humidities,
    purities,
    st.booleans(),
)
def test_the_fraction_does_not_depend_on_how_much_a_sensor_puts_out(
    air_mv: float,
    measured_over_expected: float,
    scale: float,
    mbar: float,
    temperature_c: float,
    humidity: float,
    purity: float,
    humid: bool,
) -> None:
    day = oxygen_coefficient(
        ambient_pressure_mbar=mbar,
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        oxygen_fraction=purity,
        oxygen_is_humid=humid,
    )

    def fraction(output: float) -> float:
        return check_oxygen_reading(
            air_mv=air_mv * output,
            oxygen_mv=air_mv * output * day.coefficient * measured_over_expected,
            ambient_pressure_mbar=mbar,
            temperature_c=temperature_c,
            relative_humidity_fraction=humidity,
            oxygen_fraction=purity,
            oxygen_is_humid=humid,
            tolerance_mv=2.0,
            resolution_mv=0.1,
            set_point_bar=1.3,
        ).difference_fraction

    output = min(scale, 249.9 / (air_mv * day.coefficient * measured_over_expected))
    assert fraction(output) == pytest.approx(measured_over_expected - 1.0, abs=1e-9)


@given(st.floats(-20, 20), st.floats(0.01, 10), st.floats(0, 10), st.floats(0, 5))
def test_more_uncertainty_never_makes_a_decision_firmer(
    difference: float, tolerance: float, uncertainty: float, more: float
) -> None:
    before, after = decide(difference, tolerance, uncertainty), decide(difference, tolerance, uncertainty + more)
    assert after in (before, Decision.NEAR_LIMIT)


@given(st.floats(-20, 20), st.floats(0.01, 10), st.floats(0, 10))
def test_a_decision_does_not_know_the_sign_of_a_difference(
    difference: float, tolerance: float, uncertainty: float
) -> None:
    assert decide(difference, tolerance, uncertainty) is decide(-difference, tolerance, uncertainty)


@given(st.lists(st.integers(0, 200), min_size=2, max_size=6), st.randoms(use_true_random=False))
def test_the_order_of_sensors_does_not_matter(hundredths: list[int], chance: object) -> None:
    readings = [SensorReading(serial=f"S{place}", oxygen_bar=value / 100) for place, value in enumerate(hundredths)]
    shuffled = list(readings)
    chance.shuffle(shuffled)  # type: ignore[attr-defined]
    first = compare_sensors(readings, spread_limit_bar=0.2)
    assert compare_sensors(shuffled, spread_limit_bar=0.2) == first
    assert first.spread_bar >= 0.0


@given(st.floats(8, 250), st.floats(0.15, 1.2))
def test_a_factor_gives_its_own_reading_back(reading_mv: float, oxygen_bar: float) -> None:
    factor = factor_mv_per_bar(reading_mv, oxygen_bar)
    if 5.0 < factor <= 250.0:
        assert oxygen_pressure_bar(reading_mv, factor) == pytest.approx(oxygen_bar, rel=1e-12)


@given(st.lists(st.floats(30, 70), min_size=1, max_size=15), st.floats(30, 70))
def test_a_history_within_its_limit_of_today_is_steady(earlier: list[float], today: float) -> None:
    found = compare_with_history(today, earlier, step_limit_fraction=0.05)
    near = all(abs(today / factor - 1.0) <= 0.0499 for factor in earlier[-10:])
    if near:
        assert found.answer is HistoryAnswer.STEADY
    if abs(today / earlier[-1] - 1.0) > 0.0501:
        assert found.answer is HistoryAnswer.STEP


@given(st.lists(st.integers(50, 150), min_size=3, max_size=30), st.integers(1, 60))
def test_a_steady_answer_means_that_nothing_in_the_window_moved_more(tenths: list[int], interval_s: int) -> None:
    series = [SensorSample(time_s=place * interval_s, reading_mv=value / 10) for place, value in enumerate(tenths)]
    found = assess_stability(series, window_s=60, limit_mv=0.1)
    if found.answer is StabilityAnswer.STEADY:
        last_s = series[-1].time_s
        window = [sample.reading_mv for sample in series if sample.time_s >= last_s - 60]
        assert max(window) - min(window) <= 0.1 + 1e-9
    else:
        assert found.answer is StabilityAnswer.CHANGING or (len(series) - 1) * interval_s < 60
