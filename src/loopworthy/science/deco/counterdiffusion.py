"""What happens to both inert gases at a switch: the rule of fifths of the trade for counterdiffusion.

Common practice, no source: in going from a mix with helium to a leaner one, inspired nitrogen should not rise by more
than a fifth of what helium falls by. It is told for every switch and changes nothing in a schedule.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.deco.breathing import Breathing, Inspired, OpenCircuit
from loopworthy.science.deco.schedule import Schedule
from loopworthy.science.deco.settings import DecoSettings

RULE = "inspired nitrogen rises by no more than a fifth of what helium falls by: common practice, no source"
LARGEST_PART = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class GasSwitch:
    """A change of what is breathed at one depth.

    Attributes
    ----------
    depth_m : float
        Where. [m]
    run_time_min : float or None
        When, if it belongs to a schedule. [min]
    to_gas : int
        Index of the new gas in its source.
    nitrogen_change_bar, helium_change_bar : float
        Change of the inspired pressures. [bar]
    within_rule : bool
        Whether the rule of fifths is kept; also where helium does not fall or nitrogen does not rise.
    """

    depth_m: float
    run_time_min: float | None
    to_gas: int
    nitrogen_change_bar: float
    helium_change_bar: float
    within_rule: bool


def gas_switch(
    before: Inspired, after: Inspired, depth_m: float, to_gas: int, run_time_min: float | None = None
) -> GasSwitch:
    """The report on one switch, from the inspired nitrogen and helium before and after it."""
    nitrogen_bar, helium_bar = after[0] - before[0], after[1] - before[1]
    kept = nitrogen_bar <= 0.0 or helium_bar >= 0.0 or nitrogen_bar <= -LARGEST_PART * helium_bar + 1e-9
    return GasSwitch(
        depth_m=depth_m,
        run_time_min=run_time_min,
        to_gas=to_gas,
        nitrogen_change_bar=nitrogen_bar,
        helium_change_bar=helium_bar,
        within_rule=kept,
    )


def switch_between(one: Breathing, other: Breathing, depth_m: float, settings: DecoSettings) -> GasSwitch:
    """The switch from one source to another at a depth, as in leaving the loop."""
    return gas_switch(one.held(depth_m, settings), other.held(depth_m, settings), depth_m, other.gas_at(depth_m))


def gas_switches(schedule: Schedule) -> tuple[GasSwitch, ...]:
    """Every switch of an open-circuit schedule, in order; a loop has none."""
    settings, source = schedule.settings, schedule.breathing
    if not isinstance(source, OpenCircuit):
        return ()
    found = []
    last: int | None = None
    for passage in schedule.passages():
        now, depth_m = source.gas_at(max(passage.from_m, passage.to_m)), passage.from_m
        if last is not None and now != last:
            before, after = source.inspired(last, depth_m, settings), source.inspired(now, depth_m, settings)
            found.append(gas_switch(before, after, depth_m, now, passage.start_min))
        last = now
    return tuple(found)
