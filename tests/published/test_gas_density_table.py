"""Densities of gases and mixtures against CoolProp and the ideal gas law.

Source of each row in data/gas_density.csv.
"""

from __future__ import annotations

import re

import pytest

from loopworthy.science.physics.depth import Water, pressure_at_depth_bar
from loopworthy.science.physics.gas import AIR, GasMixture, density_g_per_l, mixture_density_g_per_l
from tests.published.rows import rows

TABLE = rows("gas_density")
PURE = {"Oxygen": (1.0, 0.0, 0.0), "Nitrogen": (0.0, 1.0, 0.0), "Helium": (0.0, 0.0, 1.0)}
STATES = {"0 C, 101325 Pa": (1.01325, 0.0), "20 C, 100 kPa": (1.0, 20.0), "0 C, 1 atm (handbook)": (1.01325, 0.0)}
MIXES = {
    "air": AIR,
    "32 % O2": GasMixture(oxygen_fraction=0.32),
    "18/35": GasMixture(oxygen_fraction=0.18, helium_fraction=0.35),
    "18/45": GasMixture(oxygen_fraction=0.18, helium_fraction=0.45),
    "10/70": GasMixture(oxygen_fraction=0.10, helium_fraction=0.70),
}
PURE_ROWS = [row for row in TABLE if row["gas"] in PURE]
AIR_ROWS = [row for row in TABLE if row["gas"] == "Air"]
DEPTH_ROWS = [row for row in TABLE if row["gas"] in MIXES]


def test_the_table_has_every_group_of_rows() -> None:
    assert (len(PURE_ROWS), len(AIR_ROWS), len(DEPTH_ROWS)) == (9, 3, 24)


@pytest.mark.parametrize("row", PURE_ROWS, ids=lambda row: f"{row['gas']} {row['state']}")
def test_pure_gases_have_their_reference_density(row: dict[str, str]) -> None:
    bar, temperature_c = STATES[row["state"]]
    oxygen, nitrogen, helium = (share * bar for share in PURE[row["gas"]])
    # 0.001 g/L: an ideal gas is 0.1 % off at most here.
    expected = pytest.approx(float(row["value"]), rel=0.001)
    assert density_g_per_l(oxygen, nitrogen, helium, temperature_c) == expected


@pytest.mark.parametrize("row", AIR_ROWS, ids=lambda row: row["state"])
def test_air_is_half_a_per_cent_light_because_its_argon_counts_as_nitrogen(row: dict[str, str]) -> None:
    bar, temperature_c = STATES[row["state"]]
    ratio = mixture_density_g_per_l(AIR, bar, temperature_c) / float(row["value"])
    assert 0.995 < ratio < 0.997


@pytest.mark.parametrize("row", DEPTH_ROWS, ids=lambda row: f"{row['gas']} {row['state']}")
def test_mixtures_at_depth_have_the_printed_density_at_each_reference_temperature(row: dict[str, str]) -> None:
    state = re.match(r"(?P<depth>\d+) m, 1\.01325 bar \+ 0\.1 bar/m, (?P<reference>\d+) C", row["state"])
    assert state is not None
    bar = pressure_at_depth_bar(float(state["depth"]), 1.01325, Water.EN_13319)
    density = mixture_density_g_per_l(MIXES[row["gas"]], bar, float(state["reference"]))
    # Three decimals are printed; the rows take air as 21 or 20.95 % oxygen, which is 0.0006 g/L at 40 m.
    assert density == pytest.approx(float(row["value"]), abs=0.001)


def test_a_gas_at_37_degrees_is_an_eighth_lighter_than_at_0() -> None:
    assert mixture_density_g_per_l(AIR, 4.0, 37.0) / mixture_density_g_per_l(AIR, 4.0, 0.0) == pytest.approx(
        0.88, abs=0.001
    )
