"""Every calculation alone: keys, answers and refusals at the JSON door."""

from __future__ import annotations

import json
import math
from typing import Any

import msgspec
import pytest

from loopworthy.desk.compute import CALCULATIONS, calculate
from loopworthy.vocabulary.errors import InputError, UnknownNameError


def _example(name: str) -> dict[str, Any]:
    return json.loads(json.dumps(dict(CALCULATIONS[name].example)))  # type: ignore[no-any-return]


def _ask(name: str, request: dict[str, Any]) -> dict[str, Any]:
    return json.loads(calculate(name, json.dumps(request)))  # type: ignore[no-any-return]


def _numbers(tree: Any) -> list[float]:
    if isinstance(tree, dict):
        return [number for value in tree.values() for number in _numbers(value)]
    if isinstance(tree, list):
        return [number for value in tree for number in _numbers(value)]
    return [tree] if isinstance(tree, int | float) and not isinstance(tree, bool) else []


@pytest.mark.parametrize("name", CALCULATIONS)
def test_the_example_of_every_calculation_runs_and_answers_finite_numbers(name: str) -> None:
    answer = _ask(name, _example(name))
    numbers = _numbers(answer)
    assert numbers
    assert all(math.isfinite(number) for number in numbers)


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_calculation_refuses_an_unknown_key_and_names_the_known_ones(name: str) -> None:
    request = _example(name) | {"colour": "blue"}
    with pytest.raises(InputError, match="must be one of") as refusal:
        calculate(name, json.dumps(request))
    assert "colour" in str(refusal.value)
    assert all(key in str(refusal.value) for key in CALCULATIONS[name].request_type.__struct_fields__)


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_required_key_is_missed_by_name(name: str) -> None:
    required = [field.name for field in msgspec.structs.fields(CALCULATIONS[name].request_type) if field.required]
    assert required
    for key in required:
        request = {other: value for other, value in _example(name).items() if other != key}
        with pytest.raises(InputError, match=f"{key} must be given"):
            calculate(name, json.dumps(request))


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_number_of_every_calculation_refuses_nan_infinity_and_text(name: str) -> None:
    example = _example(name)
    keys = [key for key, value in example.items() if isinstance(value, int | float) and not isinstance(value, bool)]
    for key in keys:
        for bad in ("NaN", "Infinity", "-Infinity", "1e999", '"1"', "true", "null"):
            request = json.dumps(example | {key: "@"}).replace('"@"', bad)
            if bad == "null" and _is_optional(name, key):
                continue
            with pytest.raises(InputError, match=key):
                calculate(name, request)


def _is_optional(name: str, key: str) -> bool:
    schema = msgspec.json.schema(CALCULATIONS[name].request_type)
    properties = schema["$defs"][CALCULATIONS[name].request_type.__name__]["properties"]
    return any(each.get("type") == "null" for each in properties[key].get("anyOf", []))


@pytest.mark.parametrize("name", CALCULATIONS)
def test_every_key_says_in_the_schema_what_it_is(name: str) -> None:
    kind = CALCULATIONS[name].request_type
    properties = msgspec.json.schema(kind)["$defs"][kind.__name__]["properties"]
    undescribed = [
        key
        for key, value in properties.items()
        if "description" not in json.dumps(value) and value.get("type") != "array" and "$ref" not in json.dumps(value)
    ]
    assert undescribed == []
    assert CALCULATIONS[name].summary


def test_the_names_are_those_that_the_command_line_promises() -> None:
    assert {
        "oxygen-sensor-check",
        "pressure-test",
        "water-vapour",
        "atmosphere",
        "depth-pressure",
        "gas-density",
    } <= set(CALCULATIONS)
    assert all(name == calculation.name for name, calculation in CALCULATIONS.items())


def test_an_unknown_calculation_is_answered_with_the_known_ones() -> None:
    with pytest.raises(UnknownNameError, match="pressure-test"):
        calculate("presure-test", "{}")


# --- oxygen-sensor-check ---------------------------------------------------------------------------------------------


def test_the_oxygen_check_answers_each_sensor_by_serial() -> None:
    answer = _ask("oxygen-sensor-check", _example("oxygen-sensor-check"))
    assert answer["coefficient"] == pytest.approx(4.804, abs=0.0005)  # worked example of the morning
    assert [sensor["serial"] for sensor in answer["sensors"]] == ["A-101", "A-102", "B-207"]
    assert [sensor["decision"] for sensor in answer["sensors"]] == ["inside", "inside", "outside"]
    assert {
        "serial",
        "expected_mv",
        "difference_mv",
        "difference_fraction",
        "difference_at_set_point_bar",
        "uncertainty_mv",
        "decision",
    } <= set(answer["sensors"][0])
    first = answer["sensors"][0]
    root = math.sqrt(sum(line["contribution"] ** 2 for line in first["terms"]))
    assert first["uncertainty_mv"] == pytest.approx(2 * root)


