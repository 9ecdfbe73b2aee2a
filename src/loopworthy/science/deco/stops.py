"""How long a stop has to be: the smallest time after which all sixteen compartments are within the next level's limit.

One compartment is solved at a time, the slowest that is above its limit; then all are looked at once. Every moment
before a compartment's first passing is failed by it, so the walk from one to the next ends at the smallest time that
passes for all. A compartment that cannot come within its limit ends the walk at once: there is no solution.

A compartment comes down through its limit once only: where both gases leave it falls for good; where only helium comes
in it rises first and falls then; where only nitrogen comes in it falls first and may rise again. So a time that passes
just behind one that fails is its first passing, however it was found. Newton's method finds it in few steps; where it
does not, a bracket does.
"""

from __future__ import annotations

from math import ceil, exp, inf

HORIZON_MIN = 50_000.0
"""Beyond it nothing changes any more: 2^-78 of a difference is left in the slowest compartment (635 min)."""

STEP_MIN = 1e-10
"""How closely a continuous stop is found, and the smallest step forward. [min]"""

_FEW = 12

Way = tuple[float, float, float, float, float, float, float, float, float, float, float, float]
"""One compartment on its way, and the limit that it is held against:

nitrogen's target, distance from it and rate, helium's the same [bar, bar, 1/min], a of nitrogen and helium [bar], b of
both, pressure [bar] and gradient. After a time each gas is at ``target + distance × exp(-rate × time)``.
"""


def first_passing(way: Way, start: float) -> float:
    """The smallest time from `start` on that passes, or infinity. [min]"""
    minutes = start
    for _ in range(_FEW):
        excess, slope = _excess_and_slope(way, minutes)
        if minutes == start and excess <= 0.0:
            return start
        if slope >= 0.0:
            break
        ahead = -excess / slope
        minutes += ahead
        if not start <= minutes < HORIZON_MIN:
            break
        if abs(ahead) < STEP_MIN * (1.0 + minutes):
            half = 0.5 * STEP_MIN * (1.0 + minutes)
            if _excess(way, minutes + half) <= 0.0 and (minutes - half <= start or _excess(way, minutes - half) > 0.0):
                return minutes + half
            break
    return _bracketed(way, start)


def first_whole_passing(way: Way, start: float) -> float:
    """The smallest whole minute from `start` on that passes, or infinity; `start` is whole. [min]"""
    minutes, failed = start, start - 1.0
    for _ in range(_FEW):
        excess, slope = _excess_and_slope(way, minutes)
        if excess <= 0.0:
            while minutes - 1.0 > failed and _excess(way, minutes - 1.0) <= 0.0:
                minutes -= 1.0
            return minutes
        failed = minutes
        if slope >= 0.0 or excess > -slope * HORIZON_MIN:
            break
        minutes = max(minutes + 1.0, float(ceil(minutes - excess / slope)))
    exact = _bracketed(way, start)
    while exact < inf:
        minutes = max(start + 1.0, float(ceil(exact - 2.0 * STEP_MIN * (1.0 + exact))))
        while _excess(way, minutes) > 0.0 and minutes < exact:
            minutes += 1.0
        if _excess(way, minutes) <= 0.0:
            return minutes
        # The moment of passing fell between two whole minutes, and the compartment is above its limit again.
        start, exact = minutes, _bracketed(way, minutes)
    return inf


def is_coming_down(way: Way, minutes: float) -> bool:
    """Whether the compartment fails from the beginning up to this time, by being above its limit and falling then."""
    if _excess(way, 0.0) <= 0.0:
        return False
    excess, slope = _excess_and_slope(way, minutes)
    return excess > 0.0 and slope < 0.0


def _bracketed(way: Way, start: float) -> float:
    """The smallest time after `start` that passes, or infinity, by what is known about the shape alone."""
    nitrogen_leaves, helium_leaves = way[1] > 0.0, way[4] > 0.0
    if not nitrogen_leaves and not helium_leaves:
        return inf
    if _excess(way, HORIZON_MIN) <= 0.0:
        step = 1.0
        while start + step < HORIZON_MIN and _excess(way, start + step) > 0.0:
            step *= 2.0
        upper = min(start + step, HORIZON_MIN)
    elif helium_leaves and way[1] < 0.0:
        upper = _lowest_point(way, start)
        if _excess(way, upper) > 0.0:
            return inf
    else:
        return inf
    lower = start
    while upper - lower > STEP_MIN * (1.0 + lower):
        middle = (lower + upper) / 2.0
        if _excess(way, middle) > 0.0:
            lower = middle
        else:
            upper = middle
    return upper


def _lowest_point(way: Way, start: float) -> float:
    """Where the excess is least, helium leaving and nitrogen coming in. [min]"""
    if _excess_and_slope(way, start)[1] >= 0.0:
        return start
    low, step = start, 1.0
    while start + step < HORIZON_MIN and _excess_and_slope(way, start + step)[1] < 0.0:
        low = start + step
        step *= 2.0
    high = start + step
    while high - low > STEP_MIN * (1.0 + low):
        middle = (low + high) / 2.0
        if _excess_and_slope(way, middle)[1] < 0.0:
            low = middle
        else:
            high = middle
    return low


def _excess(way: Way, minutes: float) -> float:
    """Pressure above the limit after a time. [bar]"""
    (
        nitrogen_target, nitrogen_distance, nitrogen_rate, helium_target, helium_distance, helium_rate,
        nitrogen_a, helium_a, nitrogen_b, helium_b, pressure, gradient,
    ) = way  # fmt: skip
    nitrogen = nitrogen_target + nitrogen_distance * exp(-nitrogen_rate * minutes)
    helium = helium_target + helium_distance * exp(-helium_rate * minutes)
    total = nitrogen + helium
    if total <= 0.0:
        return -pressure
    a_sum = nitrogen_a * nitrogen + helium_a * helium
    b_sum = nitrogen_b * nitrogen + helium_b * helium
    return total - pressure - gradient * (a_sum / total + pressure * (total / b_sum - 1.0))


def _excess_and_slope(way: Way, minutes: float) -> tuple[float, float]:
    """Pressure above the limit after a time, and how it changes then. [bar, bar/min]"""
    (
        nitrogen_target, nitrogen_distance, nitrogen_rate, helium_target, helium_distance, helium_rate,
        nitrogen_a, helium_a, nitrogen_b, helium_b, pressure, gradient,
    ) = way  # fmt: skip
    nitrogen_left = nitrogen_distance * exp(-nitrogen_rate * minutes)
    helium_left = helium_distance * exp(-helium_rate * minutes)
    nitrogen, helium = nitrogen_target + nitrogen_left, helium_target + helium_left
    nitrogen_slope, helium_slope = -nitrogen_rate * nitrogen_left, -helium_rate * helium_left
    total, total_slope = nitrogen + helium, nitrogen_slope + helium_slope
    if total <= 0.0:
        return -pressure, total_slope
    a_mean = (nitrogen_a * nitrogen + helium_a * helium) / total
    inverse_b = total / (nitrogen_b * nitrogen + helium_b * helium)
    a_slope = (nitrogen_a * nitrogen_slope + helium_a * helium_slope - a_mean * total_slope) / total
    b_slope = nitrogen_b * nitrogen_slope + helium_b * helium_slope
    inverse_b_slope = inverse_b * (total_slope - inverse_b * b_slope) / total
    return (
        total - pressure - gradient * (a_mean + pressure * (inverse_b - 1.0)),
        total_slope - gradient * (a_slope + pressure * inverse_b_slope),
    )
