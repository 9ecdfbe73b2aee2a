"""Calculations on the command line: JSON in, JSON out, and errors that name the key."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from loopworthy.desk.compute import CALCULATIONS, calculate
from tests.unit.doors.cli.conftest import Terminal


@pytest.mark.parametrize("name", sorted(CALCULATIONS))
def test_every_calculation_runs_its_own_example_from_standard_input(terminal: Terminal, name: str) -> None:
    request = terminal.ok("compute", name, "--example")
    answer = json.loads(terminal.ok("compute", name, stdin=request))
    assert answer == json.loads(calculate(name, request))
    assert not terminal.record.exists()  # no record is opened


@pytest.mark.parametrize("name", sorted(CALCULATIONS))
def test_every_calculation_tells_its_keys(terminal: Terminal, name: str) -> None:
    told = json.loads(terminal.ok("compute", name, "--keys"))
    text = json.dumps(told["request"])
    assert all(f'"{key}"' in text for key in CALCULATIONS[name].request_type.__struct_fields__)


def test_all_calculations_are_listed_with_what_they_answer(terminal: Terminal) -> None:
    lines = terminal.ok("compute", "--list").splitlines()
    assert [line.partition(":")[0] for line in lines] == list(CALCULATIONS)
    told = terminal.told("compute", "--list")["calculations"]
    assert [one["name"] for one in told] == list(CALCULATIONS)


def test_the_request_may_be_an_argument_a_file_or_standard_input(terminal: Terminal, tmp_path: Path) -> None:
    """49.1 mV in 0.982 bar of oxygen is a factor of 50 mV per bar: 49.1 / 0.982 = 50."""
    request = '{"reading_mv": 49.1, "oxygen_bar": 0.982}'
    file = tmp_path / "in.json"
    file.write_text(request, encoding="utf-8")
    answers: list[Any] = [
        json.loads(terminal.ok("compute", "sensor-factor", request)),
        json.loads(terminal.ok("compute", "sensor-factor", str(file))),
        json.loads(terminal.ok("compute", "sensor-factor", "-", stdin=request)),
        json.loads(terminal.ok("compute", "sensor-factor", stdin=request)),
    ]
    assert answers[0]["factor_mv_per_bar"] == pytest.approx(50.0, rel=1e-12)
    assert answers == [answers[0]] * 4


@pytest.mark.parametrize(
    ("request_text", "words"),
    [
        ('{"reading_mv": 49.1}', "oxygen_bar must be given"),
        ('{"reading_mv": 49.1, "oxygen_bar": 1, "oxigen_bar": 1}', "key must be one of reading_mv, oxygen_bar"),
        ('{"reading_mv": "x", "oxygen_bar": 1}', "reading_mv must be a number"),
        ('{"reading_mv": 1e999, "oxygen_bar": 1}', "reading_mv must be a finite number"),
        ('{"reading_mv": 49.1, "reading_mv": 49.1, "oxygen_bar": 1}', "key must be given once"),
        ("{", "request must be JSON"),
        ("no-such-file.json", "JSON, or a file that can be read"),
    ],
)
def test_a_wrong_request_is_refused_with_the_key_named(terminal: Terminal, request_text: str, words: str) -> None:
    assert words in terminal.refused("compute", "sensor-factor", request_text)


def test_a_calculation_that_is_not_known_is_answered_with_the_nearest(terminal: Terminal) -> None:
    line = terminal.refused("compute", "oxygen-sensor-chek", "{}")
    assert line == "There is no calculation 'oxygen-sensor-chek'. Did you mean oxygen-sensor-check?"
    assert "See: compute --list." in terminal.refused("compute")


def test_lines_are_answered_one_a_line_with_and_without_the_option(terminal: Terminal, tmp_path: Path) -> None:
    requests = '{"reading_mv": 49.1, "oxygen_bar": 0.982}\n{"reading_mv": 98.2, "oxygen_bar": 0.982}\n'
    file = tmp_path / "in.jsonl"
    file.write_text(requests, encoding="utf-8")
    answered = [
        terminal.ok("compute", "sensor-factor", stdin=requests),
        terminal.ok("compute", "sensor-factor", "--lines", stdin=requests),
        terminal.ok("compute", "sensor-factor", str(file)),
        terminal.ok("compute", "sensor-factor", "--lines", str(file)),
    ]
    factors = [json.loads(line)["factor_mv_per_bar"] for line in answered[0].splitlines()]
    assert factors == pytest.approx([50.0, 100.0])
    assert answered == [answered[0]] * 4


def test_one_line_under_the_option_is_one_answer(terminal: Terminal) -> None:
    answer = terminal.ok("compute", "sensor-factor", "--lines", '{"reading_mv": 49.1, "oxygen_bar": 0.982}')
    assert json.loads(answer) == {"factor_mv_per_bar": 50.0}


def test_a_bad_line_ends_with_an_error_that_names_it(terminal: Terminal) -> None:
    requests = '{"reading_mv": 49.1, "oxygen_bar": 0.982}\n{"reading_mv": 491, "oxygen_bar": 0.982}\n'
    result = terminal.run("compute", "sensor-factor", "--lines", stdin=requests)
    assert result.exit_code == 2
    good, bad = (json.loads(line) for line in result.stdout.splitlines())
    assert good == {"factor_mv_per_bar": 50.0}
    assert bad["line"] == 2
    assert "line 2" in result.stderr
    assert "reading_mv must be above 0 and at most 250 mV" in result.stderr
