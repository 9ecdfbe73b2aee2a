"""Where does settling end? After drawing down or inflating, the gas finds its temperature and the soft parts give way.

The rule: settling has ended at the first sample from which the trace is straight for a whole hold. Straight means that
the two halves of the hold change alike, to within what noise, the limit and an ordinary leak allow.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.loop.trace import PressureSample, Stretch, measure_stretch

LIMIT_SHARE = 0.05
"""The halves may differ by this share of the limit: 0.5 mbar of 10."""

LOSS_SHARE = 0.1
"""And by this share of the loss, because a leak slows down as pressure goes: one that takes a third of it does so."""

NOISE_FACTOR = 2.0
"""And by twice what noise alone would make them differ."""

HOLD_SLACK = 0.01
"""A hold that is one per cent short still counts: loggers stop at 59.9 s."""

MOST_CANDIDATES = 240
"""Long traces are searched at this many moments; the error in the end of settling is below 0.5 % of the trace."""

SUSTAINED_SHARE = (0.3, 1.25)
"""A loss goes on, rather than settles, when the second half of a hold loses this much of what the first half did."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """The hold that a test rests on.

    Attributes
    ----------
    first, last : int
        Indices of its first sample, and one past its last.
    stretch : Stretch
        What the samples between show.
    settled : bool
        Whether a straight hold was found; if not, this is the last hold of the trace, or the whole of a short one.
    seen : bool
        Whether settling could be seen at all; two readings cannot show it.
    long_enough : bool
        Whether the trace holds a whole hold.
    """

    first: int
    last: int
    stretch: Stretch
    settled: bool
    seen: bool
    long_enough: bool


def find_settled_hold(
    samples: Sequence[PressureSample], *, hold_s: float, limit_mbar: float, step_mbar: float
) -> Settling:
    """Find the first hold of a trace after settling.

    Parameters
    ----------
    samples : sequence of PressureSample
        Two or more, times rising.
    hold_s : float
        Length of the hold. [s]
    limit_mbar : float
        Largest loss allowed in it. [mbar]
    step_mbar : float
        Smallest step of the gauge. [mbar]

    Returns
    -------
    Settling
        The hold, and whether it is settled.

    Notes
    -----
    For each candidate a hold is cut out and lines are fitted to its two halves. With *bend* the difference of their
    changes, the hold is straight when bend <= max(5 % of the limit, 10 % of the loss, 2 standard errors of the bend).
    What is left of a settling that dies away as A exp(-t/tau), tau well below the hold, shows as a bend of A, so that
    on a quiet trace settling ends when 5 % of the limit is left of it.
    """
    windows = hold_windows(samples, hold_s)
    if not windows:
        whole = measure_stretch(samples, step_mbar)
        return Settling(
            first=0, last=len(samples), stretch=whole, settled=False, seen=whole.samples > 2, long_enough=False
        )
    for first, last in windows:
        stretch = measure_stretch(samples[first:last], step_mbar)
        if is_straight(stretch, hold_s, limit_mbar):
            seen = stretch.first_half_slope_mbar_per_s is not None
            return Settling(first=first, last=last, stretch=stretch, settled=True, seen=seen, long_enough=True)
    return Settling(first=first, last=last, stretch=stretch, settled=False, seen=True, long_enough=True)


def is_straight(stretch: Stretch, hold_s: float, limit_mbar: float) -> bool:
    """Whether the two halves of a hold change alike."""
    loss_mbar = abs(stretch.slope_mbar_per_s) * hold_s
    noise_mbar = stretch.half_slope_uncertainty_mbar_per_s * hold_s / 2.0
    allowed_mbar = max(LIMIT_SHARE * limit_mbar, LOSS_SHARE * loss_mbar, NOISE_FACTOR * noise_mbar)
    return stretch.bend_mbar(hold_s) <= allowed_mbar


def hold_windows(samples: Sequence[PressureSample], hold_s: float) -> list[tuple[int, int]]:
    """Where whole holds lie in a trace: first index and one past the last, earliest first, at most 240 of them.

    A hold ends with the first sample at or after its length, so that sparse samples still span it.
    """
    needed_s = hold_s * (1.0 - HOLD_SLACK)
    windows = []
    last = 0
    for first, sample in enumerate(samples):
        while last < len(samples) and samples[last].time_s < sample.time_s + needed_s:
            last += 1
        if last == len(samples):
            break
        windows.append((first, last + 1))
    stride = -(-len(windows) // MOST_CANDIDATES) if windows else 1
    chosen = windows[::stride]
    if windows and chosen[-1] != windows[-1]:
        chosen.append(windows[-1])
    return chosen


def sustained_loss_mbar(stretch: Stretch, hold_s: float, sign: float) -> float | None:
    """Loss of a hold at the pace of its second half, if it goes on instead of dying away like settling. [mbar]"""
    first, second = stretch.first_half_slope_mbar_per_s, stretch.second_half_slope_mbar_per_s
    if first is None or second is None:
        return None
    first_loss, second_loss = -sign * first, -sign * second
    lowest, highest = SUSTAINED_SHARE
    if first_loss <= 0.0 or not lowest * first_loss <= second_loss <= highest * first_loss:
        return None
    return second_loss * hold_s
