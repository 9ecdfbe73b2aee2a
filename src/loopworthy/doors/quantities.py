"""Numbers and moments as the doors show them: readings as they were read, the reader's other unit beside, local time.

Nothing here judges. A reading stays as it was typed; what is worked out is rounded for showing only.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Final

from loopworthy.doors.texts import Texts
from loopworthy.judgement.catalogue.model import Input
from loopworthy.judgement.outcome import in_unit
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

METRIC, US = "metric", "us"

_SHOWN: Final = {"C": "°C", "F": "°F", "mg/m3": "mg/m³", "1": "", "count": ""}
_TO_US: Final = {"bar": "psi", "m": "ft", "C": "F"}
_TO_METRIC: Final = {"psi": "bar", "ft": "m", "F": "C"}
_PLACES: Final = {"psi": 0, "ft": 0, "F": 0, "bar": 1, "m": 1, "C": 1}
_GAUGE_BAR: Final = Decimal(5)
"""Pressures from here on are read from gauges, which show psi in US customary; oxygen pressures are in bar anywhere."""

_PSI_BAR: Final = Decimal("0.0689475729")
_FT_M: Final = Decimal("0.3048")


def unit_shown(unit: str) -> str:
    """The unit as it is written on a page; '' for a bare number or a count."""
    return _SHOWN.get(unit, unit)


def amount(value: str, unit: str) -> str:
    """A value with its unit: ``47.9 mV``."""
    shown = unit_shown(unit)
    return f"{value} {shown}" if shown else value


def plain(value: Decimal, places: int = 3) -> str:
    """A number for showing: at most so many decimals, no trailing zeros, never in powers of ten."""
    text = f"{value.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN):f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


EXACT_PLACES: Final = 4
"""A margin of so many decimals comes from numbers that stand beside it as they are, and is told in full."""


def plain_margin(margin: Decimal, places: int) -> str:
    """The size of a margin: in full where it is a difference of numbers as they are told, else in so many decimals.

    One that is not nothing is never told as nothing.
    """
    size = abs(margin)
    if size == size.quantize(Decimal(1).scaleb(-EXACT_PLACES)):
        return plain(size, EXACT_PLACES)
    while places < 9 and not size.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_EVEN):
        places += 1
    return plain(size, places)


def other_unit(value: Decimal, unit: str, display_units: str) -> str:
    """The unit that a reader with these display units wants beside; '' when what was read will do."""
    if display_units == US:
        return "" if unit == "bar" and abs(value) < _GAUGE_BAR else _TO_US.get(unit, "")
    return _TO_METRIC.get(unit, "")


def converted(value: Decimal, unit: str, wanted: str) -> Decimal:
    """A value in another unit, exact but for the division."""
    if (unit, wanted) == ("bar", "psi"):
        return value / _PSI_BAR
    if (unit, wanted) == ("m", "ft"):
        return value / _FT_M
    if (unit, wanted) == ("C", "F"):
        return value * 9 / 5 + 32
    return in_unit(Reading(value=f"{value:f}", unit=unit), wanted)


def reading_text(reading: Reading, display_units: str = METRIC) -> str:
    """A reading as it was read, with the reader's unit beside where that is another: ``200 bar (2901 psi)``."""
    return quantity_text(reading.value, reading.unit, display_units)


def quantity_text(value: str, unit: str, display_units: str = METRIC) -> str:
    """A value and its unit, with the reader's other unit beside."""
    text = amount(value, unit)
    number = Decimal(value)
    other = other_unit(number, unit, display_units)
    if not other:
        return text
    return f"{text} ({amount(plain(converted(number, unit, other), _PLACES[other]), other)})"


def unit_choices(one: Input) -> tuple[str, ...]:
    """Units in which an input may be read: its own, and where gauges show another, that one too."""
    if one.unit == "bar" and Decimal(one.usual_high or "0") < _GAUGE_BAR:
        return (one.unit,)
    other = _TO_US.get(one.unit)
    return (one.unit, other) if other else (one.unit,)


def preferred_unit(one: Input, display_units: str) -> str:
    """The unit that is offered first to a person with these display units."""
    choices = unit_choices(one)
    return choices[-1] if display_units == US else choices[0]


class Clockface:
    """Moments in the zone of the site, told relative to the present one.

    Parameters
    ----------
    texts : Texts
    now : Moment
        The present moment; its zone is the one that everything is told in.
    """

    def __init__(self, texts: Texts, now: Moment) -> None:
        self._say = texts.say
        self.now = now

    def at(self, epoch_ms: int) -> Moment:
        """The moment in the zone of the site."""
        return moment_from_epoch_ms(epoch_ms, self.now.zone)

    def iso(self, epoch_ms: int) -> str:
        """ISO 8601 with the offset of the site, to the second, rounded down: an end is never shown too late."""
        return self.at(epoch_ms).local().replace(microsecond=0).isoformat()

    def clock(self, epoch_ms: int) -> str:
        """The time of day: ``08:52``."""
        return f"{self.at(epoch_ms).local():%H:%M}"

    def day(self, epoch_ms: int) -> str:
        """The day: ``14 May``, with the year where it is another."""
        local, today = self.at(epoch_ms).local(), self.now.local()
        month = self._say("when.months").split()[local.month - 1]
        key = "when.day" if local.year == today.year else "when.day_of_year"
        values = {"day": local.day, "month": month}
        return self._say(key, **values) if key == "when.day" else self._say(key, **values, year=local.year)

    def when(self, epoch_ms: int) -> str:
        """Time of day, with the day where it is not today: ``08:52``, ``tomorrow 07:31``, ``2 Jun 07:31``."""
        local, today = self.at(epoch_ms).local(), self.now.local()
        clock = self.clock(epoch_ms)
        days = (local.date() - today.date()) / timedelta(days=1)
        if days == 0:
            return clock
        if days in (-1, 1):
            return self._say("when.yesterday" if days < 0 else "when.tomorrow", clock=clock)
        return self._say("when.other_day", day=self.day(epoch_ms), clock=clock)

    def ago(self, epoch_ms: int) -> str:
        """How long ago: ``23 minutes ago``."""
        minutes = max(0, (self.now.epoch_ms - epoch_ms) // 60_000)
        if minutes < 1:
            return self._say("when.just_now")
        if minutes < 120:
            return self._say("when.minute_ago") if minutes == 1 else self._say("when.minutes_ago", minutes=minutes)
        hours = minutes // 60
        if hours < 48:
            return self._say("when.hours_ago", hours=hours)
        return self._say("when.days_ago", days=hours // 24)

    @property
    def zone_text(self) -> str:
        """The zone and its offset now: ``Europe/Malta, UTC+02:00``."""
        return zone_text(self.now)


def zone_text(moment: Moment) -> str:
    """The zone of a moment with its offset: ``Europe/Malta, UTC+02:00``."""
    offset = moment.local().utcoffset() or timedelta()
    minutes = round(offset.total_seconds() / 60)
    sign = "-" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    words = f"UTC{sign}{hours:02d}:{rest:02d}"
    return words if moment.zone == "UTC" else f"{moment.zone}, {words}"
