"""Everything that lies beside the record: why, of which device, what kind, when it says it was written, and the clocks.

It counts for nothing, and is listed in full, because it may be what a verdict lacks.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

from loopworthy.desk.apart import EntryApart
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.apart import reach_of
from loopworthy.vocabulary.errors import InputError

ROWS = 200
"""So many entries on one page."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ApartRow:
    """One entry beside the record.

    Attributes
    ----------
    title, claims, offset, about : str
        Device, number and kind; when it says it was written; how far its clock is off; the units that it names, ''
        where that cannot be told.
    """

    title: str
    claims: str
    offset: str
    about: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ApartGroup:
    """Entries that lie there for one reason: its title, what to do, and the entries."""

    title: str
    means: str
    rows: tuple[ApartRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ApartPage:
    """All of them, a page at a time.

    Attributes
    ----------
    count, shown : str
        How many there are; which of them are on this page, '' where all are.
    groups : tuple of ApartGroup
    next_href : str
        The page after this one; '' on the last.
    record_href : str
    """

    frame: Frame
    count: str
    shown: str
    groups: tuple[ApartGroup, ...]
    next_href: str
    record_href: str


def apart(asked: Asked) -> Answer:
    """The list."""
    entries, say = asked.workplace.apart(), asked.say
    start = _start(asked, len(entries))
    here = entries[start : start + ROWS]
    end = start + len(here)
    count = len(entries)
    groups = []
    for why, group in groupby(here, key=lambda one: one.why):
        key = why.value.replace(" ", "_")
        means = say(f"apart.why_{key}")
        groups.append(
            ApartGroup(
                title=say(f"apart.group_{key}"),
                means=means[:1].upper() + means[1:],
                rows=tuple(_row(asked, one) for one in group),
            )
        )
    context = ApartPage(
        frame=page_frame(asked, say("apart.title")),
        count=say("apart.none")
        if not count
        else say("apart.count_one")
        if count == 1
        else say("apart.count", count=count),
        shown=say("apart.shown", first=start + 1, last=end, count=count) if len(here) < count else "",
        groups=tuple(groups),
        next_href=asked.links.apart(str(end)) if end < count else "",
        record_href=asked.links.record(),
    )
    return Page(template="apart.html", context=context)


def _start(asked: Asked, count: int) -> int:
    text = asked.query.get("after") or "0"
    if not text.isascii() or not text.isdigit() or len(text) > 9:
        raise InputError("after", text, f"a number up to {count}")
    return min(int(text), count)


def _row(asked: Asked, one: EntryApart) -> ApartRow:
    say, workplace, shown = asked.say, asked.workplace, one.shown
    reach = reach_of(workplace.book(), workplace.catalogue, one.event)
    minutes = abs(shown.ahead_ms) // 60_000
    names = ", ".join(sorted(workplace.name(unit) for unit in reach.units))
    return ApartRow(
        title=say("apart.one", device=workplace.device_name(shown.device), number=shown.sequence, kind=shown.kind),
        claims=say("apart.claims", when=f"{shown.recorded_at.local():%Y-%m-%d %H:%M}, {shown.recorded_at.zone}"),
        offset=say("apart.ahead" if shown.ahead_ms >= 0 else "apart.behind", time=asked.words.duration(minutes)),
        about=say("apart.about", unit=names) if names else "",
    )


ROUTES = (Door(path="/record/apart", handler=apart),)
