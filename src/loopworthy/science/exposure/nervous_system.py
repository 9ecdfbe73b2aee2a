"""Shares of the oxygen limits of the NOAA Diving Manual: of a single exposure, and of a whole day.

The manual prints limits at tenths and no rule between them; here the minutes run straight from row to row. Above the
last row no limit for working dives is published: time there is told in minutes and words, and its share is too small.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise
from types import MappingProxyType

from loopworthy.science.checks import require_above, require_between
from loopworthy.science.exposure.segments import HIGHEST_OXYGEN_BAR, OxygenSegment

COUNTS_FROM_BAR = 0.5
"""At and below it nothing is counted. Common practice; the table begins at 0.6."""

TABLE_ENDS_BAR = 1.6

STOP_ALLOWANCE_BAR = 0.02
"""Oxygen at a 6 m stop is 1.61 bar with 1.013 at the surface; the trade counts that as 1.6. Common practice."""

DECAY_HALF_TIME_MIN = 90.0
"""After which half of a share is counted. From memory: confirm; the manual's own rule was not seen."""


class LimitKind(Enum):
    """Which limit of the table."""

    SINGLE = "single exposure"
    DAY = "24 h total"


LIMITS_MIN: Mapping[LimitKind, Mapping[float, float]] = MappingProxyType(
    {
        LimitKind.SINGLE: MappingProxyType(
            {
                0.6: 720.0,
                0.7: 570.0,
                0.8: 450.0,
                0.9: 360.0,
                1.0: 300.0,
                1.1: 240.0,
                1.2: 210.0,
                1.3: 180.0,
                1.4: 150.0,
                1.5: 120.0,
                1.6: 45.0,
            }
        ),
        LimitKind.DAY: MappingProxyType(
            {
                0.6: 720.0,
                0.7: 570.0,
                0.8: 450.0,
                0.9: 360.0,
                1.0: 300.0,
                1.1: 270.0,
                1.2: 240.0,
                1.3: 210.0,  # 1.3 to 1.5 of the day's limits: from memory, not confirmed
                1.4: 180.0,
                1.5: 180.0,
                1.6: 150.0,
            }
        ),
    }
)
"""Oxygen pressure to minutes. NOAA Diving Manual, oxygen exposure limits (3rd ed. 1991 to 6th ed. 2017)."""

