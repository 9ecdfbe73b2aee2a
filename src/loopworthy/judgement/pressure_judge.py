"""The judge of pressure tests: from a typed trace, or from start and end readings, to an answer about the loop."""

from __future__ import annotations

from decimal import Decimal
from typing import Final

from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.outcome import EffectiveLimit, Finding, Outcome, in_unit, rounded
from loopworthy.judgement.told import told_margin, told_value
from loopworthy.science.loop.pressure_test import PressureTest, PressureTestAnswer, assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind

_OUTCOME: Final = {
    PressureTestAnswer.HOLDS: Outcome.INSIDE,
    PressureTestAnswer.FAILS: Outcome.OUTSIDE,
    PressureTestAnswer.CANNOT_TELL: Outcome.CANNOT_TELL,
}


def pressure_samples(entered: EvidenceRecorded) -> list[PressureSample]:
    """The samples of a test as entered: the trace if there is one, else the readings at start and end."""
    trace = entered.traces.get("trace")
    if trace is not None and trace.rows:
        temperatures = trace.column("C") or ("",) * len(trace.rows)
        return [
            PressureSample(
                time_s=float(seconds), gauge_mbar=float(gauge), temperature_c=float(warmth) if warmth else None
            )
            for seconds, gauge, warmth in zip(trace.column("s"), trace.column("mbar"), temperatures, strict=True)
        ]
    start, end = _number(entered, "start_mbar", "mbar"), _number(entered, "end_mbar", "mbar")
    hold_s = _number(entered, "hold_s", "s")
    if start is None or end is None or hold_s is None:
        return []
    return [
        PressureSample(time_s=0.0, gauge_mbar=start, temperature_c=_number(entered, "start_c", "C")),
        PressureSample(time_s=hold_s, gauge_mbar=end, temperature_c=_number(entered, "end_c", "C")),
    ]


def _number(entered: EvidenceRecorded, name: str, unit: str) -> float | None:
    readings = entered.readings.get(name, ())
    return float(in_unit(readings[0], unit)) if readings else None


def pressure_test(
    entered: EvidenceRecorded,
    *,
    kind: str,
    ambient_pressure_mbar: float,
    loss: EffectiveLimit,
    hold: EffectiveLimit,
    start: EffectiveLimit,
) -> PressureTest | None:
    """What science says of a test as entered; None where neither trace nor start and end were given.

    Raises
    ------
    InputError
        If the readings contradict each other (times that do not rise, a wrong sign).
    """
    samples = pressure_samples(entered)
    if not samples:
        return None
    compliance = _number(entered, "compliance", "mL/mbar")
    return assess_pressure_test(
        kind=PressureTestKind(kind),
        samples=samples,
        ambient_pressure_mbar=ambient_pressure_mbar,
        limit_mbar=float(loss.value),
        hold_s=float(hold.value),
        loop_volume_l=_number(entered, "loop_volume_l", "L"),
        compliance_ml_per_mbar=compliance,
        start_gauge_mbar_min=float(start.value) or None,
        resolution_mbar=_resolution(entered),
    )


def _resolution(entered: EvidenceRecorded) -> float | None:
    stated = [float(one.resolution) for one in entered.readings.get("start_mbar", ()) if one.resolution]
    return stated[0] if stated else None


def judge_pressure_test(
    entered: EvidenceRecorded,
    *,
    kind: str,
    about: str,
    ambient_pressure_mbar: float | None,
    loss: EffectiveLimit,
    hold: EffectiveLimit,
    start: EffectiveLimit,
) -> list[Finding]:
    """The finding for a pressure test, with what the uncorrected rule of the trade says beside it."""
    if ambient_pressure_mbar is None:
        return [
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about=about,
                shown="",
                limit=loss,
                code="needs-reading",
                values={"what": "C01"},
            )
        ]
    test = pressure_test(
        entered, kind=kind, ambient_pressure_mbar=ambient_pressure_mbar, loss=loss, hold=hold, start=start
    )
    if test is None:
        return [
            Finding(
                outcome=Outcome.CANNOT_TELL,
                about=about,
                shown="",
                limit=loss,
                code="not-entered",
                values={"input": "start and end, or a trace"},
            )
        ]
    judged = test.loss_mbar if test.corrected_loss_mbar is None else test.corrected_loss_mbar
    outcome = _OUTCOME[test.answer]
    margin = loss.decimal - rounded(judged)
    told = told_value(rounded(judged), loss, places=1)
    if outcome is Outcome.INSIDE and loss.limit.guard and margin < Decimal(loss.limit.guard):
        outcome = Outcome.NEAR
    return [
        Finding(
            outcome=outcome,
            about=about,
            shown=f"{told:f} mbar in {test.hold_s:g} s",
            limit=loss,
            margin=margin,
            told_margin=told_margin(told, loss),
            code="pressure-test",
            values={
                "loss": f"{test.loss_mbar:.1f}",
                "corrected": "" if test.corrected_loss_mbar is None else f"{test.corrected_loss_mbar:.1f}",
                "uncertainty": f"{test.uncertainty_mbar:.1f}",
                "leak": "" if test.leak_ml_per_min is None else f"{test.leak_ml_per_min:.0f}",
                "temperature": test.temperature_effect.value,
                "common_rule": test.common_rule.answer.value,
                "why": test.reasons[0] if test.reasons else "",
            },
        )
    ]
