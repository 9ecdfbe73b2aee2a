"""The pages about the command line: made from the commands, nothing missing, and every example runs."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import click
import pytest

from loopworthy.doors.cli.base import Argument, Exit
from loopworthy.doors.cli.main import commands
from loopworthy.doors.cli.reference import commands_reference, main, tree
from tests.unit.doors.cli.conftest import Terminal

DOCS = Path(__file__).parents[4] / "docs"
ROOT = click.Context(commands, info_name="loopworthy")


def test_the_committed_page_of_commands_is_current(tmp_path: Path) -> None:
    committed = (DOCS / "reference" / "commands.md").read_text(encoding="utf-8")
    assert committed == commands_reference(), "run: python -m loopworthy.doors.cli.reference docs/reference/commands.md"
    assert main([str(tmp_path / "commands.md")]) == 0
    assert (tmp_path / "commands.md").read_text(encoding="utf-8") == committed
    assert main([]) == 2


def test_every_command_argument_and_option_stands_on_the_page() -> None:
    page = commands_reference()
    parts = dict(zip(*[iter(re.split(r"^##+ `(loopworthy [^`]+)`$", page, flags=re.MULTILINE)[1:])] * 2, strict=True))
    for command, context in tree(commands, ROOT):
        if context.command_path == "loopworthy":
            continue
        part = parts.pop(context.command_path)
        for one in command.params:
            if isinstance(one, Argument):
                assert f"| `{one.make_metavar(context)}` | {one.told}" in part.replace("\\|", "|")
            elif isinstance(one, click.Option) and not (one.name or "").startswith("common_"):
                assert all(name in part for name in one.opts), f"{context.command_path} {one.opts}"
    assert parts == {}


def test_every_exit_code_stands_on_the_page() -> None:
    page = commands_reference()
    assert all(f"\n| {int(each)} | " in page for each in Exit)


def test_the_error_on_the_page_is_the_one_that_is_given(boat: Terminal) -> None:
    shown = re.search(r"```json\n(.*?)```", commands_reference(), re.DOTALL)
    assert shown is not None
    words = ("step", "record", "Tern", "C03", "oxygen-sensor-1:air_mv=104", "oxygen-sensor-1:change_mv=0")
    assert json.loads(boat.run(*words, "--as", "Ilma", "--json").stderr) == json.loads(shown[1])


# --- the how-to page -------------------------------------------------------------------------------------------------


def examples(page: str) -> list[tuple[str, int, list[str]]]:
    """Each command of the page with the exit code and the lines that it shows."""
    found: list[tuple[str, int, list[str]]] = []
    for block in re.findall(r"```console\n(.*?)```", page, re.DOTALL):
        for line in block.splitlines():
            if line.startswith("$ "):
                command, _, code = line[2:].partition("   # ends with ")
                found.append((command, int(code or 0), []))
            else:
                found[-1][2].append(line)
    return found


def fits(shown: list[str], written: str) -> bool:
    """Whether the output is as shown; ``…`` alone stands for any lines, within a line for any letters."""
    parts = [r"(?:.*\n)*?" if line == "…" else re.escape(line.strip()).replace("…", ".*") + r"\n" for line in shown]
    plain = "".join(f"{line.strip()}\n" for line in re.sub(r"\b[0-9a-f]{12}\b", "0123456789ab", written).splitlines())
    return re.fullmatch("".join(parts), plain) is not None


def test_every_example_of_the_how_to_page_runs_and_writes_what_is_shown(
    terminal: Terminal, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LOOPWORTHY_PERSON", "Ilma")
    terminal.record = Path("season.sqlite")
    told = examples((DOCS / "how-to" / "command-line.md").read_text(encoding="utf-8"))
    assert len(told) > 15
    nobody = {"record begin", "person add"}
    for command, code, shown in told:
        program, *words = shlex.split(command)
        assert program == "loopworthy"
        if " ".join(words[:2]) in nobody:
            monkeypatch.delenv("LOOPWORTHY_PERSON", raising=False)
        else:
            monkeypatch.setenv("LOOPWORTHY_PERSON", "Ilma")
        result = terminal.run(*words)
        assert result.exit_code == code, f"{command}\n{result.output}"
        assert not shown or fits(shown, result.output), f"{command}\n{result.output}"


def test_the_how_to_page_leads_to_pages_that_are_there() -> None:
    page = DOCS / "how-to" / "command-line.md"
    links = re.findall(r"\]\(([^)#]+)", page.read_text(encoding="utf-8"))
    assert links
    assert all((page.parent / link).is_file() for link in links)
