"""Numbers that stand beside each other add up, and none is told on the other side of its limit.

The addition that is checked here is that of decimals as a reader would do it with pencil and paper.
"""

from __future__ import annotations

from decimal import Decimal

from hypothesis import example, given
from hypothesis import strategies as st

from loopworthy.doors.quantities import plain, plain_margin
from loopworthy.judgement.catalogue.model import Limit, Origin, Rule, Tighter
from loopworthy.judgement.limits import EffectiveLimit
from loopworthy.judgement.outcome import rounded
from loopworthy.judgement.told import MOST_PLACES, told_difference, told_margin, told_value


def limit_of(value: str, tighter: Tighter = Tighter.LOWER) -> EffectiveLimit:
    """A limit of this value."""
    limit = Limit(
        id="C06.tolerance", rule=Rule.JUDGE, on="", of="", value=value, unit="mV", guard="", tighter=tighter,
        origin=Origin.COMMON_PRACTICE, source="",
    )  # fmt: skip
    return EffectiveLimit(limit=limit, value=value, origin=limit.origin, source="", confirmed=True)


tenths = st.integers(0, 900).map(lambda one: Decimal(one) / 10)
hundredths = st.integers(0, 9000).map(lambda one: Decimal(one) / 100)
tolerances = st.sampled_from(["0.5", "1.5", "2", "2.0", "3", "0.05"])


@example(Decimal("46.7"), 50.346, "2")  # told as -3.6 against 2, and 1.65 outside, before numbers were made to add up
@example(Decimal("46.7"), 48.70001, "2")
@example(Decimal("46.7"), 48.7, "2")
@example(Decimal("46.7"), 48.6999996, "2")
@given(tenths | hundredths, st.floats(0.1, 90), tolerances)
def test_reading_expectation_difference_limit_and_margin_add_up_as_told(
    reading: Decimal, expected: float, tolerance: str
) -> None:
    limit = limit_of(tolerance)
    told = told_difference(reading, expected, limit, places=1)
    shown = Decimal(f"{told.expected:f}"), Decimal(f"{told.difference:+f}")
    margin = Decimal(plain(abs(told.margin), MOST_PLACES))
    assert reading - shown[0] == shown[1]
    true_margin = limit.decimal - abs(reading - rounded(expected))
    assert Decimal(tolerance) - abs(shown[1]) == (margin if told.margin >= 0 else -margin)
    assert (told.margin > 0, told.margin < 0) == (true_margin > 0, true_margin < 0)
    assert abs(told.margin - true_margin) <= Decimal("0.05")


@given(st.floats(-500, 500), st.sampled_from(["10", "5", "2.5"]), st.sampled_from(list(Tighter)), st.integers(0, 3))
def test_a_computed_value_is_told_on_its_own_side_of_its_limit(
    value: float, text: str, tighter: Tighter, places: int
) -> None:
    limit, exact = limit_of(text, tighter), rounded(value)
    told = told_value(exact, limit, places=places)
    assert (told > limit.decimal, told < limit.decimal) == (exact > limit.decimal, exact < limit.decimal)
    assert abs(told - exact) <= Decimal(1).scaleb(-places) / 2
    assert (told_margin(told, limit) < 0) == (told_margin(exact, limit) < 0)
    assert abs(told_margin(told, limit)) == abs(told - limit.decimal)


@given(st.decimals(min_value=-1000, max_value=1000, allow_nan=False, places=6), st.integers(1, 3))
def test_a_margin_that_is_something_is_never_told_as_nothing(margin: Decimal, places: int) -> None:
    assert (Decimal(plain_margin(margin, places)) == 0) == (margin == 0)
