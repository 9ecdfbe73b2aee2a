"""The oxygen check: budget, decision and refusals."""

from __future__ import annotations

import math
from typing import Any

import pytest

from loopworthy.science.sensors.oxygen_check import InputUncertainties, OxygenCheck, check_oxygen_reading
from loopworthy.science.uncertainty import Decision
from loopworthy.vocabulary.errors import DomainError


def _check(**changes: Any) -> OxygenCheck:
    arguments: dict[str, Any] = {
        "air_mv": 10.4,
        "oxygen_mv": 49.96,
        "ambient_pressure_mbar": 1008.0,
        "temperature_c": 22.0,
        "relative_humidity_fraction": 0.55,
        "oxygen_fraction": 0.992,
        "oxygen_is_humid": False,
        "tolerance_mv": 2.0,
        "resolution_mv": 0.1,
        "set_point_bar": 1.3,
    }
    return check_oxygen_reading(**(arguments | changes))


def _contribution(check: OxygenCheck, name: str) -> float:
    return next(line.contribution for line in check.terms if line.name == name)


def test_the_budget_shows_a_line_for_every_input() -> None:
    assert [line.name for line in _check().terms] == [
        "resolution of the air reading",
        "resolution of the oxygen reading",
        "oxygen purity",
        "ambient pressure",
        "temperature",
        "humidity",
        "oxygen in dry air",
        "air reading beyond its resolution",
        "oxygen reading beyond its resolution",
        "sensor's own temperature compensation",
    ]


def test_the_expanded_uncertainty_is_twice_the_root_of_the_squares_of_the_lines() -> None:
    check = _check()
    root = math.sqrt(sum(line.contribution**2 for line in check.terms))
    assert check.uncertainty_mv == pytest.approx(2.0 * root)


def test_the_air_reading_counts_by_the_coefficient() -> None:
    check = _check()
    oxygen = _contribution(check, "resolution of the oxygen reading")
    assert _contribution(check, "resolution of the air reading") == pytest.approx(check.coefficient * oxygen)


def test_one_per_cent_of_purity_is_half_a_millivolt() -> None:
    check = _check(uncertainties=InputUncertainties(oxygen_fraction=0.01))
    # Common practice, no source: each 1 % is about 0.5 mV on a 50 mV sensor.
    assert _contribution(check, "oxygen purity") == pytest.approx(0.5, abs=0.01)


def test_a_sensor_that_read_its_air_at_another_temperature_is_less_well_known() -> None:
    warmed = _check(uncertainties=InputUncertainties(sensor_temperature_difference_k=10.0))
    assert warmed.uncertainty_mv > _check().uncertainty_mv
    # Half-width 2 % of 50 mV for 10 K: from memory, 1 to 2 % or 0.5 to 1 mV.
    assert _contribution(warmed, "sensor's own temperature compensation") * math.sqrt(3) == pytest.approx(1.0, abs=0.01)


def test_whole_millivolts_cannot_decide_two_millivolts_and_say_so() -> None:
    check = _check(air_mv=10.0, oxygen_mv=48.0, resolution_mv=1.0)
    assert not check.can_decide
    assert check.decision is Decision.NEAR_LIMIT
    assert "in steps of 1 mV is too coarse" in check.reason
    # Half a millivolt in air is 2.4 mV in oxygen.
    assert _contribution(check, "resolution of the air reading") * math.sqrt(3) == pytest.approx(2.4, abs=0.05)


def test_whole_millivolts_still_find_a_sensor_that_is_far_out() -> None:
    check = _check(air_mv=10.0, oxygen_mv=38.0, resolution_mv=1.0)
    assert check.decision is Decision.OUTSIDE
    assert "outside even with the uncertainty taken off" in check.reason


def test_a_difference_close_to_the_tolerance_cannot_be_called() -> None:
    check = _check(oxygen_mv=48.0)
    assert check.decision is Decision.NEAR_LIMIT
    assert check.can_decide
    assert "too near the limit to tell" in check.reason


def test_impure_oxygen_that_nobody_knows_cannot_decide_either_and_names_the_cause() -> None:
    check = _check(uncertainties=InputUncertainties(oxygen_fraction=0.03))
    assert not check.can_decide
    assert "most of it is the oxygen purity" in check.reason


def test_the_difference_is_measured_less_expected() -> None:
    low = _check(oxygen_mv=45.0)
    assert low.difference_mv == pytest.approx(45.0 - low.expected_mv)
    assert low.difference_fraction == pytest.approx(low.difference_mv / low.expected_mv)
    assert low.difference_at_set_point_bar == pytest.approx(1.3 * low.difference_fraction)
    assert low.difference_mv < 0


def test_a_dead_sensor_in_oxygen_is_outside() -> None:
    assert _check(oxygen_mv=0.0).decision is Decision.OUTSIDE


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("air_mv", 0.0, "has failed"),
        ("air_mv", 104.0, "Was 10.4 meant"),
        ("air_mv", -1.0, "air_mv must be above 0"),
        ("air_mv", math.nan, "air_mv"),
        ("oxygen_mv", -0.1, "oxygen_mv"),
        ("oxygen_mv", math.inf, "oxygen_mv"),
        ("ambient_pressure_mbar", 1.008, "looks like bar, must be mbar"),
        ("temperature_c", 295.0, "kelvin"),
        ("relative_humidity_fraction", 55.0, "per cent"),
        ("oxygen_fraction", 99.2, "per cent"),
        ("oxygen_fraction", 0.0, "oxygen_fraction"),
        ("tolerance_mv", 0.0, "tolerance_mv"),
        ("resolution_mv", 0.0, "resolution_mv"),
        ("set_point_bar", 13.0, "set_point_bar"),
    ],
)
def test_an_absurd_input_is_refused_by_name(key: str, value: float, words: str) -> None:
    with pytest.raises(DomainError, match=words):
        _check(**{key: value})


@pytest.mark.parametrize(
    "changes",
    [
        {"ambient_pressure_mbar": -1.0},
        {"temperature_c": math.nan},
        {"relative_humidity_fraction": 0.6},
        {"oxygen_fraction": 0.5},
        {"air_oxygen_fraction": 0.1},
        {"reading_mv": -0.1},
        {"sensor_temperature_difference_k": 100.0},
    ],
)
def test_absurd_uncertainties_are_refused(changes: dict[str, float]) -> None:
    with pytest.raises(DomainError, match="uncertainties"):
        InputUncertainties(**changes)
