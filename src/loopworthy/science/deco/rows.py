"""The row primitives: what is done with all thirty-two tissue pressures at once, and with the factors for a time.

A row holds sixteen nitrogen and then sixteen helium pressures [bar]. What loops over all compartments stands here and
nowhere else, so that a compiled form has these few functions to replace. A segment is ``row × factor + added``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import exp, expm1
from operator import add, gt

from loopworthy.science.deco.coefficients import COMPARTMENTS, Coefficients

Row = list[float]

_KEPT = 4096
"""How many factor rows are kept: every whole minute of long stops, and the travels of some dozens of settings."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """Factors of a travel: ``row × kept + start × from_start + end × from_end`` for inspired pressures at both ends."""

    kept: Row
    from_start: Row
    from_end: Row


@dataclass(frozen=True, slots=True)
class LimitRows:
    """Coefficients as rows of sixteen, in the order in which they are multiplied."""

    nitrogen_a: Row
    helium_a: Row
    nitrogen_b: Row
    helium_b: Row
    nitrogen_inverse_b: Row


@lru_cache(maxsize=8)
def limit_rows(chosen: Coefficients) -> LimitRows:
    """The rows of a set of coefficients."""
    return LimitRows(
        nitrogen_a=[one.a_bar for one in chosen.nitrogen],
        helium_a=[one.a_bar for one in chosen.helium],
        nitrogen_b=[one.b for one in chosen.nitrogen],
        helium_b=[one.b for one in chosen.helium],
        nitrogen_inverse_b=[1.0 / one.b for one in chosen.nitrogen],
    )


@lru_cache(maxsize=_KEPT)
def kept_after(chosen: Coefficients, minutes: float) -> Row:
    """Part of a difference that is left after a time at one pressure: exp(-k t). Rows are shared: never change one."""
    return kept_just_now(chosen, minutes)


def kept_just_now(chosen: Coefficients, minutes: float) -> Row:
    """The same for a time that will not be asked for again, as that of a continuous stop."""
    return [exp(-rate * minutes) for rate in chosen.rates_per_min]


@lru_cache(maxsize=_KEPT)
def ramp_over(chosen: Coefficients, minutes: float) -> Ramp:
    """Factors of a travel that takes this long, above 0. Rows are shared: never change one."""
    rates = chosen.rates_per_min
    # By expm1, because k t is small for slow compartments: 1 less the mean of exp(-k t) over the travel, and the rest.
    lost = [expm1(-rate * minutes) for rate in rates]
    from_end = [1.0 + one / (rate * minutes) for one, rate in zip(lost, rates, strict=True)]
    return Ramp(
        kept=[1.0 + one for one in lost],
        from_start=[-last - one for last, one in zip(from_end, lost, strict=True)],
        from_end=from_end,
    )


def forget_factors() -> None:
    """Drop every row of factors that is kept, so that a measurement starts cold."""
    kept_after.cache_clear()
    ramp_over.cache_clear()


def filled(nitrogen_bar: float, helium_bar: float) -> Row:
    """A row with the same two pressures in every compartment."""
    return [nitrogen_bar] * COMPARTMENTS + [helium_bar] * COMPARTMENTS


def added_by(ramp: Ramp, start: Row, end: Row) -> Row:
    """What a travel adds to a row, from rows of what is inspired at its ends."""
    return [
        first * at_start + last * at_end
        for first, at_start, last, at_end in zip(start, ramp.from_start, end, ramp.from_end, strict=True)
    ]


def travelled(row: Row, kept: Row, added: Row) -> Row:
    """A row after a segment."""
    return [pressure * factor + more for pressure, factor, more in zip(row, kept, added, strict=True)]


def settled(row: Row, target: Row, kept: Row) -> Row:
    """A row after a time at one pressure, where it goes towards `target`."""
    return [aim + (pressure - aim) * factor for pressure, aim, factor in zip(row, target, kept, strict=True)]


def multiplied(row: Row, other: Row) -> Row:
    """Two rows multiplied, element by element."""
    return [one * two for one, two in zip(row, other, strict=True)]


def most_on_the_way(row: Row, breathed: Row, taken: Row) -> Row:
    """The most that each compartment can hold while part `taken` of a difference to `breathed` is taken up, at most.

    Sixteen values: nitrogen and helium together. [bar]
    """
    most = [
        pressure if pressure >= aim else pressure + (aim - pressure) * part
        for pressure, aim, part in zip(row, breathed, taken, strict=True)
    ]
    return list(map(add, most, most[COMPARTMENTS:]))


def none_above(totals: Row, least: Row) -> bool:
    """Whether every compartment is within its least limit; sixteen values each."""
    return not any(map(gt, totals, least))


def least_limits(rows: LimitRows, pressure_bar: float, gradient: float) -> Row:
    """The limit of each compartment if all its gas were nitrogen: the least it can be, as helium's a is larger and its
    b smaller in every compartment. Sixteen values. [bar]"""
    fixed, slope = pressure_bar * (1.0 - gradient), pressure_bar * gradient
    return [
        fixed + gradient * a_bar + slope * inverse_b
        for a_bar, inverse_b in zip(rows.nitrogen_a, rows.nitrogen_inverse_b, strict=True)
    ]


def first_above(row: Row, least: Row, rows: LimitRows, pressure_bar: float, gradient: float) -> int:
    """The slowest compartment above its limit, or -1.

    Most rows pass by their least limits alone, which costs a fifth of the whole test. The rest is multiplied out with
    p, sum(a p) and sum(b p), so that no compartment without gas is divided by.
    """
    totals = list(map(add, row, row[COMPARTMENTS:]))
    if not any(map(gt, totals, least)):
        return -1
    fixed = pressure_bar * (1.0 - gradient)
    for index in range(COMPARTMENTS - 1, -1, -1):
        total = totals[index]
        if total > least[index]:
            helium = row[COMPARTMENTS + index]
            if helium == 0.0:
                return index
            nitrogen = row[index]
            a_sum = rows.nitrogen_a[index] * nitrogen + rows.helium_a[index] * helium
            b_sum = rows.nitrogen_b[index] * nitrogen + rows.helium_b[index] * helium
            if (total - fixed) * total * b_sum > gradient * (a_sum * b_sum + pressure_bar * total * total):
                return index
    return -1
