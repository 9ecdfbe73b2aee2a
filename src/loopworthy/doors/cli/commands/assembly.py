"""``loopworthy assembly``: evidence of an assembly ends when another one begins."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Group, argument, helped, option
from loopworthy.doors.cli.commands.day import begin_episode, end_episode
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings

assembly = Group("assembly", help=helped("assembly"), no_args_is_help=True)


@assembly.command("begin", help=helped("assembly_begin"))
@argument("units", "units", nargs=-1, required=True, type=Known("unit"))
@option("--title", key="day_title", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def begin(settings: Settings, units: tuple[str, ...], title: str, at: str | None, confirm_time: bool) -> None:
    """Begin an assembly."""
    begin_episode(settings, "assembly", units, title, at, confirm_time)


@assembly.command("end", help=helped("assembly_end"))
@argument("units", "units", nargs=-1, required=True, type=Known("unit"))
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def end(settings: Settings, units: tuple[str, ...], at: str | None, confirm_time: bool) -> None:
    """End an assembly."""
    end_episode(settings, "assembly", units, at, confirm_time)
