"""Schedules and bailout at the JSON door: exact keys, what every answer says of itself, and refusals by key."""

from __future__ import annotations

import json
from typing import Any

import pytest

from loopworthy.desk.compute import CALCULATIONS, calculate
from loopworthy.vocabulary.errors import InputError


def _example(name: str) -> dict[str, Any]:
    return json.loads(json.dumps(dict(CALCULATIONS[name].example)))  # type: ignore[no-any-return]


def _ask(name: str, request: dict[str, Any]) -> dict[str, Any]:
    return json.loads(calculate(name, json.dumps(request)))  # type: ignore[no-any-return]


def test_a_schedule_answers_the_promised_keys() -> None:
    answer = _ask("schedule", _example("schedule"))
    assert {"first_stop_m", "stops", "time_to_surface_min", "surfacing", "leaving_bottom"} <= set(answer)
    assert "no_solution" not in answer
    assert all(set(stop) == {"depth_m", "minutes"} for stop in answer["stops"])
    for tissues in (answer["surfacing"], answer["leaving_bottom"]):
        assert set(tissues) == {"nitrogen_bar", "helium_bar"}
        assert len(tissues["nitrogen_bar"]) == len(tissues["helium_bar"]) == 16
    assert [stop["depth_m"] for stop in answer["stop_details"]] == [stop["depth_m"] for stop in answer["stops"]]
    assert all(1 <= stop["controlling_compartment"] <= 16 for stop in answer["stop_details"])


def test_a_bailout_answers_the_promised_keys_for_every_minute() -> None:
    answer = _ask("bailout", _example("bailout"))
    assert [minute["run_time_min"] for minute in answer["minutes"]] == list(range(1, 31))
    promised = {"run_time_min", "time_to_surface_min", "gas_bar_l", "first_stop_m"}
    assert all(promised <= set(minute) for minute in answer["minutes"])
    assert all(len(minute["gas_bar_l"]) == 3 for minute in answer["minutes"])
    totals = {minute["run_time_min"]: sum(minute["gas_bar_l"]) for minute in answer["minutes"]}
    assert totals[answer["worst_run_time_min"]] == max(totals.values())
    assert "stops" not in answer["minutes"][0]
    assert "stops" in _ask("bailout", _example("bailout") | {"schedules": True})["minutes"][0]


@pytest.mark.parametrize("name", ["schedule", "bailout", "no-stop-time"])
def test_every_answer_names_its_model_settings_and_doubts_and_never_says_safe(name: str) -> None:
    text = calculate(name, json.dumps(_example(name))).decode()
    model = json.loads(text)["model"]
    assert model["name"].startswith("ZH-L16")
    assert model["coefficients"] == "coefficients from memory, not confirmed against the book"
    assert model["settings"]["variant"] == "C"
    assert {"gf_low", "gf_high", "surface_bar", "bar_per_m", "test", "stops", "first_compartment"} <= set(
        model["settings"]
    )
    assert "second, independent source" in model["caution"]
    assert "safe" not in text.lower()
    of_a = _ask(name, _example(name) | {"variant": "A", "first_compartment": "4 min"})["model"]
    assert "memory" not in of_a["coefficients"]


def test_what_is_left_out_is_the_definitions_default() -> None:
    full = _example("schedule")
    short = {key: full[key] for key in ("gf_low", "gf_high", "levels", "loop")}
    assert _ask("schedule", short) == _ask("schedule", full)


def test_a_stop_without_a_solution_is_an_answer_in_words() -> None:
    request = _example("schedule") | {
        "gf_high": 0.5,
        "last_stop_m": 6,
        "levels": [{"depth_m": 30, "leave_at_min": 400}],
        "open_circuit": [{"oxygen_fraction": 0.21, "usable_to_m": 60}],
    }
    del request["loop"]
    answer = _ask("schedule", request)
    assert set(answer["no_solution"]) == {"depth_m", "reason"}
    assert answer["no_solution"]["depth_m"] == 6
    assert {"stops", "time_to_surface_min", "surfacing"}.isdisjoint(answer)
    assert "leaving_bottom" in answer
    bailout = request | {
        "loop": _example("schedule")["loop"],
        "gases": request["open_circuit"],
        "rmv_l_per_min": 20,
        "from_min": 395,
    }
    del bailout["open_circuit"]
    found = _ask("bailout", bailout)
    assert found["worst_run_time_min"] == 395
    assert found["minutes"][0]["no_solution"]["depth_m"] == 6
    assert "gas_bar_l" not in found["minutes"][0]


