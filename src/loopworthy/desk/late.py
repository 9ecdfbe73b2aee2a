"""What was done earlier and is written down now: how far back it may lie without being asked about, and never ahead.

Paper is entered later, so any moment of the past may be right. A moment before the unit or the part was in the record,
or long ago, is more often a slip of the hand; it is asked about at once, and taken when somebody says that it was then.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from loopworthy.desk.workplace import Workplace
from loopworthy.unit.world import World
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

OCCURRED_AT: Final = "occurred_at"
CLOCKS_DIFFER_MS: Final = 60_000
"""So far ahead a moment may lie: clocks of one boat differ by a minute (common practice, no source)."""
ASKED_AFTER_DAYS: Final = 30
"""A sheet lies about for some days, hardly for longer (common practice, no source)."""

_DAY_MS: Final = 24 * 3600 * 1000


class LateMomentError(InputError):
    """A moment that is more often a slip than true; the same with the moment confirmed is recorded.

    Attributes
    ----------
    code : str
        ``long-ago``, ``before-unit`` or ``before-part``.
    moment : Moment
        What was typed.
    days : int
        How many whole days it lies back.
    what : str
        The unit or part that was not there yet; '' where it is only long ago.
    since : Moment or None
        Since when that is in the record, or in its place.
    """

    def __init__(self, code: str, moment: Moment, *, days: int, what: str = "", since: Moment | None = None) -> None:
        self.code = code
        self.moment = moment
        self.days = days
        self.what = what
        self.since = since
        limit = f"not more than {ASKED_AFTER_DAYS} days ago, or confirmed"
        if since is not None:
            came = "came into the record" if code == "before-unit" else "was fitted"
            limit = f"after {what} {came} ({since.at}), or confirmed"
        super().__init__(OCCURRED_AT, moment.at, limit, next_step="Look at the date again; confirm it if it was then")


def refuse_ahead(moment: Moment, now: Moment, name: str = OCCURRED_AT) -> None:
    """Nothing is written down before it happens.

    Raises
    ------
    InputError
        If the moment lies more than `CLOCKS_DIFFER_MS` ahead.
    """
    if moment.epoch_ms > now.epoch_ms + CLOCKS_DIFFER_MS:
        raise InputError(name, moment.at, f"not later than now ({now.at})", next_step="Look at the date and the clock")


def check_moment(
    workplace: Workplace,
    moment: Moment | None,
    *,
    units: Iterable[ThingId] = (),
    things: Iterable[ThingId] = (),
    confirmed: bool = False,
) -> bool:
    """Ask about a moment that somebody typed, or take it.

    Parameters
    ----------
    moment : Moment or None
        None for now, which nobody typed.
    units, things : iterable of str
        The units and the fitted things that the entry is about.
    confirmed : bool
        Whether somebody looked again and says that it was then.

    Returns
    -------
    bool
        Whether there was something to ask, and it was confirmed.

    Raises
    ------
    InputError
        If it lies ahead.
    LateMomentError
        If there is something to ask, and it was not confirmed.
    """
    if moment is None:
        return False
    now = workplace.now()
    refuse_ahead(moment, now)
    question = _question(workplace, moment, now, tuple(units), tuple(things))
    if question is None:
        return False
    if not confirmed:
        raise question
    return True


def _question(
    workplace: Workplace, moment: Moment, now: Moment, units: tuple[ThingId, ...], things: tuple[ThingId, ...]
) -> LateMomentError | None:
    world = workplace.world
    days = max(0, (now.epoch_ms - moment.epoch_ms) // _DAY_MS)
    for unit in units:
        created = world.thing(unit).created
        if moment.epoch_ms < created.epoch_ms:
            return LateMomentError("before-unit", moment, days=days, what=workplace.name(unit), since=created)
    for thing in things:
        since = _in_place_since(world, thing)
        if since is not None and moment.epoch_ms < since.epoch_ms:
            return LateMomentError("before-part", moment, days=days, what=workplace.name(thing), since=since)
    return LateMomentError("long-ago", moment, days=days) if days > ASKED_AFTER_DAYS else None


def _in_place_since(world: World, thing: ThingId) -> Moment | None:
    """Since when a thing is where it is; None where it is nowhere, or is a person or a unit."""
    place = world.place_of(thing)
    if place is not None:
        return world.fitted(place[0])[place[1]].since
    container = world.container_of(thing)
    placed = world.content_placed(container) if container is not None else None
    return placed.since if placed is not None else None
