"""Interrupted work: what was recorded last, how long ago, and whether to look again at it before going on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from loopworthy.doors.web.asked import Asked
from loopworthy.judgement.book import Item
from loopworthy.vocabulary.identity import ThingId

SHORTEST_PAUSE_MIN: Final = 10
LONGEST_PAUSE_MIN: Final = 12 * 60
"""Shorter is work, longer is another session: what counts then is decided by the evidence itself (our choice)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LastEntry:
    """The last thing that was recorded for a unit.

    Attributes
    ----------
    title, read : str
        The step with what it is about; what was typed.
    when, ago : str
        ``09:41``, ``23 minutes ago``.
    minutes : int
        How long ago it was recorded. [min]
    interrupted : bool
        Whether the pause is long enough, within one dive day, to look again at the last thing done before going on.
    href : str
        The evidence.
    """

    title: str
    read: str
    when: str
    ago: str
    minutes: int
    interrupted: bool
    href: str


def last_entry(asked: Asked, unit: ThingId) -> LastEntry | None:
    """What was recorded last for a unit; None where nothing was."""
    book = asked.workplace.book()
    items = [one for one in book.items.values() if one.unit == unit and one.event not in book.withdrawals]
    if not items:
        return None
    last: Item = max(items, key=lambda one: (one.recorded_ms, one.order))
    step = asked.workplace.catalogue.steps.get(last.step)
    minutes = max(0, (asked.now.epoch_ms - last.recorded_ms) // 60_000)
    same_day = bool(last.dive_day) and last.dive_day == book.episode_at(unit, "dive-day", asked.now.epoch_ms)
    about = next((one.title for one in asked.workplace.world.positions(unit) if one.id == last.position), "")
    title = step.title if step is not None else last.step
    return LastEntry(
        title=f"{title}, {about}" if about else title,
        read=asked.words.item_text(last),
        when=asked.words.clock.when(last.recorded_ms),
        ago=asked.words.clock.ago(last.recorded_ms),
        minutes=minutes,
        interrupted=same_day and SHORTEST_PAUSE_MIN <= minutes <= LONGEST_PAUSE_MIN,
        href=asked.links.evidence(unit, last.event),
    )
