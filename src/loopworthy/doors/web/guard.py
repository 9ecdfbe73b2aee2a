"""What every answer carries and every request must hold to: headers, the own host, the own origin.

There are no accounts; whoever reaches the server may write. So nothing may be sent from a page that is not ours, and a
page of ours may load nothing from elsewhere. An exchange is another thing: it shows a token that no browser adds by
itself, so it may come from anywhere.
"""

from __future__ import annotations

from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

CONTENT_SECURITY_POLICY: Final = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'self'",
    )
)

_HEADERS: Final = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
}
_READING: Final = frozenset({"GET", "HEAD", "OPTIONS"})


class Guard:
    """Wraps the program.

    Parameters
    ----------
    app : ASGI application
    hosts : tuple of str
        Names under which it may be reached, without port; empty for any. A server that listens to a network should
        name its own, so that no foreign name can be pointed at it.
    by_token : str
        Below this address a request counts by the token that it shows, wherever it comes from; '' for nowhere.
    """

    def __init__(self, app: ASGIApp, hosts: tuple[str, ...] = (), by_token: str = "") -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.by_token = by_token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        headers = Headers(scope=scope)
        problem = self._problem(scope, headers)
        if problem:
            await PlainTextResponse(problem, status_code=403)(scope, receive, send_guarded)
            return
        await self.app(scope, receive, send_guarded)

    def _problem(self, scope: Scope, headers: Headers) -> str:
        host = headers.get("host", "")
        if self.hosts and _name_of(host) not in self.hosts:
            return f"This program is not reached as {host}"
        path = scope["path"].removeprefix(scope.get("root_path", "").rstrip("/"))
        if self.by_token and path.startswith(self.by_token):
            return ""
        if scope["method"] not in _READING and not same_origin(headers):
            return "Only a page of this program may send this. Open it here and send it again."
        return ""


def same_origin(headers: Headers) -> bool:
    """Whether a request comes from a page of this program, or from no page at all (a command line).

    A browser states where a form comes from, in at least one of the two headers, and a page cannot change either.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site in ("same-origin", "none")
    origin = headers.get("origin")
    if origin is None:
        return True
    return urlsplit(origin).netloc.lower() == headers.get("host", "").lower()


def _name_of(host: str) -> str:
    if host.startswith("["):
        return host.partition("]")[0].lstrip("[").lower()
    return host.partition(":")[0].lower()
