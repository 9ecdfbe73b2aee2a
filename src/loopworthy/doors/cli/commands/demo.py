"""``loopworthy demo``: an invented record to look at, with units and divers that do not exist."""

from __future__ import annotations

from pathlib import Path

import click

from loopworthy.doors.cli.base import Command, helped, option, say
from loopworthy.doors.cli.settings import Settings, default_record

FOLDER = "demo"


@click.command("demo", cls=Command, help=helped("demo"))
@option("--path", "folder", key="demo_path", type=click.Path(file_okay=False, path_type=Path), metavar="FOLDER")
@option("--serve", "serves", key="demo_serve", is_flag=True)
@option("--host", key="serve_host", default="127.0.0.1", show_default=True, metavar="ADDRESS")
@option("--port", key="serve_port", default=8741, show_default=True, type=click.IntRange(0, 65_535))
@click.pass_obj
def demo(settings: Settings, folder: Path | None, serves: bool, host: str, port: int) -> None:
    """Open the demonstration, made on first use, and tell its verdicts."""
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.demo import open_demo

    place = folder or default_record().with_name(FOLDER)
    workplace = open_demo(place)
    if serves:
        from loopworthy.doors.cli.commands.serve import run

        run(settings, workplace, host, port)
        return
    words = settings.words(workplace)
    verdicts = [workplace.verdict(one, words.clock.now) for one in workplace.world.units()]
    settings.answer(
        lambda: {"folder": str(place), "verdicts": [plain.verdict(words, one) for one in verdicts]},
        lambda: [
            say("demo_made", folder=place),
            *(line for one in verdicts for line in show.verdict(words, one)),
        ],
    )
