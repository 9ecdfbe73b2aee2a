"""Times as people type them: with an offset, or as the wall clock of the site shows them."""

from __future__ import annotations

import re
from datetime import UTC, datetime, time

from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.time import Moment, moment, zone

_TIME_OF_DAY = re.compile(r"\d{1,2}:\d{2}(:\d{2})?\Z")
EXAMPLE = "Write for example 2026-05-14T08:40, 08:40 (today) or 2026-05-14T08:40+02:00"


def read_moment(name: str, text: str, now: Moment) -> Moment:
    """The moment that somebody typed.

    Parameters
    ----------
    name : str
        The option, for errors.
    text : str
        A date and time with or without an offset, or a time of day; without an offset on the wall clock of the zone.
    now : Moment
        Gives the zone and today's date.

    Raises
    ------
    InputError
        If it is no time, or a time that the wall clock of the zone shows twice or never.
    """
    plain = text.strip()
    if _TIME_OF_DAY.match(plain):
        try:
            clock = time.fromisoformat(plain.zfill(8 if plain.count(":") == 2 else 5))
        except ValueError as error:
            raise InputError(name, text, "a time of day", next_step=EXAMPLE) from error
        return _on_wall(name, text, datetime.combine(now.local().date(), clock), now.zone)
    try:
        parsed = datetime.fromisoformat(plain)
    except ValueError as error:
        raise InputError(name, text, "a date and time", next_step=EXAMPLE) from error
    if parsed.tzinfo is None:
        if len(plain) <= len("2026-05-14"):
            raise InputError(name, text, "a date with a time", next_step=EXAMPLE)
        return _on_wall(name, text, parsed, now.zone)
    return moment(parsed, now.zone)


def _on_wall(name: str, text: str, naive: datetime, zone_name: str) -> Moment:
    place = zone(zone_name)
    first, second = naive.replace(tzinfo=place, fold=0), naive.replace(tzinfo=place, fold=1)
    if first.utcoffset() == second.utcoffset():
        return moment(first, zone_name)
    exists = first.astimezone(UTC).astimezone(place).replace(tzinfo=None) == naive
    times = "twice" if exists else "never"
    raise InputError(
        name,
        text,
        f"a time that the clocks of {zone_name} show once; they show it {times} that day",
        next_step=f"Write it with its offset: {first.isoformat()} or {second.isoformat()}",
    )
