"""Coefficients of ZH-L16 and no-stop times against the tables beside this file; each row says its source.

Variant A was read (an encyclopaedia article citing Bühlmann) and follows a published formula. Variants B and C are from
memory: the rows below only hold that what ships is what was written down, and no judgement rests on them alone.
"""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from loopworthy.science.deco.breathing import CylinderGas, OpenCircuit
from loopworthy.science.deco.coefficients import (
    AS_PUBLISHED,
    FROM_MEMORY,
    CompartmentLimit,
    FirstCompartment,
    Variant,
    coefficients,
)
from loopworthy.science.deco.schedule import no_stop_time_min
from loopworthy.science.deco.settings import LUNG_WATER_VAPOUR_BAR, DecoSettings, StopForm
from loopworthy.science.deco.tissues import Tissues
from loopworthy.science.deco.tolerance import weighted
from loopworthy.science.physics.gas import GasMixture
from tests.published.rows import rows, value_of

MODEL_AIR = 0.7902
"""Nitrogen of the reference's air; schedules of the program count 0.79."""


def _shipped(variant: Variant, compartment: str, gas: str) -> CompartmentLimit:
    first = FirstCompartment.FIVE_MINUTES if compartment == "1b" else FirstCompartment.FOUR_MINUTES
    chosen = coefficients(variant, first)
    return (chosen.nitrogen if gas == "N2" else chosen.helium)[int(compartment.rstrip("b")) - 1]


@pytest.mark.parametrize("row", rows("zhl16_coefficients"), ids=lambda row: "-".join(list(row.values())[:3]))
def test_what_ships_is_what_the_table_says(row: dict[str, str]) -> None:
    for variant in row["variant"].split("/"):
        one = _shipped(Variant(variant), row["compartment"], row["gas"])
        wanted = float(row["half_time_min"]), float(row["a_bar"]), float(row["b"])
        assert (one.half_time_min, one.a_bar, one.b) == wanted


@pytest.mark.parametrize("index", range(16))
def test_nitrogen_of_variant_a_follows_the_published_formula(index: int) -> None:
    # Bühlmann: a = 2 t^(-1/3), b = 1.005 - t^(-1/2), printed to four decimals (zhl16_conventions.csv, read).
    for first in FirstCompartment:
        one = coefficients(Variant.A, first).nitrogen[index]
        assert one.a_bar == pytest.approx(2.0 * one.half_time_min ** (-1 / 3), abs=1.01e-4)
        assert one.b == pytest.approx(1.005 - one.half_time_min**-0.5, abs=1.01e-4)


def test_helium_of_variant_a_follows_the_formula_as_closely_as_its_rounded_half_times_allow() -> None:
    for one in coefficients(Variant.A).helium:
        assert one.a_bar == pytest.approx(2.0 * one.half_time_min ** (-1 / 3), abs=0.004)
        assert one.b == pytest.approx(1.005 - one.half_time_min**-0.5, abs=0.003)


def test_every_variant_says_how_well_it_is_known() -> None:
    assert coefficients(Variant.A).provenance == AS_PUBLISHED
    assert coefficients(Variant.B).provenance == coefficients(Variant.C).provenance == FROM_MEMORY
    known = {row["variant"]: row["provenance"] for row in rows("zhl16_coefficients") if row["compartment"] == "9"}
    assert known == {"A": "read", "B": "memory", "C": "memory", "B/C": "memory"}


def test_a_mix_weighs_its_coefficients_as_the_published_example() -> None:
    # 18/50 in compartment 1, weighted by helium 0.50 and nitrogen 0.32 (read): a 1.5541, b 0.4559.
    a_bar, b = weighted(coefficients(Variant.C, FirstCompartment.FOUR_MINUTES), 0, 0.32, 0.50)
    assert a_bar == pytest.approx(
        value_of("zhl16_conventions", "mixed-gas example 18/50, compartment 1: weighted a"), abs=5e-5
    )
    assert b == pytest.approx(
        value_of("zhl16_conventions", "mixed-gas example 18/50, compartment 1: weighted b"), abs=5.1e-5
    )


