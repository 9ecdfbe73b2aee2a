"""``loopworthy outstanding``: the smallest set of steps that restores readiness, in a workable order."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Command, argument, helped, option
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings


@click.command("outstanding", cls=Command, help=helped("outstanding"))
@argument("unit", "unit", type=Known("unit"))
@option("--at", key="outstanding_at", metavar="TIME")
@click.pass_obj
def outstanding(settings: Settings, unit: str, at: str | None) -> None:
    """Tell what to do next."""
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open(short=True)
    found = workplace.unit(unit)
    now = workplace.now()
    moment = read_moment("--at", at, now) if at else now
    verdict, tasks = workplace.verdict(found, moment), workplace.outstanding(found, moment)
    words = settings.words(workplace, moment)
    settings.answer(
        lambda: {
            "unit": plain.thing(workplace, found),
            "at": moment.at,
            "zone": moment.zone,
            "cautions": plain.cautions(words, verdict),
            "outstanding": [plain.task(words, one) for one in tasks],
        },
        lambda: [*show.cautions(words, verdict, indent=""), *show.outstanding(words, tasks)],
    )
