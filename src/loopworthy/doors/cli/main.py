"""Where the command line begins: the tree of commands, each imported only when it is called.

`loopworthy --help` lists them; `docs/reference/commands.md` tells all of it.
"""

from __future__ import annotations

import gc

import click

from loopworthy.doors.cli.base import PROGRAM, LazyGroup, common_options, helped
from loopworthy.doors.cli.settings import Settings

SECTIONS = {
    "ask": ("verdict", "outstanding", "sensors", "history"),
    "work": ("day", "assembly", "step", "change", "limit", "mend", "hold"),
    "set_up": ("unit", "part", "person", "instrument"),
    "keep": ("record", "exchange", "merges", "catalogue"),
    "calculate": ("compute",),
    "run": ("serve", "demo", "completion"),
}


def _begin(context: click.Context) -> None:
    context.obj = context.obj or Settings()


def _version(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    if wanted and not context.resilient_parsing:
        from loopworthy import __version__

        click.echo(f"{PROGRAM} {__version__}")
        context.exit()


commands = LazyGroup(
    PROGRAM,
    sections=SECTIONS,
    help=helped("program"),
    params=[
        *common_options(),
        click.Option(["--version"], is_flag=True, expose_value=False, is_eager=True, callback=_version,
                     help=helped("version")),
    ],
    callback=click.pass_context(_begin),
    no_args_is_help=True,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 110, "auto_envvar_prefix": None},
)  # fmt: skip
"""The whole tree."""


def main() -> None:
    """Run the command line of this process."""
    # A command lives for a moment and makes little garbage: looking for it took a sixth of the time of `verdict`
    # (benchmarks/bench_startup.py). `serve`, which stays, switches it on again.
    gc.disable()
    commands.main(prog_name=PROGRAM)
