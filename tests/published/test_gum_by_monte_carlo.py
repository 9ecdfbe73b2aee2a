"""First-order uncertainties against propagation of distributions.

Source of the method: JCGM 101:2008, Supplement 1 to the GUM: inputs are drawn from their distributions and the model is
run on each draw. The models are typed in again here with NumPy, so that a wrong sensitivity cannot agree with itself.
200 000 draws leave 0.2 % of sampling error in a standard deviation; the tolerance of 1.5 % leaves room for the terms
of second order that the first-order formula leaves out.
"""

from __future__ import annotations

import numpy as np
import pytest

from loopworthy.science.loop.pressure_test import assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind
from loopworthy.science.sensors.oxygen_check import InputUncertainties, check_oxygen_reading

DRAWS = 200_000
TOLERANCE = 0.015

Array = np.ndarray


def _rectangular(chance: np.random.Generator, middle: float, standard: float) -> Array:
    half_width = standard * np.sqrt(3.0)
    return chance.uniform(middle - half_width, middle + half_width, DRAWS)


@pytest.mark.parametrize("oxygen_is_humid", [False, True])
@pytest.mark.parametrize(("temperature_c", "humidity"), [(8.0, 0.4), (22.0, 0.55), (31.0, 0.8)])
@pytest.mark.parametrize("resolution_mv", [0.01, 0.1, 1.0])
def test_the_uncertainty_of_the_oxygen_check_is_that_of_the_draws(
    oxygen_is_humid: bool, temperature_c: float, humidity: float, resolution_mv: float
) -> None:
    given = InputUncertainties(
        ambient_pressure_mbar=5.0,
        temperature_c=0.8,
        relative_humidity_fraction=0.04,
        oxygen_fraction=0.003,
        air_oxygen_fraction=0.0001,
        reading_mv=0.05,
        sensor_temperature_difference_k=2.0,
    )
    check = check_oxygen_reading(
        air_mv=10.4,
        oxygen_mv=49.1,
        ambient_pressure_mbar=1008.0,
        temperature_c=temperature_c,
        relative_humidity_fraction=humidity,
        oxygen_fraction=0.985,
        oxygen_is_humid=oxygen_is_humid,
        tolerance_mv=2.0,
        resolution_mv=resolution_mv,
        set_point_bar=1.3,
        uncertainties=given,
    )
    chance = np.random.default_rng(20_260_101)
    step = resolution_mv / np.sqrt(12.0)
    air = _rectangular(chance, 10.4, step) + chance.normal(0.0, 0.05, DRAWS)
    oxygen = _rectangular(chance, 49.1, step) + chance.normal(0.0, 0.05, DRAWS)
    pressure = chance.normal(1008.0, 5.0, DRAWS)
    temperature = chance.normal(temperature_c, 0.8, DRAWS)
    moist = chance.normal(humidity, 0.04, DRAWS)
    purity = chance.normal(0.985, 0.003, DRAWS)
    in_air = chance.normal(0.2095, 0.0001, DRAWS)
    drift = _rectangular(chance, 1.0, 0.002 * 2.0 / np.sqrt(3.0))
    saturated = 6.112 * np.exp(17.62 * temperature / (243.12 + temperature))
    ratio = purity * (pressure - (saturated if oxygen_is_humid else 0.0)) / (in_air * (pressure - moist * saturated))
    drawn = oxygen - air * ratio * drift
    assert check.difference_mv == pytest.approx(float(np.mean(drawn)), abs=0.02)
    assert check.uncertainty_mv / 2.0 == pytest.approx(float(np.std(drawn)), rel=TOLERANCE)


