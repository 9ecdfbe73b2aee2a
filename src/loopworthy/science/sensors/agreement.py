"""Do the sensors agree, and which one stands apart?

The outlier is the one farthest from the median. That is arithmetic and no proof: two sensors of one batch that are
wrong alike out-vote the good one, so the answer carries its caution and the way to the truth, a gas that is known.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import is_above, require_above, require_between, require_fraction
from loopworthy.vocabulary.errors import DomainError, InputError

CAUTION = (
    "Agreement is no proof: sensors that are wrong alike out-vote the good one. "
    "Check every sensor against a gas that is known"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorReading:
    """The oxygen pressure that one sensor shows, 0 to 5. [bar]"""

    serial: str
    oxygen_bar: float

    def __post_init__(self) -> None:
        hint = "It looks like mbar; divide by 1000" if self.oxygen_bar > 100.0 else ""
        require_between("oxygen_bar", self.oxygen_bar, 0.0, 5.0, "bar", next_step=hint)


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """Spread of the sensors and who stands apart.

    Attributes
    ----------
    median_bar, spread_bar : float
        Middle reading; highest less lowest. [bar]
    spread_fraction : float or None
        The spread over the median; none where the median is 0.
    outlier : str or None
        Serial of the one farthest from the median; none where two are equally far, or fewer than three are read.
    outlier_difference_bar : float or None
        Its reading less the median. [bar]
    agree : bool
        Whether the spread is within both limits.
    caution : str
        Why agreement does not prove that the readings are true.
    """

    median_bar: float
    spread_bar: float
    spread_fraction: float | None
    outlier: str | None
    outlier_difference_bar: float | None
    agree: bool
    caution: str


def compare_sensors(
    readings: Sequence[SensorReading], *, spread_limit_bar: float, spread_limit_fraction: float | None = None
) -> Agreement:
    """Compare what sensors show in one gas at one moment.

    Parameters
    ----------
    readings : sequence of SensorReading
        Two or more, each serial once.
    spread_limit_bar : float
        Largest spread allowed, above 0 to 1. [bar]
    spread_limit_fraction : float, optional
        Largest spread allowed over the median, above 0 to 1.

    Returns
    -------
    Agreement
        Spread, outlier and caution.

    Raises
    ------
    InputError
        If there are fewer than two readings, or a serial appears twice.
    DomainError
        If a limit lies outside its range.

    Examples
    --------
    >>> read = [SensorReading(serial=s, oxygen_bar=p) for s, p in (("A", 1.31), ("B", 1.28), ("C", 1.07))]
    >>> compare_sensors(read, spread_limit_bar=0.2).outlier
    'C'
    """
    require_serials_once([reading.serial for reading in readings], at_least=2)
    require_above("spread_limit_bar", spread_limit_bar, 0.0, 1.0, "bar")
    if spread_limit_fraction is not None:
        require_fraction("spread_limit_fraction", spread_limit_fraction, above_zero=True)
    values = [reading.oxygen_bar for reading in readings]
    median_bar = statistics.median(values)
    spread_bar = max(values) - min(values)
    spread_fraction = spread_bar / median_bar if median_bar > 0.0 else None
    agree = not is_above(spread_bar, spread_limit_bar)
    if spread_limit_fraction is not None:
        # At a median of zero there is no fraction to hold; any spread at all is then too much.
        agree = agree and not is_above(spread_bar, spread_limit_fraction * median_bar)
    outlier = _farthest(readings, median_bar)
    return Agreement(
        median_bar=median_bar,
        spread_bar=spread_bar,
        spread_fraction=spread_fraction,
        outlier=None if outlier is None else outlier.serial,
        outlier_difference_bar=None if outlier is None else outlier.oxygen_bar - median_bar,
        agree=agree,
        caution=CAUTION,
    )


def require_serials_once(serials: Sequence[str], *, at_least: int = 1) -> None:
    """Refuse an empty serial, a serial that appears twice, and too few of them."""
    if len(serials) < at_least:
        raise DomainError("number of sensors", len(serials), f"at least {at_least}")
    seen: set[str] = set()
    for serial in serials:
        if not serial.strip():
            raise InputError("serial", serial, "a name of at least one letter or digit")
        if serial in seen:
            raise InputError("serial", serial, "given once", next_step="Two sensors cannot have the same serial")
        seen.add(serial)


def _farthest(readings: Sequence[SensorReading], median_bar: float) -> SensorReading | None:
    """The reading farthest from the median, unless there are fewer than three or two are equally far."""
    if len(readings) < 3:
        return None
    ranked = sorted(readings, key=lambda reading: abs(reading.oxygen_bar - median_bar), reverse=True)
    first, second = (abs(reading.oxygen_bar - median_bar) for reading in ranked[:2])
    return ranked[0] if is_above(first, second) else None
