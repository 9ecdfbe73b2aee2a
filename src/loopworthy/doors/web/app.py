"""The web door: one ASGI application, made from the routes of the page modules.

Each module of `pages` names its addresses in ``ROUTES``; here they are gathered, each plain function is wrapped, and
every error becomes a page of one shape with its message and the next step.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import Route

from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.client import Means
from loopworthy.doors.exchange.forms import ADDRESS
from loopworthy.doors.exchange.hub import Hub
from loopworthy.doors.phone import served
from loopworthy.doors.texts import Texts
from loopworthy.doors.web import statics
from loopworthy.doors.web.answers import Page
from loopworthy.doors.web.asked import read_request
from loopworthy.doors.web.frame import Frame
from loopworthy.doors.web.guard import Guard
from loopworthy.doors.web.links import Links
from loopworthy.doors.web.once import ACT, once
from loopworthy.doors.web.pages import MODULES
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import Door
from loopworthy.doors.web.site import Site
from loopworthy.record.signing import HeadVerifier
from loopworthy.vocabulary.errors import LoopworthyError

_log = logging.getLogger("loopworthy.web")

_NO_FORM_IS_OPEN = frozenset({"/", "/unit/{unit}"})
"""Where a phone may exchange by itself: on the board and a unit's verdict nobody is in the middle of a step."""


def create_app(
    workplace: Workplace,
    *,
    language: str = "en",
    clock_fixed: bool = False,
    hosts: tuple[str, ...] = (),
    pocket: bool = False,
    verifier: HeadVerifier | None = None,
    means: Means | None = None,
) -> Starlette:
    """The program as an ASGI application.

    Parameters
    ----------
    workplace : Workplace
        The record open for work, with catalogue and clock.
    language : str
        One of `loopworthy.doors.texts.LANGUAGES`.
    clock_fixed : bool
        Whether the workplace's clock stands still.
    hosts : tuple of str
        Names under which it may be reached; empty for any (see `guard.Guard`).
    pocket : bool
        Whether it answers inside a phone's browser, where no server is, from a folder that it need not serve.
    verifier : HeadVerifier, optional
        Checks signatures of heads that come in with a file or a code; without one no signed head is taken.
    means : Means, optional
        With what it exchanges with a hub; without them it cannot.
    """
    site = Site(workplace, Texts.load(language), clock_fixed=clock_fixed, pocket=pocket, verifier=verifier, means=means)
    doors = [one for module in MODULES for one in module.ROUTES]
    routes = [Route(one.path, _endpoint(one, site), methods=list(one.methods)) for one in doors]
    routes += [
        Route("/healthz", partial(_healthz, site), methods=["GET"]),
        Route("/static/{path:path}", statics.send, methods=["GET"]),
        *([] if pocket else served.routes(partial(_phone_not_built, site), partial(_not_here, site))),
        *([] if pocket or verifier is None else Hub(workplace, verifier=verifier).routes()),
    ]
    app = Starlette(
        routes=routes,
        middleware=[Middleware(Guard, hosts=hosts, by_token=ADDRESS), Middleware(GZipMiddleware, minimum_size=2000)],
        exception_handlers={HTTPException: partial(_not_routed, site)},
    )
    app.state.site = site
    return app


def _endpoint(door: Door, site: Site) -> Callable[[Request], object]:
    async def answer(request: Request) -> Response:
        links = Links(root=request.scope.get("root_path", "").rstrip("/"))
        try:
            asked = await read_request(request, site)
            if door.before is not None:
                asked = replace(asked, prepared=await door.before(asked))
            answered = site.respond(once(asked, door.handler), links, sent=asked.form.get(ACT))
            if site.exchanging is not None and request.method == "GET" and door.path in _NO_FORM_IS_OPEN:
                site.exchanging.if_due()
            return answered
        except LoopworthyError as error:
            return site.respond(error_page(site, links, error), links)
        except HTTPException:
            raise
        except Exception:
            _log.exception("%s %s was not answered", request.method, request.url.path)
            return site.respond(_broken_page(site, links), links)

    return answer


async def _healthz(site: Site, request: Request) -> Response:
    """Whether the record can be read: its number of events, as plain text."""
    try:
        return PlainTextResponse(f"ok {site.workplace.book().count}\n")
    except LoopworthyError as error:
        return PlainTextResponse(f"{error.message}\n", status_code=503)


async def _not_routed(site: Site, request: Request, error: Exception) -> Response:
    status = error.status_code if isinstance(error, HTTPException) else 500
    return _problem_page(site, request, "errors.not_found" if status == 404 else "errors.not_done", status)


def _not_here(site: Site, request: Request) -> Response:
    return _problem_page(site, request, "errors.not_found", 404)


def _phone_not_built(site: Site, request: Request) -> Response:
    return _problem_page(site, request, "pocket.not_built", 404)


def _problem_page(site: Site, request: Request, key: str, status: int) -> Response:
    links = Links(root=request.scope.get("root_path", "").rstrip("/"))
    context = _problem_context(site, links, site.texts.say(key), site.texts.say(f"{key}_step"), demo=_invented(site))
    return site.respond(Page(template="problem.html", context=context, status=status), links)


# --- errors ---------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """A page that says what could not be done.

    Attributes
    ----------
    frame : Frame
    message, next_step : str
        What is wrong, with name, value and limit; what to do, '' for nothing.
    back_href : str
        The board.
    """

    frame: Frame
    message: str
    next_step: str
    back_href: str


def error_page(site: Site, links: Links, error: LoopworthyError) -> Page:
    """An error as a page."""
    context = _problem_context(site, links, error.message, error.next_step, demo=_invented(site))
    return Page(template="problem.html", context=context, status=status_of(error))


def _broken_page(site: Site, links: Links) -> Page:
    say = site.texts.say
    context = _problem_context(site, links, say("errors.broken"), say("errors.broken_step"), demo=False)
    return Page(template="problem.html", context=context, status=500)


def _problem_context(site: Site, links: Links, message: str, next_step: str, *, demo: bool) -> Problem:
    now = site.workplace.now()
    frame = Frame(
        title=site.texts.say("errors.title"),
        lang=site.texts.language,
        now_iso=now.local().isoformat(timespec="milliseconds"),
        zone="",
        demo=demo,
        clock_fixed=site.clock_fixed,
        root=links.root,
        home_href=links.board(),
    )
    return Problem(frame=frame, message=message, next_step=next_step, back_href=links.board())


def _invented(site: Site) -> bool:
    try:
        return site.workplace.record.invented
    except LoopworthyError:
        return False
