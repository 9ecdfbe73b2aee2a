"""The worked numbers of a morning, computed by hand beforehand: sensors in air and oxygen, leak tests, gas at depth.

They are own examples of the trade's formulas (common practice, no source) and no measurements. Each tolerance is half
of the last digit that the example gives, unless a comment says more.
"""

from __future__ import annotations

import pytest

from loopworthy.science.loop.leak import compliance_from_injection_ml_per_mbar, leak_rate, volume_of_a_millibar_ml
from loopworthy.science.loop.pressure_test import PressureTestAnswer, assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind
from loopworthy.science.physics.atmosphere import standard_pressure_mbar
from loopworthy.science.physics.depth import Water, depth_at_pressure_m, pressure_at_depth_bar
from loopworthy.science.physics.depth_limit import least_depth_m, maximum_depth_m
from loopworthy.science.physics.gas import GasMixture, mixture_density_g_per_l, oxygen_partial_pressure_bar
from loopworthy.science.physics.loop_gas import OxygenRuledBy, loop_gas
from loopworthy.science.physics.narcosis import narcotic_equivalent_depth_m, nitrogen_equivalent_depth_m
from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar, vapour_pressure_mbar
from loopworthy.science.sensors.agreement import SensorReading, compare_sensors
from loopworthy.science.sensors.air import oxygen_in_air_bar
from loopworthy.science.sensors.factor import factor_mv_per_bar, oxygen_pressure_bar
from loopworthy.science.sensors.known_gas import check_known_gas
from loopworthy.science.sensors.oxygen_check import OxygenCheck, check_oxygen_reading, oxygen_coefficient
from loopworthy.science.uncertainty import Decision

# --- sensors ---------------------------------------------------------------------------------------------------------

DAY = {"ambient_pressure_mbar": 1008.0, "temperature_c": 22.0, "relative_humidity_fraction": 0.55}


def _check(air_mv: float, oxygen_mv: float) -> OxygenCheck:
    return check_oxygen_reading(
        air_mv=air_mv,
        oxygen_mv=oxygen_mv,
        ambient_pressure_mbar=1008.0,
        temperature_c=22.0,
        relative_humidity_fraction=0.55,
        oxygen_fraction=0.992,
        oxygen_is_humid=False,
        tolerance_mv=2.0,
        resolution_mv=0.1,
        set_point_bar=1.3,
    )


def _coefficient(
    temperature_c: float = 22.0, humidity: float = 0.0, oxygen_fraction: float = 1.0, oxygen_is_humid: bool = False
) -> float:
    return oxygen_coefficient(
        ambient_pressure_mbar=1008.0,
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        oxygen_fraction=oxygen_fraction,
        oxygen_is_humid=oxygen_is_humid,
    ).coefficient


@pytest.mark.parametrize(("temperature_c", "vapour_mbar"), [(10, 12.3), (20, 23.3), (25, 31.6), (30, 42.3)])
def test_saturated_vapour_at_four_temperatures(temperature_c: float, vapour_mbar: float) -> None:
    assert saturated_vapour_pressure_mbar(temperature_c) == pytest.approx(vapour_mbar, abs=0.05)


def test_the_air_and_the_oxygen_of_the_example_morning() -> None:
    day = oxygen_coefficient(**DAY, oxygen_fraction=0.992, oxygen_is_humid=False)
    assert vapour_pressure_mbar(22, 0.55) == pytest.approx(14.5, abs=0.05)
    assert day.air_oxygen_bar == pytest.approx(0.2081, abs=0.00005)
    assert day.oxygen_bar == pytest.approx(0.9999, abs=0.00005)
    assert day.coefficient == pytest.approx(4.804, abs=0.0005)


@pytest.mark.parametrize(
    ("air_mv", "oxygen_mv", "expected_mv", "difference_mv", "per_cent", "decision"),
    [
        (10.4, 49.1, 49.96, -0.86, -1.7, Decision.INSIDE),
        (11.1, 52.9, 53.33, -0.43, -0.8, Decision.INSIDE),
        (9.6, 42.9, 46.12, -3.22, -7.0, Decision.OUTSIDE),
    ],
)
def test_three_sensors_of_the_example_morning(
    air_mv: float, oxygen_mv: float, expected_mv: float, difference_mv: float, per_cent: float, decision: Decision
) -> None:
    check = _check(air_mv, oxygen_mv)
    assert check.expected_mv == pytest.approx(expected_mv, abs=0.005)
    assert check.difference_mv == pytest.approx(difference_mv, abs=0.005)
    assert check.difference_fraction * 100 == pytest.approx(per_cent, abs=0.05)
    assert check.decision is decision


