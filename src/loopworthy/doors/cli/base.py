"""What all commands are made of: a group that imports its commands late, and a command that takes the common options.

The common options (`--record`, `--json` …) may stand before or after the name of a command. Exit codes are here too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from enum import IntEnum
from importlib import import_module
from pathlib import Path
from typing import Any

import click

from loopworthy.doors.cli.settings import Settings
from loopworthy.doors.texts import Texts
from loopworthy.vocabulary.errors import UnknownNameError

PROGRAM = "loopworthy"


class Exit(IntEnum):
    """What a command ends with."""

    DONE = 0
    """Done; for a verdict: ready."""
    FAILED = 1
    """Something unexpected: a full disk, a file that cannot be read, a fault of the program."""
    REFUSED = 2
    """The input cannot be accepted; nothing was recorded."""
    UNPROVEN = 3
    STOP = 4
    NOT_WHOLE = 5
    """A record that does not verify, or an export of which something could not be taken."""


def helped(key: str, **values: object) -> str:
    """A help text of the command line."""
    return Texts.load().say(f"cli_help.{key}", **values)


def explained(key: str) -> str:
    """The help text of an argument or option."""
    return Texts.load().say(f"cli_parameters.{key}")


def say(key: str, **values: object) -> str:
    """A text of the command line."""
    return Texts.load().say(f"cli.{key}", **values)


# --- the options that every command takes ----------------------------------------------------------------------------


def _kept(name: str) -> Callable[[click.Context, click.Parameter, Any], Any]:
    def keep(context: click.Context, _: click.Parameter, value: Any) -> Any:
        if value not in (None, (), False) and not context.resilient_parsing:
            context.obj = replace(context.find_object(Settings) or Settings(), **{name: value})
        return value

    return keep


def common_options() -> list[click.Option]:
    """Fresh options that any command takes."""

    def option(names: Sequence[str], name: str, **rest: Any) -> click.Option:
        return click.Option(
            [*names, f"common_{name}"],
            expose_value=False,
            callback=_kept(name),
            help=explained(f"common_{name}"),
            **rest,
        )

    file = click.Path(dir_okay=False, path_type=Path)
    return [
        option(["--record"], "record", type=file, metavar="PATH"),
        option(["--zone"], "zone", metavar="ZONE"),
        option(["--as"], "person", metavar="PERSON", type=_People()),
        option(["--json"], "json", is_flag=True, default=False),
        option(["--owner-file"], "owner_files", type=file, metavar="PATH", multiple=True),
    ]


class _People(click.types.StringParamType):
    name = "person"

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[Any]:
        from loopworthy.doors.cli.names import Known

        return Known("person").shell_complete(ctx, param, incomplete)


class Argument(click.Argument):
    """A positional argument with a line of help."""

    def __init__(self, declarations: Sequence[str], *, told: str = "", **rest: Any) -> None:
        super().__init__(declarations, **rest)
        self.told = told


def argument(name: str, key: str, **rest: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Decorator: a positional argument whose help is the text of that key."""
    return click.argument(name, cls=Argument, told=explained(key), **rest)


def option(*names: str, key: str, **rest: Any) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Decorator: an option whose help is the text of that key."""
    return click.option(*names, help=explained(key), **rest)


class Command(click.Command):
    """A command that takes the common options and tells about its arguments."""

    def __init__(self, *arguments: Any, **rest: Any) -> None:
        super().__init__(*arguments, **rest)
        self.params = [*self.params, *common_options()]

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write arguments, the command's own options, and the common ones, each under a heading."""
        sections: dict[str, list[tuple[str, str]]] = {"arguments": [], "options": [], "common": []}
        for parameter in self.get_params(ctx):
            if isinstance(parameter, Argument):
                sections["arguments"].append((parameter.make_metavar(ctx), parameter.told))
                continue
            told = parameter.get_help_record(ctx)
            if told is not None:
                common = (parameter.name or "").startswith("common_")
                sections["common" if common else "options"].append(told)
        for heading, rows in sections.items():
            if rows:
                with formatter.section(say(f"help_{heading}")):
                    formatter.write_dl(rows)


class Group(click.Group):
    """A group whose unknown commands are answered with the nearest known one."""

    command_class = Command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that is meant.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        """
        name = args[0]
        if not name.startswith("-") and self.get_command(ctx, name) is None and not ctx.resilient_parsing:
            raise UnknownNameError("command", name, tuple(self.list_commands(ctx)))
        return super().resolve_command(ctx, args)


class LazyGroup(Group):
    """The top of the tree: commands by name, each in a module of its own that is imported when it is needed.

    Parameters
    ----------
    sections : mapping
        Heading to names of commands, in the order of the help. Module and object are called like the command, with
        underscores.
    """

    def __init__(self, *arguments: Any, sections: Mapping[str, Iterable[str]], **rest: Any) -> None:
        super().__init__(*arguments, **rest)
        self.sections = {heading: tuple(names) for heading, names in sections.items()}

    def list_commands(self, ctx: click.Context) -> list[str]:
        """All names, in the order of the help."""
        return [name for names in self.sections.values() for name in names]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, imported now."""
        if cmd_name not in self.list_commands(ctx):
            return None
        module = import_module(f"loopworthy.doors.cli.commands.{cmd_name}")
        found = getattr(module, cmd_name)
        return found if isinstance(found, click.Command) else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the commands under their headings, importing none of them."""
        for heading, names in self.sections.items():
            with formatter.section(say(f"help_{heading}")):
                formatter.write_dl([(name, _first_sentence(helped(name))) for name in names])

    def main(self, args: Sequence[str] | None = None, *rest: Any, **named: Any) -> Any:
        """Run a command line and end the process with its exit code."""
        from loopworthy.doors.cli.failures import ended

        named["standalone_mode"] = False
        with ended(args):
            result = super().main(args, *rest, **named)
            raise SystemExit(result if isinstance(result, int) else Exit.DONE)


def _first_sentence(text: str) -> str:
    sentence = " ".join(text.partition("\n\n")[0].split()).partition(". ")[0]
    return f"{sentence.rstrip('.')}."
