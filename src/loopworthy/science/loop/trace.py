"""A pressure trace of a closed loop, and what can be read from a stretch of it: line, noise, bend and step size.

Gauge pressures are signed, below zero in a negative test. The samples may be any distance apart; two readings, one at
the start and one at the end, are the shortest trace.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

from loopworthy.science.checks import require_air_temperature_c, require_between
from loopworthy.vocabulary.errors import DomainError, InputError

WRONG_SIDE_MBAR = 1.0
"""How far a gauge may stray to the wrong side of zero before the trace is refused: zero error and noise."""


class PressureTestKind(Enum):
    """Which way the loop is loaded."""

    NEGATIVE = "negative"
    POSITIVE = "positive"

    @property
    def sign(self) -> float:
        """Sign of the gauge pressure in this test."""
        return 1.0 if self is PressureTestKind.POSITIVE else -1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureSample:
    """Gauge pressure at a time, signed, -200 to 200, and the gas temperature if it was read. [s, mbar, °C]"""

    time_s: float
    gauge_mbar: float
    temperature_c: float | None = None

    def __post_init__(self) -> None:
        require_between("time_s", self.time_s, -1e9, 1e9, "s")
        hint = "It looks like an absolute pressure; take off the ambient one" if self.gauge_mbar > 400.0 else ""
        require_between("gauge_mbar", self.gauge_mbar, -200.0, 200.0, "mbar", next_step=hint)
        if self.temperature_c is not None:
            require_air_temperature_c(self.temperature_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """What one stretch of a trace shows.

    Attributes
    ----------
    start_s, start_gauge_mbar : float
        Where it begins, and the fitted line there. [s, mbar]
    slope_mbar_per_s : float
        Slope of the straight line through all samples.
    slope_uncertainty_mbar_per_s : float
        Its standard error from the noise.
    noise_mbar : float
        Scatter about the lines through the two halves. [mbar]
    first_half_slope_mbar_per_s, second_half_slope_mbar_per_s : float or None
        Slopes of the two halves; none where there are only two samples.
    half_slope_uncertainty_mbar_per_s : float
        Standard error of the difference of the two.
    samples : int
        How many samples it holds.
    """

    start_s: float
    start_gauge_mbar: float
    slope_mbar_per_s: float
    slope_uncertainty_mbar_per_s: float
    noise_mbar: float
    first_half_slope_mbar_per_s: float | None
    second_half_slope_mbar_per_s: float | None
    half_slope_uncertainty_mbar_per_s: float
    samples: int

    def bend_mbar(self, hold_s: float) -> float:
        """How much more one half of a hold changes than the other; 0 where it cannot be seen. [mbar]"""
        if self.first_half_slope_mbar_per_s is None or self.second_half_slope_mbar_per_s is None:
            return 0.0
        return abs(self.first_half_slope_mbar_per_s - self.second_half_slope_mbar_per_s) * hold_s / 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A straight line through points: mean time, mean value, slope, and the spread of the times."""

    middle_s: float
    middle_value: float
    slope: float
    squared_times: float

    def at(self, time_s: float) -> float:
        """Value of the line at a time."""
        return self.middle_value + self.slope * (time_s - self.middle_s)


def require_trace(kind: PressureTestKind, samples: Sequence[PressureSample]) -> None:
    """Refuse a trace of fewer than two samples, with times that do not rise, on the wrong side of zero, or in bar."""
    if len(samples) < 2:
        raise DomainError(
            "number of samples", len(samples), "at least 2", next_step="Give the readings at start and end of the hold"
        )
    for index, (before, after) in enumerate(pairwise(samples), start=1):
        if after.time_s <= before.time_s:
            raise InputError(f"samples[{index}].time_s", after.time_s, f"later than the one before, {before.time_s}")
    for index, sample in enumerate(samples):
        if sample.gauge_mbar * kind.sign < -WRONG_SIDE_MBAR:
            side = (
                "below zero in a negative test"
                if kind is PressureTestKind.NEGATIVE
                else "above zero in a positive test"
            )
            raise InputError(
                f"samples[{index}].gauge_mbar",
                sample.gauge_mbar,
                side,
                next_step="Gauge pressures are signed; give the other kind of test or turn the sign",
            )
    largest = max(abs(sample.gauge_mbar) for sample in samples)
    if 0.0 < largest <= 0.1:
        raise InputError(
            "samples[].gauge_mbar",
            largest,
            "a gauge pressure in mbar",
            next_step="The whole trace looks like bar; multiply by 1000",
        )


