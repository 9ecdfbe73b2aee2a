"""A dive from the surface to the surface: several levels, then the ascent, with the state at any run time between.

Run time 0 is leaving the surface. Each level is left at its run time, so that a level's time includes the travel to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from loopworthy.science.checks import require_depth_m, require_oxygen_pressure_bar
from loopworthy.science.deco.ascent import Ascent, Ladder, NoSolution
from loopworthy.science.deco.breathing import Breathing, Loop
from loopworthy.science.deco.rows import Row, travelled
from loopworthy.science.deco.segments import stay, travel
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.science.deco.tissues import Tissues, saturated_row
from loopworthy.science.deco.tolerance import Leading, ceiling_m, leading
from loopworthy.vocabulary.errors import DomainError, InputError

LONGEST_BOTTOM_MIN = 10_000.0
LONGEST_NO_STOP_MIN = 1440.0
"""Beyond a day at depth, "no limit" is a better answer than a number."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A depth and the run time at which it is left; on a loop also its own set point, travel to it included."""

    depth_m: float
    leave_at_min: float
    set_point_bar: float | None = None

    def __post_init__(self) -> None:
        require_depth_m(self.depth_m)
        if not 0.0 < self.leave_at_min <= LONGEST_BOTTOM_MIN:
            raise DomainError("leave_at_min", self.leave_at_min, f"above 0 and at most {LONGEST_BOTTOM_MIN:.0f} min")
        if self.set_point_bar is not None:
            require_oxygen_pressure_bar(self.set_point_bar, "set_point_bar")


