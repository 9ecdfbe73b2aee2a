"""Pressure tests: answers, obstacles and refusals. The traces are invented."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Any

import pytest

from loopworthy.science.loop.leak import leak_rate, volume_of_a_millibar_ml
from loopworthy.science.loop.loss import TemperatureEffect
from loopworthy.science.loop.pressure_test import PressureTest, PressureTestAnswer, assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind
from loopworthy.vocabulary.errors import DomainError, InputError

NEGATIVE, POSITIVE = PressureTestKind.NEGATIVE, PressureTestKind.POSITIVE
HOLDS, FAILS, CANNOT_TELL = PressureTestAnswer.HOLDS, PressureTestAnswer.FAILS, PressureTestAnswer.CANNOT_TELL


def _assess(kind: PressureTestKind, samples: list[PressureSample], **changes: Any) -> PressureTest:
    arguments: dict[str, Any] = {"ambient_pressure_mbar": 1013.0, "limit_mbar": 10.0, "hold_s": 60.0}
    return assess_pressure_test(kind=kind, samples=samples, **(arguments | changes))


def _two(start: float, end: float, start_c: float | None = None, end_c: float | None = None) -> list[PressureSample]:
    return [
        PressureSample(time_s=0, gauge_mbar=start, temperature_c=start_c),
        PressureSample(time_s=60, gauge_mbar=end, temperature_c=end_c),
    ]


def _trace(
    gauge: Callable[[float], float], length_s: float, interval_s: float = 1.0, noise_mbar: float = 0.0
) -> list[PressureSample]:
    chance = random.Random(5)
    return [
        PressureSample(
            time_s=step * interval_s,
            gauge_mbar=round(gauge(step * interval_s) + (chance.gauss(0.0, noise_mbar) if noise_mbar else 0.0), 2),
        )
        for step in range(round(length_s / interval_s) + 1)
    ]


# --- answers ---------------------------------------------------------------------------------------------------------


def test_six_millibars_in_a_minute_hold_in_a_negative_test() -> None:
    test = _assess(NEGATIVE, _two(-40.0, -34.0))
    assert test.loss_mbar == pytest.approx(6.0)
    assert test.answer is HOLDS
    assert test.common_rule.answer is HOLDS


def test_fourteen_millibars_fail_both_ways() -> None:
    assert _assess(NEGATIVE, _two(-40.0, -26.0)).answer is FAILS
    assert _assess(POSITIVE, _two(30.0, 16.0)).answer is FAILS


def test_a_loss_at_the_limit_cannot_be_told() -> None:
    test = _assess(NEGATIVE, _two(-40.0, -30.0))
    assert test.answer is CANNOT_TELL
    assert "too near the limit" in test.reasons[0]


def test_the_loss_is_stated_for_the_hold_whatever_the_trace_is() -> None:
    long = [PressureSample(time_s=0, gauge_mbar=-40.0), PressureSample(time_s=180, gauge_mbar=-34.0)]
    assert _assess(NEGATIVE, long).loss_mbar == pytest.approx(2.0)
    assert _assess(NEGATIVE, _two(-40.0, -34.0), hold_s=30.0).loss_mbar == pytest.approx(3.0)


def test_the_common_rule_is_shown_for_its_own_minute_and_limit() -> None:
    test = _assess(NEGATIVE, _two(-40.0, -34.0), hold_s=30.0, limit_mbar=2.0)
    assert test.answer is FAILS
    assert test.common_rule.loss_mbar == pytest.approx(6.0)
    assert (test.common_rule.limit_mbar, test.common_rule.hold_s) == (10.0, 60.0)
    assert test.common_rule.answer is HOLDS


# --- temperature -----------------------------------------------------------------------------------------------------


def test_cooling_looks_like_a_leak_in_the_positive_test() -> None:
    test = _assess(POSITIVE, _two(30.0, 18.0, 22.0, 20.3), loop_volume_l=6.0)
    assert test.common_rule.answer is FAILS
    assert test.temperature_effect is TemperatureEffect.CORRECTED
    assert test.temperature_part_mbar == pytest.approx(1043 * 1.7 / 295.15, abs=0.01)
    assert test.answer is HOLDS


def test_warming_hides_a_leak_in_the_positive_test() -> None:
    test = _assess(POSITIVE, _two(30.0, 25.0, 20.0, 22.4), loop_volume_l=6.0)
    assert test.common_rule.answer is HOLDS
    assert test.corrected_loss_mbar == pytest.approx(5.0 + 1043 * 2.4 / 293.15, abs=0.01)
    assert test.answer is FAILS


def test_in_the_negative_test_it_is_the_other_way_round() -> None:
    warmed = _assess(NEGATIVE, _two(-40.0, -28.0, 20.3, 22.0), loop_volume_l=6.0)
    assert warmed.common_rule.answer is FAILS
    assert warmed.answer is HOLDS
    cooled = _assess(NEGATIVE, _two(-40.0, -35.0, 22.4, 20.0), loop_volume_l=6.0)
    assert cooled.common_rule.answer is HOLDS
    assert cooled.answer is FAILS


def test_a_soft_loop_gets_the_smaller_correction_and_no_excuse() -> None:
    rigid = _assess(POSITIVE, _two(30.0, 18.0, 22.0, 20.3), loop_volume_l=6.0)
    soft = _assess(POSITIVE, _two(30.0, 18.0, 22.0, 20.3), loop_volume_l=6.0, compliance_ml_per_mbar=25.0)
    assert rigid.taken_as_rigid
    assert not soft.taken_as_rigid
    assert soft.corrected_loss_mbar == pytest.approx(12.0 - 6000 * 1.7 / 295.15 / 25.0, abs=0.01)
    assert (rigid.answer, soft.answer) == (HOLDS, CANNOT_TELL)


def test_without_temperature_its_effect_is_named_as_unknown() -> None:
    test = _assess(POSITIVE, _two(30.0, 26.0), loop_volume_l=6.0)
    assert test.temperature_effect is TemperatureEffect.UNKNOWN
    assert test.corrected_loss_mbar is None
    assert any("its effect is unknown" in reason and "3.6 mbar" in reason for reason in test.reasons)
    assert test.leak_ml_per_min == pytest.approx(6000 / 1013 * 4.0)


def test_without_the_volume_nothing_is_corrected_and_the_doubt_grows_with_the_change() -> None:
    still = _assess(POSITIVE, _two(30.0, 25.0, 20.0, 20.0))
    moved = _assess(POSITIVE, _two(30.0, 25.0, 20.0, 22.0))
    assert moved.temperature_effect is TemperatureEffect.BOUNDED
    assert moved.corrected_loss_mbar is None
    assert moved.leak_ml_per_min is None
    assert moved.uncertainty_mbar > still.uncertainty_mbar + 6.0
    assert moved.answer is CANNOT_TELL


def test_temperature_read_at_one_end_only_is_not_read() -> None:
    test = _assess(POSITIVE, _two(30.0, 26.0, 20.0, None), loop_volume_l=6.0)
    assert test.temperature_effect is TemperatureEffect.UNKNOWN


def test_a_thermometer_of_whole_degrees_is_known_to_half_of_one() -> None:
    whole = _assess(POSITIVE, _two(30.0, 26.0, 21.0, 20.0), loop_volume_l=6.0)
    tenths = _assess(POSITIVE, _two(30.0, 26.0, 21.1, 20.1), loop_volume_l=6.0)
    assert whole.uncertainty_mbar > 2.0 * tenths.uncertainty_mbar


# --- what cannot hold ------------------------------------------------------------------------------------------------


def test_a_test_begun_below_the_owners_start_value_cannot_hold() -> None:
    test = _assess(NEGATIVE, _two(-25.0, -24.5), start_gauge_mbar_min=40.0)
    assert test.answer is CANNOT_TELL
    assert any("below the owner's start value of 40 mbar" in reason for reason in test.reasons)


def test_a_test_begun_below_the_start_value_can_still_fail() -> None:
    assert _assess(NEGATIVE, _two(-25.0, -5.0), start_gauge_mbar_min=40.0).answer is FAILS


def test_a_test_begun_at_the_start_value_is_taken() -> None:
    assert _assess(NEGATIVE, _two(-40.0, -38.0), start_gauge_mbar_min=40.0).answer is HOLDS
    noisy = _trace(lambda t: -40.0 + t / 30.0, 90, noise_mbar=0.2)
    assert _assess(NEGATIVE, noisy, start_gauge_mbar_min=40.0).answer is HOLDS


def test_a_loop_at_eight_millibars_cannot_show_a_loss_of_ten() -> None:
    test = _assess(POSITIVE, _two(8.0, 7.5))
    assert test.answer is CANNOT_TELL
    assert test.common_rule.answer is CANNOT_TELL


def test_a_trace_shorter_than_the_hold_cannot_tell() -> None:
    short = _trace(lambda _: -40.0, 45)
    test = _assess(NEGATIVE, short)
    assert test.answer is CANNOT_TELL
    assert test.settled_from_s is None
    assert test.common_rule.answer is CANNOT_TELL


def test_a_logger_that_stops_half_a_second_early_has_held() -> None:
    assert _assess(NEGATIVE, _trace(lambda _: -40.0, 59.5, 0.5)).answer is HOLDS


def test_a_short_trace_that_lost_too_much_already_fails() -> None:
    assert _assess(NEGATIVE, _trace(lambda t: -40.0 + 0.5 * t, 40)).answer is FAILS
    quick = [PressureSample(time_s=0, gauge_mbar=-40.0), PressureSample(time_s=40, gauge_mbar=-20.0)]
    assert _assess(NEGATIVE, quick).answer is FAILS


def test_a_trace_that_never_settles_cannot_hold() -> None:
    test = _assess(NEGATIVE, _trace(lambda t: -30.0 - 9.0 * math.exp(-t / 20.0), 70))
    assert test.settled_from_s is None
    assert test.answer is CANNOT_TELL
    assert any("not settled for a whole hold" in reason for reason in test.reasons)


@pytest.mark.parametrize("length_s", [60.0, 90.0, 180.0])
@pytest.mark.parametrize("decay_s", [60.0, 120.0])
def test_a_gross_leak_fails_however_long_the_trace_goes_on(decay_s: float, length_s: float) -> None:
    leaking = _trace(lambda t: -40.0 * math.exp(-t / decay_s), length_s, noise_mbar=0.1)
    assert _assess(NEGATIVE, leaking).answer is FAILS


def test_a_loop_that_let_everything_go_is_not_tight_at_zero() -> None:
    test = _assess(NEGATIVE, _trace(lambda t: -40.0 * math.exp(-t / 8.0), 180))
    assert test.answer is not HOLDS
    assert any("at the most there were 40.0 mbar" in reason for reason in test.reasons)


def test_pressure_let_off_by_hand_before_the_hold_is_asked_about() -> None:
    let_off = _trace(lambda t: -60.0 + min(t, 45.0) * 0.6, 180)
    test = _assess(NEGATIVE, let_off)
    assert test.answer is CANNOT_TELL
    assert "let off by hand" in test.reasons[0]


def test_pressure_that_goes_the_wrong_way_proves_nothing() -> None:
    test = _assess(POSITIVE, _two(25.0, 29.0))
    assert test.answer is CANNOT_TELL
    assert "a leak may be hidden" in test.reasons[0]


def test_opening_the_loop_after_the_hold_does_not_spoil_it() -> None:
    opened = _trace(lambda t: -40.0 + t / 30.0 if t < 90 else 0.0, 100)
    assert _assess(NEGATIVE, opened).answer is HOLDS


# --- settling --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [-1.0, 1.0])
@pytest.mark.parametrize("noise_mbar", [0.0, 0.1])
@pytest.mark.parametrize("interval_s", [0.1, 0.5, 1.0, 2.0, 5.0])
@pytest.mark.parametrize(("amplitude_mbar", "time_constant_s"), [(6.0, 10.0), (3.0, 6.0), (8.0, 5.0)])
def test_the_end_of_settling_is_where_a_twentieth_of_the_limit_is_left_of_it(
    amplitude_mbar: float, time_constant_s: float, interval_s: float, noise_mbar: float, sign: float
) -> None:
    known_s = time_constant_s * math.log(amplitude_mbar / 0.5)

    def gauge(t: float) -> float:
        return sign * (36.0 + amplitude_mbar * math.exp(-t / time_constant_s) - 2.0 * t / 60.0)

    test = _assess(NEGATIVE if sign < 0 else POSITIVE, _trace(gauge, 120, interval_s, noise_mbar))
    assert test.settled_from_s is not None
    # Two samples' distance, and on noisy traces the noise allowance, which may end it where 1 mbar is left.
    early = time_constant_s * math.log(2.0) if noise_mbar else 0.0
    assert known_s - early - interval_s - 3.0 <= test.settled_from_s <= known_s + 2.0 * interval_s + 3.0
    # What is left of settling counts as loss, and noise adds what the uncertainty says.
    assert 2.0 - test.uncertainty_mbar <= test.loss_mbar <= 2.5 + test.uncertainty_mbar
    assert test.answer is HOLDS


def test_a_quiet_straight_trace_is_settled_from_its_first_sample() -> None:
    assert _assess(NEGATIVE, _trace(lambda t: -40.0 + t / 20.0, 90)).settled_from_s == 0.0


def test_drawing_down_in_the_trace_belongs_to_settling() -> None:
    test = _assess(NEGATIVE, _trace(lambda t: -40.0 * min(1.0, t / 8.0), 90))
    assert test.settled_from_s is not None
    assert 6.0 <= test.settled_from_s <= 9.0
    assert test.answer is HOLDS


def test_two_readings_say_that_settling_was_not_seen() -> None:
    test = _assess(NEGATIVE, _two(-40.0, -38.0))
    assert not test.settling_seen
    assert test.settled_from_s == 0.0
    assert any("cannot show whether the loop had settled" in reason for reason in test.reasons)


def test_three_readings_show_it() -> None:
    even = [PressureSample(time_s=t, gauge_mbar=g) for t, g in ((0, -40.0), (30, -39.0), (60, -38.0))]
    assert _assess(NEGATIVE, even).settling_seen
    bent = [PressureSample(time_s=t, gauge_mbar=g) for t, g in ((0, -40.0), (30, -35.0), (60, -35.0))]
    assert _assess(NEGATIVE, bent).answer is CANNOT_TELL


def test_uneven_sampling_finds_the_same_loss() -> None:
    times = [0, 1, 2, 7, 13, 14, 29, 41, 42, 60, 75, 90]
    uneven = [PressureSample(time_s=t, gauge_mbar=-40.0 + t / 15.0) for t in times]
    assert _assess(NEGATIVE, uneven).loss_mbar == pytest.approx(4.0, abs=0.01)


def test_a_long_fast_trace_is_judged_like_a_short_one() -> None:
    test = _assess(NEGATIVE, _trace(lambda t: -40.0 + t / 30.0, 600, 0.1, 0.1))
    assert test.loss_mbar == pytest.approx(2.0, abs=0.1)
    assert test.answer is HOLDS


# --- refusals --------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("kind", "start"), [(NEGATIVE, 40.0), (POSITIVE, -40.0)])
def test_a_gauge_on_the_wrong_side_is_refused_with_its_place(kind: PressureTestKind, start: float) -> None:
    with pytest.raises(InputError, match=r"samples\[0\].gauge_mbar must be (below|above) zero"):
        _assess(kind, _two(start, start))


def test_a_trace_in_bar_is_queried() -> None:
    with pytest.raises(InputError, match="looks like bar"):
        _assess(NEGATIVE, _two(-0.04, -0.034))


def test_times_must_rise() -> None:
    still = [PressureSample(time_s=5, gauge_mbar=-40.0), PressureSample(time_s=5, gauge_mbar=-39.0)]
    with pytest.raises(InputError, match=r"samples\[1\].time_s must be later than"):
        _assess(NEGATIVE, still)


@pytest.mark.parametrize("count", [0, 1])
def test_fewer_than_two_samples_are_no_test(count: int) -> None:
    with pytest.raises(DomainError, match="number of samples must be"):
        _assess(NEGATIVE, _two(-40.0, -39.0)[:count])


@pytest.mark.parametrize(
    ("key", "value", "words"),
    [
        ("ambient_pressure_mbar", 1.013, "looks like bar"),
        ("limit_mbar", 0.0, "limit_mbar"),
        ("limit_mbar", -10.0, "limit_mbar"),
        ("hold_s", 1.0, "looks like minutes"),
        ("hold_s", math.nan, "hold_s"),
        ("loop_volume_l", 6000.0, "looks like mL"),
        ("loop_volume_l", 0.0, "loop_volume_l"),
        ("compliance_ml_per_mbar", -1.0, "compliance_ml_per_mbar"),
        ("start_gauge_mbar_min", -40.0, "without a sign"),
        ("resolution_mbar", 0.0, "resolution_mbar"),
        ("temperature_uncertainty_k", -1.0, "temperature_uncertainty_k"),
        ("gauge_scale_uncertainty_fraction", 2.0, "gauge_scale_uncertainty_fraction"),
    ],
)
def test_an_absurd_argument_is_refused_by_name(key: str, value: float, words: str) -> None:
    with pytest.raises(DomainError, match=words):
        _assess(NEGATIVE, _two(-40.0, -39.0), **{key: value})


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"gauge_mbar": 1053.0}, "looks like an absolute pressure"),
        ({"gauge_mbar": math.nan}, "gauge_mbar"),
        ({"time_s": math.inf}, "time_s"),
        ({"temperature_c": 293.0}, "kelvin"),
    ],
)
def test_an_absurd_sample_is_refused(changes: dict[str, float], words: str) -> None:
    with pytest.raises(DomainError, match=words):
        PressureSample(**({"time_s": 0.0, "gauge_mbar": 25.0} | changes))


def test_a_compliance_below_that_of_the_gas_is_refused() -> None:
    with pytest.raises(DomainError, match=r"at least 5\.92"):
        volume_of_a_millibar_ml(1013.0, 6.0, 5.0)


@pytest.mark.parametrize(
    "changes", [{"loss_mbar": 300.0}, {"duration_s": 0.0}, {"temperature_change_k": 50.0}, {"start_gauge_mbar": 300.0}]
)
def test_an_absurd_leak_is_refused(changes: dict[str, float]) -> None:
    arguments = {
        "loss_mbar": 8.0,
        "duration_s": 60.0,
        "start_gauge_mbar": 25.0,
        "ambient_pressure_mbar": 1013.0,
        "loop_volume_l": 6.0,
        "temperature_c": 20.0,
        "temperature_change_k": 0.0,
    }
    with pytest.raises(DomainError, match=next(iter(changes))):
        leak_rate(POSITIVE, **(arguments | changes))
