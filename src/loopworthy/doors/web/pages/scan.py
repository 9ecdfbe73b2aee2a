"""Small things by code, without any network: an entry shown to another phone, and one taken in from it.

Where the browser reads codes itself a script fills the field; everywhere else the text that the phone's own camera
program shows is copied into it. Either way the program checks every entry before it takes it.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import carrying
from loopworthy.doors import codes
from loopworthy.doors.codes import Code
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages.carry import CameIn, came_in_told, checked, sign_last, taken_in
from loopworthy.doors.web.pages.event import unit_of
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.record.scraps import lines_in
from loopworthy.record.signing import SignedHead
from loopworthy.vocabulary.errors import InputError, LoopworthyError

MOST_TOLD = 40
"""So many of the entries in a code are told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """Entries as codes for another phone.

    Attributes
    ----------
    frame : Frame
    title : str
        What the last of the entries says.
    entries, left_out : tuple of str, int
        The entries that are in it, oldest first, and how many before them are not told.
    codes, too_much : tuple of Code, str
        The codes; why there are none.
    more_href, carry_href, event_href : str
        The same with the entries before it, '' where there are none; the way by file; the entry.
    """

    frame: Frame
    title: str
    entries: tuple[str, ...]
    left_out: int
    codes: tuple[Code, ...]
    too_much: str
    more_href: str
    carry_href: str
    event_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """Taking in what another phone shows.

    Attributes
    ----------
    frame : Frame
    code : Field
        The text of the codes, one after the other.
    came_in : tuple of CameIn
        What came of each code.
    action, carry_href : str
    """

    frame: Frame
    code: Field
    came_in: tuple[CameIn, ...]
    action: str
    carry_href: str


def show(asked: Asked) -> Answer:
    """An entry, with those before it if asked, as codes."""
    last = asked.workplace.record.get(asked.event(asked.values["event"]))
    since = asked.query.get("since")
    chosen = carrying.entries_up_to(asked.workplace, last.id, since=asked.event(since) if since else "")
    try:
        lines = carrying.scraps_of(asked.workplace, chosen, heads=_heads(asked))
        too_much = ""
    except InputError as error:
        lines, too_much = (), told(asked, error)
    before = carrying.entries_up_to(asked.workplace, last.id, more=len(chosen) + 3)
    telling = Telling(asked.words)
    entries = []
    for one in chosen[-MOST_TOLD:]:
        said = telling.told(one)
        entries.append(": ".join(part for part in (said.title, said.about) if part))
    unit = unit_of(asked, last)
    context = Shown(
        frame=page_frame(asked, asked.say("scan.show"), unit=unit, place="more" if unit else ""),
        title=telling.told(last).title,
        entries=tuple(entries),
        left_out=len(chosen) - len(entries),
        codes=tuple(codes.code_of(line) for line in lines),
        too_much=too_much,
        more_href=asked.links.code(last.id, since=before[0].id) if lines and len(before) > len(chosen) else "",
        carry_href=asked.links.carry(),
        event_href=asked.links.event(last.id),
    )
    return Page(template="code.html", context=context)


def _heads(asked: Asked) -> tuple[SignedHead, ...]:
    return asked.prepared if isinstance(asked.prepared, tuple) else ()


def show_latest(asked: Asked) -> Answer:
    """What this device has written since anybody else has seen it."""
    own = carrying.not_seen_elsewhere(asked.workplace)
    return SeeOther(address=asked.links.code(own[1], since=own[0]) if own is not None else asked.links.carry())


async def read_codes(asked: Asked) -> object:
    """The entries in the codes that were sent, with the signatures that are genuine, or why there are none."""
    if not asked.posts:
        return None
    try:
        lines = codes.lines_of("\n".join(asked.form.all("code")))
        if not lines:
            raise InputError("code", "", asked.say("scan.a_code"), next_step=asked.say("scan.a_code_step"))
        return [await checked(asked, lines_in(line, asked.workplace.record.store)) for line in lines]
    except LoopworthyError as error:
        return error


def scan(asked: Asked) -> Answer:
    """Take in what another phone shows."""
    came_in: tuple[CameIn, ...] = ()
    problem: LoopworthyError | None = None
    try:
        came_in = tuple(came_in_told(asked, one) for one in taken_in(asked))
    except LoopworthyError as error:
        problem = error
    wrong = told(asked, problem) if isinstance(problem, InputError) else ""
    form = asked.form if problem is not None else Form()
    context = Scan(
        frame=page_frame(asked, asked.say("scan.title"), problem=problem, problem_place="code" if wrong else ""),
        code=text_field(
            "code", asked.say("scan.text"), form, kind="longtext", required=True, error=wrong,
            help=asked.say("scan.text_help"),
        ),
        came_in=came_in,
        action=asked.links.scan(),
        carry_href=asked.links.carry(),
    )  # fmt: skip
    return Page(template="scan.html", context=context, status=status_of(problem) if problem is not None else 200)


ROUTES = (
    Door(path="/event/{event}/code", handler=show, before=sign_last),
    Door(path="/record/code", handler=show_latest),
    Door(path="/record/scan", handler=scan, methods=READ_AND_SEND, before=read_codes),
)
