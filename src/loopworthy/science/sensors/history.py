"""Today's factor of a sensor beside the last ten of the same serial.

A step from the last factor is one thing, a slow decline whose every step is small another: both are looked for. The
history must be of factors (mV per bar), because millivolts alone change with the weather and the height of the place.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from loopworthy.science.checks import is_above, require_fraction
from loopworthy.science.sensors.factor import require_factor_mv_per_bar

HISTORY_LENGTH = 10


class HistoryAnswer(Enum):
    """How today's factor sits in the history of its serial."""

    NO_HISTORY = "no history"
    STEADY = "steady"
    STEP = "step"
    DRIFT = "drift"


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryComparison:
    """Today's factor against the earlier ones.

    Attributes
    ----------
    factor_mv_per_bar : float
        Today's. [mV/bar]
    compared_with : int
        How many earlier factors were used, at most ten.
    last_mv_per_bar, median_mv_per_bar : float or None
        The last one, and the median of those used. [mV/bar]
    step_fraction, difference_from_median_fraction : float or None
        Today's less each of them, over it. Negative is a decline.
    answer : HistoryAnswer
        Step, where the step is above the limit; drift, where only the difference from the median is; else steady.
    """

    factor_mv_per_bar: float
    compared_with: int
    last_mv_per_bar: float | None
    median_mv_per_bar: float | None
    step_fraction: float | None
    difference_from_median_fraction: float | None
    answer: HistoryAnswer


def compare_with_history(
    factor_mv_per_bar: float, earlier_factors_mv_per_bar: Sequence[float], *, step_limit_fraction: float
) -> HistoryComparison:
    """Compare today's factor with the last ten of the same serial.

    Parameters
    ----------
    factor_mv_per_bar : float
        Today's factor, above 5 to 250. [mV/bar]
    earlier_factors_mv_per_bar : sequence of float
        Earlier ones, oldest first; only the last ten count, none is allowed. [mV/bar]
    step_limit_fraction : float
        Largest change, up or down, that is ordinary; above 0 to 1.

    Returns
    -------
    HistoryComparison
        Step, difference from the median, and what they amount to.

    Raises
    ------
    DomainError
        If a factor or the limit lies outside its range.

    Examples
    --------
    >>> compare_with_history(48.9, [51.8, 51.4, 50.6, 50.1], step_limit_fraction=0.05).answer.value
    'steady'
    """
    require_factor_mv_per_bar(factor_mv_per_bar)
    for index, earlier in enumerate(earlier_factors_mv_per_bar):
        require_factor_mv_per_bar(earlier, f"earlier_factors_mv_per_bar[{index}]")
    require_fraction("step_limit_fraction", step_limit_fraction, above_zero=True)
    used = list(earlier_factors_mv_per_bar)[-HISTORY_LENGTH:]
    if not used:
        return HistoryComparison(
            factor_mv_per_bar=factor_mv_per_bar,
            compared_with=0,
            last_mv_per_bar=None,
            median_mv_per_bar=None,
            step_fraction=None,
            difference_from_median_fraction=None,
            answer=HistoryAnswer.NO_HISTORY,
        )
    last, median = used[-1], statistics.median(used)
    step = (factor_mv_per_bar - last) / last
    from_median = (factor_mv_per_bar - median) / median
    if is_above(abs(step), step_limit_fraction):
        answer = HistoryAnswer.STEP
    elif is_above(abs(from_median), step_limit_fraction):
        answer = HistoryAnswer.DRIFT
    else:
        answer = HistoryAnswer.STEADY
    return HistoryComparison(
        factor_mv_per_bar=factor_mv_per_bar,
        compared_with=len(used),
        last_mv_per_bar=last,
        median_mv_per_bar=median,
        step_fraction=step,
        difference_from_median_fraction=from_median,
        answer=answer,
    )
