"""Oxygen exposure of a dive as JSON: shares of the NOAA limits and a lung dose under its name."""

from __future__ import annotations

from typing import Annotated, Any

import msgspec
from msgspec import Meta

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.desk.compute.reading import inside
from loopworthy.science.checks import require_between
from loopworthy.science.exposure.lungs import DAY_LIMIT_UPTD, LungDose, lung_dose
from loopworthy.science.exposure.nervous_system import (
    DECAY_HALF_TIME_MIN,
    LIMITS_SOURCE,
    NervousSystemExposure,
    decayed_fraction,
    nervous_system_exposure,
)
from loopworthy.science.exposure.segments import OxygenSegment


class OxygenSegmentRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Minutes at an oxygen pressure, or with one that changes evenly."""

    duration_min: Annotated[float, Meta(description="0 to 10000. [min]")]
    oxygen_bar: Annotated[float, Meta(description="At the start, 0 to 5. [bar]")]
    end_oxygen_bar: Annotated[float | None, Meta(description="At the end. Default: as at the start. [bar]")] = None


class OxygenExposureRequest(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A dive, and what was carried in from earlier ones."""

    segments: tuple[OxygenSegmentRequest, ...]
    carried_single_fraction: Annotated[
        float, Meta(description="Share of the single limit when the last dive ended, 0 to 10. Default 0.")
    ] = 0.0
    surface_interval_min: Annotated[float, Meta(description="Since then, in air. Default 0. [min]")] = 0.0
    half_time_min: Annotated[
        float, Meta(description="Of the share's decay. Default 90, from memory: confirm. [min]")
    ] = DECAY_HALF_TIME_MIN
    carried_day_fraction: Annotated[
        float, Meta(description="Share of the day's limit from the last 24 hours, 0 to 10. Default 0.")
    ] = 0.0
    carried_uptd: Annotated[float, Meta(description="Lung dose of the last 24 hours, 0 to 10000. Default 0.")] = 0.0
    day_limit_uptd: Annotated[float, Meta(description="Default 850, for a single day.")] = DAY_LIMIT_UPTD


class OxygenExposureAnswer(msgspec.Struct, frozen=True, kw_only=True):
    """Shares of the limits (1 is the whole limit), the lung dose with its method, and what has to be said."""

    nervous_system: NervousSystemExposure
    lungs: LungDose
    carried_in_fraction: float
    source: str


def _oxygen_exposure(request: OxygenExposureRequest) -> OxygenExposureAnswer:
    segments = []
    for index, each in enumerate(request.segments):
        with inside(f"segments[{index}]"):
            end = each.oxygen_bar if each.end_oxygen_bar is None else each.end_oxygen_bar
            segments.append(
                OxygenSegment(duration_min=each.duration_min, start_oxygen_bar=each.oxygen_bar, end_oxygen_bar=end)
            )
    require_between("carried_single_fraction", request.carried_single_fraction, 0.0, 10.0)
    carried = decayed_fraction(request.carried_single_fraction, request.surface_interval_min, request.half_time_min)
    return OxygenExposureAnswer(
        nervous_system=nervous_system_exposure(
            segments, carried_single_fraction=carried, carried_day_fraction=request.carried_day_fraction
        ),
        lungs=lung_dose(segments, carried_uptd=request.carried_uptd, day_limit_uptd=request.day_limit_uptd),
        carried_in_fraction=carried,
        source=LIMITS_SOURCE,
    )


CALCULATIONS: tuple[Calculation[Any], ...] = (
    Calculation(
        name="oxygen-exposure",
        summary="Shares of the NOAA oxygen limits and the lung dose (UPTD) of a dive",
        request_type=OxygenExposureRequest,
        answer_type=OxygenExposureAnswer,
        example={
            "segments": [
                {"duration_min": 8, "oxygen_bar": 0.7},
                {"duration_min": 3, "oxygen_bar": 0.7, "end_oxygen_bar": 1.3},
                {"duration_min": 95, "oxygen_bar": 1.3},
            ],
            "carried_single_fraction": 0.2,
            "surface_interval_min": 120,
        },
        run=_oxygen_exposure,
    ),
)
