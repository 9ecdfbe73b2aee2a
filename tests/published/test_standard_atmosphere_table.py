"""The standard atmosphere against ISO 2533 / U.S. Standard Atmosphere 1976 and a handbook.

Source of each row in data/standard_atmosphere.csv.
"""

from __future__ import annotations

import pytest

from loopworthy.science.physics.atmosphere import geopotential_from_geometric_m, standard_pressure_mbar
from tests.published.rows import rows

TABLE = rows("standard_atmosphere")
COMPUTED = [row for row in TABLE if row["provenance"] == "computed"]
PRINTED = [row for row in TABLE if row["provenance"] != "computed"]


def _pressure_pa(row: dict[str, str]) -> float:
    altitude_m = float(row["altitude"])
    if "geopotential" not in row["altitude_kind"]:
        altitude_m = geopotential_from_geometric_m(altitude_m)
    return standard_pressure_mbar(altitude_m) * 100.0


def test_the_table_has_computed_and_printed_rows() -> None:
    assert (len(COMPUTED), len(PRINTED)) == (18, 10)


@pytest.mark.parametrize("row", COMPUTED, ids=lambda row: f"{row['altitude']} {row['altitude_kind']}")
def test_the_pressure_is_that_of_the_formula(row: dict[str, str]) -> None:
    assert _pressure_pa(row) == pytest.approx(float(row["value"]), abs=2.0)  # 2 Pa: rounding of the model's constants


@pytest.mark.parametrize("row", PRINTED, ids=lambda row: f"{row['altitude']} {row['altitude_kind']}")
def test_the_pressure_agrees_with_printed_tables(row: dict[str, str]) -> None:
    assert _pressure_pa(row) == pytest.approx(
        float(row["value"]), rel=0.001
    )  # the handbooks print three to four digits
