"""Negative and positive pressure tests: what a closed loop lost over the hold, how well that is known, and an answer.

The loss is positive when the loop moves towards ambient pressure and is stated for the hold time. A test shows how
tight the loop was at that pressure and moment; it finds no leak that opens only under load, at depth or when a part is
moved, and it dies when the loop is opened.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from loopworthy.science.checks import is_above, require_above, require_ambient_pressure_mbar, require_between
from loopworthy.science.loop.early_loss import find_early_loss
from loopworthy.science.loop.leak import (
    require_compliance_ml_per_mbar,
    require_loop_volume_l,
    volume_of_a_millibar_ml,
)
from loopworthy.science.loop.loss import (
    GAUGE_SCALE_UNCERTAINTY_FRACTION,
    HoldLoss,
    HoldSetting,
    TemperatureEffect,
    measure_loss,
)
from loopworthy.science.loop.settling import Settling, find_settled_hold
from loopworthy.science.loop.trace import (
    PressureSample,
    PressureTestKind,
    Stretch,
    gauge_step_mbar,
    require_trace,
    temperature_step_k,
)
from loopworthy.science.physics.units import kelvin_from_celsius
from loopworthy.science.uncertainty import UncertaintyTerm

COMMON_LIMIT_MBAR = 10.0
COMMON_HOLD_S = 60.0
"""The uncorrected rule: less than 10 mbar in 60 s. Common practice; no published basis was found for it."""


class PressureTestAnswer(Enum):
    """What a pressure test says."""

    HOLDS = "holds"
    FAILS = "fails"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class CommonRule:
    """The uncorrected rule of the trade beside the answer: no temperature, no uncertainty, no start value."""

    loss_mbar: float
    limit_mbar: float
    hold_s: float
    answer: PressureTestAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class PressureTest:
    """What a pressure test shows.

    Attributes
    ----------
    settled_from_s : float or None
        Time in the trace from which it counts as settled; none where no whole hold is settled. [s]
    settling_seen : bool
        False where readings are too few to show settling.
    start_gauge_mbar : float
        Gauge pressure at the start of the hold, signed. [mbar]
    loss_mbar : float
        Uncorrected loss for the hold time. [mbar]
    temperature_effect : TemperatureEffect
        Corrected; bounded, where the volume is not known and the largest possible effect went into the uncertainty; or
        unknown.
    temperature_change_k, temperature_part_mbar, corrected_loss_mbar : float or None
        Change over the hold, its part of the loss, and the loss without it; none where not known. [K, mbar, mbar]
    taken_as_rigid : bool
        Whether the correction took the loop as rigid for want of a measured compliance.
    uncertainty_mbar : float
        Expanded uncertainty (coverage factor 2) of the loss that the answer rests on. [mbar]
    leak_ml_per_min, leak_uncertainty_ml_per_min : float or None
        The leak, from the corrected loss where there is one; none without volume and compliance. The uncertainty leaves
        out that of the volume, which cancels when a unit is compared with itself. [mL/min]
    answer : PressureTestAnswer
        Holds, fails or cannot tell.
    reasons : tuple of str
        Why, in sentences, the deciding one first.
    common_rule : CommonRule
        The uncorrected rule of the trade.
    terms : tuple of UncertaintyTerm
        The budget, contributions in mbar.
    """

    kind: PressureTestKind
    hold_s: float
    limit_mbar: float
    settled_from_s: float | None
    settling_seen: bool
    start_gauge_mbar: float
    loss_mbar: float
    temperature_effect: TemperatureEffect
    temperature_change_k: float | None
    temperature_part_mbar: float | None
    corrected_loss_mbar: float | None
    taken_as_rigid: bool
    uncertainty_mbar: float
    leak_ml_per_min: float | None
    leak_uncertainty_ml_per_min: float | None
    answer: PressureTestAnswer
    reasons: tuple[str, ...]
    common_rule: CommonRule
    terms: tuple[UncertaintyTerm, ...]


def assess_pressure_test(
    *,
    kind: PressureTestKind,
    samples: Sequence[PressureSample],
    ambient_pressure_mbar: float,
    limit_mbar: float,
    hold_s: float,
    loop_volume_l: float | None = None,
    compliance_ml_per_mbar: float | None = None,
    start_gauge_mbar_min: float | None = None,
    resolution_mbar: float | None = None,
    temperature_uncertainty_k: float | None = None,
    gauge_scale_uncertainty_fraction: float = GAUGE_SCALE_UNCERTAINTY_FRACTION,
) -> PressureTest:
    """Judge a pressure test from a trace, or from a reading at the start and one at the end.

    Parameters
    ----------
    kind : PressureTestKind
        Negative or positive.
    samples : sequence of PressureSample
        Two or more, times rising, gauge pressures signed; temperature of the gas in all of them, in some, or in none.
    ambient_pressure_mbar : float
        450 to 1100. [mbar]
    limit_mbar : float
        Largest loss allowed in the hold, above 0 to 100. [mbar]
    hold_s : float
        Length of the hold, 10 to 3600. [s]
    loop_volume_l : float, optional
        Volume of the loop in the test, to 50 L; without it nothing is corrected. [L]
    compliance_ml_per_mbar : float, optional
        Measured; without it the loop is taken as rigid. [mL/mbar]
    start_gauge_mbar_min : float, optional
        The owner's start value as a size, above 0 to 200; a hold begun below it cannot hold. [mbar]
    resolution_mbar : float, optional
        Step of the gauge, above 0 to 10; by default as the readings show it. [mbar]
    temperature_uncertainty_k : float, optional
        Standard uncertainty of the temperature change, 0 to 20; by default 0.1 K, a tenth of the change and the step
        of the thermometer together. [K]
    gauge_scale_uncertainty_fraction : float
        Standard uncertainty of the gauge's scale, 0 to 0.2.

    Returns
    -------
    PressureTest
        Loss, correction, uncertainty, leak and answer.

    Raises
    ------
    InputError
        If times do not rise, or gauge pressures have the wrong sign for the kind of test.
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    The hold is the first one after settling (see `settling`); its loss is the slope of the straight line through it
    times the hold time. With U the expanded uncertainty, it holds when loss <= limit - U, fails when loss > limit + U,
    and cannot be told in between. It cannot hold, though it may fail, when the trace is shorter than the hold, never
    settles, begins below the start value, or begins with no more pressure than the limit would let it lose. A loss
    below -U means that pressure went the wrong way: gas came in or temperature moved it, and a leak may be hidden. A
    loss above the limit that went on before the hold fails as well, if the hold goes on losing (see `early_loss`).
    """
    require_trace(kind, samples)
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    require_above("limit_mbar", limit_mbar, 0.0, 100.0, "mbar")
    hint = "It looks like minutes, must be seconds" if 0.0 < hold_s < 10.0 else ""
    require_between("hold_s", hold_s, 10.0, 3600.0, "s", next_step=hint)
    require_between("gauge_scale_uncertainty_fraction", gauge_scale_uncertainty_fraction, 0.0, 0.2)
    if loop_volume_l is not None:
        require_loop_volume_l(loop_volume_l)
        volume_of_a_millibar_ml(ambient_pressure_mbar, loop_volume_l, compliance_ml_per_mbar)
    if compliance_ml_per_mbar is not None:
        require_compliance_ml_per_mbar(compliance_ml_per_mbar)
    if start_gauge_mbar_min is not None:
        sign_hint = "Give its size without a sign" if start_gauge_mbar_min < 0.0 else ""
        require_above("start_gauge_mbar_min", start_gauge_mbar_min, 0.0, 200.0, "mbar", next_step=sign_hint)
    if resolution_mbar is not None:
        require_above("resolution_mbar", resolution_mbar, 0.0, 10.0, "mbar")
    if temperature_uncertainty_k is not None:
        require_between("temperature_uncertainty_k", temperature_uncertainty_k, 0.0, 20.0, "K")
    setting = HoldSetting(
        kind=kind,
        ambient_pressure_mbar=ambient_pressure_mbar,
        limit_mbar=limit_mbar,
        hold_s=hold_s,
        loop_volume_l=loop_volume_l,
        compliance_ml_per_mbar=compliance_ml_per_mbar,
        step_mbar=gauge_step_mbar(samples) if resolution_mbar is None else resolution_mbar,
        temperature_step_k=temperature_step_k(samples),
        temperature_uncertainty_k=temperature_uncertainty_k,
        scale_uncertainty_fraction=gauge_scale_uncertainty_fraction,
    )
    settling = find_settled_hold(samples, hold_s=hold_s, limit_mbar=limit_mbar, step_mbar=setting.step_mbar)
    loss = measure_loss(settling.stretch, samples[settling.first : settling.last], setting)
    obstacles = _obstacles(samples, settling, setting, start_gauge_mbar_min)
    answer, deciding = _answer(samples, settling, loss, obstacles, setting)
    leak, leak_uncertainty = _leak(loss, setting)
    return PressureTest(
        kind=kind,
        hold_s=hold_s,
        limit_mbar=limit_mbar,
        settled_from_s=settling.stretch.start_s if settling.settled else None,
        settling_seen=settling.seen,
        start_gauge_mbar=settling.stretch.start_gauge_mbar,
        loss_mbar=loss.loss_mbar,
        temperature_effect=loss.effect,
        temperature_change_k=loss.change_k,
        temperature_part_mbar=loss.part_mbar,
        corrected_loss_mbar=loss.corrected_mbar,
        taken_as_rigid=loss.effect is TemperatureEffect.CORRECTED and compliance_ml_per_mbar is None,
        uncertainty_mbar=loss.uncertainty_mbar,
        leak_ml_per_min=leak,
        leak_uncertainty_ml_per_min=leak_uncertainty,
        answer=answer,
        reasons=(deciding, *obstacles, *_remarks(settling, loss, setting, start_gauge_mbar_min)),
        common_rule=_common_rule(loss.loss_mbar, settling, setting),
        terms=loss.terms,
    )


def _obstacles(
    samples: Sequence[PressureSample], settling: Settling, setting: HoldSetting, start_gauge_mbar_min: float | None
) -> tuple[str, ...]:
    """Why the loop cannot be found to hold, whatever it lost."""
    obstacles = []
    stretch = settling.stretch
    size_mbar = _size_mbar(stretch, setting.kind)
    most_mbar = max(sample.gauge_mbar * setting.kind.sign for sample in samples)
    if not settling.long_enough:
        obstacles.append(f"The trace is shorter than the hold of {setting.hold_s:g} s")
    elif not settling.settled:
        obstacles.append(f"The trace was not settled for a whole hold of {setting.hold_s:g} s")
    # What the start of the fitted line may miss the pressure by: a step, the noise, and the bend of a slowing leak.
    allowance_mbar = (
        setting.step_mbar
        + 4.0 * stretch.noise_mbar / math.sqrt(stretch.samples)
        + stretch.bend_mbar(setting.hold_s) / 4.0
    )
    if start_gauge_mbar_min is not None and is_above(start_gauge_mbar_min, size_mbar + allowance_mbar):
        obstacles.append(
            f"The hold began at {size_mbar:.1f} mbar, below the owner's start value of {start_gauge_mbar_min:g} mbar"
        )
    if not is_above(size_mbar, setting.limit_mbar):
        obstacles.append(
            f"The hold began at {size_mbar:.1f} mbar, which is no more than the limit of {setting.limit_mbar:g} mbar "
            f"would let it lose; at the most there were {most_mbar:.1f} mbar"
        )
    return tuple(obstacles)


def _answer(
    samples: Sequence[PressureSample],
    settling: Settling,
    loss: HoldLoss,
    obstacles: tuple[str, ...],
    setting: HoldSetting,
) -> tuple[PressureTestAnswer, str]:
    """The answer and the sentence that decides it."""
    deciding_mbar, uncertainty_mbar, limit_mbar = loss.deciding_mbar, loss.uncertainty_mbar, setting.limit_mbar
    named = "corrected loss" if loss.corrected_mbar is not None else "loss"
    known = (
        f"The {named} of {deciding_mbar:.1f} mbar in {setting.hold_s:g} s, known to {uncertainty_mbar:.1f} mbar, "
        f"against {limit_mbar:g} mbar"
    )
    if settling.settled and is_above(deciding_mbar, limit_mbar + uncertainty_mbar):
        return PressureTestAnswer.FAILS, f"{known}, is above the limit even with the uncertainty taken off"
    early = find_early_loss(samples, settling, setting)
    if early is not None:
        lost = f"The loop lost {early.loss_mbar:.1f} mbar against {limit_mbar:g} mbar, and the loss went on"
        if early.goes_on:
            return PressureTestAnswer.FAILS, lost
        return PressureTestAnswer.CANNOT_TELL, f"{lost} until it stopped; was pressure let off by hand?"
    if obstacles:
        return PressureTestAnswer.CANNOT_TELL, f"{known}, proves nothing here"
    if is_above(-deciding_mbar, uncertainty_mbar):
        return PressureTestAnswer.CANNOT_TELL, (
            f"{known}: the pressure moved away from ambient, so gas came in or left by itself or temperature moved it, "
            "and a leak may be hidden"
        )
    if is_above(deciding_mbar, limit_mbar - uncertainty_mbar):
        return PressureTestAnswer.CANNOT_TELL, f"{known}, is too near the limit to tell"
    return PressureTestAnswer.HOLDS, f"{known}, is inside even with the uncertainty added"


def _leak(loss: HoldLoss, setting: HoldSetting) -> tuple[float | None, float | None]:
    """Leak and its uncertainty. [mL/min]"""
    if setting.loop_volume_l is not None:
        worth = volume_of_a_millibar_ml(
            setting.ambient_pressure_mbar, setting.loop_volume_l, setting.compliance_ml_per_mbar
        )
    elif setting.compliance_ml_per_mbar is not None:
        worth = setting.compliance_ml_per_mbar
    else:
        return None, None
    per_minute = worth * 60.0 / setting.hold_s
    return per_minute * loss.deciding_mbar, per_minute * loss.uncertainty_mbar


def _common_rule(loss_mbar: float, settling: Settling, setting: HoldSetting) -> CommonRule:
    """The rule as the trade applies it, except that a loop with less pressure than the rule's limit cannot pass it."""
    scaled_mbar = loss_mbar * COMMON_HOLD_S / setting.hold_s
    enough = settling.long_enough and is_above(_size_mbar(settling.stretch, setting.kind), COMMON_LIMIT_MBAR)
    if not is_above(COMMON_LIMIT_MBAR, scaled_mbar):
        answer = PressureTestAnswer.FAILS if settling.long_enough else PressureTestAnswer.CANNOT_TELL
    else:
        answer = PressureTestAnswer.HOLDS if enough else PressureTestAnswer.CANNOT_TELL
    return CommonRule(loss_mbar=scaled_mbar, limit_mbar=COMMON_LIMIT_MBAR, hold_s=COMMON_HOLD_S, answer=answer)


