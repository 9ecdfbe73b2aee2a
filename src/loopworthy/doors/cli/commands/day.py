"""``loopworthy day``: a dive day is declared, for midnight means nothing on a boat."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings

if TYPE_CHECKING:
    from loopworthy.unit.events import EpisodeKind

day = Group("day", help=helped("day"), no_args_is_help=True)


@day.command("begin", help=helped("day_begin"))
@argument("units", "units", nargs=-1, required=True, type=Known("unit"))
@option("--title", key="day_title", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def begin(settings: Settings, units: tuple[str, ...], title: str, at: str | None, confirm_time: bool) -> None:
    """Begin a dive day for units; an open one ends with it."""
    begin_episode(settings, "dive-day", units, title, at, confirm_time)


@day.command("end", help=helped("day_end"))
@argument("units", "units", nargs=-1, required=True, type=Known("unit"))
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def end(settings: Settings, units: tuple[str, ...], at: str | None, confirm_time: bool) -> None:
    """End the dive day of units."""
    end_episode(settings, "dive-day", units, at, confirm_time)


def begin_episode(
    settings: Settings, episode: EpisodeKind, units: tuple[str, ...], title: str, at: str | None, confirm_time: bool
) -> None:
    """Begin an episode and tell of it."""
    from loopworthy.desk import days
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = tuple(dict.fromkeys(workplace.unit(one) for one in units))
    event = days.begin(
        workplace,
        found,
        episode,
        title=title,
        typed_by=settings.actor_or_nobody(workplace),
        occurred_at=read_moment("--at", at, workplace.now()) if at else None,
        moment_confirmed=confirm_time,
    )
    names = ", ".join(workplace.name(one) for one in found)
    settings.answer(
        lambda: {"recorded": [{"event": event, "kind": "unit.episode-began"}], "episode": episode},
        lambda: [say("episode_began", episode=episode, units=names)],
    )


def end_episode(
    settings: Settings, episode: EpisodeKind, units: tuple[str, ...], at: str | None, confirm_time: bool
) -> None:
    """End an episode of units, all or none, and tell of it."""
    from loopworthy.desk import days
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = tuple(dict.fromkeys(workplace.unit(one) for one in units))
    who = settings.actor_or_nobody(workplace)
    moment = read_moment("--at", at, workplace.now()) if at else None
    with workplace.record.store.transaction():
        events = [
            days.end(workplace, one, episode, typed_by=who, occurred_at=moment, moment_confirmed=confirm_time)
            for one in found
        ]
    names = ", ".join(workplace.name(one) for one in found)
    settings.answer(
        lambda: {
            "recorded": [{"event": event, "kind": "unit.episode-ended"} for event in events],
            "episode": episode,
        },
        lambda: [say("episode_ended", episode=episode, units=names)],
    )
