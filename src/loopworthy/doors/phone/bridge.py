"""The web application called in process: no socket, no thread, one request at a time.

A service worker may neither read cookies nor set them, so the jar is kept here.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterable, MutableMapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import unquote, urlsplit

from starlette.types import ASGIApp

_KEPT_FROM_BROWSER = frozenset({"cookie", "host", "origin", "sec-fetch-site", "accept-encoding", "content-length"})
"""What the browser's own request says of these is left out: the bridge knows better, or the application needs none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Answered:
    """What the application answered.

    Attributes
    ----------
    status : int
    headers : tuple of (str, str)
        Without cookies, which stay in the jar.
    body : bytes
    """

    status: int
    headers: tuple[tuple[str, str], ...]
    body: bytes


class Bridge:
    """Asks an ASGI application as a browser would.

    Parameters
    ----------
    app : ASGI application
    origin : str
        Where the shell was loaded from: ``https://example.org``.
    root : str
        The path below which the pages lie, '' or beginning with a slash.
    cookies : mapping of str to str, optional
        The jar that an earlier start left.
    """

    def __init__(
        self, app: ASGIApp, *, origin: str, root: str, cookies: MutableMapping[str, str] | None = None
    ) -> None:
        address = urlsplit(origin)
        self.app = app
        self.cookies: MutableMapping[str, str] = cookies if cookies is not None else {}
        self._scheme = address.scheme
        self._host = address.netloc
        self._server = (address.hostname or "", address.port or (443 if address.scheme == "https" else 80))
        self._root = root

    async def answer(
        self, method: str, target: str, headers: Iterable[tuple[str, str]] = (), body: bytes = b"", *, own: bool = True
    ) -> Answered:
        """Ask for one page.

        Parameters
        ----------
        method : str
        target : str
            Path and query, as the address bar has them.
        headers : iterable of (str, str)
        body : bytes
        own : bool
            Whether the request comes from a page of the program; the application refuses to record for any other.
        """
        path, _, query = target.partition("?")
        sent = [
            (name.lower().encode("latin-1"), value.encode("latin-1"))
            for name, value in headers
            if name.lower() not in _KEPT_FROM_BROWSER
        ]
        sent.append((b"host", self._host.encode("latin-1")))
        sent.append((b"sec-fetch-site", b"same-origin" if own else b"cross-site"))
        if body or method == "POST":
            sent.append((b"content-length", str(len(body)).encode()))
        if self.cookies:
            jar = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
            sent.append((b"cookie", jar.encode("latin-1")))
        scope = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.3"},
            "http_version": "1.1",
            "method": method,
            "scheme": self._scheme,
            "path": unquote(path),
            "raw_path": path.encode("ascii"),
            "query_string": query.encode("ascii"),
            "root_path": self._root,
            "headers": sent,
            "server": self._server,
            "client": ("127.0.0.1", 0),
            "state": {},
        }
        return await self._ask(scope, body)

    async def _ask(self, scope: dict[str, Any], body: bytes) -> Answered:
        unread = [body]
        finished = asyncio.Event()
        start: dict[str, Any] = {}
        chunks: list[bytes] = []

        async def receive() -> dict[str, Any]:
            if unread:
                return {"type": "http.request", "body": unread.pop(), "more_body": False}
            await finished.wait()
            return {"type": "http.disconnect"}

        async def send(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                start.update(message)
            elif message["type"] == "http.response.body":
                chunks.append(message.get("body", b""))
                if not message.get("more_body"):
                    finished.set()

        await self.app(scope, receive, send)
        headers = [(name.decode("latin-1"), value.decode("latin-1")) for name, value in start["headers"]]
        for name, value in headers:
            if name == "set-cookie":
                self._keep(value)
        kept = tuple((name, value) for name, value in headers if name != "set-cookie")
        return Answered(status=start["status"], headers=kept, body=b"".join(chunks))

    def _keep(self, cookie: str) -> None:
        jar = SimpleCookie()
        try:
            jar.load(cookie)
        except CookieError:
            return  # not one that a browser would keep either
        for name, morsel in jar.items():
            if morsel["max-age"] == "0" or not morsel.value:
                self.cookies.pop(name, None)
            else:
                self.cookies[name] = morsel.value
