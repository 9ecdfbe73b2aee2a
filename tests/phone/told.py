"""What a record tells at a moment: its verdicts in full, and pages as they are drawn. Run natively and in the engine.

``told(folder, at)`` answers with one JSON text, so that both can be compared byte by byte.
"""

from __future__ import annotations

import asyncio
import json
import re
from dataclasses import asdict
from pathlib import Path

from loopworthy.bootstrap import open_workplace
from loopworthy.doors.phone.bridge import Bridge
from loopworthy.doors.web.app import create_app
from loopworthy.judgement.verdict import Verdict
from loopworthy.record.sqlite import Journal
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.time import Moment

ONCE = re.compile(r'(?<=name="once" value=")[^"]*')
"""Drawn by lot for each form, so that it is recorded once."""
PAGES = ("", "/steps", "/sensors", "/history", "/limits", "/do/leak-tests", "/do/oxygen")


def plain(verdict: Verdict) -> object:
    """A verdict as JSON would have it."""
    return json.loads(json.dumps(asdict(verdict), default=str, sort_keys=True))


async def told(record: Path, at: Moment) -> str:
    """Verdicts and pages of every unit at a moment, as JSON."""
    workplace = open_workplace(record, clock=lambda: at, journal=Journal.TRUNCATE, watch_place=False)
    units = sorted(workplace.world.units(), key=workplace.name)
    bridge = Bridge(create_app(workplace, pocket=True), origin="https://phone.example", root="/phone/open")
    pages = {}
    for address in ("/", *(f"/unit/{short(unit)}{page}" for unit in units for page in PAGES)):
        answered = await bridge.answer("GET", f"/phone/open{address}")
        pages[address] = f"{answered.status}\n{ONCE.sub('', answered.body.decode())}"
    verdicts = {workplace.name(unit): plain(workplace.verdict(unit, at)) for unit in units}
    workplace.record.store.close()
    return json.dumps({"verdicts": verdicts, "pages": pages}, sort_keys=True)


def told_here(record: Path, at: Moment) -> str:
    """The same, in this process."""
    return asyncio.run(told(record, at))
