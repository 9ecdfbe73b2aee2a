"""Budgets and the guard band."""

from __future__ import annotations

import pytest

from loopworthy.science.uncertainty import (
    Decision,
    combined_standard_uncertainty,
    decide,
    expanded_uncertainty,
    resolution_uncertainty,
    term,
)


def test_contributions_add_as_squares_and_expand_twofold() -> None:
    terms = (term("a", "mV", 0.3, -10.0), term("b", "K", 2.0, 2.0))
    assert [line.contribution for line in terms] == [3.0, 4.0]
    assert combined_standard_uncertainty(terms) == pytest.approx(5.0)
    assert expanded_uncertainty(terms) == pytest.approx(10.0)


def test_a_step_of_a_display_is_a_rectangle() -> None:
    # GUM F.2.2.1: u = 0.29 of the step.
    assert resolution_uncertainty(1.0) == pytest.approx(0.288675, abs=1e-6)


@pytest.mark.parametrize(
    ("difference", "decision"),
    [
        (0.0, Decision.INSIDE),
        (1.6, Decision.INSIDE),
        (-1.6, Decision.INSIDE),
        (1.61, Decision.NEAR_LIMIT),
        (-2.0, Decision.NEAR_LIMIT),
        (2.4, Decision.NEAR_LIMIT),
        (2.41, Decision.OUTSIDE),
        (-2.41, Decision.OUTSIDE),
    ],
)
def test_the_guard_band_lies_on_both_sides_of_the_tolerance(difference: float, decision: Decision) -> None:
    assert decide(difference, 2.0, 0.4) is decision


def test_nothing_is_inside_when_the_uncertainty_exceeds_the_tolerance() -> None:
    assert decide(0.0, 2.0, 2.1) is Decision.NEAR_LIMIT
    assert decide(4.2, 2.0, 2.1) is Decision.OUTSIDE
