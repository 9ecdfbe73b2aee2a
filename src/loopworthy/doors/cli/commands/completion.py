"""``loopworthy completion``: the script by which a shell completes commands, options and names of the record."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import PROGRAM, Command, argument, helped
from loopworthy.doors.cli.settings import Settings

SHELLS = ("bash", "fish", "zsh")
VARIABLE = "_LOOPWORTHY_COMPLETE"


@click.command("completion", cls=Command, help=helped("completion"))
@argument("shell", "completion_shell", type=click.Choice(SHELLS))
@click.pass_obj
def completion(settings: Settings, shell: str) -> None:
    """Write the script."""
    script = script_for(shell)
    settings.answer(lambda: {"shell": shell, "script": script}, lambda: script.rstrip().split("\n"), as_is=True)


def script_for(shell: str) -> str:
    """The completion script of a shell; it calls the program back for every word."""
    from click.shell_completion import ShellComplete, get_completion_class

    from loopworthy.doors.cli.main import commands

    kind = get_completion_class(shell)
    if kind is None:
        raise RuntimeError(f"click knows no completion for {shell}")
    # The class of bash looks for an installed bash first; a script may be written for another computer.
    return ShellComplete.source(kind(commands, {}, PROGRAM, VARIABLE))