LIMITS_SOURCE = (
    "NOAA Diving Manual, oxygen exposure limits; those of 24 hours at 1.3 to 1.5 and the half time of 90 min are from "
    "memory: confirm. Between the rows the minutes run on a straight line, which is our rule; nothing is counted at "
    "0.5 bar and below"
)
"""What is told beside a share."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NervousSystemExposure:
    """Shares of the limits that a dive uses up, 1 being the whole limit.

    Attributes
    ----------
    single_fraction : float
        Of the single exposure, with what was carried in. Above the table 1.6 is counted: at least so much.
    day_fraction : float
        Of the day's limit.
    minutes_above_table : float
        Time above 1.6 bar and the allowance for the 6 m stop. [min]
    highest_oxygen_bar : float
        Highest oxygen pressure of the dive. [bar]
    warnings : tuple of str
        What has to be said beside the numbers.
    """

    single_fraction: float
    day_fraction: float
    minutes_above_table: float
    highest_oxygen_bar: float
    warnings: tuple[str, ...]


def limit_min(oxygen_bar: float, kind: LimitKind = LimitKind.SINGLE) -> float | None:
    """Minutes allowed at an oxygen pressure.

    Parameters
    ----------
    oxygen_bar : float
        0 to 5; taken as the table's atmospheres. [bar]
    kind : LimitKind
        Single exposure or 24 hours.

    Returns
    -------
    float or None
        The row's minutes, or on the straight line between two rows; the first row's from 0.5 to 0.6. None at 0.5 and
        below (nothing is counted) and above 1.62 (nothing is published). [min]

    Raises
    ------
    DomainError
        If the pressure lies outside its range.

    Examples
    --------
    >>> limit_min(1.3), limit_min(1.25), limit_min(1.7)
    (180.0, 195.0, None)

    References
    ----------
    .. [1] NOAA Diving Manual, oxygen exposure limits; in later editions table 15-1, after Butler and Thalmann (1986).
    """
    require_between("oxygen_bar", oxygen_bar, 0.0, HIGHEST_OXYGEN_BAR, "bar")
    if oxygen_bar <= COUNTS_FROM_BAR or oxygen_bar > TABLE_ENDS_BAR + STOP_ALLOWANCE_BAR:
        return None
    return _limit(oxygen_bar, LIMITS_MIN[kind])


def nervous_system_exposure(
    segments: Iterable[OxygenSegment], *, carried_single_fraction: float = 0.0, carried_day_fraction: float = 0.0
) -> NervousSystemExposure:
    """Sum of time over limit along a dive, exact for pressures that change evenly.

    What was carried in (0 to 10) is added as it is; `decayed_fraction` tells what is left of a share. The day's share
    has no decay: it is everything of the last 24 hours.
    """
    require_between("carried_single_fraction", carried_single_fraction, 0.0, 10.0)
    require_between("carried_day_fraction", carried_day_fraction, 0.0, 10.0)
    dive = tuple(segments)
    shares = {
        kind: math.fsum(_share(segment, LIMITS_MIN[kind]) for segment in dive if segment.duration_min > 0.0)
        for kind in LimitKind
    }
    above = math.fsum(
        segment.minutes_between(TABLE_ENDS_BAR + STOP_ALLOWANCE_BAR, HIGHEST_OXYGEN_BAR) for segment in dive
    )
    highest = max((segment.high_bar for segment in dive), default=0.0)
    single = carried_single_fraction + shares[LimitKind.SINGLE]
    day = carried_day_fraction + shares[LimitKind.DAY]
    return NervousSystemExposure(
        single_fraction=single,
        day_fraction=day,
        minutes_above_table=above,
        highest_oxygen_bar=highest,
        warnings=_warnings(single, day, above, highest),
    )


def decayed_fraction(
    single_fraction: float, surface_interval_min: float, half_time_min: float = DECAY_HALF_TIME_MIN
) -> float:
    """What is left of a share of the single limit after time in air: halved with each half time (1 to 1000 min)."""
    require_between("single_fraction", single_fraction, 0.0, 100.0)
    require_between("surface_interval_min", surface_interval_min, 0.0, 1e6, "min")
    require_above("half_time_min", half_time_min, 0.0, 1000.0, "min")
    return float(single_fraction * 0.5 ** (surface_interval_min / half_time_min))


def _limit(oxygen_bar: float, table: Mapping[float, float]) -> float:
    """Minutes on the line through the rows, held at both ends."""
    if oxygen_bar >= TABLE_ENDS_BAR:
        return table[TABLE_ENDS_BAR]
    for (low, low_min), (high, high_min) in pairwise(table.items()):
        if oxygen_bar == low:
            return low_min
        if low < oxygen_bar < high:
            return low_min + (high_min - low_min) * (oxygen_bar - low) / (high - low)
    return next(iter(table.values()))


def _share(segment: OxygenSegment, table: Mapping[float, float]) -> float:
    """Integral of dt / limit. Between two rows the limit is a line in p, so a stretch of it gives a logarithm."""
    if segment.high_bar == segment.low_bar:
        if segment.high_bar <= COUNTS_FROM_BAR:
            return 0.0
        return segment.duration_min / _limit(segment.high_bar, table)
    marks = (COUNTS_FROM_BAR, *table, HIGHEST_OXYGEN_BAR)
    parts = []
    for low, high in pairwise(marks):
        minutes = segment.minutes_between(low, high)
        if minutes <= 0.0:
            continue
        first = _limit(max(low, segment.low_bar), table)
        last = _limit(min(high, segment.high_bar), table)
        if abs(first - last) <= 1e-9 * first:
            parts.append(minutes / first)
        else:
            parts.append(minutes * math.log(first / last) / (first - last))
    return math.fsum(parts)


def _warnings(single: float, day: float, above_min: float, highest_bar: float) -> tuple[str, ...]:
    said = []
    if above_min > 0.0:
        said.append(
            f"Above 1.6 bar of oxygen for {above_min:.1f} min, up to {highest_bar:.2f}: no limit for a working dive is "
            "published there. A convulsion may come without warning, and under water it drowns. The share is counted "
            "as at 1.6 and is too small"
        )
    elif highest_bar > 1.4:
        said.append(
            f"Oxygen up to {highest_bar:.2f} bar: above 1.4 the risk for the nervous system grows, with work, cold and "
            "carbon dioxide more than with time"
        )
    if single > 1.0:
        said.append(f"The single-exposure limit is exceeded: {100 * single:.0f} %")
    if day > 1.0:
        said.append(f"The limit of 24 hours is exceeded: {100 * day:.0f} %")
    return tuple(said)
