"""Oxygen in a loop that nobody steers: fixed flow, flushing with diluent, oxygen shut, and an ascent without addition.

Each is a balance of molecules at one mixed loop. The diver uses oxygen at the same rate at every depth, so what is left
in the loop depends on the flow in surface litres and on how much gas the loop holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import (
    require_above,
    require_absolute_pressure_bar,
    require_between,
    require_fraction,
)
from loopworthy.science.gas.budgets import require_loop_volume_l, require_metabolic_l_per_min
from loopworthy.vocabulary.errors import DomainError

HYPOXIC_OXYGEN_BAR = 0.16
"""Oxygen pressure below which a diver may lose consciousness without warning. Common practice."""


def fixed_flow_fraction(flow_l_per_min: float, supply_oxygen_fraction: float, metabolic_l_per_min: float) -> float:
    """Steady oxygen fraction of a loop with a constant mass flow.

    Parameters
    ----------
    flow_l_per_min : float
        Supply, in litres at 1 bar, above the metabolic use to 500. [L/min]
    supply_oxygen_fraction : float
        Oxygen in it, above 0 to 1.
    metabolic_l_per_min : float
        Oxygen used, above 0 to 6. [L/min]

    Returns
    -------
    float
        (Q F_s - VO2) / (Q - VO2), never below 0.

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    Oxygen in less oxygen used leaves with the rest; depth does not enter. Hard work makes the loop lean. It takes a few
    loop volumes of flow to get there.

    Examples
    --------
    >>> [round(100 * fixed_flow_fraction(10, 0.4, use), 1) for use in (0.5, 1.0, 1.5, 2.5)]
    [36.8, 33.3, 29.4, 20.0]
    """
    require_metabolic_l_per_min(metabolic_l_per_min)
    require_above("flow_l_per_min", flow_l_per_min, metabolic_l_per_min, 500.0, "L/min")
    require_fraction("supply_oxygen_fraction", supply_oxygen_fraction, above_zero=True)
    left = (flow_l_per_min * supply_oxygen_fraction - metabolic_l_per_min) / (flow_l_per_min - metabolic_l_per_min)
    return max(0.0, left)


def flow_for_fraction_l_per_min(
    oxygen_fraction: float, supply_oxygen_fraction: float, metabolic_l_per_min: float
) -> float:
    """Supply that keeps a loop at a fraction: VO2 (1 - F) / (F_s - F), in litres at 1 bar. [L/min]

    The supply must be richer than the loop; how much it is flushed by hand on diluent follows from this as well.
    """
    require_metabolic_l_per_min(metabolic_l_per_min)
    require_fraction("supply_oxygen_fraction", supply_oxygen_fraction, above_zero=True)
    require_fraction("oxygen_fraction", oxygen_fraction)
    if oxygen_fraction >= supply_oxygen_fraction:
        raise DomainError("oxygen_fraction", oxygen_fraction, f"below the {supply_oxygen_fraction:.4g} of the supply")
    return metabolic_l_per_min * (1.0 - oxygen_fraction) / (supply_oxygen_fraction - oxygen_fraction)


def dumped_share_fraction(
    dumped_l_per_min: float, ambient_pressure_bar: float, supply_oxygen_fraction: float, metabolic_l_per_min: float
) -> float:
    """Oxygen fraction of a loop from which a share of each breath is dumped and replaced, at an ambient pressure.

    The supply replaces what is dumped (litres at depth, above 0 to 60) and the oxygen used. It is the balance of
    `fixed_flow_fraction` with a flow that grows with pressure, so such a loop is leanest near the surface.
    """
    require_above("dumped_l_per_min", dumped_l_per_min, 0.0, 60.0, "L/min")
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_metabolic_l_per_min(metabolic_l_per_min)
    require_fraction("supply_oxygen_fraction", supply_oxygen_fraction, above_zero=True)
    dumped_bar_l = dumped_l_per_min * ambient_pressure_bar
    return max(0.0, supply_oxygen_fraction - metabolic_l_per_min / dumped_bar_l * (1.0 - supply_oxygen_fraction))


def time_to_oxygen_min(
    start_oxygen_bar: float,
    floor_oxygen_bar: float,
    loop_volume_l: float,
    ambient_pressure_bar: float,
    metabolic_l_per_min: float,
    *,
    refill_oxygen_fraction: float | None = None,
) -> float | None:
    """How long until the oxygen of a loop has fallen to a pressure, with oxygen shut and depth held.

    Parameters
    ----------
    start_oxygen_bar, floor_oxygen_bar : float
        Oxygen pressure now and the one asked about, from 0 to ambient. [bar]
    loop_volume_l : float
        Loop and lungs at the start, 1 to 30. [L]
    ambient_pressure_bar : float
        Absolute pressure, 0.4 to 60. [bar]
    metabolic_l_per_min : float
        Oxygen used, above 0 to 6. [L/min]
    refill_oxygen_fraction : float or None
        None: the bags shrink as oxygen is used. A fraction: diluent of it keeps the volume, which delays.

    Returns
    -------
    float or None
        Time; 0 if it is there already; None if the refill is oxygen, which never ends. [min]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    V P (F0 - F) / (1 - F) / VO2 with shrinking bags; V P (F0 - F) / (1 - F_dil) / VO2 where diluent fills them. The dry
    gas of the loop is taken; with shrinking bags there may be too little to breathe before.

    Examples
    --------
    >>> round(60 * time_to_oxygen_min(0.2095, 0.16, 9, 1.0, 1.0))  # seconds, loop full of air at the surface
    32
    """
    require_loop_volume_l(loop_volume_l)
    require_absolute_pressure_bar(ambient_pressure_bar)
    require_metabolic_l_per_min(metabolic_l_per_min)
    require_between("start_oxygen_bar", start_oxygen_bar, 0.0, ambient_pressure_bar, "bar")
    require_between("floor_oxygen_bar", floor_oxygen_bar, 0.0, ambient_pressure_bar, "bar")
    if start_oxygen_bar <= floor_oxygen_bar:
        return 0.0
    gas_bar_l = loop_volume_l * ambient_pressure_bar
    start, floor = start_oxygen_bar / ambient_pressure_bar, floor_oxygen_bar / ambient_pressure_bar
    if refill_oxygen_fraction is None:
        return gas_bar_l * (start - floor) / (1.0 - floor) / metabolic_l_per_min
    require_fraction("refill_oxygen_fraction", refill_oxygen_fraction)
    if refill_oxygen_fraction >= 1.0:
        return None  # oxygen replaced by oxygen never falls
    return gas_bar_l * (start - floor) / (1.0 - refill_oxygen_fraction) / metabolic_l_per_min


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenOnAscent:
    """Oxygen in the loop at a pressure on the way up. [bar]"""

    ambient_pressure_bar: float
    oxygen_bar: float


def oxygen_on_ascent(
    start_oxygen_bar: float,
    start_pressure_bar: float,
    pressures_bar: Sequence[float],
    *,
    loop_volume_l: float = 6.0,
    metabolic_l_per_min: float = 0.0,
    ascent_bar_per_min: float = 1.0,
) -> tuple[OxygenOnAscent, ...]:
    """Oxygen along an ascent on which nothing is added and what expands is let out.

    Parameters
    ----------
    start_oxygen_bar, start_pressure_bar : float
        In the loop and around it where the ascent begins, 0.4 to 60. [bar]
    pressures_bar : sequence of float
        Absolute pressures on the way, none above the start. [bar]
    loop_volume_l : float
        Volume that the loop keeps, 1 to 30. [L]
    metabolic_l_per_min : float
        Oxygen used, 0 to 6; 0 tells what expansion alone does. [L/min]
    ascent_bar_per_min : float
        Rate of the ascent, above 0 to 10. [bar/min]

    Returns
    -------
    tuple of OxygenOnAscent
        One for each pressure; never below 0.

    Raises
    ------
    DomainError
        If an argument lies outside its range, or more oxygen is used than the ascent lets gas expand.

    Notes
    -----
    Venting keeps the fraction F and use lowers it: dF/dt = -VO2 (1 - F) / (V P). With P falling at a rate k this gives
    1 - F = (1 - F0) (P0 / P)^(VO2 / (V k)), as long as V k is more than VO2, so that gas is let out all the way.

    Examples
    --------
    >>> on_the_way = oxygen_on_ascent(1.2, 4.028, (3.023, 2.018, 1.616, 1.013))
    >>> [round(each.oxygen_bar, 2) for each in on_the_way]
    [0.9, 0.6, 0.48, 0.3]
    """
    require_absolute_pressure_bar(start_pressure_bar, "start_pressure_bar")
    require_between("start_oxygen_bar", start_oxygen_bar, 0.0, start_pressure_bar, "bar")
    require_loop_volume_l(loop_volume_l)
    require_between("metabolic_l_per_min", metabolic_l_per_min, 0.0, 6.0, "L/min")
    require_above("ascent_bar_per_min", ascent_bar_per_min, 0.0, 10.0, "bar/min")
    expanding = loop_volume_l * ascent_bar_per_min
    if metabolic_l_per_min > expanding:
        raise DomainError("metabolic_l_per_min", metabolic_l_per_min, f"at most the {expanding:.3g} L/min that expand")
    start_fraction = start_oxygen_bar / start_pressure_bar
    answers = []
    for place, here_bar in enumerate(pressures_bar):
        require_between(f"pressures_bar[{place}]", here_bar, 0.4, start_pressure_bar, "bar")
        inert = (1.0 - start_fraction) * math.pow(start_pressure_bar / here_bar, metabolic_l_per_min / expanding)
        answers.append(OxygenOnAscent(ambient_pressure_bar=here_bar, oxygen_bar=max(0.0, 1.0 - inert) * here_bar))
    return tuple(answers)
