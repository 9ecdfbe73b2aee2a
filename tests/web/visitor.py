"""Somebody who visits the program in process: asks for pages, fills forms in, follows where they lead.

A form is filled in as a browser would send it: what stands in the page goes back, and only what the test types is new.
"""

from __future__ import annotations

import asyncio
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.cookies import SimpleCookie
from typing import Any
from urllib.parse import urlencode

import httpx
from starlette.types import ASGIApp, Receive, Scope, Send

from loopworthy.doors.web.answers import Page
from loopworthy.doors.web.site import DRAWN

HOST = "http://loop.test"
VOID = frozenset({"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"})


@dataclass
class Element:
    """One element of a page."""

    tag: str
    attributes: dict[str, str]
    children: list[Element | str] = field(default_factory=list)

    def walk(self) -> Iterator[Element]:
        """The element and everything in it."""
        yield self
        for child in self.children:
            if isinstance(child, Element):
                yield from child.walk()

    def all(self, tag: str = "", **attributes: str) -> list[Element]:
        """Every element in it with that tag and these attributes (``class_`` for one of its classes)."""
        return [one for one in self.walk() if one is not self and _matches(one, tag, attributes)]

    @property
    def text(self) -> str:
        """Its text, with single blanks. A ``bdi`` keeps text together at line ends and is read as that text."""
        parts = [child if isinstance(child, str) else child._read() for child in self.children]
        return " ".join(" ".join(parts).split())

    def _read(self) -> str:
        if self.tag != "bdi":
            return self.text
        return "".join(child if isinstance(child, str) else child._read() for child in self.children)

    def get(self, name: str) -> str:
        """One attribute; '' where it has none."""
        return self.attributes.get(name, "")


def _matches(one: Element, tag: str, attributes: Mapping[str, str]) -> bool:
    if tag and one.tag != tag:
        return False
    for name, wanted in attributes.items():
        if name == "class_":
            if wanted not in one.get("class").split():
                return False
        elif one.attributes.get(name) != wanted:
            return False
    return True


