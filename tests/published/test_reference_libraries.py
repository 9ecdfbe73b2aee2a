"""Physics against general reference libraries: CoolProp 8 (IAPWS-95, pure gases), gsw 3.6 (TEOS-10), SciPy."""

from __future__ import annotations

import gsw
import pytest
import scipy.integrate
from CoolProp.CoolProp import PropsSI

from loopworthy.science.physics.atmosphere import standard_pressure_mbar
from loopworthy.science.physics.depth import Water, pressure_at_depth_bar
from loopworthy.science.physics.gas import density_g_per_l
from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar, saturated_vapour_slope_mbar_per_k


@pytest.mark.parametrize("temperature_c", [0.1, 3.7, 11, 18.2, 22, 27.5, 33, 37, 40])
def test_vapour_pressure_agrees_with_iapws_95(temperature_c: float) -> None:
    reference = PropsSI("P", "T", temperature_c + 273.15, "Q", 0, "Water") / 100.0
    assert saturated_vapour_pressure_mbar(temperature_c) == pytest.approx(reference, rel=0.0035)


@pytest.mark.parametrize("temperature_c", [5, 15, 25, 35])
def test_the_slope_of_vapour_pressure_agrees_with_iapws_95(temperature_c: float) -> None:
    above, below = (PropsSI("P", "T", temperature_c + 273.15 + d, "Q", 0, "Water") / 100.0 for d in (0.05, -0.05))
    # The slope may be a little further off than the value; 0.6 % is what the Magnus form reaches.
    assert saturated_vapour_slope_mbar_per_k(temperature_c) == pytest.approx((above - below) / 0.1, rel=0.006)


@pytest.mark.parametrize(("gas", "index"), [("Oxygen", 0), ("Nitrogen", 1), ("Helium", 2)])
@pytest.mark.parametrize("pressure_bar", [1.0, 4.0, 7.0, 11.0])
def test_density_agrees_with_the_equation_of_state_at_breathing_pressures(
    gas: str, index: int, pressure_bar: float
) -> None:
    reference = PropsSI("D", "P", pressure_bar * 1e5, "T", 293.15, gas)
    oxygen, nitrogen, helium = (pressure_bar if index == place else 0.0 for place in range(3))
    # Ideal-gas error, largest for oxygen (second virial coefficient -17 cm3/mol: 0.8 % at 11 bar).
    assert density_g_per_l(oxygen, nitrogen, helium, 20.0) == pytest.approx(reference, rel=0.0082)


@pytest.mark.parametrize("latitude", [0, 30, 45, 60, 90])
@pytest.mark.parametrize("depth_m", [3, 20, 60, 120])
def test_the_sea_convention_stays_within_0_6_per_cent_of_teos_10_from_equator_to_pole(
    depth_m: float, latitude: float
) -> None:
    ocean_bar = gsw.p_from_z(-depth_m, latitude) / 10.0
    ours_bar = pressure_at_depth_bar(depth_m, 1.0, Water.SEA) - 1.0
    assert -0.006 < ours_bar / ocean_bar - 1.0 < 0.0


@pytest.mark.parametrize("altitude_m", [-200.0, 350.0, 1500.0, 3000.0, 8000.0])
def test_the_standard_atmosphere_is_the_integral_of_its_own_hydrostatics(altitude_m: float) -> None:
    # dp/dH = -p g M / (R* (T0 - L H)), integrated by SciPy with the constants of ISO 2533 typed in again here.
    def slope(height: float, pressure: list[float]) -> list[float]:
        return [-pressure[0] * 9.80665 * 0.02896442 / (8.31432 * (288.15 - 0.0065 * height))]

    solution = scipy.integrate.solve_ivp(slope, (0.0, altitude_m), [1013.25], rtol=1e-10, atol=1e-10)
    assert standard_pressure_mbar(altitude_m) == pytest.approx(solution.y[0][-1], rel=1e-8)