@pytest.mark.parametrize(
    ("arguments", "ratio", "shift_mv"),
    [
        ({}, 4.773, 0.0),
        ({"oxygen_fraction": 0.98}, 4.678, -1.0),
        ({"humidity": 0.55}, 4.843, 0.7),
        ({"temperature_c": 30.0, "humidity": 0.85}, 4.949, 1.8),
        ({"humidity": 0.55, "oxygen_fraction": 0.992, "oxygen_is_humid": True}, 4.679, -1.0),
    ],
)
def test_what_eats_the_two_millivolts(arguments: dict[str, float], ratio: float, shift_mv: float) -> None:
    ours = _coefficient(**arguments)  # type: ignore[arg-type]
    assert ours == pytest.approx(ratio, abs=0.001)  # the example rounds the vapour before it divides
    assert 10.4 * (ours - 1 / 0.2095) == pytest.approx(shift_mv, abs=0.05)


@pytest.mark.parametrize(("expected_mv", "per_cent", "at_set_point_bar"), [(35.0, 5.7, 0.074), (60.0, 3.3, 0.043)])
def test_two_millivolts_mean_different_things_on_two_sensors(
    expected_mv: float, per_cent: float, at_set_point_bar: float
) -> None:
    coefficient = oxygen_coefficient(**DAY, oxygen_fraction=0.992, oxygen_is_humid=False).coefficient
    check = _check(expected_mv / coefficient, expected_mv + 2.0)
    assert check.difference_fraction * 100 == pytest.approx(per_cent, abs=0.05)
    assert check.difference_at_set_point_bar == pytest.approx(at_set_point_bar, abs=0.0005)


@pytest.mark.parametrize(("altitude_m", "mbar"), [(200, 989), (500, 955), (1000, 899), (1500, 846), (2000, 795)])
def test_pressure_at_five_heights(altitude_m: float, mbar: float) -> None:
    assert standard_pressure_mbar(altitude_m) == pytest.approx(mbar, abs=0.6)


def test_a_calibration_at_1500_m_as_if_at_one_bar_reads_a_fifth_high() -> None:
    true_bar = oxygen_partial_pressure_bar(0.992, standard_pressure_mbar(1500) / 1000)
    assert true_bar == pytest.approx(0.839, abs=0.0005)
    assert 1.0 / true_bar == pytest.approx(1.19, abs=0.005)
    assert 1.30 * true_bar == pytest.approx(1.09, abs=0.005)


def test_oxygen_pressure_from_millivolts() -> None:
    assert oxygen_pressure_bar(62.1, factor_mv_per_bar(49.1, 0.9999)) == pytest.approx(1.265, abs=0.0005)


@pytest.mark.parametrize(
    ("pot_bar", "expected_mv", "measured_mv", "per_cent", "shown_bar"),
    [
        (1.6, 78.6, 77.8, -1.0, 1.58),
        (2.0, 98.2, 96.4, -1.8, 1.96),
        (2.5, 122.8, 113.0, -8.0, 2.30),
        (3.0, 147.3, 121.0, -17.9, 2.46),
        (3.5, 171.9, 123.0, -28.4, 2.50),
    ],
)
def test_a_sensor_in_the_pot_bends_away_from_its_line(
    pot_bar: float, expected_mv: float, measured_mv: float, per_cent: float, shown_bar: float
) -> None:
    factor = factor_mv_per_bar(49.1, 0.9999)
    assert factor * pot_bar == pytest.approx(expected_mv, abs=0.051)
    assert 100 * (measured_mv / (factor * pot_bar) - 1) == pytest.approx(per_cent, abs=0.06)
    assert oxygen_pressure_bar(measured_mv, factor) == pytest.approx(shown_bar, abs=0.0051)


def _show(*values: float) -> list[SensorReading]:
    return [SensorReading(serial=f"S{number}", oxygen_bar=value) for number, value in enumerate(values, start=1)]


def test_divergence_names_the_one_that_stands_apart() -> None:
    found = compare_sensors(_show(1.31, 1.28, 1.07), spread_limit_bar=0.2, spread_limit_fraction=0.15)
    assert found.median_bar == 1.28
    assert found.outlier == "S3"
    assert found.outlier_difference_bar == pytest.approx(-0.21, abs=1e-9)
    assert not found.agree