@dataclass(frozen=True, slots=True)
class Passage:
    """A stay or a travel: from when to when, from where to where, on what, with the tissues at its start."""

    start_min: float
    end_min: float
    from_m: float
    to_m: float
    breathing: Breathing
    at_start: Row

    def depth_at_m(self, run_time_min: float) -> float:
        """Depth at a run time inside. [m]"""
        if self.from_m == self.to_m:
            return self.from_m
        if run_time_min >= self.end_min:
            return self.to_m
        part = (run_time_min - self.start_min) / (self.end_min - self.start_min)
        depth_m = self.from_m + (self.to_m - self.from_m) * part
        return round(depth_m, 9)

    def tissues_at(self, run_time_min: float, settings: DecoSettings) -> Row:
        """Tissues at a run time inside."""
        minutes = run_time_min - self.start_min
        if minutes <= 0.0:
            return self.at_start
        if self.from_m == self.to_m:
            return stay(self.at_start, self.from_m, minutes, self.breathing, settings)
        depth_m = self.depth_at_m(run_time_min)
        if depth_m == self.from_m:
            return self.at_start
        rate = abs(self.to_m - self.from_m) / (self.end_min - self.start_min)
        segment = travel(self.from_m, depth_m, rate, self.breathing, settings)
        return travelled(self.at_start, segment.kept, segment.added)


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """A whole dive.

    Attributes
    ----------
    settings : DecoSettings
        What it was computed with.
    bottom : tuple of Passage
        From the surface to leaving the last level.
    leaving_min : float
        Run time at which the last level is left. [min]
    leaving_m : float
        Its depth. [m]
    leaving_row : Row
        Tissues then; `leaving_bottom` as a value.
    breathing : Breathing
        What the ascent is breathed on.
    ascent : Ascent
        From there to the surface.
    """

    settings: DecoSettings
    bottom: tuple[Passage, ...]
    leaving_min: float
    leaving_m: float
    leaving_row: Row
    breathing: Breathing
    ascent: Ascent

    @property
    def first_stop_m(self) -> float:
        """The anchor of the ascent; 0 without one. [m]"""
        return self.ascent.anchor_m

    @property
    def time_to_surface_min(self) -> float:
        """From leaving the last level; without meaning where there is no solution. [min]"""
        return self.ascent.minutes

    @property
    def no_solution(self) -> NoSolution | None:
        """The stop without a solution, if there is one."""
        return self.ascent.no_solution

    @property
    def leaving_bottom(self) -> Tissues:
        """Tissues on leaving the last level."""
        return Tissues.of(self.leaving_row)

    @property
    def surfacing(self) -> Tissues:
        """Tissues at the surface; without meaning where there is no solution."""
        return Tissues.of(self.ascent.surfacing)

    def passages(self) -> tuple[Passage, ...]:
        """The whole dive in order, as far as it has a solution."""
        found = list(self.bottom)
        for step in self.ascent.steps:
            start_min = self.leaving_min + step.arrived_min
            row = step.on_arrival
            if step.stop_min > 0.0:
                end_min = start_min + step.stop_min
                depth_m = step.leg.depth_m
                found.append(Passage(start_min, end_min, depth_m, depth_m, self.breathing, row))
                row = stay(row, depth_m, step.stop_min, self.breathing, self.settings)
                start_min = end_min
            end_min = start_min + step.leg.travel_min
            found.append(Passage(start_min, end_min, step.leg.depth_m, step.leg.next_m, self.breathing, row))
        return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One moment of a dive: depth [m], ceiling with the high gradient factor [m], leading compartment and its margin.

    The margin is taken with the gradient factor in force at the depth: low at the anchor and below it.
    """

    run_time_min: float
    depth_m: float
    ceiling_m: float
    leading: Leading


def plan_schedule(
    settings: DecoSettings, levels: Sequence[Level], breathing: Breathing, *, start: Tissues | None = None
) -> Schedule:
    """The schedule of a dive.

    Parameters
    ----------
    settings : DecoSettings
        Place, limits, rates and form of the stops.
    levels : sequence of Level
        One or more, in the order in which they are visited; each is left no earlier than it is reached.
    breathing : Breathing
        A `Loop`, or `OpenCircuit` gases.
    start : Tissues, optional
        Tissues on leaving the surface. Default: saturated with air at this surface pressure.

    Returns
    -------
    Schedule
        Levels, ascent and tissues; `no_solution` says where there is none.

    Raises
    ------
    DomainError
        If a level is left before it is reached, or no gas is usable at its depth.

    Notes
    -----
    Bühlmann's ZH-L16 with gradient factors. Levels that lie above the ceiling of the tissues are computed as asked;
    `broken_ceilings` tells them.
    """
    bottom, end_min, depth_m, row = bottom_phase(settings, levels, breathing, start=start)
    return Schedule(
        settings=settings,
        bottom=bottom,
        leaving_min=end_min,
        leaving_m=depth_m,
        leaving_row=row,
        breathing=breathing,
        ascent=Ladder(settings, breathing).ascend(row, depth_m),
    )


def bottom_phase(
    settings: DecoSettings, levels: Sequence[Level], breathing: Breathing, *, start: Tissues | None = None
) -> tuple[tuple[Passage, ...], float, float, Row]:
    """The passages to leaving the last level, and run time [min], depth [m] and tissues then."""
    if not levels:
        raise InputError("levels", "none", "one or more")
    row = start.row() if start is not None else saturated_row(settings)
    run_min, depth_m = 0.0, 0.0
    found: list[Passage] = []
    for index, level in enumerate(levels):
        source = _source_at(level, breathing, index)
        if level.depth_m != depth_m:
            rate = settings.descent_m_per_min if level.depth_m > depth_m else settings.ascent_m_per_min
            segment = travel(depth_m, level.depth_m, rate, source, settings)
            end_min = run_min + segment.minutes
            found.append(Passage(run_min, end_min, depth_m, level.depth_m, source, row))
            row = travelled(row, segment.kept, segment.added)
            run_min, depth_m = end_min, level.depth_m
        if level.leave_at_min < run_min - 1e-9:
            raise DomainError(
                f"levels[{index}].leave_at_min",
                level.leave_at_min,
                f"at least {run_min:.10g}, the run time at which {level.depth_m:g} m is reached",
            )
        if level.leave_at_min > run_min:
            found.append(Passage(run_min, level.leave_at_min, depth_m, depth_m, source, row))
            row = stay(row, depth_m, level.leave_at_min - run_min, source, settings)
            run_min = level.leave_at_min
    return tuple(found), run_min, depth_m, row


def passage_at(passages: Sequence[Passage], run_time_min: float) -> Passage:
    """The passage that a run time lies in; at a change the earlier one."""
    for passage in passages:
        if run_time_min <= passage.end_min:
            return passage
    return passages[-1]


def moments(schedule: Schedule, every_min: float = 1.0) -> tuple[Moment, ...]:
    """Depth, ceiling and leading compartment at steps of run time, and at the surface."""
    passages = schedule.passages()
    end_min = passages[-1].end_min
    ladder = Ladder(schedule.settings, schedule.breathing)
    count = int(end_min / every_min + 1e-9)
    times = [index * every_min for index in range(count + 1)]
    if end_min - times[-1] > 1e-9:
        times.append(end_min)
    return tuple(_moment(schedule, ladder, passage_at(passages, time), time) for time in times)


def broken_ceilings(schedule: Schedule) -> tuple[Moment, ...]:
    """Arrivals of the bottom phase that lie above the ceiling: levels that were asked for and are not allowed."""
    ladder = Ladder(schedule.settings, schedule.breathing)
    found = []
    for passage in schedule.bottom:
        if passage.to_m < passage.from_m:
            moment = _moment(schedule, ladder, passage, passage.end_min)
            if moment.depth_m < moment.ceiling_m - 1e-9:
                found.append(moment)
    return tuple(found)


def no_stop_time_min(
    settings: DecoSettings, depth_m: float, breathing: Breathing, *, start: Tissues | None = None
) -> float | None:
    """The longest run time at a depth from which an ascent needs no stop; none where there is no limit in a day. [min]

    The descent counts. 0 if even turning round on arrival would need a stop. Found by halving to 1e-6 min.
    """
    require_depth_m(depth_m)
    if depth_m <= 0.0:
        return None
    row = start.row() if start is not None else saturated_row(settings)
    segment = travel(0.0, depth_m, settings.descent_m_per_min, breathing, settings)
    arrived = travelled(row, segment.kept, segment.added)
    ladder = Ladder(settings, breathing)

    def needs_a_stop(minutes: float) -> bool:
        ascent = ladder.ascend(stay(arrived, depth_m, minutes, breathing, settings), depth_m)
        return ascent.no_solution is not None or any(step.stop_min > 0.0 for step in ascent.steps)

    if needs_a_stop(0.0):
        return 0.0
    low, high = 0.0, 1.0
    while not needs_a_stop(high):
        low, high = high, 2.0 * high
        if low > LONGEST_NO_STOP_MIN:
            return None
    while high - low > 1e-6:
        middle = (low + high) / 2.0
        if needs_a_stop(middle):
            high = middle
        else:
            low = middle
    return segment.minutes + low


def _source_at(level: Level, breathing: Breathing, index: int) -> Breathing:
    if level.set_point_bar is None:
        return breathing
    if not isinstance(breathing, Loop):
        raise InputError(
            f"levels[{index}].set_point_bar", level.set_point_bar, "left out on open circuit", next_step="Give a loop"
        )
    return Loop.at(level.set_point_bar, breathing.diluent)


def _moment(schedule: Schedule, ladder: Ladder, passage: Passage, run_time_min: float) -> Moment:
    settings = schedule.settings
    depth_m = passage.depth_at_m(run_time_min)
    tissues = Tissues.of(passage.tissues_at(run_time_min, settings))
    return Moment(
        run_time_min=run_time_min,
        depth_m=depth_m,
        ceiling_m=ceiling_m(tissues, settings.gf_high, settings),
        leading=leading(tissues, depth_m, ladder.gradient_at(depth_m, schedule.first_stop_m), settings),
    )
