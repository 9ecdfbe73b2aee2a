"""Has a sensor settled? The change of its reading over the last minute.

Looked at is everything that the reading did in the window, not just its two ends: a reading that went away and came
back has not settled. A steady reading may still be a wrong one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from loopworthy.science.checks import is_above, require_above, require_between
from loopworthy.vocabulary.errors import DomainError


class StabilityAnswer(Enum):
    """What a series of readings says about settling."""

    STEADY = "steady"
    CHANGING = "changing"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSample:
    """One reading of one sensor, 0 to 250 mV, at a time on any clock. [s, mV]"""

    time_s: float
    reading_mv: float

    def __post_init__(self) -> None:
        require_between("time_s", self.time_s, -1e9, 1e9, "s")
        require_between("reading_mv", self.reading_mv, 0.0, 250.0, "mV")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stability:
    """What the reading did in the window.

    Attributes
    ----------
    window_s : float
        Length of the window. [s]
    change_mv : float or None
        Last reading less the one at the start of the window, interpolated; none where the series is too short. [mV]
    range_mv : float or None
        Highest less lowest in the window; this is what is compared. [mV]
    samples : int
        How many readings lie in the window.
    answer : StabilityAnswer
        Steady, changing, or cannot tell where the series is shorter than the window.
    """

    window_s: float
    change_mv: float | None
    range_mv: float | None
    samples: int
    answer: StabilityAnswer


def assess_stability(series: Sequence[SensorSample], *, window_s: float, limit_mv: float) -> Stability:
    """Say whether a reading has settled.

    Parameters
    ----------
    series : sequence of SensorSample
        Two or more, times rising.
    window_s : float
        How far back to look from the last reading, 5 to 3600. [s]
    limit_mv : float
        Largest change that counts as steady, above 0 to 10. [mV]

    Returns
    -------
    Stability
        Change, range and answer.

    Raises
    ------
    DomainError
        If there are fewer than two samples, times do not rise, or an argument lies outside its range.
    """
    if len(series) < 2:
        raise DomainError("number of samples", len(series), "at least 2")
    for index, (before, after) in enumerate(pairwise(series), start=1):
        if after.time_s <= before.time_s:
            raise DomainError(f"samples[{index}].time_s", after.time_s, f"later than the one before, {before.time_s}")
    require_between("window_s", window_s, 5.0, 3600.0, "s")
    require_above("limit_mv", limit_mv, 0.0, 10.0, "mV")
    start_s = series[-1].time_s - window_s
    inside = [sample for sample in series if sample.time_s >= start_s]
    if is_above(series[0].time_s, start_s):
        return Stability(
            window_s=window_s,
            change_mv=None,
            range_mv=None,
            samples=len(inside),
            answer=StabilityAnswer.CANNOT_TELL,
        )
    at_start = _reading_at(series, start_s)
    values = [at_start, *(sample.reading_mv for sample in inside)]
    range_mv = max(values) - min(values)
    return Stability(
        window_s=window_s,
        change_mv=series[-1].reading_mv - at_start,
        range_mv=range_mv,
        samples=len(inside),
        answer=StabilityAnswer.CHANGING if is_above(range_mv, limit_mv) else StabilityAnswer.STEADY,
    )


def _reading_at(series: Sequence[SensorSample], time_s: float) -> float:
    """Reading at a time inside the series, on the straight line between its neighbours."""
    before = series[0]
    for after in series:
        if after.time_s >= time_s:
            span = after.time_s - before.time_s
            if span == 0.0:
                return after.reading_mv
            return before.reading_mv + (after.reading_mv - before.reading_mv) * (time_s - before.time_s) / span
        before = after
    return series[-1].reading_mv
