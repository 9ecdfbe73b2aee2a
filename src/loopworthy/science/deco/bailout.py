"""The way out at any minute: an onset at depth, then an open-circuit ascent, with the gas that each cylinder gives.

Rule 14 from every minute of the dive, on the bottom and on the way up. The state of the dive is carried from minute to
minute and the ladder of levels is shared, so that an envelope costs little more than its ascents.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum, inf

from loopworthy.science.checks import require_above, require_between
from loopworthy.science.deco.ascent import Ascent, Ladder
from loopworthy.science.deco.breathing import OpenCircuit
from loopworthy.science.deco.counterdiffusion import GasSwitch, switch_between
from loopworthy.science.deco.rows import Row, filled, kept_after, settled
from loopworthy.science.deco.schedule import Schedule, passage_at
from loopworthy.science.deco.settings import DecoSettings, StopTest
from loopworthy.vocabulary.errors import DomainError

ONSET_MIN = 3.0
ONSET_RMV_L_PER_MIN = 50.0
"""Common practice: high breathing before it settles. Published subjects breathed 50 to 80 L/min under CO2."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BailoutRates:
    """How long the onset at depth lasts, 0 to 60 [min], and what is breathed then and on the way up, to 200. [L/min]"""

    rmv_l_per_min: float
    onset_min: float = ONSET_MIN
    onset_rmv_l_per_min: float = ONSET_RMV_L_PER_MIN

    def __post_init__(self) -> None:
        require_between("onset_min", self.onset_min, 0.0, 60.0, "min")
        require_above("onset_rmv_l_per_min", self.onset_rmv_l_per_min, 0.0, 200.0, "L/min")
        require_above("rmv_l_per_min", self.rmv_l_per_min, 0.0, 200.0, "L/min")


@dataclass(frozen=True, slots=True, kw_only=True)
class BailoutMinute:
    """Leaving at one minute.

    Attributes
    ----------
    run_time_min, depth_m : float
        When and where the loop is left. [min, m]
    ascent : Ascent
        The ascent after the onset.
    time_to_surface_min : float
        Onset and ascent; infinite where there is no solution. [min]
    gas_bar_l : tuple of float
        Used of each gas, in the order of the gases; as far as the last level where there is no solution. [bar L]
    """

    run_time_min: float
    depth_m: float
    ascent: Ascent
    time_to_surface_min: float
    gas_bar_l: tuple[float, ...]

    @property
    def total_bar_l(self) -> float:
        """Gas of all cylinders; infinite where there is no solution. [bar L]"""
        return inf if self.ascent.no_solution is not None else fsum(self.gas_bar_l)


@dataclass(frozen=True, slots=True, kw_only=True)
class Envelope:
    """Leaving at every minute, and which minutes are the worst.

    Attributes
    ----------
    minutes : tuple of BailoutMinute
        In order of run time.
    worst : BailoutMinute
        Most gas in all, the earliest on a tie; one without a solution is worse than any other.
    worst_by_gas : tuple of BailoutMinute
        Most of each gas.
    worst_by_time : BailoutMinute
        Longest way to the surface.
    """

    minutes: tuple[BailoutMinute, ...]
    worst: BailoutMinute
    worst_by_gas: tuple[BailoutMinute, ...]
    worst_by_time: BailoutMinute


class Bailout:
    """Bailout on some gases at some rates: one ladder for however many minutes, dives and draws."""

    def __init__(self, settings: DecoSettings, gases: OpenCircuit, rates: BailoutRates) -> None:
        self.settings = settings
        self.gases = gases
        self.rates = rates
        self.ladder = Ladder(settings, gases)

    def leave(self, row: Row, depth_m: float, run_time_min: float) -> BailoutMinute:
        """Leave the loop with these tissues at this depth."""
        settings, rates = self.settings, self.rates
        gas = self.gases.gas_at(depth_m)
        used = [0.0] * len(self.gases.gases)
        if rates.onset_min > 0.0:
            nitrogen_bar, helium_bar = self.gases.held(depth_m, settings)
            row = settled(row, filled(nitrogen_bar, helium_bar), kept_after(settings.coefficients, rates.onset_min))
            used[gas] += rates.onset_rmv_l_per_min * settings.pressure_bar(depth_m) * rates.onset_min
        ascent = self.ladder.ascend(row, depth_m, StopTest.DEPARTURE)
        rmv = rates.rmv_l_per_min
        for step in ascent.steps:
            leg = step.leg
            mean_bar = (leg.pressure_bar + leg.next_pressure_bar) / 2.0
            used[leg.gas] += rmv * (leg.pressure_bar * step.stop_min + mean_bar * leg.travel_min)
        return BailoutMinute(
            run_time_min=run_time_min,
            depth_m=depth_m,
            ascent=ascent,
            time_to_surface_min=inf if ascent.no_solution is not None else rates.onset_min + ascent.minutes,
            gas_bar_l=tuple(used),
        )


def bailout_envelope(schedule: Schedule, bailout: Bailout, from_min: int, to_min: int) -> Envelope:
    """Bailout from every whole minute of run time, both ends included.

    Parameters
    ----------
    schedule : Schedule
        The dive on the loop. Minutes after leaving its last level lie on its ascent.
    bailout : Bailout
        Gases, onset and rates.
    from_min, to_min : int
        Run times, from 0 to the end of the dive. [min]

    Returns
    -------
    Envelope
        Complete schedules and gas, and the worst minutes.

    Raises
    ------
    DomainError
        If a minute lies outside the dive, or no gas is usable at a depth where the loop is left.
    """
    passages = schedule.bottom if to_min <= schedule.leaving_min else schedule.passages()
    end_min = passages[-1].end_min
    if not 0 <= from_min <= to_min:
        raise DomainError("from_min", from_min, f"between 0 and to_min={to_min}")
    if to_min > end_min + 1e-9:
        why = "where the ascent on the loop has no solution" if schedule.no_solution else "the end of the dive"
        raise DomainError("to_min", to_min, f"at most {end_min:.10g}, {why}")
    settings = schedule.settings
    one_minute = kept_after(settings.coefficients, 1.0)
    found: list[BailoutMinute] = []
    passage, row = None, None
    target: Row = []
    for run_time_min in range(from_min, to_min + 1):
        now = passage_at(passages, run_time_min)
        if now is passage and row is not None and now.from_m == now.to_m:
            row = settled(row, target, one_minute)
        else:
            passage, row = now, now.tissues_at(run_time_min, settings)
            target = filled(*now.breathing.held(now.to_m, settings))
        found.append(bailout.leave(row, now.depth_at_m(run_time_min), float(run_time_min)))
    return Envelope(
        minutes=tuple(found),
        worst=max(found, key=lambda one: one.total_bar_l),  # the first of equals
        worst_by_gas=tuple(
            max(found, key=lambda one: inf if one.ascent.no_solution else one.gas_bar_l[gas])
            for gas in range(len(bailout.gases.gases))
        ),
        worst_by_time=max(found, key=lambda one: one.time_to_surface_min),
    )


def switch_to_bailout(schedule: Schedule, bailout: Bailout, minute: BailoutMinute) -> GasSwitch:
    """What leaving the loop at a minute does to both inert gases."""
    passage = passage_at(schedule.passages(), minute.run_time_min)
    return switch_between(passage.breathing, bailout.gases, minute.depth_m, schedule.settings)
