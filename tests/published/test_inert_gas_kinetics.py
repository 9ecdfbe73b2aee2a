"""Tissue pressures against an independent integration by SciPy (data/inert_gas_kinetics_computed.csv, DOP853)."""

from __future__ import annotations

import math
import re

import pytest

from loopworthy.science.deco.breathing import CylinderGas, Loop, OpenCircuit
from loopworthy.science.deco.coefficients import Coefficients, CompartmentLimit, FirstCompartment, Variant
from loopworthy.science.deco.rows import added_by, filled, kept_after, ramp_over, settled, travelled
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.science.physics.gas import GasMixture
from tests.published.rows import rows

TABLE = "inert_gas_kinetics_computed"
SETTINGS = DecoSettings(gf_low=1.0, gf_high=1.0)
START_BAR = 0.7902 * (1.01325 - 0.0627)
AIR = GasMixture(oxygen_fraction=1.0 - 0.7902)
TRIMIX = GasMixture(oxygen_fraction=0.18, helium_fraction=0.45)


def _only(half_time_min: float) -> Coefficients:
    """Coefficients whose every compartment has this half-time: the table picks some, and not all are in a variant."""
    limit = CompartmentLimit(half_time_min=half_time_min, a_bar=1.0, b=0.5)
    return Coefficients(
        variant=Variant.C,
        first_compartment=FirstCompartment.FIVE_MINUTES,
        nitrogen=(limit,) * 16,
        helium=(limit,) * 16,
        provenance="of this test",
        rates_per_min=(math.log(2.0) / half_time_min,) * 32,
    )


def _after(step: str, half_time_min: float) -> list[float]:
    """Nitrogen and helium after the step of the table, by the primitives that the program is made of."""
    chosen = _only(half_time_min)
    row = filled(START_BAR, 0.0)
    if step.startswith("closed circuit"):
        minutes, depth_m = (float(found) for found in re.findall(r"(\d+) min at (\d+) m", step)[0])
        diluent = GasMixture(oxygen_fraction=0.10, helium_fraction=0.70) if "10/70" in step else AIR
        loop = Loop.at(1.3, diluent)
        row = settled(row, filled(*loop.held(depth_m, SETTINGS)), kept_after(chosen, minutes))
        return [row[0], row[16]]
    mixture, depth_m, descent_min, bottom_min = (AIR, 30.0, 1.5, 20.0) if "air" in FIRST[step] else (TRIMIX, 60, 3, 15)
    gas = OpenCircuit(gases=(CylinderGas(mixture=mixture, usable_to_m=100.0),))
    (piece,) = gas.pieces(0.0, depth_m, SETTINGS)
    ramp = ramp_over(chosen, descent_min)
    row = travelled(row, ramp.kept, added_by(ramp, filled(*piece.at_start), filled(*piece.at_end)))
    if step.startswith("then"):
        row = settled(row, filled(*gas.held(depth_m, SETTINGS)), kept_after(chosen, bottom_min))
    if "ascent" in step:
        (piece,) = gas.pieces(30.0, 6.0, SETTINGS)
        ramp = ramp_over(chosen, 2.4)
        row = travelled(row, ramp.kept, added_by(ramp, filled(*piece.at_start), filled(*piece.at_end)))
    return [row[0], row[16]]


FIRST = {
    "air 0->30 m at 20 m/min (1.5 min)": "air",
    "then 20 min at 30 m": "air",
    "then ascent 30->6 m at 10 m/min (2.4 min)": "air",
    "18/45 0->60 m at 20 m/min (3 min)": "18/45",
    "then 15 min at 60 m": "18/45",
}


@pytest.mark.parametrize("row", rows(TABLE), ids=lambda row: f"{row['step'][:30]} {row['gas']} {row['half_time_min']}")
def test_a_tissue_is_what_integration_makes_it(row: dict[str, str]) -> None:
    found = _after(row["step"], float(row["half_time_min"]))[0 if row["gas"] == "N2" else 1]
    assert found == pytest.approx(float(row["value"]), abs=1e-6)  # six decimals printed
