"""What an exchange came to, in the words of the doors."""

from __future__ import annotations

from typing import Final

from loopworthy.doors.texts import Texts

AGREES_MS: Final = 2_000
"""Clocks that differ by less are told as agreeing: the way of a message makes as much. Set by the makers. [ms]"""


UNNAMED: Final = "this computer"
"""How a computer calls itself that nobody named; told on another device it names the wrong one."""


def hub_title(name: str, address: str) -> str:
    """What a hub is called on a device that joined it."""
    return address if name in ("", UNNAMED) else name


def offset_text(texts: Texts, offset_ms: int) -> str:
    """How far the other clock is from the one here."""
    if abs(offset_ms) < AGREES_MS:
        return texts.say("exchange.clocks_agree")
    key = "exchange.clock_ahead" if offset_ms > 0 else "exchange.clock_behind"
    return texts.say(key, span=span_text(texts, abs(offset_ms)))


def span_text(texts: Texts, span_ms: int) -> str:
    """A span in the largest unit that still tells it."""
    seconds = round(span_ms / 1000)
    for unit, length in (("days", 86_400), ("hours", 3_600), ("minutes", 60)):
        if seconds >= 2 * length:
            return texts.say(f"exchange.{unit}", count=round(seconds / length))
    return texts.say("exchange.seconds", count=seconds)


def note_text(texts: Texts, note: str) -> str:
    """One of `hubs.JoinedHub.notes`."""
    key, _, count = note.partition(":")
    return texts.say(f"exchange.note_{key}", count=int(count or 0))
