"""Whole dives against SciPy's integration of dp/dt = k (p_inspired(t) - p): no closed form is shared with the program.

Depth over time is taken from the schedule that is checked; what is breathed at each depth is written down here again
from the definition (rules 2 to 4 and 13). All 32 pressures must agree within 1e-6 bar on leaving the bottom and at the
surface, and within that at every stop the limit must be kept and be reached no earlier than the stop's end.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from loopworthy.science.deco.breathing import Breathing, CylinderGas, Loop, OpenCircuit, SetPoint
from loopworthy.science.deco.coefficients import coefficients
from loopworthy.science.deco.schedule import Level, Schedule, plan_schedule
from loopworthy.science.deco.settings import DecoSettings, StopForm, StopTest
from loopworthy.science.physics.gas import GasMixture

CHOSEN = coefficients()
RATES = np.array([math.log(2.0) / one.half_time_min for one in CHOSEN.nitrogen + CHOSEN.helium])
Row32 = NDArray[np.float64]
SIDES: dict[str, Breathing] = {
    "trimix loop": Loop.at(1.3, GasMixture(oxygen_fraction=0.18, helium_fraction=0.45)),
    "heliox loop": Loop.at(1.2, GasMixture(oxygen_fraction=0.10, helium_fraction=0.90)),
    # The diluent alone exceeds the set point from 60.5 m down, and the loop is oxygen above 6.5 m: both kinks are met.
    "both kinks": Loop.at(1.6, GasMixture(oxygen_fraction=0.23, helium_fraction=0.30)),
    "set points by depth": Loop(
        diluent=GasMixture(oxygen_fraction=0.16, helium_fraction=0.40),
        set_points=(
            SetPoint(set_point_bar=0.7),
            SetPoint(set_point_bar=1.2, from_m=7.5),
            SetPoint(set_point_bar=1.3, from_m=21.0),
        ),
    ),
    "open circuit": OpenCircuit(
        gases=(
            CylinderGas(mixture=GasMixture(oxygen_fraction=0.16, helium_fraction=0.45), usable_to_m=80.0),
            CylinderGas(mixture=GasMixture(oxygen_fraction=0.50), usable_to_m=21.0),
            CylinderGas(mixture=GasMixture(oxygen_fraction=1.0), usable_to_m=6.0),
        )
    ),
}


def _breathed(breathing: Breathing, depth_m: float, deeper_end_m: float, settings: DecoSettings) -> tuple[float, float]:
    """Inspired nitrogen and helium, from the definition."""
    dry = settings.surface_bar + settings.bar_per_m * depth_m - settings.water_vapour_bar
    if isinstance(breathing, OpenCircuit):
        usable = [gas.mixture for gas in breathing.gases if gas.usable_to_m >= deeper_end_m - 1e-9]
        mixture = max(usable, key=lambda one: one.oxygen_fraction)
        nitrogen = 1.0 - mixture.oxygen_fraction - mixture.helium_fraction
        return nitrogen * dry, mixture.helium_fraction * dry
    assert isinstance(breathing, Loop)
    set_point = [one.set_point_bar for one in breathing.set_points if one.from_m <= depth_m][-1]
    oxygen, helium = breathing.diluent.oxygen_fraction, breathing.diluent.helium_fraction
    inert = dry - min(max(set_point, oxygen * dry), dry)
    return inert * (1.0 - oxygen - helium) / (1.0 - oxygen), inert * helium / (1.0 - oxygen)


def _integrated(
    pressures: Row32, breathing: Breathing, from_m: float, to_m: float, minutes: float, settings: DecoSettings
) -> Row32:
    """The 32 pressures after a stretch; kinks are met by small steps, not by knowing them."""
    if minutes <= 0.0:
        return pressures
    deeper = max(from_m, to_m)
    cuts = sorted({0.0, minutes, *(_when(depth, from_m, to_m, minutes) for depth in (7.5, 21.0))})

    def change(time: float, state: Row32, clock: Callable[[float], float]) -> Row32:
        nitrogen, helium = _breathed(breathing, clock(time), deeper, settings)
        moved: Row32 = RATES * (np.repeat([nitrogen, helium], 16) - state)
        return moved

    for start, end in pairwise(cuts):
        # Just inside both ends, so that a change of set point is not stepped over.
        def depth(time: float, start: float = start, end: float = end) -> float:
            inside = min(max(time, start + 1e-12), end - 1e-12)
            return from_m + (to_m - from_m) * inside / minutes

        step = np.inf if from_m == to_m else (end - start) / 100.0
        solved = solve_ivp(
            change, (start, end), pressures, method="DOP853", rtol=1e-10, atol=1e-12, args=(depth,), max_step=step
        )
        assert solved.success
        pressures = solved.y[:, -1]
    return pressures


def _when(depth_m: float, from_m: float, to_m: float, minutes: float) -> float:
    """When a travel crosses a depth at which a set point changes; its start where it does not."""
    if not min(from_m, to_m) < depth_m < max(from_m, to_m):
        return 0.0
    return minutes * (depth_m - from_m) / (to_m - from_m)


def _excess(pressures: Row32, pressure: float, gradient: float) -> float:
    """The largest pressure above rule 7's limit."""
    worst = -math.inf
    for index in range(16):
        nitrogen, helium = pressures[index], pressures[16 + index]
        total = nitrogen + helium
        a = (CHOSEN.nitrogen[index].a_bar * nitrogen + CHOSEN.helium[index].a_bar * helium) / total
        b = (CHOSEN.nitrogen[index].b * nitrogen + CHOSEN.helium[index].b * helium) / total
        worst = max(worst, total - pressure - gradient * (a + pressure / b - pressure))
    return worst


