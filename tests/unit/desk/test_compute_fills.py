"""Fills, gas plans and exposure at the JSON door: agreed keys, answers where nothing can be made, many a line."""

from __future__ import annotations

import json
from typing import Any

import pytest

from loopworthy.desk.compute import CALCULATIONS, calculate
from loopworthy.desk.compute.batch import answer_lines, is_lines
from loopworthy.vocabulary.errors import InputError

RECIPE: dict[str, Any] = {
    "start": {"pressure_bar": 0, "oxygen_fraction": 0.21, "helium_fraction": 0},
    "target": {"pressure_bar": 200, "oxygen_fraction": 0.18, "helium_fraction": 0.45},
    "temperature_c": 20,
    "top_up": {"oxygen_fraction": 0.2095, "helium_fraction": 0},
    "order": ["helium", "oxygen", "top-up"],
    "method": "real",
}


def _ask(name: str, request: dict[str, Any]) -> Any:
    return json.loads(calculate(name, json.dumps(request)))


def test_a_recipe_has_steps_and_a_result_with_their_agreed_keys() -> None:
    answer = _ask("fill-recipe", RECIPE)
    assert [step["gas"] for step in answer["steps"]] == ["helium", "oxygen", "top-up"]
    assert all({"gas", "from_bar", "to_bar"} <= set(step) for step in answer["steps"])
    assert set(answer["result"]) == {"pressure_bar", "oxygen_fraction", "helium_fraction"}
    assert answer["result"]["helium_fraction"] == pytest.approx(0.45)
    assert "no_solution" not in answer
    # Source of both: own calculation with CoolProp 8.0.0 in tests/published/data/gas_blending.csv.
    assert answer["steps"][0]["to_bar"] == pytest.approx(84.22, abs=1.5)
    assert answer["steps"][1]["to_bar"] == pytest.approx(101.27, abs=1.5)


def test_the_ideal_method_answers_its_own_pressures_and_what_they_really_give() -> None:
    answer = _ask("fill-recipe", RECIPE | {"method": "ideal"})
    assert [step["to_bar"] for step in answer["steps"]] == pytest.approx([90.0, 106.39, 200.0], abs=0.01)
    assert answer["result"]["oxygen_fraction"] == pytest.approx(0.18)
    assert answer["as_real_gas"]["oxygen_fraction"] == pytest.approx(0.1705, abs=0.01)
    assert any("ideal rule misses" in said for said in answer["cautions"])


def test_cleaning_heat_and_analysis_are_said_beside_a_recipe() -> None:
    said = " ".join(_ask("fill-recipe", RECIPE)["cautions"])
    assert "cleaned for oxygen" in said
    assert "a hot cylinder reads high" in said
    assert "the analysis closes the fill" in said


def test_a_lean_fill_is_said_not_to_be_breathable_at_the_surface() -> None:
    lean = RECIPE | {"target": {"pressure_bar": 200, "oxygen_fraction": 0.10, "helium_fraction": 0.70}}
    assert any("too little oxygen" in said for said in _ask("fill-recipe", lean)["cautions"])
    assert not any("too little oxygen" in said for said in _ask("fill-recipe", RECIPE)["cautions"])


def test_air_alone_needs_no_oxygen_cleaning() -> None:
    air = RECIPE | {"target": {"pressure_bar": 200, "oxygen_fraction": 0.2095}, "order": ["top-up"]}
    assert not any("cleaned for oxygen" in said for said in _ask("fill-recipe", air)["cautions"])


def test_what_cannot_be_made_is_an_answer_in_words() -> None:
    rich = RECIPE | {
        "start": {"pressure_bar": 150, "oxygen_fraction": 0.5},
        "target": {"pressure_bar": 200, "oxygen_fraction": 0.32},
    }
    answer = _ask("fill-recipe", rich)
    assert answer["steps"] == []
    assert "too much oxygen" in answer["no_solution"]["reason"]
    bled = _ask("fill-recipe", rich | {"may_bleed": True})
    assert bled["bleed_to_bar"] == answer["no_solution"]["bleed_to_bar"]
    assert bled["result"]["oxygen_fraction"] == pytest.approx(0.32)


def test_a_step_is_told_as_read_while_hot() -> None:
    hot = _ask("fill-recipe", RECIPE | {"hot_temperature_c": 45})
    cold = _ask("fill-recipe", RECIPE | {"hot_temperature_c": 20})
    assert all(step["hot_to_bar"] > step["to_bar"] for step in hot["steps"])
    assert all(step["hot_to_bar"] == pytest.approx(step["to_bar"]) for step in cold["steps"])
    assert "hot_to_bar" not in _ask("fill-recipe", RECIPE)["steps"][0]


