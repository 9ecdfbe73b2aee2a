"""A loss above the limit that went on before the hold, where settling alone would have died away.

A loop that leaks fast is down at low pressure by the time its trace looks straight, and loses little there. Looking
only at the settled hold would let it off.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import is_above
from loopworthy.science.loop.loss import BEND, HoldSetting, measure_loss
from loopworthy.science.loop.settling import Settling, hold_windows, sustained_loss_mbar
from loopworthy.science.loop.trace import PressureSample, Stretch, measure_stretch
from loopworthy.science.uncertainty import COVERAGE_FACTOR, expanded_uncertainty

SAME_LEAK_SHARE = 0.5
"""A leak is driven by the pressure, so at less pressure it loses less in proportion: at least half of it must show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlyLoss:
    """A loss for the hold time before the settled hold, and whether that hold shows the same leak going on. [mbar]"""

    loss_mbar: float
    goes_on: bool


def find_early_loss(samples: Sequence[PressureSample], settling: Settling, setting: HoldSetting) -> EarlyLoss | None:
    """The first loss clearly above the limit that went on, before the settled hold; none if there is none.

    A trace shorter than the hold is judged by what was really lost in it. In a longer one every hold before the
    settled one is looked at, at the pace of its second half, so that settling is not taken for a leak. Pressure let off
    by hand looks the same, but then the settled hold does not go on losing.
    """
    if not settling.long_enough:
        return _loss_of_a_short_trace(samples, settling, setting)
    for first, last in hold_windows(samples, setting.hold_s):
        if first > settling.first or (settling.settled and first == settling.first):
            break
        stretch = measure_stretch(samples[first:last], setting.step_mbar)
        pace_mbar = sustained_loss_mbar(stretch, setting.hold_s, setting.kind.sign)
        if pace_mbar is None:
            continue
        loss = measure_loss(stretch, samples[first:last], setting)
        lost_mbar = pace_mbar - (loss.part_mbar or 0.0)
        # A slowing leak bends, but the pace is that of the second half alone, so the bend is no doubt about it; the
        # noise of a half is.
        known_mbar = math.hypot(
            expanded_uncertainty(tuple(line for line in loss.terms if line.name != BEND)),
            COVERAGE_FACTOR * stretch.half_slope_uncertainty_mbar_per_s * setting.hold_s,
        )
        if is_above(lost_mbar, setting.limit_mbar + known_mbar):
            return EarlyLoss(
                loss_mbar=lost_mbar,
                goes_on=not settling.settled or _is_same_leak(stretch, settling.stretch, setting),
            )
    return None


def _loss_of_a_short_trace(
    samples: Sequence[PressureSample], settling: Settling, setting: HoldSetting
) -> EarlyLoss | None:
    loss = measure_loss(settling.stretch, samples, setting)
    lost_mbar = loss.deciding_mbar * (samples[-1].time_s - samples[0].time_s) / setting.hold_s
    dies_away = settling.seen and sustained_loss_mbar(settling.stretch, setting.hold_s, setting.kind.sign) is None
    if dies_away or not is_above(lost_mbar, setting.limit_mbar + loss.uncertainty_mbar):
        return None
    return EarlyLoss(loss_mbar=lost_mbar, goes_on=True)


def _is_same_leak(early: Stretch, settled: Stretch, setting: HoldSetting) -> bool:
    """Whether the settled hold loses, in proportion to its pressure, at least half of what the early one did."""
    early_slope = early.second_half_slope_mbar_per_s or early.slope_mbar_per_s
    early_gauge = early.start_gauge_mbar + 0.75 * setting.hold_s * early.slope_mbar_per_s
    settled_gauge = settled.start_gauge_mbar + 0.5 * setting.hold_s * settled.slope_mbar_per_s
    # Both slopes point towards ambient where they are losses, and the gauges have the sign of the test.
    sign = setting.kind.sign
    lost_early, lost_settled = -sign * early_slope, -sign * settled.slope_mbar_per_s
    return lost_settled * abs(early_gauge) >= SAME_LEAK_SHARE * lost_early * abs(settled_gauge)
