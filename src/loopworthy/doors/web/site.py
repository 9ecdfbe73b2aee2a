"""A workplace with a language, a look and templates: what all pages of one server share."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.types import Receive, Scope, Send

from loopworthy.desk.workplace import Workplace
from loopworthy.doors.texts import Texts
from loopworthy.doors.web import statics
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.links import Links

COOKIE_SECONDS = 400 * 24 * 3600


class Site:
    """Draws pages.

    Parameters
    ----------
    workplace : Workplace
    texts : Texts
    clock_fixed : bool
        Whether the workplace's clock stands still (a demonstration): pages then count no time of their own.
    """

    def __init__(self, workplace: Workplace, texts: Texts, *, clock_fixed: bool = False) -> None:
        self.workplace = workplace
        self.texts = texts
        self.clock_fixed = clock_fixed
        self._environment = _environment(texts.language)

    def draw(self, page: Page, links: Links) -> str:
        """The page as HTML."""
        template = self._environment.get_template(page.template)
        frame = getattr(page.context, "frame", None)
        return template.render(
            it=page.context,
            page=frame,
            links=links,
            static=lambda path: statics.address_of(path, links.root),
        )

    def respond(self, answer: Answer, links: Links) -> Response:
        """The answer as it is sent."""
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
        return DrawnPage(self.draw(answer, links), answer)


class DrawnPage(HTMLResponse):
    """A drawn page that tells a test its template and context, where the test asks for it (an ASGI extension)."""

    def __init__(self, html: str, page: Page) -> None:
        super().__init__(html, status_code=page.status)
        self._page = page

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if "http.response.debug" in scope.get("extensions", {}):
            info = {"template": self._page.template, "context": self._page.context}
            await send({"type": "http.response.debug", "info": info})
        await super().__call__(scope, receive, send)


@cache
def _environment(language: str) -> Environment:
    environment = Environment(
        loader=PackageLoader("loopworthy.doors.web", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals["say"] = Texts.load(language).say
    return environment


Endpoint = Callable[..., Awaitable[Response]]
"""What Starlette calls for a route."""
