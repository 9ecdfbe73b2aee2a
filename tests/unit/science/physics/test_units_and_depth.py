"""Units, depth, gas, depth limits, narcosis and loop gas: edges of our own; published values lie in tests/published."""

from __future__ import annotations

import math

import pytest

from loopworthy.science.physics.atmosphere import standard_altitude_m, standard_pressure_mbar
from loopworthy.science.physics.depth import Water, depth_at_pressure_m, pressure_at_depth_bar, pressure_per_metre_bar
from loopworthy.science.physics.depth_limit import least_depth_m, maximum_depth_m
from loopworthy.science.physics.gas import AIR, GasMixture, density_g_per_l, oxygen_partial_pressure_bar
from loopworthy.science.physics.loop_gas import OxygenRuledBy, loop_gas
from loopworthy.science.physics.narcosis import narcotic_equivalent_depth_m
from loopworthy.science.physics.units import convert, known_units
from loopworthy.science.physics.water_vapour import dew_point_c, saturated_vapour_pressure_mbar, vapour_pressure_mbar
from loopworthy.vocabulary.errors import DomainError, InputError


@pytest.mark.parametrize(
    ("value", "from_unit", "to_unit", "result"),
    [
        # Exact by definition of the units.
        (1.0, "bar", "mbar", 1000.0),
        (1.0, "hPa", "mbar", 1.0),
        (1.0, "ft", "m", 0.3048),
        (0.0, "°C", "K", 273.15),
        (212.0, "F", "C", 100.0),
        (-40.0, "°C", "°F", -40.0),
        (1.0, "atm", "Pa", 101_325.0),
        (10.0, "msw", "bar", 1.0),
    ],
)
def test_units_convert_exactly(value: float, from_unit: str, to_unit: str, result: float) -> None:
    assert convert(value, from_unit, to_unit) == pytest.approx(result, rel=1e-14, abs=1e-11)


def test_a_value_in_its_own_unit_stays_the_same_number() -> None:
    assert convert(47.9, "psi", "psi") == 47.9


def test_an_unknown_unit_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InputError, match="from_unit must be one of Pa, hPa"):
        convert(1.0, "torr", "bar")
    assert "psi" in known_units()


def test_a_length_is_no_pressure() -> None:
    with pytest.raises(InputError, match="same kind as m"):
        convert(1.0, "m", "bar")


@pytest.mark.parametrize(("value", "unit"), [(-1.0, "K"), (-274.0, "°C"), (-460.0, "°F")])
def test_nothing_is_colder_than_absolute_zero(value: float, unit: str) -> None:
    with pytest.raises(DomainError, match="absolute zero"):
        convert(value, unit, "K")


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_a_value_that_is_no_number_is_not_converted(value: float) -> None:
    with pytest.raises(DomainError):
        convert(value, "bar", "psi")


def test_a_density_in_kilograms_a_litre_is_queried() -> None:
    with pytest.raises(DomainError, match="looks like kg/L"):
        pressure_per_metre_bar(density_kg_per_m3=1.025)


def test_a_gauge_pressure_cannot_be_a_depth() -> None:
    with pytest.raises(DomainError, match="at least the surface pressure of 1.013 bar"):
        depth_at_pressure_m(0.9, 1.013)


def test_depth_starts_at_the_pressure_of_the_place() -> None:
    assert pressure_at_depth_bar(0.0, 0.846, Water.FRESH) == 0.846


@pytest.mark.parametrize("depth_m", [-0.1, 501.0, math.nan])
def test_a_depth_outside_the_range_is_refused(depth_m: float) -> None:
    with pytest.raises(DomainError, match="depth_m"):
        pressure_at_depth_bar(depth_m, 1.013)


def test_heights_outside_the_troposphere_of_the_model_are_refused() -> None:
    for altitude_m in (-501.0, 9001.0, math.nan):
        with pytest.raises(DomainError, match="altitude_m"):
            standard_pressure_mbar(altitude_m)
    with pytest.raises(DomainError, match="ambient_pressure_mbar"):
        standard_altitude_m(1200.0)


