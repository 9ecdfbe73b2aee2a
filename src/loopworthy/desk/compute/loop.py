"""Calculations about the tightness of a closed loop, as JSON."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.loop.leak import LeakRate, compliance_from_injection_ml_per_mbar, leak_rate
from loopworthy.science.loop.loss import GAUGE_SCALE_UNCERTAINTY_FRACTION
from loopworthy.science.loop.pressure_test import PressureTest, assess_pressure_test
from loopworthy.science.loop.trace import PressureSample, PressureTestKind

Kind = Annotated[PressureTestKind, Meta(description="negative or positive.")]
AmbientMbar = Annotated[float, Meta(description="Barometric pressure, 450 to 1100. [mbar]")]
Compliance = Annotated[
    float | None, Meta(description="Measured by injection; without it the loop is taken as rigid. [mL/mbar]")
]


class PressureSampleRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One reading of a trace."""

    time_s: Annotated[float, Meta(description="On any clock, rising. [s]")]
    gauge_mbar: Annotated[float, Meta(description="Signed, -200 to 200. [mbar]")]
    temperature_c: Annotated[float | None, Meta(description="Of the gas in the loop, -20 to 60. [°C]")] = None


class PressureTestRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A trace, or a reading at the start and one at the end, with the limits."""

    kind: Kind
    samples: tuple[PressureSampleRequest, ...]
    ambient_pressure_mbar: AmbientMbar
    loop_volume_l: Annotated[float | None, Meta(description="Without it nothing is corrected. [L]")] = None
    compliance_ml_per_mbar: Compliance = None
    limit_mbar: Annotated[float, Meta(description="Largest loss in the hold, above 0 to 100. [mbar]")]
    hold_s: Annotated[float, Meta(description="Length of the hold, 10 to 3600. [s]")]
    start_gauge_mbar_min: Annotated[
        float | None, Meta(description="Owner's start value, as a size without sign. [mbar]")
    ] = None
    resolution_mbar: Annotated[
        float | None, Meta(description="Step of the gauge. Default: as the readings show it. [mbar]")
    ] = None
    temperature_uncertainty_k: Annotated[
        float | None,
        Meta(description="Standard uncertainty of the change. Default: 0.1 K, a tenth of it and the step. [K]"),
    ] = None
    gauge_scale_uncertainty_fraction: Annotated[
        float, Meta(description="Standard uncertainty of the gauge's scale. Default 0.01.")
    ] = GAUGE_SCALE_UNCERTAINTY_FRACTION


class LeakRateRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A loss of pressure, positive towards ambient, and what it is to be turned into a leak with."""

    kind: Kind
    loss_mbar: Annotated[float, Meta(description="Towards ambient, -200 to 200. [mbar]")]
    duration_s: Annotated[float, Meta(description="1 to 86400. [s]")]
    start_gauge_mbar: Annotated[float, Meta(description="Signed. [mbar]")]
    ambient_pressure_mbar: AmbientMbar
    loop_volume_l: Annotated[float, Meta(description="More than 0.1, at most 50. [L]")]
    compliance_ml_per_mbar: Compliance = None
    temperature_c: Annotated[float, Meta(description="Of the gas at the start, -20 to 60. [°C]")]
    temperature_change_k: Annotated[float, Meta(description="Negative is cooling, -40 to 40. [K]")]


class ComplianceRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A known volume injected into the closed loop, and the rise of pressure it made."""

    injected_ml: Annotated[float, Meta(description="1 to 5000. [mL]")]
    rise_mbar: Annotated[float, Meta(description="0.1 to 100. [mbar]")]


class ComplianceAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Compliance of the loop, the gas's own included."""

    compliance_ml_per_mbar: float


def _pressure_test(request: PressureTestRequest) -> PressureTest:
    samples = []
    for index, sample in enumerate(request.samples):
        with inside(f"samples[{index}]"):
            samples.append(
                PressureSample(time_s=sample.time_s, gauge_mbar=sample.gauge_mbar, temperature_c=sample.temperature_c)
            )
    return assess_pressure_test(
        kind=request.kind,
        samples=samples,
        ambient_pressure_mbar=request.ambient_pressure_mbar,
        limit_mbar=request.limit_mbar,
        hold_s=request.hold_s,
        loop_volume_l=request.loop_volume_l,
        compliance_ml_per_mbar=request.compliance_ml_per_mbar,
        start_gauge_mbar_min=request.start_gauge_mbar_min,
        resolution_mbar=request.resolution_mbar,
        temperature_uncertainty_k=request.temperature_uncertainty_k,
        gauge_scale_uncertainty_fraction=request.gauge_scale_uncertainty_fraction,
    )


def _leak_rate(request: LeakRateRequest) -> LeakRate:
    return leak_rate(
        request.kind,
        loss_mbar=request.loss_mbar,
        duration_s=request.duration_s,
        start_gauge_mbar=request.start_gauge_mbar,
        ambient_pressure_mbar=request.ambient_pressure_mbar,
        loop_volume_l=request.loop_volume_l,
        temperature_c=request.temperature_c,
        temperature_change_k=request.temperature_change_k,
        compliance_ml_per_mbar=request.compliance_ml_per_mbar,
    )


def _compliance(request: ComplianceRequest) -> ComplianceAnswer:
    return ComplianceAnswer(
        compliance_ml_per_mbar=compliance_from_injection_ml_per_mbar(request.injected_ml, request.rise_mbar)
    )


CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="pressure-test",
        summary="Negative or positive pressure test: loss, temperature's part, leak, and an answer",
        request_type=PressureTestRequest,
        answer_type=PressureTest,
        example={
            "kind": "positive",
            "samples": [
                {"time_s": 0, "gauge_mbar": 25.0, "temperature_c": 19.8},
                {"time_s": 60, "gauge_mbar": 17.0, "temperature_c": 18.9},
            ],
            "ambient_pressure_mbar": 1013,
            "loop_volume_l": 6.0,
            "limit_mbar": 10,
            "hold_s": 60,
            "start_gauge_mbar_min": 20,
        },
        run=_pressure_test,
    ),
    Calculation(
        name="leak-rate",
        summary="Leak in mL/min behind a loss of pressure, with temperature's part taken off",
        request_type=LeakRateRequest,
        answer_type=LeakRate,
        example={
            "kind": "positive",
            "loss_mbar": 8.0,
            "duration_s": 60,
            "start_gauge_mbar": 25,
            "ambient_pressure_mbar": 1013,
            "loop_volume_l": 6.0,
            "temperature_c": 19.85,
            "temperature_change_k": -0.9,
        },
        run=_leak_rate,
    ),
    Calculation(
        name="loop-compliance",
        summary="Compliance of a loop from a known volume injected",
        request_type=ComplianceRequest,
        answer_type=ComplianceAnswer,
        example={"injected_ml": 200, "rise_mbar": 10},
        run=_compliance,
    ),
)
