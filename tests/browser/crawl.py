"""Every kind of page that the program has, found by following its links from the board."""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Iterator
from html.parser import HTMLParser
from urllib.parse import parse_qs, urljoin, urlsplit

import httpx
from starlette.routing import compile_path

from loopworthy.doors.web.pages import MODULES

SEVERAL = {"/unit/{unit}": 3, "/unit/{unit}/evidence/{event}": 3, "/event/{event}": 3, "/unit/{unit}/change": 3}
"""How many pages of a kind are looked at where one is not enough: a unit that is ready looks unlike one at stop."""


def doors() -> dict[str, re.Pattern[str]]:
    """Every address that answers to GET, as the pages declare it, with what matches it."""
    found = [one for module in MODULES for one in module.ROUTES if "GET" in one.methods]
    return {one.path: compile_path(one.path)[0] for one in found}


def kind_of(address: str) -> tuple[str, ...]:
    """What makes two pages alike: the address as it is declared, with what it asks for; empty for no page.

    Work pages and the lists of the catalogue differ by their names as well.
    """
    split = urlsplit(address)
    asked = tuple(sorted(parse_qs(split.query)))
    for path, pattern in doors().items():
        match = pattern.match(split.path)
        if match is not None:
            return (path, match.groupdict().get("page", "") if not asked else "", *asked)
    return ()


def crawl(start: str, *more: str) -> list[str]:
    """Addresses of a page of every kind, in the order in which a person may come upon them.

    Parameters
    ----------
    start : str
        The board.
    *more : str
        Addresses that no link leads to on the day of the story.
    """
    seen: Counter[tuple[str, ...]] = Counter()
    waiting, known, found = deque([start, *more]), {start, *more}, []
    with httpx.Client(follow_redirects=True, timeout=30) as client:
        while waiting:
            address = waiting.popleft()
            kind = kind_of(address)
            if not kind or seen[kind] >= SEVERAL.get(kind[0], 1):
                continue
            answered = client.get(address)
            assert answered.status_code == 200, f"{address}: {answered.status_code}"
            seen[kind] += 1
            if not answered.headers["content-type"].startswith("text/html"):
                continue
            found.append(address)
            for link in links_in(answered.text):
                there = urljoin(address, link).partition("#")[0]
                if there.startswith(start) and there not in known:
                    known.add(there)
                    waiting.append(there)
    return found


def links_in(html: str) -> Iterator[str]:
    """Where its links lead; those that bring a file are left out."""
    reader = _Links()
    reader.feed(html)
    return iter(reader.found)


class _Links(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag == "a" and given.get("href") and "download" not in given:
            self.found.append(str(given["href"]))