def test_vapour_pressure_refuses_kelvin_and_per_cent() -> None:
    with pytest.raises(DomainError, match="kelvin"):
        saturated_vapour_pressure_mbar(293.15)
    with pytest.raises(DomainError, match="per cent"):
        vapour_pressure_mbar(20, 55)


def test_the_dew_point_of_saturated_air_is_its_temperature() -> None:
    assert dew_point_c(vapour_pressure_mbar(22, 1.0)) == pytest.approx(22.0)
    with pytest.raises(DomainError, match="vapour_mbar"):
        dew_point_c(0.0)


def test_fractions_of_a_mixture_add_up() -> None:
    gas = GasMixture(oxygen_fraction=0.18, helium_fraction=0.45)
    assert gas.nitrogen_fraction == pytest.approx(0.37)
    with pytest.raises(DomainError, match=r"oxygen_fraction \+ helium_fraction must be at most 1"):
        GasMixture(oxygen_fraction=0.6, helium_fraction=0.5)
    with pytest.raises(DomainError, match="per cent"):
        GasMixture(oxygen_fraction=21)


def test_a_negative_partial_pressure_has_no_density() -> None:
    with pytest.raises(DomainError, match="helium_bar"):
        density_g_per_l(1.0, 1.0, -0.1)


def test_water_vapour_takes_oxygen_away() -> None:
    dry = oxygen_partial_pressure_bar(0.21, 1.0)
    assert oxygen_partial_pressure_bar(0.21, 1.0, 0.06) == pytest.approx(dry - 0.21 * 0.06)


def test_a_gas_above_its_limit_at_the_surface_has_no_depth_limit() -> None:
    with pytest.raises(DomainError, match=r"at least the 1\.013 bar that the gas has at the surface"):
        maximum_depth_m(1.0, 0.9, 1.013)


def test_a_gas_rich_enough_at_the_surface_has_no_least_depth() -> None:
    assert least_depth_m(0.21, 0.18, 1.013) == 0.0
    assert least_depth_m(0.21, 0.18, 0.7) > 0.0  # air in the high mountains


def test_a_gas_without_oxygen_has_no_limits() -> None:
    with pytest.raises(DomainError, match="oxygen_fraction must be above 0"):
        maximum_depth_m(0.0, 1.4, 1.013)


def test_near_the_surface_the_loop_cannot_reach_its_set_point() -> None:
    gas = loop_gas(AIR, 1.3, 1.2)
    assert gas.oxygen_ruled_by is OxygenRuledBy.AMBIENT_PRESSURE
    assert gas.oxygen_bar == pytest.approx(1.15)
    assert gas.nitrogen_bar == 0.0


def test_a_rich_diluent_deep_down_brings_more_than_the_set_point() -> None:
    gas = loop_gas(AIR, 0.7, 7.04)
    assert gas.oxygen_ruled_by is OxygenRuledBy.DILUENT
    assert gas.oxygen_bar == pytest.approx(0.2095 * 6.99)


def test_a_diluent_of_oxygen_alone_makes_a_loop_of_oxygen() -> None:
    gas = loop_gas(GasMixture(oxygen_fraction=1.0), 1.3, 1.6)
    assert gas.oxygen_bar == pytest.approx(1.55)
    assert gas.nitrogen_bar == gas.helium_bar == 0.0


def test_a_helium_diluent_makes_a_loop_denser_than_itself() -> None:
    diluent = GasMixture(oxygen_fraction=0.10, helium_fraction=0.70)
    assert loop_gas(diluent, 1.3, 7.04).density_g_per_l > loop_gas(diluent, 0.8, 7.04).density_g_per_l


def test_oxygen_counted_air_is_as_narcotic_as_its_depth() -> None:
    ambient_bar = pressure_at_depth_bar(30, 1.013)
    depth_m = narcotic_equivalent_depth_m(0.79 * ambient_bar, 0.21 * ambient_bar, 1.013)
    assert depth_m == pytest.approx(30.0)
