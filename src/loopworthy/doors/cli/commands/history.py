"""``loopworthy history``: the record read as a story, newest first."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Command, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_step
from loopworthy.doors.cli.settings import Settings

FAMILIES = ("evidence", "changes", "limits", "mending", "parts", "record")


@click.command("history", cls=Command, help=helped("history"))
@argument("unit", "unit_or_all", required=False, type=Known("unit"))
@option("--family", key="history_family", type=click.Choice(FAMILIES))
@option("--step", "step_id", key="history_step", metavar="STEP", type=Known("step"))
@option("--person", key="history_person", metavar="PERSON", type=Known("person"))
@option("--since", key="history_since", metavar="TIME")
@option("--until", key="history_until", metavar="TIME")
@option("--most", key="history_most", type=click.IntRange(1, 100_000), default=50, show_default=True)
@click.pass_obj
def history(
    settings: Settings,
    unit: str | None,
    family: str | None,
    step_id: str | None,
    person: str | None,
    since: str | None,
    until: str | None,
    most: int,
) -> None:
    """Tell what happened."""
    from loopworthy.desk.history import HistoryFilter
    from loopworthy.desk.history import history as told_of
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.cli.moments import read_moment
    from loopworthy.doors.telling import Telling

    workplace = settings.open()
    now = workplace.now()
    wanted = HistoryFilter(
        unit=workplace.unit(unit) if unit else "",
        family=family or "",
        step=find_step(workplace, step_id).id if step_id else "",
        person=workplace.person(person) if person else "",
        since=read_moment("--since", since, now) if since else None,
        until=read_moment("--until", until, now) if until else None,
    )
    found = told_of(workplace, wanted, most=most)
    words = settings.words(workplace, now)
    telling = Telling(words)
    settings.answer(
        lambda: {
            "zone": now.zone,
            "history": [plain.history_entry(one, telling.event(one.event)) for one in found],
        },
        lambda: [show.history_entry(words, one, telling.event(one.event)) for one in found] or [say("no_history")],
    )
