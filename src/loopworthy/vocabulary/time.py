"""Moments as people and records mean them: an instant, the offset it was read with, and the zone's name.

Below the doors nobody asks a clock; a moment comes in as an argument. Order between events is the business of the
hybrid clock in `event`, not of these claimed times.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from loopworthy.vocabulary.errors import InputError


class Moment(msgspec.Struct, frozen=True, kw_only=True, order=False):
    """An instant with the offset and the zone in which somebody read it.

    Attributes
    ----------
    at : str
        ISO 8601 with offset, to the second or finer: ``2026-05-14T08:40:00+02:00``.
    zone : str
        Name of the time zone, ``Europe/Malta``; ``UTC`` where none is known.
    """

    at: str
    zone: str = "UTC"

    def __post_init__(self) -> None:
        parsed = _parse(self.at)
        if parsed is None or parsed.tzinfo is None:
            raise InputError(
                "at", self.at, "a date and time with an offset", next_step="Write for example 2026-05-14T08:40:00+02:00"
            )

    @property
    def instant(self) -> datetime:
        """The instant as an aware datetime, in the offset it was read with."""
        return datetime.fromisoformat(self.at)

    @property
    def epoch_ms(self) -> int:
        """Milliseconds since 1970-01-01 UTC, a whole number."""
        return epoch_ms(self.instant)

    def plus(self, *, minutes: float = 0, seconds: float = 0) -> Moment:
        """The moment so much later, in the same offset and zone."""
        return Moment(at=(self.instant + timedelta(minutes=minutes, seconds=seconds)).isoformat(), zone=self.zone)

    def local(self) -> datetime:
        """The instant on the wall clocks of its zone (what people at the site see)."""
        return self.instant.astimezone(zone(self.zone))


@lru_cache(maxsize=4096)
def _parse(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def epoch_ms(instant: datetime) -> int:
    """Milliseconds since 1970-01-01 UTC of an aware datetime."""
    return round(instant.timestamp() * 1000)


@lru_cache(maxsize=64)
def zone(name: str) -> ZoneInfo:
    """The time zone of that name.

    Raises
    ------
    InputError
        If the zone is not in the time-zone database.
    """
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise InputError(
            "zone", name, "a name of the time-zone database", next_step="Write for example Europe/Malta"
        ) from error


def moment(instant: datetime, zone_name: str = "UTC") -> Moment:
    """A moment from an aware datetime, written on the wall clock of the zone."""
    if instant.tzinfo is None:
        raise InputError("instant", instant, "a time with an offset")
    return Moment(at=instant.astimezone(zone(zone_name)).isoformat(), zone=zone_name)


def moment_from_epoch_ms(value: int, zone_name: str = "UTC") -> Moment:
    """A moment from milliseconds since 1970-01-01 UTC."""
    return moment(datetime.fromtimestamp(value / 1000, tz=ZoneInfo("UTC")), zone_name)
