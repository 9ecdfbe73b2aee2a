"""Pressure tests for any trace: symmetry of the two tests, monotony, and what can never be found to hold."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.science.loop.leak import leak_rate, volume_of_a_millibar_ml
from loopworthy.science.loop.pressure_test import PressureTest, PressureTestAnswer, assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind

NEGATIVE, POSITIVE = PressureTestKind.NEGATIVE, PressureTestKind.POSITIVE
losses = st.floats(-3.0, 25.0)
starts = st.floats(26.0, 60.0)
intervals = st.sampled_from([0.5, 1.0, 3.0, 7.0, 30.0, 60.0])


def _assess(
    kind: PressureTestKind, start: float, loss: float, interval_s: float = 1.0, shift_s: float = 0.0, **changes: float
) -> PressureTest:
    samples = [
        PressureSample(
            time_s=shift_s + place * interval_s, gauge_mbar=kind.sign * (start - loss * place * interval_s / 60.0)
        )
        for place in range(math.ceil(60.0 / interval_s) + 1)
    ]
    arguments = {"ambient_pressure_mbar": 1013.0, "limit_mbar": 10.0, "hold_s": 60.0, "resolution_mbar": 0.1}
    return assess_pressure_test(kind=kind, samples=samples, **(arguments | changes))


@given(starts, losses, intervals)
def test_without_temperature_the_two_tests_are_mirror_images(start: float, loss: float, interval_s: float) -> None:
    positive, negative = (_assess(kind, start, loss, interval_s) for kind in (POSITIVE, NEGATIVE))
    assert positive.loss_mbar == pytest.approx(negative.loss_mbar, abs=1e-9)
    assert positive.uncertainty_mbar == pytest.approx(negative.uncertainty_mbar, abs=1e-9)
    assert positive.answer is negative.answer
    assert positive.start_gauge_mbar == pytest.approx(-negative.start_gauge_mbar)


@given(starts, losses, intervals)
def test_a_straight_trace_gives_its_slope_at_any_sampling(start: float, loss: float, interval_s: float) -> None:
    assert _assess(NEGATIVE, start, loss, interval_s).loss_mbar == pytest.approx(loss, abs=1e-6)


@given(starts, losses, st.floats(-1e6, 1e6))
def test_the_clock_of_the_trace_does_not_matter(start: float, loss: float, shift_s: float) -> None:
    first, second = _assess(NEGATIVE, start, loss), _assess(NEGATIVE, start, loss, shift_s=shift_s)
    assert second.loss_mbar == pytest.approx(first.loss_mbar, abs=1e-6)


@given(starts, losses, st.floats(0.01, 20.0))
def test_losing_more_never_gives_a_better_answer(start: float, loss: float, more: float) -> None:
    before, after = _assess(POSITIVE, start, loss), _assess(POSITIVE, start, min(loss + more, 26.0))
    if before.answer is PressureTestAnswer.FAILS:
        assert after.answer is PressureTestAnswer.FAILS
    if after.answer is PressureTestAnswer.HOLDS and after.loss_mbar > 0:
        # A loop that gained pressure cannot be told; otherwise less loss holds as well.
        assert before.answer is PressureTestAnswer.HOLDS or before.loss_mbar < 0


@given(starts, losses, st.floats(0.5, 30.0))
def test_a_test_below_the_start_value_never_holds(start: float, loss: float, below: float) -> None:
    test = _assess(NEGATIVE, start, loss, start_gauge_mbar_min=start + below)
    assert test.answer is not PressureTestAnswer.HOLDS


@given(starts, losses, st.floats(0.05, 5.0))
def test_a_coarser_gauge_never_makes_an_answer_firmer(start: float, loss: float, coarser: float) -> None:
    fine, coarse = _assess(NEGATIVE, start, loss), _assess(NEGATIVE, start, loss, resolution_mbar=0.1 + coarser)
    assert coarse.uncertainty_mbar > fine.uncertainty_mbar
    assert coarse.answer in (fine.answer, PressureTestAnswer.CANNOT_TELL, PressureTestAnswer.HOLDS)
    if coarse.answer is PressureTestAnswer.HOLDS:
        # Only a small gain of pressure, which a fine gauge sees and a coarse one does not, may look firmer.
        assert fine.answer is PressureTestAnswer.HOLDS or fine.loss_mbar < 0


@given(
    st.sampled_from(PressureTestKind),
    st.floats(-20, 40),
    st.floats(10, 60),
    st.floats(600, 1080),
    st.floats(0.5, 15),
    st.floats(0, 40),
    st.floats(-5, 5),
    st.floats(1.0, 10.0),
)
def test_temperature_is_taken_off_with_opposite_sign_in_the_two_tests(
    kind: PressureTestKind,
    loss: float,
    start: float,
    ambient: float,
    volume: float,
    temperature_c: float,
    change: float,
    softness: float,
) -> None:
    compliance = volume_of_a_millibar_ml(ambient, volume) * softness

    def part(kelvins: float, stiffness: float | None) -> float:
        return leak_rate(
            kind,
            loss_mbar=loss,
            duration_s=60,
            start_gauge_mbar=kind.sign * start,
            ambient_pressure_mbar=ambient,
            loop_volume_l=volume,
            temperature_c=temperature_c,
            temperature_change_k=kelvins,
            compliance_ml_per_mbar=stiffness,
        ).temperature_part_mbar

    # Cooling adds to the loss of a positive test and takes from that of a negative one.
    assert part(change, None) * kind.sign * change <= 0.0
    assert part(-change, None) == pytest.approx(-part(change, None))
    # A softer loop is moved less by temperature (a tenth of leeway for P_abs over P_amb in a stiff one).
    assert abs(part(change, compliance)) <= abs(part(change, None)) * 1.12


@given(
    st.floats(0.5, 15),
    st.floats(600, 1080),
    st.floats(288, 300),
    st.floats(-2, 2),
    st.floats(0.0, 0.02),
    st.floats(20, 60),
)
def test_the_rigid_correction_finds_the_gas_that_was_lost(
    volume: float, ambient: float, start_k: float, change: float, lost_share: float, gauge: float
) -> None:
    # Ideal gas in a rigid box, worked out with the amount of gas: n2 = n1 (1 - share), P2 = P1 (1 - share) T2 / T1.
    first = ambient + gauge
    second = first * (1.0 - lost_share) * (start_k + change) / start_k
    rate = leak_rate(
        POSITIVE,
        loss_mbar=first - second,
        duration_s=60,
        start_gauge_mbar=gauge,
        ambient_pressure_mbar=ambient,
        loop_volume_l=volume,
        temperature_c=start_k - 273.15,
        temperature_change_k=change,
    )
    truly_lost_ml = volume * 1000.0 * first * lost_share / ambient
    # Second-order terms (share times relative change of temperature) are left out.
    second_order_ml = volume * 1000.0 * first / ambient * lost_share * abs(change) / start_k
    assert rate.leak_ml_per_min == pytest.approx(truly_lost_ml, abs=second_order_ml + 1e-6)