def test_numbers_are_not_rounded() -> None:
    assert _ask("oxygen-sensor-check", _example("oxygen-sensor-check"))["coefficient"] != round(4.804219410, 9)


def test_better_instruments_narrow_the_uncertainty() -> None:
    request = _example("oxygen-sensor-check")
    ordinary = _ask("oxygen-sensor-check", request)["sensors"][0]["uncertainty_mv"]
    request["uncertainties"] = {"oxygen_fraction": 0.0005}
    assert _ask("oxygen-sensor-check", request)["sensors"][0]["uncertainty_mv"] < ordinary


def test_an_error_in_a_sensor_names_its_place() -> None:
    request = _example("oxygen-sensor-check")
    request["sensors"][1]["air_mv"] = 104
    with pytest.raises(InputError, match=r"sensors\[1\].air_mv must be above 0.*Was 10.4 meant"):
        calculate("oxygen-sensor-check", json.dumps(request))


def test_an_unknown_key_in_a_sensor_names_its_place_and_the_known_keys() -> None:
    request = _example("oxygen-sensor-check")
    request["sensors"][2]["air_mV"] = 10.4
    with pytest.raises(InputError, match=r"sensors\[2\] must be one of serial, air_mv, oxygen_mv"):
        calculate("oxygen-sensor-check", json.dumps(request))


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("ambient_pressure_mbar", 1.013, "looks like bar, must be mbar"),
        ("relative_humidity_fraction", -0.1, "relative_humidity_fraction must be between 0 and 1"),
        ("relative_humidity_fraction", 1.1, "relative_humidity_fraction"),
        ("relative_humidity_fraction", 55, "per cent"),
        ("temperature_c", 295, "kelvin"),
        ("tolerance_mv", 0, "tolerance_mv must be above 0"),
        ("sensors", [], "sensors must be 1 or more"),
        ("sensors", {}, "sensors must be a list"),
        ("oxygen_is_humid", 1, "oxygen_is_humid must be true or false"),
    ],
)
def test_an_absurd_value_is_refused_by_key(key: str, value: object, words: str) -> None:
    with pytest.raises(InputError, match=words) as refusal:
        calculate("oxygen-sensor-check", json.dumps(_example("oxygen-sensor-check") | {key: value}))
    assert not refusal.value.name.startswith("sensors[0]")


def test_a_serial_given_twice_is_refused() -> None:
    request = _example("oxygen-sensor-check")
    request["sensors"][1]["serial"] = "A-101"
    with pytest.raises(InputError, match="given once"):
        calculate("oxygen-sensor-check", json.dumps(request))


# --- pressure-test ---------------------------------------------------------------------------------------------------


def test_the_pressure_test_answers_the_promised_keys() -> None:
    answer = _ask("pressure-test", _example("pressure-test"))
    assert {
        "settled_from_s",
        "loss_mbar",
        "corrected_loss_mbar",
        "uncertainty_mbar",
        "leak_ml_per_min",
        "answer",
    } <= set(answer)
    # Worked example of the morning: 8.0 mbar, of which 3.2 are temperature's.
    assert answer["loss_mbar"] == pytest.approx(8.0)
    assert answer["corrected_loss_mbar"] == pytest.approx(4.8, abs=0.05)
    assert answer["leak_ml_per_min"] == pytest.approx(28, abs=0.5)
    assert answer["answer"] == "holds"
    assert answer["common_rule"]["answer"] == "holds"


def test_volume_and_temperature_may_be_left_out_or_null() -> None:
    request = _example("pressure-test")
    request["samples"] = [{"time_s": 0, "gauge_mbar": 25}, {"time_s": 60, "gauge_mbar": 21, "temperature_c": None}]
    del request["loop_volume_l"]
    without = _ask("pressure-test", request)
    assert without == _ask("pressure-test", request | {"loop_volume_l": None, "compliance_ml_per_mbar": None})
    assert without["corrected_loss_mbar"] is None
    assert without["leak_ml_per_min"] is None
    assert without["temperature_effect"] == "unknown"


