"""What may not part at the end of a line: a number and its unit, a serial, a date.

A drawn page is gone through once, so that no template has to remember it. The letters stay as they are, hyphens and
blanks too: who copies a serial off the page or searches for it gets what was typed.
"""

from __future__ import annotations

import re
from typing import Final

from loopworthy.doors.quantities import unit_shown
from loopworthy.vocabulary.reading import UNITS

LONGEST: Final = 20
"""Longer ones would not fit on a narrow phone in large letters; they may part."""

_WORDS: Final = ("bar/min", "mbar/min", "days", "day", "minutes", "minute", "hours", "hour", "litres", "times")
_UNITS: Final = "|".join(
    re.escape(one) for one in sorted({*(unit_shown(unit) for unit in UNITS), *_WORDS} - {""}, key=len, reverse=True)
)
_NUMBER: Final = r"\d[\d.,]*"
_WHOLE: Final = re.compile(
    rf"(?<![\w#&.,/+\-−])(?:"
    rf"(?:±\s?)?[+\-−]?{_NUMBER}(?:[-–]{_NUMBER})?\s(?:{_UNITS})(?![\w/²³])"  # 46.7 mV, ± 0.4 mV, 20–40 mbar
    r"|(?=[\w-]*\d)[A-Za-z0-9]+(?:-[A-Za-z0-9]+)+(?![\w-])"  # a serial, a date
    r")"
)

_TAG: Final = re.compile(r"(<!--.*?-->|<[^>]*>)", re.DOTALL)
_NAME: Final = re.compile(r"</?([a-zA-Z][a-zA-Z0-9-]*)")
_LEFT_ALONE: Final = frozenset({"head", "script", "style", "title", "textarea", "option", "pre", "svg"})
"""Elements in which a further element means something else, or nothing."""


def kept_whole(html: str) -> str:
    """The page with what belongs together in elements that do not part, ``<bdi class="whole">46.7 mV</bdi>``.

    A text that holds one goes into a ``<bdi>`` of its own first: it stays one item where its parent lays out a row.
    """
    parts = _TAG.split(html)
    within = ""
    for place, part in enumerate(parts):
        if place % 2:
            within = _within(within, part)
        elif not within and part:
            parts[place] = _text_kept_whole(part)
    return "".join(parts)


def _within(within: str, tag: str) -> str:
    """Which element that is left alone a place is in, after this tag."""
    found = _NAME.match(tag)
    if found is None or tag.endswith("/>"):
        return within
    name, closes = found[1].lower(), tag.startswith("</")
    if within:
        return "" if closes and name == within else within
    return name if not closes and name in _LEFT_ALONE else ""


def _text_kept_whole(text: str) -> str:
    kept = _WHOLE.sub(_one, text)
    if kept == text or (kept.count("<bdi") == 1 and kept.startswith("<bdi") and kept.endswith("</bdi>")):
        return kept
    return f"<bdi>{kept}</bdi>"


def _one(found: re.Match[str]) -> str:
    return f'<bdi class="whole">{found[0]}</bdi>' if len(found[0]) <= LONGEST else found[0]