def test_water_vapour_is_the_models_own() -> None:
    assert value_of("zhl16_conventions", "alveolar water vapour pressure used by the model") == LUNG_WATER_VAPOUR_BAR


@pytest.mark.parametrize("variant", Variant)
@pytest.mark.parametrize("first", FirstCompartment)
def test_helium_is_always_held_to_less_than_nitrogen(variant: Variant, first: FirstCompartment) -> None:
    """The quick test of a row rests on it: a mix's limit is never below that of nitrogen alone."""
    chosen = coefficients(variant, first)
    for nitrogen, helium in zip(chosen.nitrogen, chosen.helium, strict=True):
        assert helium.a_bar >= nitrogen.a_bar
        assert helium.b <= nitrogen.b
        assert helium.half_time_min < nitrogen.half_time_min


def _instant(variant: Variant, first: FirstCompartment) -> DecoSettings:
    return DecoSettings(
        gf_low=1.0,
        gf_high=1.0,
        ascent_m_per_min=1e6,
        descent_m_per_min=1e6,
        stops=StopForm.CONTINUOUS,
        variant=variant,
        first_compartment=first,
    )


@pytest.mark.parametrize(
    "row", rows("zhl16_nostop_computed"), ids=lambda row: f"{row['variant'][:18]}-{row['depth_m']}"
)
def test_no_stop_times_are_those_of_the_bare_model(row: dict[str, str]) -> None:
    # Computed by another code: instant travels, air with 0.7902 nitrogen, full limit. Its rows of variant A use the
    # formula unrounded; the printed four decimals shift a long time at 9 m by 0.1 min for each 1e-5 bar.
    first = FirstCompartment.FIVE_MINUTES if "1b" in row["variant"] else FirstCompartment.FOUR_MINUTES
    by_formula = row["variant"].startswith("A")
    settings = _instant(Variant.A if by_formula else Variant.C, first)
    air = GasMixture(oxygen_fraction=1.0 - MODEL_AIR)
    start = Tissues(nitrogen_bar=(MODEL_AIR * (1.01325 - 0.0627),) * 16, helium_bar=(0.0,) * 16)
    gas = OpenCircuit(gases=(CylinderGas(mixture=air, usable_to_m=100.0),))
    found = no_stop_time_min(settings, float(row["depth_m"]), gas, start=start)
    assert found == pytest.approx(float(row["value"]), abs=0.02, rel=2e-3 if by_formula else 0.0)


def test_no_stop_times_are_of_the_size_of_printed_tables_whose_rows_are_only_told() -> None:
    """Tables of other models and margins. The row that was read decides; those from memory are only told."""
    settings = _instant(Variant.C, FirstCompartment.FIVE_MINUTES)
    gas = OpenCircuit(gases=(CylinderGas(mixture=GasMixture(oxygen_fraction=0.21), usable_to_m=100.0),))
    read = [row for row in rows("usn_air_nostop") if row["provenance"] == "read"]
    assert [(row["depth_fsw"], row["value"]) for row in read] == [("160", "5")]  # Rev 4, p. 9-12
    for row in read:
        found = no_stop_time_min(settings, float(row["depth_fsw"]) * 0.3048, gas)
        assert found is not None
        assert 0.5 < found / float(row["value"]) < 2.0
    told = []
    for row in rows("buhlmann_1986_nostop"):
        assert row["provenance"] == "memory"
        found = no_stop_time_min(settings, float(row["depth_m"]), gas)
        assert found is not None
        told.append((float(row["depth_m"]), float(row["value"]), found))
    print("depth, 1986 table (from memory), bare model:", *told, sep="\n")
    # What holds without any table: the deeper, the shorter.
    assert all(one[2] > other[2] for one, other in pairwise(told))
    assert all(math.isfinite(found) for *_, found in told)
