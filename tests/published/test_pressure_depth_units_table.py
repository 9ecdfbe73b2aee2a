"""Units of depth and pressure against EN 13319, the US Navy Diving Manual and CODATA.

Source of each row in data/pressure_depth_units.csv.
"""

from __future__ import annotations

import pytest

from loopworthy.science.physics.depth import (
    DENSITY_KG_PER_M3,
    Water,
    depth_at_pressure_m,
    pressure_at_depth_bar,
    pressure_per_metre_bar,
)
from loopworthy.science.physics.units import convert
from tests.published.rows import value_of

TABLE = "pressure_depth_units"


@pytest.mark.parametrize(
    ("item", "unit", "value", "from_unit", "to_unit"),
    [
        ("msw to pressure", "Pa", 1.0, "msw", "Pa"),
        ("msw to pressure", "psi", 1.0, "msw", "psi"),
        ("fsw to msw", "msw", 1.0, "fsw", "msw"),
        ("fsw to pressure", "bar", 1.0, "fsw", "bar"),
        ("fsw to pressure", "psi", 1.0, "fsw", "psi"),
        ("sea water column for one atmosphere, by the 64 lb/ft3 definition", "fsw", 1.0, "atm", "fsw"),
        ("standard atmosphere", "bar", 1.0, "atm", "bar"),
        ("standard atmosphere", "psi", 1.0, "atm", "psi"),
        ("foot", "m", 1.0, "ft", "m"),
    ],
)
def test_units_convert_as_the_table_says(item: str, unit: str, value: float, from_unit: str, to_unit: str) -> None:
    # 3e-5: the digits printed (five in the shortest row).
    assert convert(value, from_unit, to_unit) == pytest.approx(value_of(TABLE, item, unit=unit), rel=3e-5)


def test_the_working_rule_of_33_feet_is_two_thousandths_from_the_definition() -> None:
    rule = value_of(TABLE, "sea water column for one atmosphere, working rule")
    assert convert(rule, "fsw", "atm") == pytest.approx(0.998, abs=0.0005)


def test_ten_indicated_metres_after_en_13319_are_one_bar() -> None:
    rise = pressure_at_depth_bar(10, 1.0, Water.EN_13319) - 1.0
    assert rise == pytest.approx(value_of(TABLE, "EN 13319 scale: pressure rise per indicated 10 m"), abs=1e-12)


def test_the_density_behind_en_13319_is_the_printed_one() -> None:
    density = DENSITY_KG_PER_M3[Water.EN_13319]
    # The standard prints five digits.
    assert density == pytest.approx(1000 * value_of(TABLE, "EN 13319 density convention"), rel=3e-5)
    assert density == pytest.approx(value_of(TABLE, "density for exactly 0.1 bar per metre with g 9.80665"), abs=0.0006)


@pytest.mark.parametrize(
    ("item", "density"),
    [
        ("pressure per metre, fresh water 1000 kg/m3", 1000.0),
        ("pressure per metre, sea water 1025 kg/m3", 1025.0),
        ("pressure per metre, sea water 1030 kg/m3", 1030.0),
    ],
)
def test_a_metre_of_water_presses_as_printed(item: str, density: float) -> None:
    assert pressure_per_metre_bar(density_kg_per_m3=density) == pytest.approx(value_of(TABLE, item), abs=6e-8)


@pytest.mark.parametrize(
    ("item", "density"),
    [
        ("geometric depth over indicated depth in fresh water 1.00 kg/L", 1000.0),
        ("geometric depth over indicated depth in sea water 1.03 kg/L", 1030.0),
    ],
)
def test_indicated_and_geometric_depth_differ_as_the_standard_says(item: str, density: float) -> None:
    geometric = depth_at_pressure_m(5.0, 1.0, density_kg_per_m3=density)
    indicated = depth_at_pressure_m(5.0, 1.0, Water.EN_13319)
    assert round(100 * geometric / indicated) == value_of(TABLE, item)  # printed in whole per cent