def _dive(side: str, test: StopTest, stops: StopForm) -> Schedule:
    settings = DecoSettings(gf_low=0.35, gf_high=0.75, surface_bar=0.98, bar_per_m=0.1005, test=test, stops=stops)
    levels = (
        Level(depth_m=66.0, leave_at_min=14.0),
        Level(depth_m=41.5, leave_at_min=27.0),
        Level(depth_m=52.0, leave_at_min=33.0),
    )
    return plan_schedule(settings, levels, SIDES[side])


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(
    ("test", "stops"),
    [
        (StopTest.DEPARTURE, StopForm.WHOLE_MINUTES),
        (StopTest.DEPARTURE, StopForm.CONTINUOUS),
        (StopTest.ARRIVAL, StopForm.CONTINUOUS),
        (StopTest.ARRIVAL, StopForm.WHOLE_MINUTES),
    ],
)
def test_a_whole_dive_is_what_integration_makes_it(side: str, test: StopTest, stops: StopForm) -> None:
    dive = _dive(side, test, stops)
    assert dive.no_solution is None
    settings, breathing = dive.settings, SIDES[side]
    pressures = np.repeat([0.79 * (settings.surface_bar - settings.water_vapour_bar), 0.0], 16)
    for passage in dive.bottom:
        minutes = passage.end_min - passage.start_min
        pressures = _integrated(pressures, breathing, passage.from_m, passage.to_m, minutes, settings)
    assert pressures == pytest.approx(np.array(dive.leaving_row), abs=1e-6)

    anchor = dive.first_stop_m
    assert anchor > 0.0
    run_min = 0.0
    for step in dive.ascent.steps:
        leg = step.leg
        pressures = _integrated(pressures, breathing, leg.depth_m, leg.depth_m, step.stop_min, settings)
        moved = _integrated(pressures, breathing, leg.depth_m, leg.next_m, leg.travel_min, settings)
        if leg.depth_m <= anchor:
            gradient = settings.gf_high + (settings.gf_low - settings.gf_high) * leg.next_m / anchor
            next_bar = settings.surface_bar + settings.bar_per_m * leg.next_m
            excess = _excess(moved if test is StopTest.ARRIVAL else pressures, next_bar, gradient)
            assert excess <= 1e-6
            if step.stop_min > 0.0 and stops is StopForm.CONTINUOUS:
                assert excess == pytest.approx(0.0, abs=1e-6)  # and not a moment longer than needed
        pressures = moved
        run_min += step.stop_min + leg.travel_min
    assert pressures == pytest.approx(np.array(dive.ascent.surfacing), abs=1e-6)
    assert run_min == pytest.approx(dive.time_to_surface_min, abs=1e-9)
    assert sum(minutes for _, minutes in dive.ascent.stops()) > 10.0
