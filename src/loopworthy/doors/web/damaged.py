"""What is served where a record cannot be read: one page at every address; it says where the damage is and what to do.

No verdict can be told from such a record, and nothing may be written to it, so nothing else is answered.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from shlex import quote
from typing import Final

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Route

from loopworthy.doors.texts import Texts
from loopworthy.doors.web import statics
from loopworthy.doors.web.frame import Frame
from loopworthy.doors.web.guard import Guard
from loopworthy.doors.web.site import environment
from loopworthy.doors.web.whole import kept_whole
from loopworthy.record.verify import VerifyReport
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.time import Moment

STATUS: Final = 503
MOST_FAULTS: Final = 10
_METHODS: Final = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Commands:
    """What to type, whole: the damaged file is named in it, the others are for whoever types."""

    verify: str
    restore: str
    merge: str
    export: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """A record that cannot be read, in words.

    Attributes
    ----------
    frame : Frame
    file : str
    first : str
        The first bad event and what is wrong with it; else what the store said.
    further : tuple of str
        What else is wrong, at most `MOST_FAULTS`.
    left_out : int
        How much more.
    readable : str
        How many events still fit their hash, of how many; '' where none could be read.
    chains : tuple of str
        Of each device what is still readable.
    commands : Commands
    """

    frame: Frame
    file: str
    first: str
    further: tuple[str, ...]
    left_out: int
    readable: str
    chains: tuple[str, ...]
    commands: Commands


def create_damaged_app(
    file: str,
    error: LoopworthyError,
    report: VerifyReport | None,
    *,
    clock: Callable[[], Moment],
    language: str = "en",
    hosts: tuple[str, ...] = (),
) -> Starlette:
    """The program where its record cannot be read.

    Parameters
    ----------
    file : str
        The record's file, as it is named on the page and in its commands.
    error : LoopworthyError
        What reading it said.
    report : VerifyReport or None
        What verification found; None where the file could not even be opened.
    clock, language, hosts
        As for `app.create_app`.
    """
    texts = Texts.load(language)
    draw = partial(_draw, texts, file, error, report, clock)
    return Starlette(
        routes=[
            Route("/healthz", partial(_healthz, error), methods=["GET"]),
            Route("/static/{path:path}", statics.send, methods=["GET"]),
            Route("/{path:path}", draw, methods=_METHODS),
        ],
        middleware=[Middleware(Guard, hosts=hosts)],
    )


async def _healthz(error: LoopworthyError, request: Request) -> Response:
    return PlainTextResponse(f"{error.message}\n", status_code=STATUS)


async def _draw(
    texts: Texts,
    file: str,
    error: LoopworthyError,
    report: VerifyReport | None,
    clock: Callable[[], Moment],
    request: Request,
) -> Response:
    root = request.scope.get("root_path", "").rstrip("/")
    context = damage(texts, file, error, report, now=clock(), root=root)
    drawn = environment(texts.language).get_template("damaged.html").render(
        it=context, page=context.frame, static=lambda path: statics.address_of(path, root), pocket=False
    )  # fmt: skip
    return HTMLResponse(kept_whole(drawn), status_code=STATUS)


def first_fault(error: LoopworthyError, report: VerifyReport | None) -> str:
    """The first bad event and what is wrong with it; else what reading the record said."""
    return _faults(error, report)[0]


def _faults(error: LoopworthyError, report: VerifyReport | None) -> list[str]:
    found = [] if report is None else [*(str(one) for one in report.faults), *report.damage]
    return found or [error.message]


def damage(
    texts: Texts, file: str, error: LoopworthyError, report: VerifyReport | None, *, now: Moment, root: str = ""
) -> Damage:
    """What is wrong with a record and what of it is still readable, in words."""
    say = texts.say
    first, *others = _faults(error, report)
    good = 0 if report is None else sum(chain.events for chain in report.chains)
    return Damage(
        frame=Frame(
            title=say("damaged.title"),
            lang=texts.language,
            now_iso=now.local().isoformat(timespec="milliseconds"),
            zone="",
            demo=False,
            clock_fixed=False,
            root=root,
            home_href=f"{root}/",
        ),
        file=file,
        first=first,
        further=tuple(others[:MOST_FAULTS]),
        left_out=max(0, len(others) - MOST_FAULTS),
        readable=say("damaged.readable", good=good, events=report.events) if report is not None and good else "",
        chains=tuple(
            say("damaged.chain", device=chain.device_name or short(chain.device), events=chain.events,
                number=chain.head_sequence, fingerprint=chain.fingerprint)
            for chain in (report.chains if report is not None else ())
        ),
        commands=Commands(
            verify=f"loopworthy record verify {quote(file)}",
            restore="loopworthy record restore BACKUP NEW-FILE",
            merge="loopworthy --record NEW-FILE record merge OTHER-FILE --adopt",
            export=f"loopworthy --record {quote(file)} record export GOOD.jsonl --leave-out-damaged",
        ),
    )  # fmt: skip