def test_an_unknown_kind_of_test_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InputError, match="kind must be one of 'negative', 'positive'"):
        calculate("pressure-test", json.dumps(_example("pressure-test") | {"kind": "vacuum"}))


@pytest.mark.parametrize(
    ("sample", "words"),
    [
        ({"time_s": 60, "gauge_mbar": -17}, r"samples\[1\].gauge_mbar must be above zero in a positive test"),
        ({"time_s": 60, "gauge_mbar": 1030}, r"samples\[1\].gauge_mbar.*looks like an absolute pressure"),
        ({"time_s": 0, "gauge_mbar": 17}, r"samples\[1\].time_s must be later"),
        ({"time_s": 60, "gauge_mbar": 17, "temperature_c": 293}, r"samples\[1\].temperature_c.*kelvin"),
        ({"time_s": 60, "gauge_mbar": "17"}, r"samples\[1\].gauge_mbar must be a number"),
        ({"time_s": 60}, r"samples\[1\].gauge_mbar must be given"),
        (17, r"samples\[1\] must be an object"),
    ],
)
def test_an_error_in_a_sample_names_its_place(sample: object, words: str) -> None:
    request = _example("pressure-test")
    request["samples"][1] = sample
    with pytest.raises(InputError, match=words):
        calculate("pressure-test", json.dumps(request))


# --- the others ------------------------------------------------------------------------------------------------------


def test_an_error_in_a_diluent_names_its_key() -> None:
    with pytest.raises(InputError, match="diluent_oxygen_fraction"):
        calculate("loop-gas", json.dumps(_example("loop-gas") | {"diluent_oxygen_fraction": 18}))


def test_an_error_in_a_reading_names_its_place() -> None:
    for name in ("sensor-agreement", "return-to-air", "known-gas-check"):
        request = _example(name)
        request["sensors"][1]["oxygen_bar"] = 210
        with pytest.raises(InputError, match=r"sensors\[1\].oxygen_bar.*looks like mbar"):
            calculate(name, json.dumps(request))


def test_the_atmosphere_takes_a_height_from_a_map() -> None:
    geometric = _ask("atmosphere", {"altitude_m": 4000, "altitude_is_geometric": True})
    # ISO 2533, data/standard_atmosphere.csv: 61660.4 and 61640.2 Pa.
    assert geometric["ambient_pressure_mbar"] == pytest.approx(616.604, abs=0.02)
    assert _ask("atmosphere", {"altitude_m": 4000})["ambient_pressure_mbar"] == pytest.approx(616.402, abs=0.02)


# --- what JSON allows and a calculation does not ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("request_text", "words"),
    [
        ("", "request must be JSON"),
        ("{", "request must be JSON"),
        ("[]", "request must be a JSON object"),
        ("null", "request must be a JSON object"),
        ('{"temperature_c": 20, "temperature_c": 21}', "key must be given once"),
        ('{"temperature_c": ' + "9" * 5000 + "}", "ordinary depth and numbers"),
        ('{"temperature_c": ' + "9" * 400 + "}", "temperature_c must be a finite number"),
        ("[" * 200_000, "ordinary depth and numbers"),
        ('{"temperature_c": 20, "\\ud800": 1}', "key"),
        (b'{"temperature_c": \xff}', "UTF-8"),
        (b'{"temperature_c": "' + b"2" * 8_000_001 + b'"}', "at most 8000000 bytes"),
    ],
    ids=lambda value: str(value)[:30],
)
def test_odd_requests_are_refused_in_words(request_text: str | bytes, words: str) -> None:
    with pytest.raises(InputError, match=words):
        calculate("water-vapour", request_text)


@pytest.mark.parametrize("depth", [400, 900, 960, 980, 990, 1000, 5000, 100_000])
def test_a_deep_nest_is_refused_in_words_wherever_it_is_noticed(depth: int) -> None:
    with pytest.raises(InputError):
        calculate("water-vapour", '{"temperature_c": ' + "[" * depth + "]" * depth + "}")
    with pytest.raises(InputError):
        calculate("water-vapour", '{"temperature_c": ' + '{"a":' * depth + "1" + "}" * depth + "}")


def test_a_serial_of_half_a_character_is_refused_where_it_stands() -> None:
    request = json.dumps(_example("sensor-agreement")).replace('"A-102"', '"\\ud800"')
    with pytest.raises(InputError, match=r"sensors\[1\].serial"):
        calculate("sensor-agreement", request)


def test_bytes_and_text_are_read_alike() -> None:
    request = json.dumps(_example("water-vapour"))
    assert calculate("water-vapour", request) == calculate("water-vapour", request.encode())
