"""Depth conventions against real sea and fresh water after TEOS-10 and IAPWS-95.

Source of each row in data/water_density_pressure.csv. The conventions are simpler than the sea; these tests hold them
to the differences that the documentation states.
"""

from __future__ import annotations

import gsw
import pytest

from loopworthy.science.physics.depth import DENSITY_KG_PER_M3, Water, pressure_at_depth_bar, pressure_per_metre_bar
from tests.published.rows import rows

TABLE = rows("water_density_pressure")
SEA_PRESSURES = [row for row in TABLE if row["item"].startswith("sea pressure at")]


def _depth_and_latitude(item: str) -> tuple[float, float]:
    words = item.replace(",", "").split()
    return float(words[3]), float(words[6])


def test_the_table_has_every_depth_and_latitude() -> None:
    assert len(SEA_PRESSURES) == 24


@pytest.mark.parametrize("row", SEA_PRESSURES, ids=lambda row: row["item"])
def test_the_sea_convention_is_at_most_half_a_per_cent_below_the_ocean(row: dict[str, str]) -> None:
    depth_m, latitude = _depth_and_latitude(row["item"])
    ocean_bar = float(row["value"]) / 10.0
    ours_bar = pressure_at_depth_bar(depth_m, 1.01325, Water.SEA) - 1.01325
    assert -0.005 <= ours_bar / ocean_bar - 1.0 <= 0.0
    # The row itself is the reference library's, to the digits printed.
    assert gsw.p_from_z(-depth_m, latitude) == pytest.approx(float(row["value"]), abs=0.00006)


@pytest.mark.parametrize("row", [row for row in TABLE if row["item"].startswith("fresh water density")])
def test_the_fresh_convention_is_within_three_thousandths_of_fresh_water(row: dict[str, str]) -> None:
    assert pytest.approx(float(row["value"]), rel=0.003) == DENSITY_KG_PER_M3[Water.FRESH]


def test_a_measured_density_replaces_the_convention() -> None:
    brackish = next(float(row["value"]) for row in TABLE if row["item"].startswith("low salinity"))
    # rho g at 1005.96 kg/m3, and 1.9 % below the sea convention, as the module says.
    assert pressure_per_metre_bar(density_kg_per_m3=brackish) == pytest.approx(0.0986510, abs=1e-6)
    assert pressure_per_metre_bar(density_kg_per_m3=brackish) / pressure_per_metre_bar(Water.SEA) > 0.98