def test_an_earlier_dives_surfacing_is_carried_over() -> None:
    first = _ask("schedule", _example("schedule"))
    again = _ask("schedule", _example("schedule") | {"start": first["surfacing"] | {"surface_interval_min": 90}})
    assert again["time_to_surface_min"] > first["time_to_surface_min"]
    arrived = {"surface_bar": 0.8, "start": {"hours_since_arrival": 2}}
    used_to_it = _ask("schedule", _example("schedule") | {"surface_bar": 0.8})
    assert _ask("schedule", _example("schedule") | arrived)["time_to_surface_min"] >= used_to_it["time_to_surface_min"]


def test_moments_tell_depth_ceiling_and_leading_compartment() -> None:
    told = _ask("schedule", _example("schedule") | {"moments_every_min": 5})["moments"]
    assert [moment["run_time_min"] for moment in told][:3] == [0, 5, 10]
    assert {"depth_m", "ceiling_m", "leading_compartment", "margin_bar"} <= set(told[0])


def test_water_names_a_convention_where_no_rise_is_given() -> None:
    request = {key: value for key, value in _example("schedule").items() if key != "bar_per_m"}
    assert _ask("schedule", request | {"water": "fresh"})["model"]["settings"]["bar_per_m"] == pytest.approx(0.0980665)


@pytest.mark.parametrize(
    ("name", "change", "words"),
    [
        ("schedule", {"gf_low": 30}, "gf_low must be above 0 and at most 1.*as a fraction it is 0.3"),
        ("schedule", {"loop": None}, "loop must be given, or open_circuit in its place, got loop='neither'"),
        ("schedule", {"open_circuit": [{"oxygen_fraction": 0.21}]}, "got loop='both'"),
        ("schedule", {"levels": []}, "levels must be a list of 1 to 200 levels"),
        ("schedule", {"levels": [{"depth_m": 60, "leave_at_min": 2}]}, r"levels\[0\].leave_at_min must be at least 3"),
        ("schedule", {"levels": [{"depth_m": -1, "leave_at_min": 2}]}, r"levels\[0\].depth_m"),
        ("schedule", {"levels": [{"depth_m": 60}]}, r"levels\[0\].leave_at_min must be given"),
        ("schedule", {"loop": {"set_point_bar": 1.3, "oxygen_fraction": 18}}, "loop.oxygen_fraction.*per cent"),
        ("schedule", {"loop": {"oxygen_fraction": 0.18}}, "loop.set_point_bar must be given, or set_points"),
        ("schedule", {"test": "both"}, "test must be one of 'departure', 'arrival'"),
        ("schedule", {"stops": "minutes"}, "stops must be one of 'continuous', 'whole minutes'"),
        ("schedule", {"start": {"nitrogen_bar": [0.7] * 16}}, "start.helium_bar must be given together"),
        ("schedule", {"start": {"nitrogen_bar": [0.7], "helium_bar": [0.0] * 16}}, "start.nitrogen_bar must be 16"),
        (
            "schedule",
            {"start": {"nitrogen_bar": [0.7] * 16, "helium_bar": [0] * 16, "hours_since_arrival": 2}},
            "start.hours_since_arrival must be left out",
        ),
        ("schedule", {"moments_every_min": 0}, "moments_every_min must be between 0.1 and 60"),
        (
            "schedule",
            {"moments_every_min": 0.1, "levels": [{"depth_m": 60, "leave_at_min": 900}]},
            "moments_every_min must be at least .* min for a dive of",
        ),
        ("bailout", {"gases": []}, "gases must be a list of 1 to 20 gases"),
        ("bailout", {"gases": [{"oxygen_fraction": 0.5, "usable_to_m": 21}]}, "where the last of the gases is still"),
        ("bailout", {"gases": [{"oxygen_fraction": 0.5, "usable_to_m": -1}]}, r"gases\[0\].usable_to_m"),
        ("bailout", {"from_min": 31}, "from_min must be between 0 and to_min=30"),
        ("bailout", {"to_min": 1000}, "to_min must be at most 90.6666"),
        ("bailout", {"from_min": 1.5}, "from_min must be a whole number"),
        ("bailout", {"rmv_l_per_min": 0}, "rmv_l_per_min must be above 0"),
        ("no-stop-time", {"depth_m": 60}, "where the last of the gases is still usable"),
    ],
)
def test_bad_input_is_refused_by_key(name: str, change: dict[str, Any], words: str) -> None:
    request = {key: value for key, value in (_example(name) | change).items() if value is not None}
    with pytest.raises(InputError, match=words):
        calculate(name, json.dumps(request))


def test_a_schedule_on_open_circuit_tells_its_switches() -> None:
    request = _example("schedule") | {
        "open_circuit": [
            {"oxygen_fraction": 0.18, "helium_fraction": 0.45},
            {"oxygen_fraction": 0.5, "helium_fraction": 0.0},
        ]
    }
    del request["loop"]
    told = _ask("schedule", request)["gas_switches"]
    assert "common practice, no source" in told["rule"]
    assert [switch["depth_m"] for switch in told["switches"]] == [21.0]
