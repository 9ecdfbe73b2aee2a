"""``loopworthy compute``: every calculation by itself, JSON in and JSON out; no record is opened."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import click

from loopworthy.doors.cli.base import Command, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, UnknownNameError


@click.command("compute", cls=Command, help=helped("compute"))
@argument("name", "calculation", required=False, type=Known("calculation"))
@argument("request", "compute_request", required=False)
@option("--list", "list_all", key="compute_list", is_flag=True)
@option("--keys", key="compute_keys", is_flag=True)
@option("--example", key="compute_example", is_flag=True)
@option("--lines", key="compute_lines", is_flag=True)
@click.pass_obj
def compute(
    settings: Settings, name: str | None, request: str | None, list_all: bool, keys: bool, example: bool, lines: bool
) -> None:
    """Answer one calculation."""
    from loopworthy.desk.compute import CALCULATIONS, calculate
    from loopworthy.desk.compute.batch import is_lines

    if list_all:
        settings.answer(
            lambda: {"calculations": [{"name": one.name, "summary": one.summary} for one in CALCULATIONS.values()]},
            lambda: [f"{one.name}: {one.summary}" for one in CALCULATIONS.values()],
        )
        return
    if name is None:
        raise InputError("name", "", "the name of a calculation", next_step="See: compute --list")
    if name not in CALCULATIONS:
        raise UnknownNameError("calculation", name, tuple(CALCULATIONS))
    if keys or example:
        from loopworthy.doors.cli.plain import to_json

        click.echo(to_json(_keys(name) if keys else CALCULATIONS[name].example))
        return
    if lines and request in (None, "-"):
        _answer_lines(name, sys.stdin.buffer)
        return
    given = _request(request)
    if lines or is_lines(given):
        _answer_lines(name, (given.encode() if isinstance(given, str) else given).splitlines())
        return
    click.echo(calculate(name, given).decode())


def _answer_lines(name: str, lines: Iterable[bytes]) -> None:
    """Answer each line as it comes; a bad one does not keep the others from their answer, but the end is an error."""
    from loopworthy.desk.compute import CALCULATIONS
    from loopworthy.desk.compute.batch import answer_lines

    first, failed = "", []
    for each in answer_lines(CALCULATIONS[name], lines):
        click.echo(each.answer.decode())
        if each.error is not None:
            first = first or str(each.error)
            failed.append(each.line)
    if failed:
        lines_told = f"line {failed[0]}" + (f" and {len(failed) - 1} more" if len(failed) > 1 else "")
        raise InputError("request", lines_told, "such that each line can be answered", next_step=first)


def _keys(name: str) -> dict[str, Any]:
    """The JSON schema of request and answer; descriptions tell units and ranges."""
    import msgspec

    from loopworthy.desk.compute import CALCULATIONS

    one = CALCULATIONS[name]
    return {
        "name": one.name,
        "summary": one.summary,
        "request": msgspec.json.schema(one.request_type),
        "answer": msgspec.json.schema(one.answer_type),
    }


def _request(text: str | None) -> bytes | str:
    """The request: JSON as typed, the file of that name, or standard input."""
    if text is None or text == "-":
        if text is None and sys.stdin.isatty():
            click.echo(say("reading_stdin"), err=True)
        return sys.stdin.buffer.read()
    if text.lstrip().startswith(("{", "[", '"')):
        return text
    try:
        return Path(text).read_bytes()
    except OSError as error:
        raise InputError("request", text, f"JSON, or a file that can be read ({error.strerror or error})") from error