@pytest.mark.parametrize("resolution_mv", [0.1, 1.0])
def test_twice_the_standard_uncertainty_covers_about_95_per_cent_of_the_draws(resolution_mv: float) -> None:
    check = check_oxygen_reading(
        air_mv=10.4,
        oxygen_mv=49.1,
        ambient_pressure_mbar=1008.0,
        temperature_c=22.0,
        relative_humidity_fraction=0.55,
        oxygen_fraction=0.985,
        oxygen_is_humid=False,
        tolerance_mv=2.0,
        resolution_mv=resolution_mv,
        set_point_bar=1.3,
    )
    chance = np.random.default_rng(7)
    drawn = sum(_rectangular(chance, 0.0, line.standard_uncertainty) * line.sensitivity for line in check.terms)
    covered = float(np.mean(np.abs(drawn) <= check.uncertainty_mv))
    # One rectangular term that rules all others is covered wholly; many alike at 95 %.
    assert 0.95 <= covered <= 1.0


@pytest.mark.parametrize("kind", list(PressureTestKind))
@pytest.mark.parametrize("compliance", [None, 20.0])
def test_the_uncertainty_of_a_corrected_loss_is_that_of_the_draws(
    kind: PressureTestKind, compliance: float | None
) -> None:
    sign = 1.0 if kind is PressureTestKind.POSITIVE else -1.0
    start, end = 30.0 * sign, 24.0 * sign
    test = assess_pressure_test(
        kind=kind,
        samples=[
            PressureSample(time_s=0, gauge_mbar=start, temperature_c=20.0),
            PressureSample(time_s=60, gauge_mbar=end, temperature_c=19.4),
        ],
        ambient_pressure_mbar=1013.0,
        loop_volume_l=6.0,
        compliance_ml_per_mbar=compliance,
        limit_mbar=10.0,
        hold_s=60.0,
        resolution_mbar=0.5,
        temperature_uncertainty_k=0.2,
        gauge_scale_uncertainty_fraction=0.02,
    )
    chance = np.random.default_rng(11)
    step = 0.5 / np.sqrt(12.0)
    scale = chance.normal(1.0, 0.02, DRAWS)
    first = _rectangular(chance, start, step) * scale
    last = _rectangular(chance, end, step) * scale
    change = chance.normal(-0.6, 0.2, DRAWS)
    rise = (1013.0 + first) * change / 293.15 if compliance is None else 6000.0 * change / 293.15 / compliance
    drawn = sign * (first - last + rise)
    assert test.corrected_loss_mbar == pytest.approx(float(np.mean(drawn)), abs=0.02)
    assert test.uncertainty_mbar / 2.0 == pytest.approx(float(np.std(drawn)), rel=TOLERANCE)


@pytest.mark.parametrize("noise_mbar", [0.1, 0.3])
@pytest.mark.parametrize("interval_s", [1.0, 5.0])
def test_the_loss_of_noisy_traces_scatters_as_their_uncertainty_says(noise_mbar: float, interval_s: float) -> None:
    chance = np.random.default_rng(3)
    losses, uncertainties = [], []
    for _ in range(300):
        samples = [
            PressureSample(time_s=t, gauge_mbar=round(-40.0 + 5.0 * t / 60.0 + chance.normal(0.0, noise_mbar), 2))
            for t in np.arange(0.0, 60.0 + interval_s / 2.0, interval_s).tolist()
        ]
        test = assess_pressure_test(
            kind=PressureTestKind.NEGATIVE,
            samples=samples,
            ambient_pressure_mbar=1013.0,
            limit_mbar=10.0,
            hold_s=60.0,
            gauge_scale_uncertainty_fraction=0.0,
        )
        losses.append(test.loss_mbar)
        uncertainties.append(test.uncertainty_mbar)
    errors = np.abs(np.array(losses) - 5.0)
    assert float(np.mean(losses)) == pytest.approx(5.0, abs=0.1)
    # Coverage near 95 %: the bend term adds a little, few samples take a little.
    assert float(np.mean(errors <= np.array(uncertainties))) >= 0.93
    # And it is no empty promise: three times the scatter would be one.
    assert float(np.mean(uncertainties)) < 3.0 * 2.0 * float(np.std(losses))
