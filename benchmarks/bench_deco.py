"""How long a schedule and an envelope take, against the straightforward first version, in one run.

Run it from the root of the repository: ``.venv/bin/python benchmarks/bench_deco.py [rounds]``. The dive is 60 m for
30 min on 18/45 at 1.3 bar with gradient factors 30/80; bailout from each of 28 minutes on 18/45, 50 % and oxygen.
Ratios matter, not seconds. A cold schedule starts from nothing, without any factor kept from before; with the table
of factors, those for whole minutes and usual travels are there, as after the first schedule of a process.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from typing import Any

import first_version

from loopworthy.science.deco.bailout import Bailout, BailoutRates, bailout_envelope
from loopworthy.science.deco.breathing import CylinderGas, Loop, OpenCircuit
from loopworthy.science.deco.coefficients import coefficients
from loopworthy.science.deco.rows import forget_factors
from loopworthy.science.deco.schedule import Level, Schedule, plan_schedule
from loopworthy.science.deco.settings import DecoSettings, StopForm
from loopworthy.science.physics.gas import GasMixture

Work = Callable[[], object]

GOALS = {"schedule": 2.5, "envelope": 4.0}

PLAN: dict[str, Any] = {
    "surface_bar": 1.01325,
    "bar_per_m": 0.1,
    "water_vapour_bar": 0.0627,
    "gf_low": 0.3,
    "gf_high": 0.8,
    "ascent_m_per_min": 9.0,
    "descent_m_per_min": 20.0,
    "stop_step_m": 3.0,
    "last_stop_m": 3.0,
    "test": "departure",
    "levels": [{"depth_m": 60.0, "leave_at_min": 30.0}],
    "loop": {"set_point_bar": 1.3, "oxygen_fraction": 0.18, "helium_fraction": 0.45},
    "gases": [
        {"oxygen_fraction": 0.18, "helium_fraction": 0.45, "usable_to_m": 66.0},
        {"oxygen_fraction": 0.5, "helium_fraction": 0.0, "usable_to_m": 21.0},
        {"oxygen_fraction": 1.0, "helium_fraction": 0.0, "usable_to_m": 6.0},
    ],
    "onset_min": 2.0,
    "onset_rmv_l_per_min": 40.0,
    "rmv_l_per_min": 20.0,
    "from_min": 3,
    "to_min": 30,
}


def planned(stops: StopForm, leave_at_min: float = 30.0) -> Schedule:
    """The reference dive by the program."""
    settings = DecoSettings(gf_low=0.3, gf_high=0.8, stops=stops)
    loop = Loop.at(1.3, GasMixture(oxygen_fraction=0.18, helium_fraction=0.45))
    return plan_schedule(settings, (Level(depth_m=60.0, leave_at_min=leave_at_min),), loop)


def envelope(schedule: Schedule, to_min: int = 30, gases: int = 3) -> object:
    """Its envelope by the program, with a new ladder each time."""
    mixtures = [
        CylinderGas(
            mixture=GasMixture(oxygen_fraction=gas["oxygen_fraction"], helium_fraction=gas["helium_fraction"]),
            usable_to_m=gas["usable_to_m"],
        )
        for gas in PLAN["gases"][:gases]
    ]
    rates = BailoutRates(rmv_l_per_min=20.0, onset_min=2.0, onset_rmv_l_per_min=40.0)
    return bailout_envelope(schedule, Bailout(schedule.settings, OpenCircuit(gases=tuple(mixtures)), rates), 3, to_min)


def main(rounds: int) -> None:
    """Print times and ratios, and which goals are missed: a busy computer can miss one, so that nothing fails by it."""
    chosen = coefficients()
    nitrogen = [(one.half_time_min, one.a_bar, one.b) for one in chosen.nitrogen]
    helium = [(one.half_time_min, one.a_bar, one.b) for one in chosen.helium]
    clock = time.perf_counter
    for stops in StopForm:
        plan = PLAN | {"stops": stops.value}
        schedule = planned(stops)

        def cold(stops: StopForm = stops) -> None:
            forget_factors()
            planned(stops)

        pairs: dict[str, tuple[Work, Work]] = {
            "schedule": (partial(first_version.schedule, plan, nitrogen, helium), cold),
            "schedule with the table of factors": (
                partial(first_version.schedule, plan, nitrogen, helium),
                partial(planned, stops),
            ),
            "envelope": (partial(first_version.bailout, plan, nitrogen, helium), partial(envelope, schedule)),
        }
        for name, (first, ours) in pairs.items():
            # Turn by turn, so that both meet the same machine.
            firsts = min(first_version.timed(first, clock, 1) for _ in range(rounds))
            best = min(first_version.timed(ours, clock, 3) for _ in range(rounds))
            ratio = firsts / best
            decides = stops is StopForm.WHOLE_MINUTES and name in GOALS
            verdict = "" if not decides else f"goal {GOALS[name]:g}: {'met' if ratio >= GOALS[name] else 'MISSED'}"
            print(
                f"{name}, {stops.value}: first version {firsts * 1e3:.2f} ms, ours {best * 1e3:.2f} ms, "
                f"ratio {ratio:.1f} {verdict}".rstrip()
            )
    print("growth of the envelope with bottom time and number of gases, whole minutes:")
    for minutes in (15, 30, 60):
        schedule = planned(StopForm.WHOLE_MINUTES, float(minutes))
        took = first_version.timed(partial(envelope, schedule, minutes), clock, 3)
        print(f"  {minutes} min at 60 m: {took * 1e3:.1f} ms, {took * 1e3 / (minutes - 2):.2f} ms a minute")
    schedule = planned(StopForm.WHOLE_MINUTES)
    for gases in (1, 2, 3):
        took = first_version.timed(partial(envelope, schedule, 30, gases), clock, 3)
        print(f"  {gases} gases: {took * 1e3:.1f} ms")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 7)