class _Reader(HTMLParser):
    """Reads a page into elements; complains where tags do not close."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.root = Element("document", {})
        self._open = [self.root]

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {name: value or "" for name, value in attrs})
        self._open[-1].children.append(element)
        if tag not in VOID:
            self._open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._open[-1].children.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        assert self._open[-1].tag == tag, f"</{tag}> closes <{self._open[-1].tag}>"
        self._open.pop()

    def handle_data(self, data: str) -> None:
        self._open[-1].children.append(data)


def read_html(html: str) -> Element:
    """The page as elements.

    Raises
    ------
    AssertionError
        If a tag does not close where it should.
    """
    reader = _Reader()
    reader.feed(html)
    reader.close()
    assert len(reader._open) == 1, f"<{reader._open[-1].tag}> is not closed"
    return reader.root


@dataclass
class Answered:
    """What came back."""

    status: int
    headers: httpx.Headers
    html: str
    address: str
    page: Page | None

    @property
    def document(self) -> Element:
        """The page as elements."""
        return read_html(self.html)

    @property
    def context(self) -> Any:
        """What the page was drawn from."""
        assert self.page is not None, f"{self.address} was not drawn from a template"
        return self.page.context

    @property
    def template(self) -> str:
        """The template it was drawn with."""
        return self.page.template if self.page is not None else ""

    def form(self, action: str = "") -> Form:
        """The form that is sent to this address, or the only one."""
        forms = [one for one in self.document.all("form") if not action or one.get("action") == action]
        assert len(forms) == 1, f"{len(forms)} forms on {self.address}"
        return Form(forms[0])

    @property
    def text(self) -> str:
        """All text within <main>."""
        return self.document.all("main")[0].text


class Form:
    """A form as a browser without scripts sees it: what is hidden behind scripts is disabled and not sent."""

    def __init__(self, element: Element) -> None:
        self.element = element
        self.action = element.get("action")
        self.values: dict[str, list[str]] = {}
        for one in element.walk():
            name = one.get("name")
            if not name or "disabled" in one.attributes:
                continue
            if one.tag == "input":
                ticked = "checked" in one.attributes
                if one.get("type") in ("checkbox", "radio") and not ticked:
                    continue
                if one.get("type") not in ("submit", "button", "file"):
                    self.values.setdefault(name, []).append(one.get("value"))
            elif one.tag == "textarea":
                self.values.setdefault(name, []).append(one.text)
            elif one.tag == "select":
                options = one.all("option")
                chosen = next((option for option in options if "selected" in option.attributes), options[0])
                self.values.setdefault(name, []).append(chosen.get("value"))

    def names(self) -> set[str]:
        """Names of all its fields."""
        return {one.get("name") for one in self.element.walk() if one.get("name")}

    def field(self, ending: str) -> str:
        """The one field whose name is this or ends with it."""
        found = [name for name in self.names() if name == ending or name.endswith(ending)]
        assert len(found) == 1, f"{len(found)} fields end with {ending!r}: {sorted(self.names())}"
        return found[0]

    def fill(self, **typed: str) -> Form:
        """Type into fields, named by their ends (``__`` for ``|``)."""
        for name, value in typed.items():
            self.set(name.replace("__", "|"), value)
        return self

    def set(self, ending: str, value: str) -> Form:
        """Type into one field."""
        self.values[self.field(ending)] = [value]
        return self

    def pairs(self) -> list[tuple[str, str]]:
        """What is sent."""
        return [(name, value) for name, values in self.values.items() for value in values]


class Visitor:
    """A browser without scripts.

    Parameters
    ----------
    app : ASGI application
    root : str
        What every address begins with, where the program lies below a folder.
    """

    def __init__(self, app: ASGIApp, *, root: str = "") -> None:
        self._app = app
        self._root = root
        self.cookies: dict[str, str] = {}

    def get(self, address: str, *, follow: bool = True, headers: Mapping[str, str] | None = None) -> Answered:
        """Ask for a page."""
        return self._ask("GET", address, follow=follow, headers=headers)

    def post(
        self,
        address: str,
        fields: Mapping[str, str] | list[tuple[str, str]] | None = None,
        *,
        follow: bool = True,
        headers: Mapping[str, str] | None = None,
        files: Mapping[str, tuple[str, bytes]] | None = None,
    ) -> Answered:
        """Send fields to an address, as a page of the program would."""
        pairs = list(fields.items()) if isinstance(fields, Mapping) else list(fields or [])
        own = {"sec-fetch-site": "same-origin", "origin": HOST, **(headers or {})}
        return self._ask("POST", address, follow=follow, headers=own, pairs=pairs, files=files)

    def send(self, form: Form, *, button: tuple[str, str] | None = None, follow: bool = True) -> Answered:
        """Press a form's button."""
        pairs = form.pairs() + ([button] if button is not None else [])
        return self.post(form.action, pairs, follow=follow)

    def _ask(
        self,
        method: str,
        address: str,
        *,
        follow: bool,
        headers: Mapping[str, str] | None = None,
        pairs: list[tuple[str, str]] | None = None,
        files: Mapping[str, tuple[str, bytes]] | None = None,
    ) -> Answered:
        answered = asyncio.run(self._request(method, address, headers or {}, pairs, files))
        steps = 0
        while follow and answered.status in (302, 303):
            steps += 1
            assert steps < 6, f"going round in circles at {answered.address}"
            answered = asyncio.run(self._request("GET", answered.headers["location"], {}, None, None))
        return answered

    def _take_cookies(self, headers: list[str]) -> None:
        for header in headers:
            for name, cookie in SimpleCookie(header).items():
                if cookie["max-age"] == "0":
                    self.cookies.pop(name, None)
                else:
                    self.cookies[name] = cookie.value

    async def _request(
        self,
        method: str,
        address: str,
        headers: Mapping[str, str],
        pairs: list[tuple[str, str]] | None,
        files: Mapping[str, tuple[str, bytes]] | None,
    ) -> Answered:
        drawn: list[Page] = []

        async def told(scope: Scope, receive: Receive, send: Send) -> None:
            extended = {**scope, "extensions": {DRAWN: drawn}}
            await self._app(extended, receive, send)

        transport = httpx.ASGITransport(app=told, root_path=self._root)
        async with httpx.AsyncClient(transport=transport, base_url=HOST, cookies=self.cookies) as client:
            sent: dict[str, Any] = {"headers": dict(headers)}
            if files:
                sent["files"] = [(name, (None, value)) for name, value in pairs or []]
                sent["files"] += [(name, content) for name, content in files.items()]
            elif pairs is not None:
                sent["content"] = urlencode(pairs)
                sent["headers"]["content-type"] = "application/x-www-form-urlencoded"
            response = await client.request(method, address, **sent)
            self._take_cookies(response.headers.get_list("set-cookie"))
        return Answered(
            status=response.status_code,
            headers=response.headers,
            html=response.text,
            address=address,
            page=drawn[-1] if drawn else None,
        )
