"""Writes the reference page of commands, ``docs/reference/commands.md``, from the commands themselves.

``python -m loopworthy.doors.cli.reference docs/reference/commands.md`` writes it; a test compares the two.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import click

from loopworthy.doors.cli.base import PROGRAM, Argument, Exit
from loopworthy.doors.cli.main import commands
from loopworthy.doors.report.markdown import anchor, code, sections, table

_OPENING = """# Commands

This page is made from the commands by `python -m loopworthy.doors.cli.reference docs/reference/commands.md`. How to use
them stands in [the command line](../how-to/command-line.md).

Options of every command may stand before or after its name. With `--json` the answer is one JSON object on standard
output, and an error one JSON object on standard error. Standard output holds answers only."""

_ERROR = """An error with `--json`, on standard error; `value` is null where there was none:

```json
{"error": {"name": "air_mv", "value": "104", "limit": "8.5 to 14 mV as is usual, or confirmed",
           "message": "air_mv must be 8.5 to 14 mV as is usual, or confirmed, got air_mv='104'",
           "next_step": "Was 10.4 mV meant? Look again; if it does read so, add --confirm air_mv"}}
```"""

_EXITS = {
    Exit.DONE: "done; for a verdict: ready",
    Exit.FAILED: "something unexpected: a full disk, a damaged record, a fault of the program; nothing half recorded",
    Exit.REFUSED: "the input cannot be accepted; nothing was recorded",
    Exit.UNPROVEN: "`verdict`: unproven",
    Exit.STOP: "`verdict`: stop",
    Exit.NOT_WHOLE: "`record verify`: something is wrong; `record merge`, `record export`: something was left out",
}

_VARIABLES = {
    "LOOPWORTHY_RECORD": "the record's file, where `--record` is not given",
    "LOOPWORTHY_STATE": "the folder with this computer's keys, in place of the one in the home folder",
    "LOOPWORTHY_ZONE": "the time zone, where `--zone` is not given",
    "LOOPWORTHY_PERSON": "the person, where `--as` is not given",
    "LOOPWORTHY_TRACEBACK": "any text: show where an unexpected error happened",
}


def commands_reference() -> str:
    """The page as Markdown."""
    root = click.Context(commands, info_name=PROGRAM)
    found = [(context.command_path, command, context) for command, context in tree(commands, root)]
    index = [f"- [`{path}`](#{anchor(path)}): {_first_line(command)}" for path, command, _ in found[1:]]
    return (
        sections(
            [
                _OPENING,
                "## Exit codes\n\n" + table(("code", "means"), ((str(int(each)), _EXITS[each]) for each in Exit)),
                "## Environment\n\n"
                + table(("variable", "holds"), ((code(name), text) for name, text in _VARIABLES.items())),
                "## Errors\n\n" + _ERROR,
                "## Options of every command\n\n" + _options(_common(commands), root),
                "## All commands\n\n" + "\n".join(index),
                *(_command(*one) for one in found[1:]),
            ]
        )
        + "\n"
    )


def tree(command: click.Command, context: click.Context) -> Iterator[tuple[click.Command, click.Context]]:
    """A command and all below it, each with its context, in the order of the help."""
    yield command, context
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            child = command.get_command(context, name)
            if child is not None:
                yield from tree(child, click.Context(child, parent=context, info_name=name))


def _command(path: str, command: click.Command, context: click.Context) -> str:
    level = "##" if path.count(" ") == 1 else "###"
    if isinstance(command, click.Group):
        return f"{level} `{path}`\n\n{_prose(command)}"
    arguments = [one for one in command.params if isinstance(one, Argument)]
    own = [one for one in command.params if isinstance(one, click.Option) and one not in _common(command)]
    rows = [(code(one.make_metavar(context)), one.told) for one in arguments]
    usage = " ".join([path, *command.collect_usage_pieces(context)])
    return sections(
        [
            f"{level} `{path}`",
            f"```\n{usage}\n```",
            _prose(command),
            table(("argument", "is"), rows) if rows else "",
            _options(own, context),
        ]
    )


def _options(options: Sequence[click.Option], context: click.Context) -> str:
    rows = [told for one in options if (told := one.get_help_record(context)) is not None]
    return table(("option", "is"), ((code(names), text) for names, text in rows)) if rows else ""


def _common(command: click.Command) -> list[click.Option]:
    return [one for one in command.params if isinstance(one, click.Option) and (one.name or "").startswith("common_")]


def _first_line(command: click.Command) -> str:
    text = " ".join(_paragraphs(command)[0].split())
    return text.partition(". ")[0].rstrip(".") + "."


def _prose(command: click.Command) -> str:
    r"""The help, with what stands after a ``\b`` as a block of code."""
    parts = []
    for paragraph in _paragraphs(command):
        if paragraph.startswith("\b"):
            parts.append(f"```\n{inspect.cleandoc(paragraph.removeprefix(chr(8)).lstrip(chr(10)))}\n```")
        else:
            parts.append(" ".join(paragraph.split()))
    return sections(parts)


def _paragraphs(command: click.Command) -> list[str]:
    return (command.help or "").strip("\n").split("\n\n")


def main(arguments: Sequence[str]) -> int:
    """Write the page into a file."""
    if len(arguments) != 1 or not Path(arguments[0]).parent.is_dir():
        sys.stderr.write("Name the file: python -m loopworthy.doors.cli.reference docs/reference/commands.md\n")
        return 2
    Path(arguments[0]).write_text(commands_reference(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
