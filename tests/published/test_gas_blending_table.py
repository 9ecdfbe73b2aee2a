"""Blending recipes, ideal and real, against CoolProp 8.0.0 and the mixing rule of the US Navy Diving Manual.

Source of each row in data/gas_blending.csv. Tolerances as the table suggests: ideal 0.01 bar; nitrox 0.002 in fraction
and 0.3 bar in the recipe; helium mixes 0.01 in fraction and 1.5 bar. All at 20 °C, absolute, from an evacuated start.
"""

from __future__ import annotations

import re

import pytest

from loopworthy.science.gas.blending import PURE_HELIUM, CylinderGas, FillGas, FillRecipe, fill_recipe, filled_to
from loopworthy.science.gas.real_gas import Method
from loopworthy.science.physics.gas import AIR, GasMixture
from tests.published.rows import rows, value_of

EMPTY = CylinderGas(gas=AIR, pressure_bar=0.0)
OXYGEN = GasMixture(oxygen_fraction=1.0)
TABLE = rows("gas_blending")
NITROX = [row for row in TABLE if row["item"].startswith("O2 0.")]
TRIMIX = [row for row in TABLE if "order He, O2, air" in row["item"]]


def _recipe(oxygen: float, helium: float, bar: float, method: Method) -> FillRecipe:
    target = CylinderGas(gas=GasMixture(oxygen_fraction=oxygen, helium_fraction=helium), pressure_bar=bar)
    return fill_recipe(EMPTY, target, 20.0, method=method)


def _after(recipe: FillRecipe, gas: FillGas) -> float:
    return next(step.to_bar for step in recipe.steps if step.gas is gas)


def test_every_row_of_the_table_is_used() -> None:
    assert len(NITROX) + len(TRIMIX) + 3 == len(TABLE) == 39


@pytest.mark.parametrize("row", NITROX, ids=lambda row: row["item"])
def test_nitrox_recipes_are_those_of_the_table(row: dict[str, str]) -> None:
    found = re.match(r"O2 (?P<oxygen>[\d.]+) to (?P<bar>\d+) bar: (?P<what>.*)", row["item"])
    assert found is not None
    oxygen, bar, value = float(found["oxygen"]), float(found["bar"]), float(row["value"])
    ideal = _recipe(oxygen, 0.0, bar, Method.IDEAL)
    if "ideal rule" in found["what"] and row["unit"] == "bar":
        assert _after(ideal, FillGas.OXYGEN) == pytest.approx(value, abs=0.01)
    elif "really obtained" in found["what"]:
        assert ideal.as_real_gas.gas.oxygen_fraction == pytest.approx(value, abs=0.002)
    else:
        assert _after(_recipe(oxygen, 0.0, bar, Method.REAL), FillGas.OXYGEN) == pytest.approx(value, abs=0.3)


@pytest.mark.parametrize("row", TRIMIX, ids=lambda row: row["item"])
def test_trimix_recipes_are_those_of_the_table(row: dict[str, str]) -> None:
    found = re.match(r"(?P<o>\d+)/(?P<he>\d+) to (?P<bar>\d+) bar, order He, O2, air: (?P<what>.*)", row["item"])
    assert found is not None
    mix = (float(found["o"]) / 100.0, float(found["he"]) / 100.0, float(found["bar"]))
    value, what = float(row["value"]), found["what"]
    gas = FillGas.OXYGEN if "after O2" in what else FillGas.HELIUM
    if "really obtained" in what:
        really = _recipe(*mix, Method.IDEAL).as_real_gas.gas
        ours = really.oxygen_fraction if what.startswith("O2") else really.helium_fraction
        assert ours == pytest.approx(value, abs=0.01)
    elif "ideal rule" in what:
        assert _after(_recipe(*mix, Method.IDEAL), gas) == pytest.approx(value, abs=0.01)
    else:
        assert _after(_recipe(*mix, Method.REAL), gas) == pytest.approx(value, abs=1.5)


def test_the_order_of_oxygen_and_helium_changes_what_half_and_half_gives() -> None:
    oxygen_first = filled_to(EMPTY, [(OXYGEN, 100.0), (PURE_HELIUM, 200.0)], 20.0).gas.oxygen_fraction
    helium_first = filled_to(EMPTY, [(PURE_HELIUM, 100.0), (OXYGEN, 200.0)], 20.0).gas.oxygen_fraction
    assert oxygen_first == pytest.approx(
        value_of("gas_blending", "100 bar O2 then He to 200 bar: O2 obtained"), abs=0.01
    )
    assert helium_first == pytest.approx(
        value_of("gas_blending", "100 bar He then O2 to 200 bar: O2 obtained"), abs=0.01
    )


def test_oxygen_holds_more_and_helium_less_than_the_ideal_rule_says() -> None:
    # The mixing rule of the US Navy Diving Manual, rev. 4, section 16-2.1.
    assert "oxygen holds more gas and helium less" in next(r["value"] for r in TABLE if r["item"] == "mixing rule")
    real, ideal = (_recipe(0.18, 0.45, 200.0, method) for method in (Method.REAL, Method.IDEAL))
    assert ideal.as_real_gas.gas.helium_fraction > ideal.result.gas.helium_fraction
    assert _after(real, FillGas.HELIUM) < _after(ideal, FillGas.HELIUM)