def fit_line(times_s: Sequence[float], values: Sequence[float]) -> Line:
    """Least-squares line through two or more points at different times."""
    middle_s = math.fsum(times_s) / len(times_s)
    middle_value = math.fsum(values) / len(values)
    squared_times = math.fsum((time - middle_s) ** 2 for time in times_s)
    products = math.fsum((t - middle_s) * (v - middle_value) for t, v in zip(times_s, values, strict=True))
    return Line(
        middle_s=middle_s,
        middle_value=middle_value,
        slope=products / squared_times,
        squared_times=squared_times,
    )


def measure_stretch(samples: Sequence[PressureSample], step_mbar: float) -> Stretch:
    """Line, noise and halves of a stretch of two or more samples; noise is never taken as less than the step allows."""
    times = [sample.time_s for sample in samples]
    gauges = [sample.gauge_mbar for sample in samples]
    line = fit_line(times, gauges)
    floor_mbar = step_mbar / math.sqrt(12.0)
    if len(samples) < 3:
        return Stretch(
            start_s=times[0],
            start_gauge_mbar=gauges[0],
            slope_mbar_per_s=line.slope,
            slope_uncertainty_mbar_per_s=0.0,
            noise_mbar=0.0,
            first_half_slope_mbar_per_s=None,
            second_half_slope_mbar_per_s=None,
            half_slope_uncertainty_mbar_per_s=0.0,
            samples=len(samples),
        )
    middle_s = (times[0] + times[-1]) / 2.0
    # The middle sample belongs to both halves, and each half has at least two.
    ends = max(2, sum(time <= middle_s for time in times))
    begins = min(len(times) - 2, sum(time < middle_s for time in times))
    halves = [fit_line(times[:ends], gauges[:ends]), fit_line(times[begins:], gauges[begins:])]
    squares = [(g - halves[0].at(t)) ** 2 for t, g in zip(times[:ends], gauges[:ends], strict=True)]
    squares += [(g - halves[1].at(t)) ** 2 for t, g in zip(times[begins:], gauges[begins:], strict=True)]
    freedom = len(squares) - 4
    noise_mbar = max(math.sqrt(math.fsum(squares) / freedom) if freedom > 0 else 0.0, floor_mbar)
    return Stretch(
        start_s=times[0],
        start_gauge_mbar=line.at(times[0]),
        slope_mbar_per_s=line.slope,
        slope_uncertainty_mbar_per_s=noise_mbar / math.sqrt(line.squared_times),
        noise_mbar=noise_mbar,
        first_half_slope_mbar_per_s=halves[0].slope,
        second_half_slope_mbar_per_s=halves[1].slope,
        half_slope_uncertainty_mbar_per_s=noise_mbar * math.sqrt(math.fsum(1.0 / h.squared_times for h in halves)),
        samples=len(samples),
    )


def gauge_step_mbar(samples: Sequence[PressureSample]) -> float:
    """Smallest step of the gauge as its readings show it: the last decimal written, at most 1 mbar."""
    return _last_decimal([sample.gauge_mbar for sample in samples])


def temperature_step_k(samples: Sequence[PressureSample]) -> float:
    """Smallest step of the thermometer: 1 K where it was seen to move in whole degrees, else 0.1 K."""
    values = [sample.temperature_c for sample in samples if sample.temperature_c is not None]
    moved = len(set(values)) > 1
    return 1.0 if moved and all(value == round(value) for value in values) else 0.1


def _last_decimal(values: Sequence[float]) -> float:
    """Size of the last decimal place that any of the values shows, from 1 down to 1e-6."""
    places = 0
    for value in values:
        text = f"{value:.6f}".rstrip("0")
        places = max(places, len(text) - text.index(".") - 1)
    return float(10.0**-places)