def _size_mbar(stretch: Stretch, kind: PressureTestKind) -> float:
    """How far the loop was from ambient at the start of a hold; 0 on the wrong side. [mbar]"""
    return max(0.0, stretch.start_gauge_mbar * kind.sign)


def _remarks(
    settling: Settling, loss: HoldLoss, setting: HoldSetting, start_gauge_mbar_min: float | None
) -> tuple[str, ...]:
    """What a reader must know about the answer."""
    remarks = []
    if loss.effect is TemperatureEffect.UNKNOWN:
        per_kelvin = (setting.ambient_pressure_mbar + settling.stretch.start_gauge_mbar) / kelvin_from_celsius(20.0)
        towards = "cooling" if setting.kind is PressureTestKind.POSITIVE else "warming"
        away = "warming" if setting.kind is PressureTestKind.POSITIVE else "cooling"
        remarks.append(
            f"Temperature was not read, so its effect is unknown: in a rigid loop 1 K is {per_kelvin:.1f} mbar, "
            f"{towards} looks like a leak and {away} hides one"
        )
    elif loss.effect is TemperatureEffect.BOUNDED:
        remarks.append("Without the loop volume nothing was corrected; what temperature may have done is uncertainty")
    elif setting.compliance_ml_per_mbar is None:
        remarks.append("The loop was taken as rigid; in a soft loop temperature does less, measure its compliance")
    if not settling.seen:
        remarks.append("Two readings cannot show whether the loop had settled")
    if start_gauge_mbar_min is None:
        remarks.append("No start value was asked for; a loop at low pressure loses little whatever its leak")
    return tuple(remarks)
