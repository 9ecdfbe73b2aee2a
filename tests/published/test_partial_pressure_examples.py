"""Worked partial-pressure and equivalent-depth examples of diving manuals and public texts.

Source of each row in data/partial_pressure_examples.csv. Rows in feet count 33 fsw to the atmosphere, as their sources
do; that is a convention of the row, put in here as a density.
"""

from __future__ import annotations

import re

import pytest

from loopworthy.science.physics.constants import STANDARD_GRAVITY_M_PER_S2
from loopworthy.science.physics.depth import Water, pressure_at_depth_bar
from loopworthy.science.physics.depth_limit import maximum_depth_m
from loopworthy.science.physics.gas import AIR, oxygen_partial_pressure_bar
from loopworthy.science.physics.loop_gas import loop_gas
from loopworthy.science.physics.narcosis import nitrogen_equivalent_depth_m
from tests.published.rows import rows, value_of

TABLE = "partial_pressure_examples"
FOOT_M = 0.3048
# One atmosphere for 33 feet, with the atmosphere counted as 1 bar so that bar reads as ata.
DENSITY_OF_33_FSW = 1e5 / (33 * FOOT_M) / STANDARD_GRAVITY_M_PER_S2
METRIC_RULE = [
    row for row in rows(TABLE) if re.match(r"EAD of \d+ m on", row["item"]) and row["provenance"] == "computed"
]
IN_A_LOOP = [row for row in rows(TABLE) if row["item"].startswith("closed circuit")]


def _ata(depth_fsw: float) -> float:
    return pressure_at_depth_bar(depth_fsw * FOOT_M, 1.0, density_kg_per_m3=DENSITY_OF_33_FSW)


@pytest.mark.parametrize(
    ("item", "fraction", "depth_fsw", "tolerance"),
    [
        # Half of the last printed digit.
        ("PO2 of 40 % O2 at 66 fsw", 0.40, 66, 0.05),
        ("PN2 of 32 % O2 at 99 fsw", 0.68, 99, 0.005),
        ("264 fsw, limit 1.3 ata: 84/16 He/O2", 0.16, 264, 0.005),
        ("264 fsw, limit 1.3 ata: 86/14 He/O2", 0.14, 264, 0.005),
        ("N2 pressure of 32 % O2 (N2 0.68) at 63 fsw", 0.68, 63, 0.05),
    ],
)
def test_partial_pressures_come_out_as_printed(item: str, fraction: float, depth_fsw: float, tolerance: float) -> None:
    pressure = oxygen_partial_pressure_bar(fraction, _ata(depth_fsw))
    assert pressure == pytest.approx(value_of(TABLE, item), abs=tolerance)


def test_the_absolute_pressure_of_46_feet_is_the_printed_one() -> None:
    assert _ata(46) == pytest.approx(value_of(TABLE, "absolute pressure at 46 fsw, 33 fsw per atm"), abs=0.00006)


@pytest.mark.parametrize(
    ("item", "ata", "fraction"),
    [
        ("O2 percentage giving 1.2 ata at 231 fsw", 1.2, 231),
        ("660 fsw storage, 0.9 ata O2: charging O2 percentage", 0.9, 660),
    ],
)
def test_the_percentage_for_an_oxygen_pressure_is_the_printed_one(item: str, ata: float, fraction: float) -> None:
    percent = value_of(TABLE, item)
    assert oxygen_partial_pressure_bar(percent / 100, _ata(fraction)) == pytest.approx(ata, abs=0.002)


def test_the_depth_limit_of_air_in_feet_is_the_printed_one() -> None:
    depth_m = maximum_depth_m(0.21, 1.6, 1.0, density_kg_per_m3=DENSITY_OF_33_FSW)
    item = "depth where air (21 %) gives PO2 1.6 ata, 33 fsw per ata"
    assert depth_m / FOOT_M == pytest.approx(value_of(TABLE, item), abs=0.5)


@pytest.mark.parametrize(
    ("item", "nitrogen_fraction", "depth_fsw", "tolerance"),
    [
        ("EAD of 63 fsw on 32 % O2", 0.68, 63, 0.06),
        ("EAD of 90 ft on 36 % O2, rule (D+33)*0.64/0.79-33", 0.64, 90, 0.5),
        ("depth on air (0.79 N2) with that PN2", 0.68, 99, 0.06),
    ],
)
def test_equivalent_air_depths_in_feet_come_out_as_printed(
    item: str, nitrogen_fraction: float, depth_fsw: float, tolerance: float
) -> None:
    nitrogen = nitrogen_fraction * _ata(depth_fsw)
    depth_m = nitrogen_equivalent_depth_m(nitrogen, 1.0, density_kg_per_m3=DENSITY_OF_33_FSW)
    assert depth_m / FOOT_M == pytest.approx(value_of(TABLE, item), abs=tolerance)


def test_the_table_has_every_row_of_the_metric_rule_and_of_the_loop() -> None:
    assert (len(METRIC_RULE), len(IN_A_LOOP)) == (20, 4)


@pytest.mark.parametrize("row", METRIC_RULE, ids=lambda row: row["item"])
def test_equivalent_air_depths_of_the_metric_rule_come_out_as_printed(row: dict[str, str]) -> None:
    found = re.match(r"EAD of (?P<depth>\d+) m on (?P<percent>\d+) %", row["item"])
    assert found is not None
    # The rule counts 10 m to the bar and 1 bar at the surface.
    pressure = pressure_at_depth_bar(float(found["depth"]), 1.0, Water.EN_13319)
    nitrogen = (1.0 - float(found["percent"]) / 100.0) * pressure
    assert nitrogen_equivalent_depth_m(nitrogen, 1.0, Water.EN_13319) == pytest.approx(float(row["value"]), abs=0.006)


@pytest.mark.parametrize("row", IN_A_LOOP, ids=lambda row: row["item"])
def test_equivalent_air_depths_in_a_loop_come_out_as_printed(row: dict[str, str]) -> None:
    found = re.search(r"air diluent, (?P<depth>\d+) m", row["item"])
    assert found is not None
    gas = loop_gas(AIR, 1.3, pressure_at_depth_bar(float(found["depth"]), 1.01325), water_vapour_bar=0.0)
    assert nitrogen_equivalent_depth_m(gas.nitrogen_bar, 1.01325) == pytest.approx(float(row["value"]), abs=0.006)
