"""How much pressure a loop lost over one hold, with temperature's part taken off and a budget of the uncertainty.

Correction needs volume and temperature. Without the volume the largest effect temperature can have had goes into the
uncertainty; without temperature its effect is unknown and stands as such.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from loopworthy.science.loop.leak import temperature_part_mbar
from loopworthy.science.loop.trace import PressureSample, PressureTestKind, Stretch, fit_line
from loopworthy.science.physics.units import kelvin_from_celsius
from loopworthy.science.uncertainty import RECTANGULAR, UncertaintyTerm, expanded_uncertainty, term

BEND = "bend of the trace"
"""Name of the term for what is left of settling."""

GAUGE_SCALE_UNCERTAINTY_FRACTION = 0.01
"""Standard uncertainty of an ordinary gauge's scale. Our own default."""

TEMPERATURE_UNCERTAINTY_K = 0.1
TEMPERATURE_SHARE = 0.1
"""How far a probe may miss the mean change of the gas: 0.1 K, and a tenth of the change. Our own default."""


class TemperatureEffect(Enum):
    """What was done about temperature."""

    CORRECTED = "corrected"
    BOUNDED = "bounded"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldSetting:
    """What stays the same whichever stretch of the trace is looked at."""

    kind: PressureTestKind
    ambient_pressure_mbar: float
    limit_mbar: float
    hold_s: float
    loop_volume_l: float | None
    compliance_ml_per_mbar: float | None
    step_mbar: float
    temperature_step_k: float
    temperature_uncertainty_k: float | None
    scale_uncertainty_fraction: float


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldLoss:
    """Loss over one hold, before and after correction, with its budget."""

    loss_mbar: float
    effect: TemperatureEffect
    change_k: float | None
    part_mbar: float | None
    corrected_mbar: float | None
    terms: tuple[UncertaintyTerm, ...]
    uncertainty_mbar: float

    @property
    def deciding_mbar(self) -> float:
        """The loss that the answer rests on."""
        return self.loss_mbar if self.corrected_mbar is None else self.corrected_mbar


def measure_loss(stretch: Stretch, samples: Sequence[PressureSample], setting: HoldSetting) -> HoldLoss:
    """Loss over a hold, corrected where volume and temperature are known."""
    loss_mbar = -setting.kind.sign * stretch.slope_mbar_per_s * setting.hold_s
    bend_mbar = stretch.bend_mbar(setting.hold_s)
    terms = [
        term("noise of the trace", "mbar/s", stretch.slope_uncertainty_mbar_per_s, setting.hold_s),
        # Start and end are each read to half a step; steps of one display do not average out, so this stays.
        term("resolution of the gauge", "mbar", setting.step_mbar / 2.0 / RECTANGULAR, math.sqrt(2.0)),
        term("scale of the gauge", "fraction", setting.scale_uncertainty_fraction, loss_mbar),
        term(BEND, "mbar", bend_mbar / 2.0 / RECTANGULAR, 1.0),
    ]
    temperature = _temperature_over_hold(samples, setting)
    effect, change_k, part_mbar = TemperatureEffect.UNKNOWN, None, None
    if temperature is not None:
        start_c, change_k, change_uncertainty_k = temperature
        rigid_mbar_per_k = (setting.ambient_pressure_mbar + stretch.start_gauge_mbar) / kelvin_from_celsius(start_c)
        if setting.loop_volume_l is None:
            effect = TemperatureEffect.BOUNDED
            # Between nothing in a very soft loop and this in a rigid one.
            half_width_k = abs(change_k) + RECTANGULAR * change_uncertainty_k
            terms.append(term("temperature, volume not known", "K", half_width_k / RECTANGULAR, rigid_mbar_per_k))
        else:
            effect = TemperatureEffect.CORRECTED
            part_mbar, per_kelvin_mbar = (
                temperature_part_mbar(
                    setting.kind,
                    start_gauge_mbar=stretch.start_gauge_mbar,
                    ambient_pressure_mbar=setting.ambient_pressure_mbar,
                    loop_volume_l=setting.loop_volume_l,
                    temperature_c=start_c,
                    temperature_change_k=kelvins,
                    compliance_ml_per_mbar=setting.compliance_ml_per_mbar,
                )
                for kelvins in (change_k, 1.0)
            )
            terms.append(term("temperature of the gas", "K", change_uncertainty_k, -per_kelvin_mbar))
    return HoldLoss(
        loss_mbar=loss_mbar,
        effect=effect,
        change_k=change_k,
        part_mbar=part_mbar,
        corrected_mbar=None if part_mbar is None else loss_mbar - part_mbar,
        terms=tuple(terms),
        uncertainty_mbar=expanded_uncertainty(tuple(terms)),
    )


def _temperature_over_hold(
    samples: Sequence[PressureSample], setting: HoldSetting
) -> tuple[float, float, float] | None:
    """Temperature at the start, its change over the hold and the standard uncertainty of the change, if it was read."""
    read = [(sample.time_s, sample.temperature_c) for sample in samples if sample.temperature_c is not None]
    if len(read) < 2:
        return None
    times, values = [time for time, _ in read], [value for _, value in read]
    if times[-1] - times[0] < 0.9 * (samples[-1].time_s - samples[0].time_s):
        return None
    line = fit_line(times, values)
    change_k = line.slope * setting.hold_s
    uncertainty_k = setting.temperature_uncertainty_k
    if uncertainty_k is None:
        scatter_k = 0.0
        if len(read) > 2:
            squares = math.fsum((value - line.at(time)) ** 2 for time, value in read)
            scatter_k = math.sqrt(squares / (len(read) - 2) / line.squared_times) * setting.hold_s
        step_k = setting.temperature_step_k / 2.0 / RECTANGULAR * math.sqrt(2.0)
        uncertainty_k = math.hypot(TEMPERATURE_UNCERTAINTY_K, TEMPERATURE_SHARE * change_k, step_k, scatter_k)
    return line.at(samples[0].time_s), change_k, uncertainty_k
