"""An ascent by rules 8 to 11: from level to level, a stop wherever the next level is not yet allowed.

Going up, the next level is tested with the low gradient factor; the first level where that fails is the anchor, from
which the gradient rises in a straight line to the high one at the surface. What does not depend on the tissues is
computed once for a ladder of levels and shared by every ascent on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from loopworthy.science.deco.breathing import Breathing
from loopworthy.science.deco.coefficients import COMPARTMENTS
from loopworthy.science.deco.rows import (
    Row,
    filled,
    first_above,
    kept_after,
    kept_just_now,
    least_limits,
    limit_rows,
    settled,
    travelled,
)
from loopworthy.science.deco.segments import travel
from loopworthy.science.deco.settings import DecoSettings, StopForm, StopTest
from loopworthy.science.deco.stops import STEP_MIN, first_passing, first_whole_passing


@dataclass(frozen=True, slots=True)
class Leg:
    """One level and the travel from it to the next: all of it that does not depend on the tissues.

    `gas` is what is breathed at the level and on the travel up from it, an index into the gases of the source.
    """

    depth_m: float
    next_m: float
    pressure_bar: float
    next_pressure_bar: float
    target: Row
    travel_min: float
    kept: Row
    added: Row
    gas: int


@dataclass(frozen=True, slots=True)
class Step:
    """A level as it was met: tissues on arrival, minutes spent there before the travel, and which compartment ruled.

    `ruled_by` is 0 to 15, or -1 where the next level was allowed at once. `arrived_min` counts from the start.
    """

    leg: Leg
    arrived_min: float
    on_arrival: Row
    stop_min: float
    ruled_by: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NoSolution:
    """A stop that no time is long enough for, and why."""

    depth_m: float
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ascent:
    """An ascent to the surface, or to where it has no solution.

    Attributes
    ----------
    anchor_m : float
        First level whose next one is not allowed by the low gradient factor; 0 if there is none. [m]
    steps : tuple of Step
        Every level, the start included; of one without a solution, those before it.
    minutes : float
        From the start to the surface. [min]
    surfacing : Row
        Tissues at the surface.
    no_solution : NoSolution or None
        Why there is no way to the surface; nothing after `steps` counts then.
    """

    anchor_m: float
    steps: tuple[Step, ...]
    minutes: float
    surfacing: Row
    no_solution: NoSolution | None = None

    def stops(self) -> tuple[tuple[float, float], ...]:
        """Depth and minutes of each stop that is not of zero length. [m, min]"""
        return tuple((step.leg.depth_m, step.stop_min) for step in self.steps if step.stop_min > 0.0)


class Ladder:
    """The levels between a depth and the surface on one source of gas, with everything that ascents on it share."""

    def __init__(self, settings: DecoSettings, breathing: Breathing) -> None:
        self.settings = settings
        self.breathing = breathing
        self.chosen = settings.coefficients
        self._rows = limit_rows(self.chosen)
        self._whole = settings.stops is StopForm.WHOLE_MINUTES
        self._legs: dict[float, Leg] = {}
        self._least: dict[tuple[float, float], Row] = {}
        self._last: dict[float, float] = {}

    def ascend(self, row: Row, depth_m: float, test: StopTest | None = None) -> Ascent:
        """From these tissues at this depth to the surface; `test` in place of that of the settings."""
        on_arrival_there = (test or self.settings.test) is StopTest.ARRIVAL
        low, high = self.settings.gf_low, self.settings.gf_high
        rows, legs = self._rows, self._legs
        anchor_m, minutes = 0.0, 0.0
        steps: list[Step] = []
        while depth_m > 0.0:
            leg = legs.get(depth_m) or self._leg(depth_m)
            next_m, pressure_bar = leg.next_m, leg.next_pressure_bar
            tested = travelled(row, leg.kept, leg.added) if on_arrival_there else row
            gradient = high + (low - high) * next_m / anchor_m if anchor_m else low
            least = self._least_at(next_m, pressure_bar, gradient)
            above = first_above(tested, least, rows, pressure_bar, gradient)
            if above >= 0 and not anchor_m:
                anchor_m = depth_m
                gradient = high + (low - high) * next_m / anchor_m
                least = self._least_at(next_m, pressure_bar, gradient)
                above = first_above(tested, least, rows, pressure_bar, gradient)
            stop_min, ruled_by, on_arrival = 0.0, -1, row
            if above >= 0:
                stop_min, ruled_by, row = self._stop(leg, row, gradient, least, above, on_arrival_there)
                if stop_min == inf:
                    reason = _reason(leg, ruled_by, gradient)
                    return Ascent(
                        anchor_m=anchor_m,
                        steps=tuple(steps),
                        minutes=minutes,
                        surfacing=row,
                        no_solution=NoSolution(depth_m=depth_m, reason=reason),
                    )
            steps.append(Step(leg, minutes, on_arrival, stop_min, ruled_by))
            minutes += stop_min + leg.travel_min
            row, depth_m = travelled(row, leg.kept, leg.added), next_m
        return Ascent(anchor_m=anchor_m, steps=tuple(steps), minutes=minutes, surfacing=row)

    def gradient_at(self, depth_m: float, anchor_m: float) -> float:
        """The gradient factor in force at a depth, once the anchor is known."""
        low, high = self.settings.gf_low, self.settings.gf_high
        if anchor_m <= 0.0 or depth_m >= anchor_m:
            return low
        return high + (low - high) * depth_m / anchor_m

    def _leg(self, depth_m: float) -> Leg:
        settings = self.settings
        next_m = settings.next_level_m(depth_m)
        segment = travel(depth_m, next_m, settings.ascent_m_per_min, self.breathing, settings)
        nitrogen_bar, helium_bar = self.breathing.held(depth_m, settings)
        leg = Leg(
            depth_m=depth_m,
            next_m=next_m,
            pressure_bar=settings.pressure_bar(depth_m),
            next_pressure_bar=settings.pressure_bar(next_m),
            target=filled(nitrogen_bar, helium_bar),
            travel_min=segment.minutes,
            kept=segment.kept,
            added=segment.added,
            gas=self.breathing.gas_at(depth_m),
        )
        self._legs[depth_m] = leg
        return leg

    def _least_at(self, next_m: float, pressure_bar: float, gradient: float) -> Row:
        found = self._least.get((next_m, gradient))
        if found is None:
            found = self._least[next_m, gradient] = least_limits(self._rows, pressure_bar, gradient)
        return found

    def _stop(
        self, leg: Leg, row: Row, gradient: float, least: Row, above: int, on_arrival_there: bool
    ) -> tuple[float, int, Row]:
        """Minutes of a stop that compartment `above` asks for, which one ruled, and the tissues after it."""
        rows, pressure_bar, whole = self._rows, leg.next_pressure_bar, self._whole
        rates, target = self.chosen.rates_per_min, leg.target
        # The last answer at this level is a good guess for the next: dives differ little from minute to minute.
        hint = self._last.get(leg.depth_m, 0.0)
        minutes, ruled_by, after = 0.0, above, row
        while above >= 0:
            helium = COMPARTMENTS + above
            nitrogen_target, nitrogen_distance = target[above], row[above] - target[above]
            helium_target, helium_distance = target[helium], row[helium] - target[helium]
            if on_arrival_there:
                nitrogen_target = nitrogen_target * leg.kept[above] + leg.added[above]
                helium_target = helium_target * leg.kept[helium] + leg.added[helium]
                nitrogen_distance *= leg.kept[above]
                helium_distance *= leg.kept[helium]
            way = (
                nitrogen_target, nitrogen_distance, rates[above], helium_target, helium_distance, rates[helium],
                rows.nitrogen_a[above], rows.helium_a[above], rows.nitrogen_b[above], rows.helium_b[above],
                pressure_bar, gradient,
            )  # fmt: skip
            found = first_whole_passing(way, minutes, hint) if whole else first_passing(way, minutes)
            if found == inf:
                return inf, above, row
            # Ever forward, even where two roundings of the same limit disagree.
            minutes = found if found > minutes else minutes + (1.0 if whole else STEP_MIN * (1.0 + minutes))
            ruled_by = above
            kept = kept_after(self.chosen, minutes) if whole else kept_just_now(self.chosen, minutes)
            after = settled(row, target, kept)
            tested = travelled(after, leg.kept, leg.added) if on_arrival_there else after
            above = first_above(tested, least, rows, pressure_bar, gradient)
        self._last[leg.depth_m] = minutes
        return minutes, ruled_by, after


def _reason(leg: Leg, ruled_by: int, gradient: float) -> str:
    goal = "the surface" if leg.next_m == 0.0 else f"{leg.next_m:g} m"
    loaded_bar = leg.target[ruled_by] + leg.target[len(leg.target) // 2 + ruled_by]
    return (
        f"However long the stop at {leg.depth_m:g} m, compartment {ruled_by + 1} stays above its limit for {goal} with "
        f"gradient factor {gradient:.2f}: the gas breathed there holds it near {loaded_bar:.2f} bar of inert gas. "
        "A gas with more oxygen, or a deeper last stop, may have a solution"
    )
