"""Saturated water vapour against IAPWS-95, Buck 1996, the Magnus form of the WMO and two conventions.

Source of each row in data/water_vapour_pressure.csv.
"""

from __future__ import annotations

import pytest

from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar
from tests.published.rows import rows

TABLE = rows("water_vapour_pressure")
MAGNUS = [row for row in TABLE if row["basis"] == "Magnus (WMO)"]
OTHERS = [row for row in TABLE if row["basis"] in ("IAPWS-95", "Buck 1981", "handbook")]
CONVENTIONS = [row for row in TABLE if "convention" in row["basis"]]


def test_the_table_has_every_group_of_rows() -> None:
    assert (len(MAGNUS), len(OTHERS), len(CONVENTIONS)) == (10, 29, 2)


@pytest.mark.parametrize("row", MAGNUS, ids=lambda row: f"{row['temperature_c']} C")
def test_the_magnus_form_gives_its_printed_values(row: dict[str, str]) -> None:
    expected = pytest.approx(float(row["value"]), abs=0.0006)  # three decimals are printed
    assert saturated_vapour_pressure_mbar(float(row["temperature_c"])) == expected


@pytest.mark.parametrize("row", OTHERS, ids=lambda row: f"{row['temperature_c']} C {row['basis']}")
def test_the_magnus_form_is_within_its_stated_error_of_other_formulations(row: dict[str, str]) -> None:
    # 0.35 %: the error of the Magnus form itself between 0 and 40 C.
    assert saturated_vapour_pressure_mbar(float(row["temperature_c"])) == pytest.approx(float(row["value"]), rel=0.0035)


@pytest.mark.parametrize("row", CONVENTIONS, ids=lambda row: row["basis"])
def test_the_conventions_for_a_body_at_37_degrees_are_met(row: dict[str, str]) -> None:
    assert saturated_vapour_pressure_mbar(float(row["temperature_c"])) == pytest.approx(float(row["value"]), rel=0.001)