def test_voting_throws_out_the_good_one_and_a_known_gas_finds_the_truth() -> None:
    readings = _show(1.07, 1.09, 1.31)
    voted = compare_sensors(readings, spread_limit_bar=0.2)
    assert voted.outlier == "S3"
    assert "no proof" in voted.caution
    truth = check_known_gas(
        readings,
        oxygen_fraction=1.0,
        ambient_pressure_bar=1.31,
        water_vapour_bar=0.0,
        tolerance_bar=0.1,
        spread_limit_bar=0.2,
        resolution_bar=0.01,
    )
    assert [sensor.decision for sensor in truth.sensors] == [Decision.OUTSIDE, Decision.OUTSIDE, Decision.INSIDE]


def test_an_air_flush_at_20_m_has_0_62_bar_in_a_warm_wet_loop() -> None:
    pressure_bar = pressure_at_depth_bar(20, 1.013, Water.SEA)
    assert pressure_bar == pytest.approx(3.023, abs=0.0006)
    assert oxygen_partial_pressure_bar(0.2095, pressure_bar) == pytest.approx(0.633, abs=0.0005)
    assert oxygen_partial_pressure_bar(0.2095, pressure_bar, 0.05) == pytest.approx(0.62, abs=0.005)


def test_twenty_hectopascals_are_two_per_cent_of_a_reading_in_air() -> None:
    low, high = (oxygen_in_air_bar(mbar, 22, 0.55) for mbar in (993.25, 1013.25))
    assert 100 * (high - low) / high == pytest.approx(2.0, abs=0.05)


# --- loop ------------------------------------------------------------------------------------------------------------

LEAK = {
    "loss_mbar": 8.0,
    "duration_s": 60.0,
    "start_gauge_mbar": 25.0,
    "ambient_pressure_mbar": 1013.0,
    "loop_volume_l": 6.0,
    "temperature_c": 293.0 - 273.15,
    "temperature_change_k": -0.9,
}


def test_the_leak_of_a_rigid_loop() -> None:
    rate = leak_rate(PressureTestKind.POSITIVE, **LEAK)
    assert rate.temperature_part_mbar == pytest.approx(3.2, abs=0.05)
    assert rate.corrected_loss_mbar == pytest.approx(4.8, abs=0.05)
    assert rate.leak_ml_per_min == pytest.approx(28, abs=0.5)


def test_the_leak_of_a_soft_loop() -> None:
    compliance = compliance_from_injection_ml_per_mbar(200, 10)
    rate = leak_rate(PressureTestKind.POSITIVE, **LEAK, compliance_ml_per_mbar=compliance)
    assert compliance == 20
    assert rate.temperature_part_mbar == pytest.approx(0.9, abs=0.05)
    assert rate.leak_ml_per_min == pytest.approx(142, abs=0.5)


def test_a_millibar_of_a_rigid_six_litre_loop() -> None:
    assert volume_of_a_millibar_ml(1013, 6.0) == pytest.approx(5.9, abs=0.05)


def test_one_kelvin_is_three_and_a_half_millibars() -> None:
    one_kelvin = leak_rate(PressureTestKind.POSITIVE, **(LEAK | {"temperature_change_k": -1.0}))
    assert one_kelvin.temperature_part_mbar == pytest.approx(3.5, abs=0.05)


@pytest.mark.parametrize(("compliance", "corrected_mbar", "leak"), [(None, 4.8, 28.0), (20.0, 7.1, 142.0)])
def test_the_pressure_test_of_the_example_from_start_and_end(
    compliance: float | None, corrected_mbar: float, leak: float
) -> None:
    test = assess_pressure_test(
        kind=PressureTestKind.POSITIVE,
        samples=[
            PressureSample(time_s=0, gauge_mbar=25.0, temperature_c=19.85),
            PressureSample(time_s=60, gauge_mbar=17.0, temperature_c=18.95),
        ],
        ambient_pressure_mbar=1013,
        loop_volume_l=6.0,
        compliance_ml_per_mbar=compliance,
        limit_mbar=10,
        hold_s=60,
    )
    assert test.loss_mbar == pytest.approx(8.0, abs=1e-9)
    assert test.corrected_loss_mbar == pytest.approx(corrected_mbar, abs=0.05)
    assert test.leak_ml_per_min == pytest.approx(leak, abs=0.5)
    assert test.answer is PressureTestAnswer.HOLDS


