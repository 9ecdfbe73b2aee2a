"""Oxygen in dry air against the CRC Handbook, an engineering table and CIPM-2007.

Source of each row in data/dry_air_composition.csv; CIPM-2007 is from memory, the others were read.
"""

from __future__ import annotations

import pytest

from loopworthy.science.physics.constants import AIR_OXYGEN_FRACTION
from loopworthy.science.physics.gas import AIR, molar_mass_g_per_mol
from loopworthy.science.sensors.oxygen_check import ORDINARY_INSTRUMENTS
from tests.published.rows import rows, value_of

TABLE = "dry_air_composition"


@pytest.mark.parametrize("row", [row for row in rows(TABLE) if row["component"].startswith("O2")])
def test_oxygen_in_dry_air_is_within_its_stated_uncertainty_of_every_source(row: dict[str, str]) -> None:
    # Coverage factor 2 on the standard uncertainty of 0.0001 that the budget carries for it.
    known = 2.0 * ORDINARY_INSTRUMENTS.air_oxygen_fraction
    assert pytest.approx(float(row["value"]) / 100.0, abs=known) == AIR_OXYGEN_FRACTION


def test_air_without_argon_is_as_much_too_light_as_stated() -> None:
    assert molar_mass_g_per_mol(AIR) / value_of(TABLE, "mean molar mass", key="component") == pytest.approx(
        0.996, abs=5e-4
    )
