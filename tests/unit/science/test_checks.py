"""Range checks, seen to pass and to fail."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from loopworthy.science import checks
from loopworthy.vocabulary.errors import DomainError


@pytest.mark.parametrize("value", [0.0, 0.5, 1.0])
def test_a_value_inside_its_range_is_given_back(value: float) -> None:
    assert checks.require_between("x", value, 0.0, 1.0) == value


@pytest.mark.parametrize("value", [-0.001, 1.001, math.nan, math.inf, -math.inf])
def test_a_value_outside_its_range_is_refused_with_name_value_and_limit(value: float) -> None:
    with pytest.raises(DomainError, match="x must be between 0 and 1 bar, got x=") as refusal:
        checks.require_between("x", value, 0.0, 1.0, "bar")
    assert refusal.value.name == "x"


@pytest.mark.parametrize("value", [0.0, -1.0, 2.1, math.nan])
def test_above_excludes_its_lower_end(value: float) -> None:
    with pytest.raises(DomainError, match="above 0 and at most 2"):
        checks.require_above("x", value, 0.0, 2.0)
    assert checks.require_above("x", 2.0, 0.0, 2.0) == 2.0


@pytest.mark.parametrize(
    ("value", "hint"),
    [
        (1.013, "looks like bar, must be mbar: 1013"),
        (14.7, "looks like psi"),
        (29.92, "looks like inches of mercury"),
        (101.3, "looks like kPa, must be mbar: 1013"),
        (101_325.0, "looks like Pa, must be mbar: 1013.25"),
    ],
)
def test_an_ambient_pressure_in_another_unit_is_queried_with_that_unit(value: float, hint: str) -> None:
    with pytest.raises(DomainError, match=hint):
        checks.require_ambient_pressure_mbar(value)


@pytest.mark.parametrize("value", [450.0, 1013.25, 1100.0])
def test_an_ambient_pressure_of_the_inhabited_earth_is_taken(value: float) -> None:
    assert checks.require_ambient_pressure_mbar(value) == value


def test_a_pressure_that_looks_like_nothing_is_refused_without_a_hint() -> None:
    with pytest.raises(DomainError) as refusal:
        checks.require_ambient_pressure_mbar(3000.0)
    assert refusal.value.next_step == ""


@pytest.mark.parametrize(
    ("check", "value", "hint"),
    [
        (checks.require_air_temperature_c, 293.15, "looks like kelvin; in °C it is 20.00"),
        (checks.require_air_temperature_c, 72.0, "may be °F; in °C it would be 22.2"),
        (checks.require_humidity_fraction, 55.0, "looks like per cent; as a fraction it is 0.55"),
        (checks.require_surface_pressure_bar, 1013.0, "looks like mbar"),
        (checks.require_absolute_pressure_bar, 1013.0, "looks like mbar"),
    ],
)
def test_a_slipped_unit_is_named(check: Callable[[float], float], value: float, hint: str) -> None:
    with pytest.raises(DomainError, match=hint):
        check(value)


@pytest.mark.parametrize("value", [-0.01, math.nan, 101.0])
def test_a_humidity_outside_0_to_1_is_refused(value: float) -> None:
    with pytest.raises(DomainError, match="relative_humidity_fraction"):
        checks.require_humidity_fraction(value)


def test_an_oxygen_pressure_of_zero_is_refused_and_one_in_millibars_queried() -> None:
    assert checks.require_oxygen_pressure_bar(0.21, "oxygen_bar") == 0.21
    with pytest.raises(DomainError, match="oxygen_bar must be above 0"):
        checks.require_oxygen_pressure_bar(0.0, "oxygen_bar")
    with pytest.raises(DomainError, match="looks like mbar"):
        checks.require_oxygen_pressure_bar(210.0, "oxygen_bar")


def test_comparison_with_a_limit_does_not_trip_over_binary_fractions() -> None:
    assert 0.23 - 0.21 > 0.02  # what a naive comparison would see
    assert not checks.is_above(0.23 - 0.21, 0.02)
    assert checks.is_above(0.0201, 0.02)


def test_fractions_above_zero_refuse_zero() -> None:
    assert checks.require_fraction("oxygen_fraction", 0.0) == 0.0
    with pytest.raises(DomainError):
        checks.require_fraction("oxygen_fraction", 0.0, above_zero=True)
