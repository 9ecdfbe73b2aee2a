"""Oxygen cells: ratios of output that follow from the law of output, and check points.

Source of each row in data/oxygen_sensor_facts.csv (computed there, beside facts of the literature).
"""

from __future__ import annotations

import pytest

from loopworthy.science.physics.depth import pressure_at_depth_bar
from loopworthy.science.physics.gas import oxygen_partial_pressure_bar
from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar
from loopworthy.science.sensors.air import oxygen_in_air_bar
from loopworthy.science.sensors.oxygen_check import oxygen_coefficient
from tests.published.rows import value_of

TABLE = "oxygen_sensor_facts"
ATMOSPHERE_MBAR = 1013.25


def test_dry_oxygen_over_dry_air_has_the_published_ratio() -> None:
    day = oxygen_coefficient(
        ambient_pressure_mbar=ATMOSPHERE_MBAR,
        temperature_c=20,
        relative_humidity_fraction=0,
        oxygen_fraction=1,
        oxygen_is_humid=False,
    )
    assert day.coefficient == pytest.approx(value_of(TABLE, "expected ratio of output, dry O2 to dry air"), abs=0.0006)


def test_the_ratio_is_the_same_when_both_gases_are_saturated() -> None:
    day = oxygen_coefficient(
        ambient_pressure_mbar=ATMOSPHERE_MBAR,
        temperature_c=20,
        relative_humidity_fraction=1,
        oxygen_fraction=1,
        oxygen_is_humid=True,
    )
    item = "same ratio with both gases saturated at 20 C, 1 atm"
    assert day.coefficient == pytest.approx(value_of(TABLE, item), abs=0.0006)


def test_taking_saturated_air_at_25_degrees_as_dry_is_an_error_of_three_per_cent() -> None:
    wet, dry = (oxygen_in_air_bar(ATMOSPHERE_MBAR, 25, humidity) for humidity in (1.0, 0.0))
    percent = 100.0 * (dry - wet) / dry
    item = "error of an air calibration if saturated air at 25 C is taken as dry"
    assert percent == pytest.approx(value_of(TABLE, item), abs=0.05)
    assert percent == pytest.approx(100.0 * saturated_vapour_pressure_mbar(25) / ATMOSPHERE_MBAR)


def test_air_at_the_surface_is_a_check_point_at_its_published_pressure() -> None:
    published_atm = value_of(TABLE, "linear check points available at the surface: air")
    assert oxygen_in_air_bar(ATMOSPHERE_MBAR, 20, 0.0) == pytest.approx(published_atm * 1.01325, abs=1e-9)


def test_oxygen_at_six_metres_is_a_check_point_at_its_published_pressure() -> None:
    shown = oxygen_partial_pressure_bar(1.0, pressure_at_depth_bar(6.0, 1.01325))
    assert shown == pytest.approx(value_of(TABLE, "linear check points available at 6 m on oxygen"), abs=0.005)
