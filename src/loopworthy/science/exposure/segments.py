"""Stretches of a dive at an oxygen pressure that stands or changes evenly.

Descent and ascent change the pressure in a straight line, and both integrals over such a line are known in closed form,
so that a dive needs no slicing into minutes.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import require_between

HIGHEST_OXYGEN_BAR = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenSegment:
    """Minutes during which the breathed oxygen pressure goes evenly from start to end, 0 to 5 bar.

    Bars are taken as the atmospheres of the tables, which is 1.3 % on the careful side.
    """

    duration_min: float
    start_oxygen_bar: float
    end_oxygen_bar: float

    def __post_init__(self) -> None:
        require_between("duration_min", self.duration_min, 0.0, 10_000.0, "min")
        require_between("start_oxygen_bar", self.start_oxygen_bar, 0.0, HIGHEST_OXYGEN_BAR, "bar")
        require_between("end_oxygen_bar", self.end_oxygen_bar, 0.0, HIGHEST_OXYGEN_BAR, "bar")

    @property
    def low_bar(self) -> float:
        """The lower end."""
        return min(self.start_oxygen_bar, self.end_oxygen_bar)

    @property
    def high_bar(self) -> float:
        """The higher end."""
        return max(self.start_oxygen_bar, self.end_oxygen_bar)

    def minutes_between(self, low_bar: float, high_bar: float) -> float:
        """Minutes spent above `low_bar` and at most at `high_bar`."""
        if self.high_bar == self.low_bar:
            return self.duration_min if low_bar < self.low_bar <= high_bar else 0.0
        overlap = min(high_bar, self.high_bar) - max(low_bar, self.low_bar)
        return max(0.0, overlap) / (self.high_bar - self.low_bar) * self.duration_min


def steady(duration_min: float, oxygen_bar: float) -> OxygenSegment:
    """A segment at one oxygen pressure."""
    return OxygenSegment(duration_min=duration_min, start_oxygen_bar=oxygen_bar, end_oxygen_bar=oxygen_bar)
