"""A workplace with a language, a look and templates: what all pages of one server share."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import Receive, Scope, Send

from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.client import Means
from loopworthy.doors.exchange.running import Exchanging
from loopworthy.doors.texts import Texts
from loopworthy.doors.web import statics
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.links import Links
from loopworthy.doors.web.once import act_field
from loopworthy.doors.web.whole import kept_whole
from loopworthy.record.signing import HeadVerifier

COOKIE_SECONDS = 400 * 24 * 3600


class Site:
    """Draws pages.

    Parameters
    ----------
    workplace : Workplace
    texts : Texts
    clock_fixed : bool
        Whether the workplace's clock stands still (a demonstration): pages then count no time of their own.
    pocket : bool
        Whether pages are shown inside a phone's own shell, which they offer a way to.
    verifier : HeadVerifier, optional
        Checks signatures of heads that come in; without one no signed head is taken.
    means : Means, optional
        With what it exchanges with a hub; on a phone it does so by itself from time to time.
    """

    def __init__(
        self,
        workplace: Workplace,
        texts: Texts,
        *,
        clock_fixed: bool = False,
        pocket: bool = False,
        verifier: HeadVerifier | None = None,
        means: Means | None = None,
    ) -> None:
        self.workplace = workplace
        self.texts = texts
        self.clock_fixed = clock_fixed
        self.pocket = pocket
        self.verifier = verifier
        self.exchanging = Exchanging(workplace, means, by_itself=pocket) if means is not None else None
        self._environment = environment(texts.language)

    def draw(self, page: Page, links: Links, *, sent: str = "") -> str:
        """The page as HTML; `sent` is the act of the form that it answers."""
        template = self._environment.get_template(page.template)
        frame = getattr(page.context, "frame", None)
        drawn = template.render(
            it=page.context,
            page=frame,
            links=links,
            static=lambda path: statics.address_of(path, links.root),
            act=lambda form: act_field(self.workplace.record, form, sent),
            pocket=self.pocket,
        )
        return kept_whole(drawn)

    def respond(self, answer: Answer, links: Links, *, sent: str = "") -> Response:
        """The answer as it is sent; `sent` is the act of the form that it answers."""
        if isinstance(answer, Response):
            return answer
        if isinstance(answer, SeeOther):
            response = RedirectResponse(answer.address, status_code=303)
            for name, value in answer.cookies.items():
                if value:
                    response.set_cookie(
                        name, value, max_age=COOKIE_SECONDS, path=links.root or "/", httponly=True, samesite="strict"
                    )
                else:
                    response.delete_cookie(name, path=links.root or "/", httponly=True, samesite="strict")
            return response
        return DrawnPage(self.draw(answer, links, sent=sent), answer)


DRAWN = "loopworthy.drawn"
"""ASGI extension for tests: a list under this name takes every page that is drawn, context and all."""


class DrawnPage(HTMLResponse):
    """A drawn page; a test that asks for it is told the template and context that it was drawn from."""

    def __init__(self, html: str, page: Page) -> None:
        super().__init__(html, status_code=page.status)
        self._page = page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        told = scope.get("extensions", {}).get(DRAWN)
        if told is not None:
            told.append(self._page)
        await super().__call__(scope, receive, send)


@cache
def environment(language: str) -> Environment:
    """The templates, with the words of a language."""
    made = Environment(
        loader=PackageLoader("loopworthy.doors.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.globals["say"] = Texts.load(language).say
    return made