def test_a_bank_that_cannot_give_is_named() -> None:
    banks = [{"gas": "helium", "pressure_bar": 70}, {"gas": "oxygen", "pressure_bar": 150}]
    helium, oxygen = _ask("fill-recipe", RECIPE | {"sources": banks})["sources"]
    assert (helium["gas"], helium["gives"]) == ("helium", False)
    assert "uphill" in helium["reason"]
    assert (oxygen["gas"], oxygen["gives"]) == ("oxygen", True)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"start": {"pressure_bar": -1, "oxygen_fraction": 0.21}}, "start.pressure_bar"),
        ({"target": {"pressure_bar": 200, "oxygen_fraction": 32}}, "target.oxygen_fraction.*per cent"),
        ({"target": {"pressure_bar": 0, "oxygen_fraction": 0.32}}, "target.pressure_bar must be above 0"),
        ({"target": {"pressure_bar": 200}}, "target.oxygen_fraction must be given"),
        ({"top_up": {"oxygen_fraction": 0.6, "helium_fraction": 0.6}}, "top_up.oxygen_fraction"),
        ({"order": ["oxygen", "oxygen"]}, "order must be each gas once"),
        ({"order": []}, "order must be one gas or more"),
        ({"order": ["argon"]}, r"order\[0\] must be one of 'helium', 'oxygen', 'top-up'"),
        ({"method": "guess"}, "method must be one of 'ideal', 'real'"),
        ({"temperature_c": 293.15}, "temperature_c.*kelvin"),
        ({"hot_temperature_c": 99}, "hot_temperature_c"),
        ({"sources": [{"gas": "helium", "pressure_bar": 1}] * 2}, r"sources\[1\].gas must be given once"),
        ({"sources": [{"gas": "helium", "pressure_bar": 200, "volume_l": 50}]}, "cylinder_volume_l must be given"),
    ],
)
def test_a_recipe_with_something_wrong_names_it(change: dict[str, Any], words: str) -> None:
    with pytest.raises(InputError, match=words):
        calculate("fill-recipe", json.dumps(RECIPE | change))


def test_a_filled_cylinder_cannot_be_filled_downwards() -> None:
    request = {"start": RECIPE["target"], "added": [{"oxygen_fraction": 0.2095, "to_bar": 150}]}
    with pytest.raises(InputError, match=r"added\[0\].to_bar must be above the 200 bar"):
        calculate("fill-result", json.dumps(request))


def test_errors_of_a_gas_plan_name_their_own_key() -> None:
    for name, change, words in (
        ("settled-pressure", {"read_at_c": 200}, "read_at_c"),
        ("settled-pressure", {"settles_at_c": -40}, "settles_at_c"),
        ("ascent-without-addition", {"start_depth_m": 501}, "start_depth_m"),
        ("ascent-without-addition", {"depths_m": [20, -1]}, r"depths_m\[1\]"),
        ("dive-weight", {"bailout": [{"oxygen_fraction": 2, "used_bar_l": 1}]}, r"bailout\[0\].oxygen_fraction"),
        ("oxygen-exposure", {"segments": [{"duration_min": -1, "oxygen_bar": 1}]}, r"segments\[0\].duration_min"),
        ("oxygen-exposure", {"carried_single_fraction": 11}, "carried_single_fraction"),
    ):
        with pytest.raises(InputError, match=words):
            calculate(name, json.dumps(dict(CALCULATIONS[name].example) | change))


def test_an_ascent_tells_the_first_depth_that_is_hypoxic() -> None:
    request = dict(CALCULATIONS["ascent-without-addition"].example) | {"depths_m": [20, 10, 3, 0]}
    assert "hypoxic_at_m" not in _ask("ascent-without-addition", request)
    resting, working = (request | {"metabolic_l_per_min": use} for use in (0.3, 1.2))
    assert _ask("ascent-without-addition", resting)["hypoxic_at_m"] == 3
    assert _ask("ascent-without-addition", working)["hypoxic_at_m"] == 20


def test_oxygen_that_never_falls_has_no_time() -> None:
    request = dict(CALCULATIONS["oxygen-shut"].example) | {"refill_oxygen_fraction": 1.0}
    assert _ask("oxygen-shut", request) == {"never": True}


def test_a_flow_that_is_used_up_has_no_pressure_to_breathe_it_at() -> None:
    request = {"flow_l_per_min": 10, "supply_oxygen_fraction": 0.2, "metabolic_l_per_min": 2.5}
    assert _ask("fixed-flow", request) == {"oxygen_fraction": 0.0}


def test_exposure_says_its_rule_and_its_method() -> None:
    answer = _ask("oxygen-exposure", {"segments": [{"duration_min": 10, "oxygen_bar": 1.8}]})
    assert "straight line" in answer["source"]
    assert "from memory: confirm" in answer["source"]
    assert answer["lungs"]["method"].startswith("UPTD")
    assert "convulsion" in answer["nervous_system"]["warnings"][0]


# --- many a line -----------------------------------------------------------------------------------------------------


def test_each_line_is_answered_by_itself_and_in_order() -> None:
    lines = [json.dumps(RECIPE | {"method": method}).encode() for method in ("real", "ideal")]
    answers = list(answer_lines(CALCULATIONS["fill-recipe"], [lines[0], b"", lines[1]]))
    assert [each.line for each in answers] == [1, 3]
    assert [json.loads(each.answer)["method"] for each in answers] == ["real", "ideal"]
    assert [each.answer for each in answers] == [calculate("fill-recipe", line) for line in lines]


def test_a_line_that_cannot_be_answered_does_not_keep_the_others_from_their_answer() -> None:
    good = json.dumps(RECIPE).encode()
    answers = list(answer_lines(CALCULATIONS["fill-recipe"], [good, b"{", b'{"start": 1}', good]))
    assert [each.error is None for each in answers] == [True, False, False, True]
    assert json.loads(answers[1].answer)["line"] == 2
    assert "JSON" in json.loads(answers[1].answer)["error"]


@pytest.mark.parametrize(
    ("text", "several"),
    [
        ('{"a": 1}\n{"a": 2}', True),
        ('\n{"a": 1}\n\n{"a": 2}\n', True),
        ('{"a": 1}\n', False),
        ('{\n"a": 1\n}', False),
        ('{"a":\n1}', False),
        ("", False),
        ("[1]\n[2]", False),
    ],
)
def test_several_requests_are_told_from_one_over_several_lines(text: str, several: bool) -> None:
    assert is_lines(text) is several
    assert is_lines(text.encode()) is several
