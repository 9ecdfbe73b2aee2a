"""A straightforward decompression planner: the first version that one would write, and a check of the other.

It steps minute by minute, keeps nothing between two questions and recomputes every bailout from the surface. It shares
no code with the program and only the coefficients as data: plain dictionaries in, plain dictionaries out, in the keys
of ``loopworthy compute``. Continuous stops are found by halving.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

Plan = dict[str, Any]
Rows = list[tuple[float, float, float]]  # half-time, a, b

LONGEST_STOP_MIN = 6000


class CannotLeave(Exception):
    """A stop did not end within `LONGEST_STOP_MIN`."""

    def __init__(self, depth_m: float) -> None:
        self.depth_m = depth_m
        super().__init__(f"no end to the stop at {depth_m} m")


class Diver:
    """Tissues, where the diver is, and what is breathed."""

    def __init__(self, plan: Plan, nitrogen: Rows, helium: Rows) -> None:
        self.plan = plan
        self.nitrogen_rows, self.helium_rows = nitrogen, helium
        self.depth = 0.0
        self.time = 0.0
        start = 0.79 * (plan["surface_bar"] - plan["water_vapour_bar"])
        self.nitrogen = [start] * 16
        self.helium = [0.0] * 16
        self.gases: list[Plan] | None = plan.get("open_circuit")
        self.used: list[float] = []
        self.rmv = 0.0

    def pressure(self, depth: float) -> float:
        return float(self.plan["surface_bar"] + self.plan["bar_per_m"] * depth)

    def best_gas(self, depth: float) -> int:
        assert self.gases is not None
        usable = [i for i, gas in enumerate(self.gases) if gas["usable_to_m"] >= depth - 1e-9]
        return max(usable, key=lambda i: (self.gases[i]["oxygen_fraction"], -i))  # type: ignore[index]

    def inspired(self, depth: float, gas: int | None) -> tuple[float, float]:
        dry = self.pressure(depth) - self.plan["water_vapour_bar"]
        if self.gases is not None:
            assert gas is not None
            mix = self.gases[gas]
            oxygen, helium = mix["oxygen_fraction"], mix["helium_fraction"]
            return (1.0 - oxygen - helium) * dry, helium * dry
        loop = self.plan["loop"]
        oxygen, helium = loop["oxygen_fraction"], loop["helium_fraction"]
        po2 = min(max(loop["set_point_bar"], oxygen * dry), dry)
        inert = dry - po2
        if oxygen >= 1.0:
            return 0.0, 0.0
        return inert * (1.0 - oxygen - helium) / (1.0 - oxygen), inert * helium / (1.0 - oxygen)

    def schreiner(self, minutes: float, before: tuple[float, float], after: tuple[float, float]) -> None:
        for pressures, rows, start, end in (
            (self.nitrogen, self.nitrogen_rows, before[0], after[0]),
            (self.helium, self.helium_rows, before[1], after[1]),
        ):
            rate = (end - start) / minutes
            for i in range(16):
                k = math.log(2.0) / rows[i][0]
                pressures[i] = (
                    start + rate * (minutes - 1.0 / k) - (start - pressures[i] - rate / k) * math.exp(-k * minutes)
                )

    def stay(self, minutes: float) -> None:
        """Stay in steps of a minute."""
        gas = self.best_gas(self.depth) if self.gases is not None else None
        left = minutes
        while left > 0.0:
            step = min(1.0, left)
            inspired = self.inspired(self.depth, gas)
            self.schreiner(step, inspired, inspired)
            left -= step
        if gas is not None and self.used:
            self.used[gas] += self.rmv * self.pressure(self.depth) * minutes
        self.time += minutes

    def travel(self, to: float, speed: float) -> None:
        """Travel, halted wherever the inspired gas of a loop has a kink."""
        start = self.depth
        if to == start:
            return
        gas = self.best_gas(max(start, to)) if self.gases is not None else None
        marks = [to]
        if self.gases is None:
            loop = self.plan["loop"]
            for dry in (loop["set_point_bar"], loop["set_point_bar"] / max(loop["oxygen_fraction"], 1e-12)):
                kink = (dry + self.plan["water_vapour_bar"] - self.plan["surface_bar"]) / self.plan["bar_per_m"]
                if min(start, to) < kink < max(start, to):
                    marks.append(kink)
        at = start
        for mark in sorted(marks, reverse=to < start):
            if mark != at:
                self.schreiner(abs(mark - at) / speed, self.inspired(at, gas), self.inspired(mark, gas))
                at = mark
        if gas is not None and self.used:
            mean = (self.pressure(start) + self.pressure(to)) / 2.0
            self.used[gas] += self.rmv * mean * abs(to - start) / speed
        self.time += abs(to - start) / speed
        self.depth = to

    def allowed(self, depth: float, gradient: float) -> bool:
        pressure = self.pressure(depth)
        for i in range(16):
            nitrogen, helium = self.nitrogen[i], self.helium[i]
            total = nitrogen + helium
            if total <= 0.0:
                continue
            a = (self.nitrogen_rows[i][1] * nitrogen + self.helium_rows[i][1] * helium) / total
            b = (self.nitrogen_rows[i][2] * nitrogen + self.helium_rows[i][2] * helium) / total
            if total > pressure + gradient * (a + pressure / b - pressure):
                return False
        return True

    def next_level(self) -> float:
        step, last = self.plan["stop_step_m"], self.plan["last_stop_m"]
        level = 0.0
        k = 1
        while k * step < self.depth - 1e-9:
            if k * step >= last - 1e-9:
                level = k * step
            k += 1
        return level

    def may_go(self, to: float, gradient: float, test: str) -> bool:
        if test == "departure":
            return self.allowed(to, gradient)
        other = self.copy()
        other.travel(to, self.plan["ascent_m_per_min"])
        return other.allowed(to, gradient)

    def copy(self) -> Diver:
        other = Diver(self.plan, self.nitrogen_rows, self.helium_rows)
        other.depth, other.time, other.gases = self.depth, self.time, self.gases
        other.nitrogen, other.helium = list(self.nitrogen), list(self.helium)
        return other

    def ascend(self, test: str) -> Plan:
        """Go up by rules 8 to 11."""
        plan = self.plan
        low, high = plan["gf_low"], plan["gf_high"]
        anchor = 0.0
        stops = []
        started = self.time
        while self.depth > 0.0:
            to = self.next_level()
            if anchor == 0.0 and not self.may_go(to, low, test):
                anchor = self.depth
            gradient = high + (low - high) * to / anchor if anchor else low
            if anchor and not self.may_go(to, gradient, test):
                minutes = self.wait(to, gradient, test)
                stops.append({"depth_m": self.depth, "minutes": minutes})
            self.travel(to, plan["ascent_m_per_min"])
        return {"first_stop_m": anchor, "stops": stops, "time_to_surface_min": self.time - started}

    def wait(self, to: float, gradient: float, test: str) -> float:
        """Wait a minute at a time; for continuous stops halve the last minute."""
        waited = 0
        while True:
            before = self.copy()
            used = list(self.used)
            self.stay(1.0)
            waited += 1
            if self.may_go(to, gradient, test):
                break
            if waited > LONGEST_STOP_MIN:
                raise CannotLeave(self.depth)
        if self.plan["stops"] == "whole minutes":
            return float(waited)
        short, long = 0.0, 1.0
        while long - short > 1e-10:
            middle = (short + long) / 2.0
            trial = before.copy()
            trial.stay(middle)
            if trial.may_go(to, gradient, test):
                long = middle
            else:
                short = middle
        self.nitrogen, self.helium, self.time, self.used = before.nitrogen, before.helium, before.time, used
        self.stay(long)
        return waited - 1.0 + long

    def dive(self, until: float = math.inf) -> None:
        """The levels, up to a run time."""
        for level in self.plan["levels"]:
            depth = level["depth_m"]
            if depth != self.depth:
                speed = self.plan["descent_m_per_min" if depth > self.depth else "ascent_m_per_min"]
                arrives = self.time + abs(depth - self.depth) / speed
                if arrives > until:
                    sign = 1.0 if depth > self.depth else -1.0
                    self.travel(round(self.depth + sign * speed * (until - self.time), 9), speed)
                    self.time = until
                    return
                self.travel(depth, speed)
            self.stay(min(level["leave_at_min"], until) - self.time)
            if self.time >= until - 1e-9:
                return


def schedule(plan: Plan, nitrogen: Rows, helium: Rows, *, start: tuple[list[float], list[float]] | None = None) -> Plan:
    """The schedule of a plan with all its keys stated."""
    diver = Diver(plan, nitrogen, helium)
    if start is not None:
        diver.nitrogen, diver.helium = list(start[0]), list(start[1])
    diver.dive()
    leaving = {"nitrogen_bar": list(diver.nitrogen), "helium_bar": list(diver.helium)}
    try:
        found = diver.ascend(plan["test"])
    except CannotLeave as end:
        return {"no_solution": {"depth_m": end.depth_m}, "leaving_bottom": leaving}
    return found | {
        "surfacing": {"nitrogen_bar": diver.nitrogen, "helium_bar": diver.helium},
        "leaving_bottom": leaving,
    }


def is_kept(plan: Plan, nitrogen: Rows, helium: Rows, answer: Plan) -> bool:
    """Whether another planner's answer keeps every limit: its stops are made, and every level is tested as it is left.

    For answers that steps of a minute cannot find: a moment of passing between two whole minutes.
    """
    diver = Diver(plan, nitrogen, helium)
    diver.dive()
    low, high, anchor = plan["gf_low"], plan["gf_high"], answer["first_stop_m"]
    made = {round(stop["depth_m"], 6): stop["minutes"] for stop in answer["stops"]}
    while diver.depth > 0.0:
        to = diver.next_level()
        diver.stay(made.get(round(diver.depth, 6), 0.0))
        gradient = high + (low - high) * to / anchor if anchor and diver.depth <= anchor else low
        if not diver.may_go(to, gradient - 1e-9, plan["test"]) and not diver.may_go(to, gradient + 1e-9, plan["test"]):
            return False
        diver.travel(to, plan["ascent_m_per_min"])
    return True


def bailout(plan: Plan, nitrogen: Rows, helium: Rows) -> Plan:
    """Bailout from every minute of the bottom, each recomputed from the surface."""
    minutes = []
    for run_time in range(plan["from_min"], plan["to_min"] + 1):
        diver = Diver(plan, nitrogen, helium)
        diver.dive(float(run_time))
        diver.gases = plan["gases"]
        diver.used = [0.0] * len(plan["gases"])
        diver.rmv = plan["onset_rmv_l_per_min"]
        diver.stay(plan["onset_min"])
        diver.rmv = plan["rmv_l_per_min"]
        try:
            found = diver.ascend("departure")
        except CannotLeave as end:
            minutes.append({"run_time_min": run_time, "no_solution": {"depth_m": end.depth_m}})
            continue
        minutes.append(
            {
                "run_time_min": run_time,
                "time_to_surface_min": plan["onset_min"] + found["time_to_surface_min"],
                "gas_bar_l": diver.used,
                "first_stop_m": found["first_stop_m"],
                "stops": found["stops"],
            }
        )

    def total(minute: Plan) -> float:
        return math.inf if "no_solution" in minute else math.fsum(minute["gas_bar_l"])

    return {"minutes": minutes, "worst_run_time_min": max(minutes, key=total)["run_time_min"]}


def timed(work: Callable[[], object], clock: Callable[[], float], rounds: int) -> float:
    """The best of several rounds: a busy computer only ever adds."""
    best = math.inf
    for _ in range(rounds):
        before = clock()
        work()
        best = min(best, clock() - before)
    return best
