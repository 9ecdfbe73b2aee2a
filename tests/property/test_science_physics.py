"""Physics for any input: round trips, monotony, sums."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.science.physics.atmosphere import standard_altitude_m, standard_pressure_mbar
from loopworthy.science.physics.depth import Water, depth_at_pressure_m, pressure_at_depth_bar
from loopworthy.science.physics.depth_limit import maximum_depth_m
from loopworthy.science.physics.gas import GasMixture, mixture_density_g_per_l, oxygen_partial_pressure_bar
from loopworthy.science.physics.loop_gas import loop_gas
from loopworthy.science.physics.units import METRES, PASCALS, TEMPERATURES, convert
from loopworthy.science.physics.water_vapour import dew_point_c, saturated_vapour_pressure_mbar

waters = st.sampled_from(Water)
surfaces = st.floats(0.5, 1.08)
depths = st.floats(0.0, 500.0)


@st.composite
def gases(draw: st.DrawFn) -> GasMixture:
    oxygen = draw(st.floats(0.05, 1.0))
    return GasMixture(oxygen_fraction=oxygen, helium_fraction=draw(st.floats(0.0, 1.0)) * (1.0 - oxygen))


@given(depths, surfaces, waters)
def test_depth_comes_back_from_pressure(depth_m: float, surface_bar: float, water: Water) -> None:
    pressure_bar = pressure_at_depth_bar(depth_m, surface_bar, water)
    assert depth_at_pressure_m(pressure_bar, surface_bar, water) == pytest.approx(depth_m, abs=1e-9)


@given(st.floats(-500, 9000))
def test_altitude_comes_back_from_pressure(altitude_m: float) -> None:
    assert standard_altitude_m(standard_pressure_mbar(altitude_m)) == pytest.approx(altitude_m, abs=1e-6)


@given(st.floats(-500, 8990), st.floats(0.1, 10))
def test_pressure_falls_with_height(altitude_m: float, step_m: float) -> None:
    assert standard_pressure_mbar(altitude_m + step_m) < standard_pressure_mbar(altitude_m)


@given(st.floats(-20, 59.9), st.floats(0.01, 0.1))
def test_saturated_vapour_rises_with_temperature(temperature_c: float, step_k: float) -> None:
    assert saturated_vapour_pressure_mbar(temperature_c + step_k) > saturated_vapour_pressure_mbar(temperature_c)


@given(st.floats(-19.9, 59.9))
def test_the_dew_point_undoes_saturation(temperature_c: float) -> None:
    assert dew_point_c(saturated_vapour_pressure_mbar(temperature_c)) == pytest.approx(temperature_c, abs=1e-9)


@given(st.floats(0, 1e6), st.sampled_from((PASCALS, METRES)), st.data())
def test_units_convert_back(value: float, table: dict[str, float], data: st.DataObject) -> None:
    first, second = data.draw(st.sampled_from(list(table))), data.draw(st.sampled_from(list(table)))
    assert convert(convert(value, first, second), second, first) == pytest.approx(value, rel=1e-12)


@given(st.floats(-270, 1000), st.sampled_from(TEMPERATURES))
def test_temperatures_convert_back(celsius: float, unit: str) -> None:
    assert convert(convert(celsius, "°C", unit), unit, "°C") == pytest.approx(celsius, abs=1e-9)


@given(gases(), st.floats(0.45, 50.0), st.floats(0.2, 1.6), st.floats(0.0, 0.06))
def test_the_loop_holds_its_ambient_pressure_and_no_less_than_nothing(
    diluent: GasMixture, ambient_bar: float, set_point_bar: float, vapour_bar: float
) -> None:
    gas = loop_gas(diluent, set_point_bar, ambient_bar, vapour_bar)
    total = gas.oxygen_bar + gas.nitrogen_bar + gas.helium_bar + gas.water_vapour_bar
    assert total == pytest.approx(ambient_bar, rel=1e-12)
    assert min(gas.oxygen_bar, gas.nitrogen_bar, gas.helium_bar) >= 0.0


@given(gases(), surfaces, waters, st.floats(1.1, 1.6))
def test_at_its_depth_limit_a_gas_has_the_limit(
    gas: GasMixture, surface_bar: float, water: Water, limit_bar: float
) -> None:
    depth_m = maximum_depth_m(gas.oxygen_fraction, limit_bar, surface_bar, water)
    if depth_m <= 500.0:
        ambient_bar = pressure_at_depth_bar(depth_m, surface_bar, water)
        assert oxygen_partial_pressure_bar(gas.oxygen_fraction, ambient_bar) == pytest.approx(limit_bar, rel=1e-9)


@given(gases(), st.floats(0.5, 25.0), st.floats(-20, 60))
def test_density_is_proportional_to_pressure(gas: GasMixture, ambient_bar: float, reference_c: float) -> None:
    single = mixture_density_g_per_l(gas, ambient_bar, reference_c)
    assert mixture_density_g_per_l(gas, 2.0 * ambient_bar, reference_c) == pytest.approx(2.0 * single, rel=1e-12)