def test_a_test_begun_far_below_the_start_value_proves_little() -> None:
    samples = [PressureSample(time_s=0, gauge_mbar=12.0), PressureSample(time_s=60, gauge_mbar=3.0)]
    test = assess_pressure_test(
        kind=PressureTestKind.POSITIVE,
        samples=samples,
        ambient_pressure_mbar=1013,
        limit_mbar=10,
        hold_s=60,
        start_gauge_mbar_min=25,
    )
    assert test.common_rule.answer is PressureTestAnswer.HOLDS  # 12 mbar losing 9 "passes"
    assert test.answer is PressureTestAnswer.CANNOT_TELL


# --- gas at depth ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("fraction", "limit_bar", "depth_m"), [(0.18, 1.4, 67.3), (0.5, 1.6, 21.8), (1.0, 1.6, 5.8)])
def test_depth_limits_of_three_gases(fraction: float, limit_bar: float, depth_m: float) -> None:
    assert maximum_depth_m(fraction, limit_bar, 1.013, Water.SEA) == pytest.approx(depth_m, abs=0.05)


def test_the_least_depth_of_a_lean_gas() -> None:
    assert least_depth_m(0.10, 0.18, 1.013, Water.SEA) == pytest.approx(7.8, abs=0.05)


@pytest.mark.parametrize(
    ("oxygen", "helium", "diluent_bar", "open_g_per_l", "loop_g_per_l", "nitrogen_m", "with_oxygen_m"),
    [
        (0.18, 0.35, 1.27, 6.31, 6.29, 31, 35),
        (0.15, 0.45, 1.06, 5.52, 5.67, 24, 30),
        (0.14, 0.50, 0.99, 5.14, 5.36, 20, 27),
    ],
)
def test_three_diluents_in_the_loop_at_60_m(
    oxygen: float,
    helium: float,
    diluent_bar: float,
    open_g_per_l: float,
    loop_g_per_l: float,
    nitrogen_m: float,
    with_oxygen_m: float,
) -> None:
    diluent = GasMixture(oxygen_fraction=oxygen, helium_fraction=helium)
    ambient_bar = pressure_at_depth_bar(60, 1.013, Water.SEA)
    gas = loop_gas(diluent, 1.3, ambient_bar)
    assert gas.oxygen_ruled_by is OxygenRuledBy.SET_POINT
    assert oxygen_partial_pressure_bar(oxygen, ambient_bar) == pytest.approx(diluent_bar, abs=0.005)
    # The example rounds its densities for one bar to three decimals, which is 0.1 % here.
    assert mixture_density_g_per_l(diluent, ambient_bar) == pytest.approx(open_g_per_l, abs=0.008)
    assert gas.density_g_per_l == pytest.approx(loop_g_per_l, abs=0.008)
    assert nitrogen_equivalent_depth_m(gas.nitrogen_bar, 1.013, Water.SEA) == pytest.approx(nitrogen_m, abs=0.5)
    narcotic = narcotic_equivalent_depth_m(gas.nitrogen_bar, gas.oxygen_bar, 1.013, Water.SEA)
    assert narcotic == pytest.approx(with_oxygen_m, abs=0.5)


@pytest.mark.parametrize(
    ("start_bar", "start_m", "depth_m", "oxygen_bar"),
    [
        (1.2, 30, 20, 0.90),
        (1.2, 30, 10, 0.60),
        (1.2, 30, 6, 0.48),
        (1.2, 30, 3, 0.39),
        (1.2, 30, 0, 0.30),
        (1.3, 60, 20, 0.56),
        (1.3, 60, 6, 0.30),
        (1.3, 60, 3, 0.24),
        (1.3, 60, 0, 0.19),
    ],
)
def test_ascent_without_addition(start_bar: float, start_m: float, depth_m: float, oxygen_bar: float) -> None:
    fraction = start_bar / pressure_at_depth_bar(start_m, 1.013, Water.SEA)
    here_bar = pressure_at_depth_bar(depth_m, 1.013, Water.SEA)
    assert oxygen_partial_pressure_bar(fraction, here_bar) == pytest.approx(oxygen_bar, abs=0.0051)


def test_depth_comes_back_from_pressure() -> None:
    assert depth_at_pressure_m(7.043, 1.013, Water.SEA) == pytest.approx(60, abs=0.05)
