"""Oxygen dose of the lungs as unit pulmonary toxicity dose (UPTD), which training texts also call OTU.

A dose is only a number together with its method, because medical guidance now proposes another index in its place
(equivalent surface oxygen time, DMAC 35). That one is not computed here: its formula was not at hand in a source.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from loopworthy.science.checks import require_between
from loopworthy.science.exposure.segments import HIGHEST_OXYGEN_BAR, OxygenSegment
from loopworthy.vocabulary.errors import InputError

METHOD = "UPTD, exponent 5/6"

THRESHOLD_BAR = 0.5
EXPONENT = 5.0 / 6.0
"""Some texts print 0.83; it is 0.3 % less at 1.6."""

DAY_LIMIT_UPTD = 850.0
"""In 24 hours, for a single day. Hamilton, Kenyon, Peterson (1988), as quoted."""

REPEX_DAY_AVERAGE_UPTD: Mapping[int, float] = MappingProxyType(
    dict(
        zip(
            range(1, 15),
            (850.0, 700.0, 620.0, 525.0, 460.0, 420.0, 380.0, 350.0, 330.0, 310.0, 300.0, 300.0, 300.0, 300.0),
            strict=True,
        )
    )
)
"""Average of a day by number of days; 300 from the 11th on. All but the first from memory: confirm in the report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LungDose:
    """Dose with its method's name, the limit of one day beside it, and what has to be said."""

    uptd: float
    method: str
    day_limit_uptd: float
    warnings: tuple[str, ...]


def uptd_per_min(oxygen_bar: float) -> float:
    """Dose of one minute at an oxygen pressure.

    Parameters
    ----------
    oxygen_bar : float
        0 to 5; taken as the formula's atmospheres. [bar]

    Returns
    -------
    float
        ((p - 0.5) / 0.5)^(5/6); 0 at 0.5 bar and below. [1/min]

    Raises
    ------
    DomainError
        If the pressure lies outside its range.

    Examples
    --------
    >>> [round(uptd_per_min(p), 3) for p in (0.5, 1.0, 1.3)]
    [0.0, 1.0, 1.479]

    References
    ----------
    .. [1] A. L. Harabin et al., "Predicting pulmonary O2 toxicity: a new look at the unit pulmonary toxicity dose",
       NMRI 86-52, 1986, which re-examines the formula.
    """
    require_between("oxygen_bar", oxygen_bar, 0.0, HIGHEST_OXYGEN_BAR, "bar")
    if oxygen_bar <= THRESHOLD_BAR:
        return 0.0
    return float(((oxygen_bar - THRESHOLD_BAR) / THRESHOLD_BAR) ** EXPONENT)


def lung_dose(
    segments: Iterable[OxygenSegment], *, carried_uptd: float = 0.0, day_limit_uptd: float = DAY_LIMIT_UPTD
) -> LungDose:
    """Dose along a dive and what was carried in (0 to 10 000), exact for pressures that change evenly."""
    require_between("carried_uptd", carried_uptd, 0.0, 10_000.0)
    require_between("day_limit_uptd", day_limit_uptd, 1.0, 2000.0)
    dose = carried_uptd + math.fsum(_dose(segment) for segment in segments)
    said: tuple[str, ...] = ()
    if dose > day_limit_uptd:
        said = (f"{dose:.0f} {METHOD} are above the limit of {day_limit_uptd:.0f} for a day",)
    return LungDose(uptd=dose, method=METHOD, day_limit_uptd=day_limit_uptd, warnings=said)


def repex_day_average_uptd(days: int) -> float:
    """Average dose of a day that the Repex procedures allow over so many days, 1 or more; mostly from memory."""
    if days < 1:
        raise InputError("days", days, "1 or more")
    return REPEX_DAY_AVERAGE_UPTD.get(days, 300.0)


def _dose(segment: OxygenSegment) -> float:
    """Integral of the rate over an even change: the antiderivative is 0.5 x^(m+1) / (m+1) in the scaled pressure x."""
    span = segment.high_bar - segment.low_bar
    if span <= 1e-9:  # an even change over nothing would be a difference of equals
        return segment.duration_min * uptd_per_min(segment.high_bar)
    high = max(0.0, segment.high_bar / THRESHOLD_BAR - 1.0) ** (EXPONENT + 1.0)
    low = max(0.0, segment.low_bar / THRESHOLD_BAR - 1.0) ** (EXPONENT + 1.0)
    return float(segment.duration_min / span * THRESHOLD_BAR / (EXPONENT + 1.0) * (high - low))
