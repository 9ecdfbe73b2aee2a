"""The tree of commands: help, units beside numbers, completion, and imports that wait until they are needed."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from loopworthy.doors.cli.commands.completion import SHELLS, script_for
from loopworthy.doors.cli.main import commands
from tests.unit.doors.cli.conftest import Terminal

NUMBERS = (click.types.IntParamType, click.types.FloatParamType, click.IntRange, click.FloatRange)
UNIT_OF_NUMBER = re.compile(r"\[count\]|without unit|own unit|in the (unit|input's unit)", re.IGNORECASE)


def tree(command: click.Command, context: click.Context) -> Iterator[tuple[click.Command, click.Context]]:
    """Every command with its context, groups among them."""
    yield command, context
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            assert child is not None, name
            yield from tree(child, click.Context(child, parent=context, info_name=name))


def leaves() -> list[tuple[str, click.Command, click.Context]]:
    root = click.Context(commands, info_name="loopworthy")
    return [(context.command_path, command, context) for command, context in tree(commands, root)]


ALL = leaves()
PATHS = [path for path, _, _ in ALL]


@pytest.mark.parametrize(("path", "command", "context"), ALL, ids=PATHS)
def test_every_command_and_every_parameter_has_its_help(
    path: str, command: click.Command, context: click.Context
) -> None:
    assert command.help, path
    for parameter in command.params:
        told = getattr(parameter, "told", None) or getattr(parameter, "help", None)
        assert told, f"{path} {parameter.name}"
    shown = command.get_help(context)
    assert not re.search(r"\{[a-z_]+\}", shown), path


@pytest.mark.parametrize(("path", "command", "context"), ALL, ids=PATHS)
def test_the_help_of_every_number_tells_its_unit(path: str, command: click.Command, context: click.Context) -> None:
    for parameter in command.params:
        if isinstance(parameter.type, NUMBERS):
            assert UNIT_OF_NUMBER.search(getattr(parameter, "help", "") or ""), f"{path} {parameter.name}"


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("step record", "the unit of each input is"),
        ("step record-together", "in the unit that `step show`"),
        ("step show", "in which unit"),
        ("limit list", "value and unit"),
        ("limit set", "in the unit of that limit"),
        ("compute", "carries its unit in its name"),
        ("sensors", "mV, bar and mV/bar"),
        ("part show", "in mV/bar"),
        ("unit fit", "a number in it carries its unit"),
        ("catalogue show", "Limits carry their unit"),
    ],
)
def test_the_help_of_commands_that_take_or_tell_readings_names_units(terminal: Terminal, path: str, words: str) -> None:
    shown = " ".join(terminal.ok(*path.split(), "--help").split())
    assert words in shown


def test_the_top_lists_every_command_once_under_a_heading(terminal: Terminal) -> None:
    shown = terminal.ok("--help")
    for name in commands.list_commands(click.Context(commands)):
        assert re.search(rf"^  {name}  ", shown, re.MULTILINE), name


def test_the_version_is_told(terminal: Terminal) -> None:
    assert re.fullmatch(r"loopworthy \d+\.\d+\.\d+\n", terminal.ok("--version"))


@pytest.mark.parametrize("shell", SHELLS)
def test_a_completion_script_is_written_for_every_shell(terminal: Terminal, shell: str) -> None:
    script = terminal.ok("completion", shell)
    assert "_LOOPWORTHY_COMPLETE" in script
    assert f"{shell}_complete" in script
    assert terminal.told("completion", shell)["script"] == script_for(shell)


def completed(words: str, incomplete: str, record: Path) -> list[str]:
    """What the shell is offered after these words, from a process of its own as a shell would start it."""
    given = os.environ | {
        "_LOOPWORTHY_COMPLETE": "bash_complete",
        "COMP_WORDS": f"loopworthy {words} {incomplete}".strip(),
        "COMP_CWORD": str(len(words.split()) + 1),
        "LOOPWORTHY_RECORD": str(record),
    }
    done = subprocess.run(
        [sys.executable, "-c", "from loopworthy.doors.cli.main import main; main()"],
        env=given,
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr == ""
    return [line.partition(",")[2] for line in done.stdout.splitlines() if line]


@pytest.mark.parametrize(
    ("words", "incomplete", "offered"),
    [
        ("", "verd", "verdict"),
        ("step", "re", "record-together"),
        ("verdict", "", "Tern"),
        ("outstanding", "Te", "Tern"),
        ("change record Tern", "sensor-r", "sensor-replaced"),
        ("step show", "C0", "C06"),
        ("step record Tern C03 --about", "oxygen-sensor", "oxygen-sensor-2"),
        ("step record Tern C03 --second", "T", "Toke"),
        ("limit set Tern", "C06", "C06.tolerance"),
        ("compute", "oxygen", "oxygen-sensor-check"),
        ("unit add Wren --configuration", "manual", "manual-button-side"),
        ("verdict --as", "I", "Ilma"),
        ("verdict --at 08:00 --known-on", "cab", "cabin laptop"),
        ("hold pass Tern", "H", "H3"),
    ],
)
def test_names_of_commands_record_and_catalogue_are_completed(
    boat: Terminal, words: str, incomplete: str, offered: str
) -> None:
    assert offered in completed(words, incomplete, boat.record)


def test_completion_is_silent_where_there_is_no_record(terminal: Terminal) -> None:
    assert completed("verdict", "T", terminal.record) == []


@pytest.mark.parametrize(
    ("statement", "kept_out"),
    [
        (
            "import loopworthy.doors.cli.main",
            ("msgspec", "sqlite3", "starlette", "uvicorn", "jinja2", "loopworthy.desk"),
        ),
        (
            "import loopworthy.doors.cli.commands.verdict",
            ("sqlite3", "starlette", "uvicorn", "loopworthy.desk", "loopworthy.bootstrap"),
        ),
    ],
)
def test_rooms_are_imported_only_inside_the_command_that_needs_them(statement: str, kept_out: tuple[str, ...]) -> None:
    done = subprocess.run(
        [sys.executable, "-c", f"import sys; {statement}; print(' '.join(sys.modules))"],
        capture_output=True,
        text=True,
        check=True,
    )
    loaded = done.stdout.split()
    assert [one for one in loaded if one.startswith(kept_out)] == []
