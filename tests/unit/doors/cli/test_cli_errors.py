"""Errors of the command line: one line or one JSON object on standard error, an exit code, nothing half recorded."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import click
import pytest

from loopworthy.doors.cli.base import Exit
from loopworthy.doors.cli.failures import failure_of, nearest
from loopworthy.vocabulary.errors import (
    ConflictError,
    FileEntryError,
    InputError,
    RefusedError,
    StoreError,
    UnknownNameError,
)
from tests.unit.doors.cli.conftest import Terminal

SHAPE = {"name", "value", "limit", "message", "next_step"}


@pytest.mark.parametrize(
    "words",
    [
        ("verdct",),
        ("verdict", "Tren"),
        ("verdict", "--att", "08:00"),
        ("verdict", "--at"),
        ("verdict", "--at", "noon"),
        ("outstanding",),
        ("history", "--most", "0"),
        ("history", "--family", "feelings"),
        ("unit", "add", "Tern", "--configuration", "electronic-back-three-sensors"),
        ("unit", "fit", "Tern", "oxygen-sensor-1", "--serial", "S-1"),
        ("step", "record", "Tern", "C02", "temperature_c=21", "--as", "Ilma"),
        ("step", "record", "Tern", "C99", "x=1", "--as", "Ilma"),
        ("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55", "--as", "Nobody"),
        ("mend", "withdraw", "0123456789ab", "--reason", "x", "--as", "Ilma"),
        ("person", "add", "A" * 81),
        ("change", "record", "Tern", "moved", "--at", "1999-05-14T08:40", "--as", "Ilma"),
        ("day", "begin", "Tern", "--at", "1999-05-14T08:40", "--as", "Ilma"),
        ("person", "add", "Il\x07ma"),
        ("change", "record", "Tern", "moved", "--note", "n" * 4001, "--as", "Ilma"),
        ("compute", "sensor-factor", "{}"),
        ("catalogue", "check", "none.toml"),
        ("verdict", "--zone", "Atlantis/Central"),
    ],
    ids=lambda words: " ".join(words)[:40],
)
def test_every_refusal_has_one_shape_in_text_and_in_json(boat: Terminal, words: tuple[str, ...]) -> None:
    before = boat.record.read_bytes()
    line = boat.refused(*words)
    assert line.endswith((".", "?"))
    result = boat.run(*words, "--json")
    assert (result.exit_code, result.stdout) == (2, "")
    told = json.loads(result.stderr)
    assert set(told) == {"error"}
    assert set(told["error"]) == SHAPE
    assert told["error"]["name"]
    assert told["error"]["message"]
    assert boat.record.read_bytes() == before


def test_json_may_be_asked_for_before_or_after_the_command(boat: Terminal) -> None:
    first, second = boat.run("--json", "verdict", "Tren"), boat.run("verdict", "Tren", "--json")
    assert json.loads(first.stderr) == json.loads(second.stderr)
    assert boat.run("--json", "verdict").stdout == boat.run("verdict", "--json").stdout


def test_options_of_every_command_may_stand_before_or_after_it(boat: Terminal, tmp_path: Path) -> None:
    other = tmp_path / "other.sqlite"
    boat.ok("--record", str(other), "record", "begin")
    boat.ok("person", "add", "Juno", "--record", str(other))
    assert boat.ok("--record", str(other), "person", "list").endswith("Juno\n")
    assert "Juno" not in boat.ok("person", "list")


def test_a_near_miss_is_answered_with_what_was_probably_meant(boat: Terminal) -> None:
    assert boat.refused("verdct") == "There is no command 'verdct'. Did you mean verdict?"
    assert boat.refused("step", "lst") == "There is no command 'lst'. Did you mean list?"
    assert boat.refused("verdict", "--al") == "There is no option --al of loopworthy verdict. Did you mean --all?"
    assert boat.refused("verdict", "tren") == "There is no unit 'tren'. Did you mean Tern?"


def test_a_missing_argument_or_option_is_named(boat: Terminal) -> None:
    assert boat.refused("outstanding") == "UNIT is missing. See: loopworthy outstanding --help."
    assert boat.refused("instrument", "add", "Scale") == "--use is missing. See: loopworthy instrument add --help."


def test_a_group_without_a_command_shows_its_help_and_ends_with_two(terminal: Terminal) -> None:
    for words in ((), ("step",), ("record",)):
        result = terminal.run(*words)
        assert result.exit_code == 2
        assert result.stdout == ""
        assert "Usage: loopworthy" in result.stderr


def test_a_file_that_is_no_record_ends_with_one(terminal: Terminal) -> None:
    terminal.record.write_text("these are notes, not a record", encoding="utf-8")
    line = terminal.refused("verdict", code=1)
    assert terminal.record.name in line
    with closing(sqlite3.connect(terminal.record.with_name("other.sqlite"))) as database:
        database.execute("CREATE TABLE shopping (what TEXT)")
    result = terminal.run("verdict", record=terminal.record.with_name("other.sqlite"))
    assert result.exit_code == 1
    assert "is not a record" in result.stderr


@pytest.mark.parametrize(
    ("error", "code", "name"),
    [
        (InputError("air_mv", 104, "8.5 to 14"), Exit.REFUSED, "air_mv"),
        (UnknownNameError("unit", "Tren", ("Tern",)), Exit.REFUSED, "unit"),
        (FileEntryError("mine.toml", "C06", "value", "is looser"), Exit.REFUSED, "mine.toml: C06: value"),
        (RefusedError("Not so"), Exit.REFUSED, "refused"),
        (StoreError("The disk is full"), Exit.FAILED, "record"),
        (ConflictError("Another writer was faster"), Exit.FAILED, "record"),
        (click.UsageError("Wrong"), Exit.REFUSED, "command line"),
        (click.Abort(), Exit.FAILED, "interrupted"),
        (PermissionError(13, "Permission denied", "x.sqlite"), Exit.FAILED, "system"),
        (ZeroDivisionError("division by zero"), Exit.FAILED, "unexpected"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_each_kind_of_error_has_its_exit_code_and_one_line(error: BaseException, code: Exit, name: str) -> None:
    failure = failure_of(error)
    assert (failure.code, failure.name) == (code, name)
    assert failure.line().startswith("loopworthy: ")
    assert "\n" not in failure.line()


def test_a_long_list_of_known_names_is_cut() -> None:
    line = failure_of(UnknownNameError("limit", "xyz", tuple(f"L{number}.limit" for number in range(100)))).line()
    assert line.endswith("and 88 more.")


def test_only_a_near_name_is_offered() -> None:
    assert nearest("vedrict", ("verdict", "history")) == "verdict"
    assert nearest("grey heron", ("Grey Heron",)) == "Grey Heron"
    assert nearest("xyz", ("verdict", "history")) == ""
