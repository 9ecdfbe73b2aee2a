"""An ascent by rules 8 to 11: from level to level, a stop wherever the next level is not yet allowed.

Going up, the next level is tested with the low gradient factor; the first level where that fails is the anchor, from
which the gradient rises in a straight line to the high one at the surface. What does not depend on the tissues is
computed once for a ladder of levels and shared by every ascent on it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import NamedTuple

from loopworthy.science.deco.breathing import Breathing
from loopworthy.science.deco.coefficients import COMPARTMENTS
from loopworthy.science.deco.rows import (
    Row,
    added_by,
    filled,
    first_above,
    kept_after,
    kept_just_now,
    least_limits,
    limit_rows,
    most_on_the_way,
    none_above,
    ramp_over,
    settled,
    travelled,
)
from loopworthy.science.deco.segments import travel
from loopworthy.science.deco.settings import DecoSettings, StopForm, StopTest
from loopworthy.science.deco.stops import STEP_MIN, Way, first_passing, first_whole_passing, is_coming_down


class Leg(NamedTuple):
    """One level and the travel from it to the next, or to a later one: all that does not depend on the tissues.

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


class Step(NamedTuple):
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
        Every level where the limit was looked at, the start included; without a solution, those before it.
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
        self._plunges: dict[tuple[float, float], Leg] = {}
        self._highest: dict[float, tuple[Row, Row]] = {}
        self._least: dict[tuple[float, float], Row] = {}
        self._last: dict[float, tuple[float, int]] = {}

    def ascend(self, row: Row, depth_m: float, test: StopTest | None = None) -> Ascent:
        """From these tissues at this depth to the surface; `test` in place of that of the settings."""
        on_arrival_there = (test or self.settings.test) is StopTest.ARRIVAL
        low, high = self.settings.gf_low, self.settings.gf_high
        rows, legs = self._rows, self._legs
        anchor_m, minutes, ruler = 0.0, 0.0, -1
        steps: list[Step] = []
        plunge = self._plunge(row, depth_m)
        if plunge is not None:
            steps.append(Step(plunge, minutes, row, 0.0, -1))
            minutes += plunge.travel_min
            row, depth_m = travelled(row, plunge.kept, plunge.added), plunge.next_m
        while depth_m > 0.0:
            leg = legs.get(depth_m) or self._leg(depth_m)
            next_m, pressure_bar = leg.next_m, leg.next_pressure_bar
            tested = travelled(row, leg.kept, leg.added) if on_arrival_there else row
            stop_min, ruled_by, on_arrival = 0.0, -1, row
            if not anchor_m:
                least = self._least_at(next_m, pressure_bar, low)
                if first_above(tested, least, rows, pressure_bar, low) >= 0:
                    anchor_m = depth_m
            if anchor_m:
                gradient = high + (low - high) * next_m / anchor_m
                least = self._least_at(next_m, pressure_bar, gradient)
                above = -1
                known = self._no_shorter(leg, row, gradient, on_arrival_there)
                if known is None:
                    above = first_above(tested, least, rows, pressure_bar, gradient)
                if known is not None or above >= 0:
                    stop = self._stop(leg, row, gradient, least, known, above, ruler, on_arrival_there)
                    if isinstance(stop, NoSolution):
                        return Ascent(
                            anchor_m=anchor_m, steps=tuple(steps), minutes=minutes, surfacing=row, no_solution=stop
                        )
                    stop_min, ruled_by, row = stop
                    ruler = ruled_by
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

    def _plunge(self, row: Row, depth_m: float) -> Leg | None:
        """The way up to the shallowest level that is allowed whatever happens on it, if it is more than one level.

        Going straight up, a compartment holds at most what it holds now and what it would take up of the gas breathed
        at the start, in the time to the surface. The levels that allow as much need no closer look.
        """
        settings = self.settings
        highest_m = max(self.breathing.no_more_to_m(depth_m), settings.last_stop_m)
        if settings.next_level_m(depth_m) <= highest_m:
            return None
        found = self._highest.get(depth_m)
        if found is None:
            minutes = depth_m / settings.ascent_m_per_min
            taken = [1.0 - kept for kept in kept_just_now(self.chosen, minutes)]
            found = self._highest[depth_m] = filled(*self.breathing.held(depth_m, settings)), taken
        most = most_on_the_way(row, *found)
        # A pressure of that much inert gas is allowed at once: every limit is above the ambient pressure.
        allowed_m = (max(most) - settings.surface_bar) / settings.bar_per_m
        level_m = depth_m
        while level_m > highest_m + 1e-9:
            above_m = settings.next_level_m(level_m)
            if above_m < highest_m - 1e-9:
                break
            if above_m < allowed_m:
                least = self._least_at(above_m, settings.pressure_bar(above_m), settings.gf_low)
                if not none_above(most, least):
                    break
            level_m = above_m
        if level_m > settings.next_level_m(depth_m) - 1e-9:
            return None
        leg = self._plunges.get((depth_m, level_m))
        if leg is None:
            leg = self._plunges[depth_m, level_m] = self._travelled_leg(depth_m, level_m)
        return leg

    def _leg(self, depth_m: float) -> Leg:
        leg = self._legs[depth_m] = self._travelled_leg(depth_m, self.settings.next_level_m(depth_m))
        return leg

    def _travelled_leg(self, depth_m: float, next_m: float) -> Leg:
        settings, breathing = self.settings, self.breathing
        target = filled(*breathing.held(depth_m, settings))
        pieces = breathing.pieces(depth_m, next_m, settings)
        if len(pieces) == 1:  # most legs, of which a ladder has many
            minutes = (depth_m - next_m) / settings.ascent_m_per_min
            ramp = ramp_over(self.chosen, minutes)
            kept = ramp.kept
            added = added_by(ramp, filled(*pieces[0].at_start), filled(*pieces[0].at_end))
        else:
            minutes, kept, added = travel(depth_m, next_m, settings.ascent_m_per_min, breathing, settings)
        here_bar, next_bar = settings.pressure_bar(depth_m), settings.pressure_bar(next_m)
        return Leg(depth_m, next_m, here_bar, next_bar, target, minutes, kept, added, breathing.gas_at(depth_m))

    def _least_at(self, next_m: float, pressure_bar: float, gradient: float) -> Row:
        found = self._least.get((next_m, gradient))
        if found is None:
            found = self._least[next_m, gradient] = least_limits(self._rows, pressure_bar, gradient)
        return found

    def _no_shorter(self, leg: Leg, row: Row, gradient: float, on_arrival_there: bool) -> tuple[float, int] | None:
        """The last answer at this level, if it can be shown that no shorter stop passes this time either.

        Dives differ little from minute to minute. Where the compartment that ruled comes down through its limit no
        earlier than then, every shorter stop is failed by it.
        """
        last = self._last.get(leg.depth_m)
        if last is None or not is_coming_down(self._way(leg, row, gradient, last[1], on_arrival_there), last[0] - 1.0):
            return None
        return last

    def _stop(
        self,
        leg: Leg,
        row: Row,
        gradient: float,
        least: Row,
        known: tuple[float, int] | None,
        above: int,
        ruled_before: int,
        on_arrival_there: bool,
    ) -> tuple[float, int, Row] | NoSolution:
        """Minutes of a stop, which compartment ruled it, and the tissues after it.

        Either the stop is `known` to be no shorter, or compartment `above` fails at 0 min. `ruled_before` is the
        compartment that ruled the stop before: the next slower one often rules this one.
        """
        rows, whole, chosen = self._rows, self._whole, self.chosen
        pressure_bar, target = leg.next_pressure_bar, leg.target
        (minutes, ruled_by), failing = known or (0.0, above), above
        if failing > ruled_before + 1 > 0:
            failing = ruled_before + 1  # a guess: where it does not fail at once, `above` does
        while True:
            if failing >= 0:
                way = self._way(leg, row, gradient, failing, on_arrival_there)
                found = first_whole_passing(way, minutes) if whole else first_passing(way, minutes)
                if found == inf:
                    return _no_solution(leg, failing, minutes, gradient)
                if found == minutes == 0.0 and failing != above:
                    failing = above
                    continue
                # Ever forward, even where two roundings of the same limit disagree.
                minutes = found if found > minutes else minutes + (1.0 if whole else STEP_MIN * (1.0 + minutes))
                ruled_by = failing
            kept = kept_after(chosen, minutes) if whole else kept_just_now(chosen, minutes)
            after = settled(row, target, kept)
            tested = travelled(after, leg.kept, leg.added) if on_arrival_there else after
            failing = first_above(tested, least, rows, pressure_bar, gradient)
            if failing < 0:
                if whole:
                    self._last[leg.depth_m] = minutes, ruled_by
                return minutes, ruled_by, after

    def _way(self, leg: Leg, row: Row, gradient: float, index: int, on_arrival_there: bool) -> Way:
        """One compartment while it waits at a level; on arrival, as it will be after the travel."""
        rows, rates, target = self._rows, self.chosen.rates_per_min, leg.target
        helium = COMPARTMENTS + index
        nitrogen_target, helium_target = target[index], target[helium]
        nitrogen_distance, helium_distance = row[index] - nitrogen_target, row[helium] - helium_target
        if on_arrival_there:
            nitrogen_target = nitrogen_target * leg.kept[index] + leg.added[index]
            helium_target = helium_target * leg.kept[helium] + leg.added[helium]
            nitrogen_distance *= leg.kept[index]
            helium_distance *= leg.kept[helium]
        return (
            nitrogen_target, nitrogen_distance, rates[index], helium_target, helium_distance, rates[helium],
            rows.nitrogen_a[index], rows.helium_a[index], rows.nitrogen_b[index], rows.helium_b[index],
            leg.next_pressure_bar, gradient,
        )  # fmt: skip


def _no_solution(leg: Leg, ruled_by: int, from_min: float, gradient: float) -> NoSolution:
    """In words: nothing here is clipped or left to turn for ever."""
    goal = "the surface" if leg.next_m == 0.0 else f"{leg.next_m:g} m"
    loaded_bar = leg.target[ruled_by] + leg.target[COMPARTMENTS + ruled_by]
    return NoSolution(
        depth_m=leg.depth_m,
        reason=(
            f"No stop at {leg.depth_m:g} m is of a length that allows {goal} with gradient factor {gradient:.2f}: from "
            f"{from_min:.4g} min on compartment {ruled_by + 1} is above its limit, as the gas breathed there brings it "
            f"to {loaded_bar:.2f} bar of inert gas. A gas with more oxygen, or a deeper last stop, may have a solution"
        ),
    )
