"""Walking a unit through its outstanding steps, page by page, with ordinary readings: a morning in one call.

Everything goes through the functions that people use. Where a step cannot be entered the walk raises what a person
would have been told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from itertools import groupby

from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.usual import usual_entry
from loopworthy.desk.entry import Typed
from loopworthy.desk.limits import confirm_limits, unconfirmed
from loopworthy.desk.steps import record_steps
from loopworthy.desk.units import NewThing, empty_positions, identify_part
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.outstanding import Task
from loopworthy.judgement.subjects import Subject, instrument_subject
from loopworthy.judgement.verdict import AGAIN
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

PAGE_MINUTES: Mapping[str, float] = {
    "cylinders-and-cleaning": 8,
    "gas-analysis": 12,
    "bench": 15,
    "absorbent": 14,
    "build": 18,
    "high-pressure": 8,
    "air": 6,
    "oxygen": 7,
    "second-controller": 3,
    "back-in-air": 4,
    "leak-tests": 9,
    "electronics": 7,
    "settings-and-lists": 5,
    "plan": 8,
    "final-check": 5,
    "pre-breathe": 5.5,
    "team": 1,
    "last-look": 0.5,
    "under-water": 1,
    "after-dive": 25,
    "again": 2,
}
"""Page to the minutes that it takes before it is written down; 5 where it is not named."""


class WalkingClock:
    """A clock that stands until it is moved on.

    Parameters
    ----------
    moment : Moment
        Where it begins.
    """

    def __init__(self, moment: Moment) -> None:
        self.moment = moment

    def __call__(self) -> Moment:
        return self.moment

    def advance(self, minutes: float) -> Moment:
        """So much later."""
        self.moment = self.moment.plus(minutes=minutes)
        return self.moment

    def wait_until(self, moment: Moment) -> None:
        """On to a moment; it stays where it is if that has gone by."""
        if moment.epoch_ms > self.moment.epoch_ms:
            self.moment = moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Hands:
    """Who works, with what.

    Attributes
    ----------
    reader, second : str
        Who reads and types; the second person of two-person steps, empty for single-handed work.
    analyser : str
        The analyser in use.
    """

    reader: ThingId
    analyser: ThingId
    second: ThingId = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a walk does differently from an ordinary one.

    Attributes
    ----------
    pages : tuple of str
        Only these pages; empty for all.
    only, leave : frozenset of str
        Only these steps, empty for all; steps that are left out.
    read : mapping
        (step, position or '') to the fields that read otherwise.
    minutes : mapping
        Page to the minutes that it takes this time.
    ahead_min : float
        How far to look ahead: what will have run out by then is done as well.
    """

    pages: tuple[str, ...] = ()
    only: frozenset[str] = frozenset()
    leave: frozenset[str] = frozenset()
    read: Mapping[tuple[str, str], Mapping[str, str]] = field(default_factory=dict)
    minutes: Mapping[str, float] = field(default_factory=dict)
    ahead_min: float = 0.0

    def takes(self, workplace: Workplace, task: Task, *, again: bool) -> bool:
        """Whether a task belongs to the walk."""
        step = task.step
        if step.id in self.leave or (self.only and step.id not in self.only):
            return False
        if self.pages and step.page not in self.pages:
            return False
        page = next(one for one in workplace.catalogue.pages if one.id == step.page)
        return again or page.hold != AGAIN


def fit_out(
    workplace: Workplace,
    unit: ThingId,
    things: Mapping[str, NewThing | ThingId],
    *,
    typed_by: ThingId,
) -> None:
    """Say which thing is in each empty position; one that is not named has no name yet."""
    for position in empty_positions(workplace, unit):
        identify_part(workplace, unit, position, things.get(position, NewThing()), typed_by=typed_by)


def confirm_all_limits(workplace: Workplace, unit: ThingId, *, source: str, owner: ThingId) -> None:
    """The owner holds every limit of a never-skipped step against the manual, and it stands."""
    open_ones = tuple(limit.limit.id for _, limit in unconfirmed(workplace, unit))
    if open_ones:
        confirm_limits(workplace, unit, open_ones, source=source, owner=owner)


def walk(
    workplace: Workplace,
    unit: ThingId,
    clock: WalkingClock,
    hands: Hands,
    day: Callable[[], Circumstances],
    plan: Plan | None = None,
    *,
    again: bool = False,
    rounds: int = 1,
) -> None:
    """Do what is outstanding, in the order of the day, until nothing is.

    Parameters
    ----------
    day : callable
        Gives the circumstances of the moment; asked once for each page.
    plan : Plan, optional
        What is different from an ordinary walk.
    again : bool
        Whether to do also what is asked after a dive.
    rounds : int
        How often to ask anew what is outstanding; what one round did may bring up more.
    """
    plan = plan or Plan()
    for _ in range(rounds):
        asked = workplace.outstanding(unit, clock().plus(minutes=plan.ahead_min))
        tasks = [one for one in asked if plan.takes(workplace, one, again=again)]
        if not tasks:
            return
        for page, group in groupby(tasks, key=lambda task: task.step.page):
            do_page(workplace, unit, clock, hands, day(), tuple(group), page=page, plan=plan)


def do_page(
    workplace: Workplace,
    unit: ThingId,
    clock: WalkingClock,
    hands: Hands,
    day: Circumstances,
    tasks: Iterable[Task],
    *,
    page: str,
    plan: Plan,
) -> tuple[Event, ...]:
    """Do one page and write it down when it is done."""
    clock.advance(plan.minutes.get(page, PAGE_MINUTES.get(page, 5)))
    typed: list[Typed] = []
    for task in tasks:
        subject = task.subject
        if task.step.scope.each == "instrument":
            subject = instrument_subject(workplace.world, hands.analyser)
        otherwise = plan.read.get((task.step.id, subject.position), {})
        typed.append(usual_entry(task.step, subject, day, otherwise=otherwise))
    return record_steps(
        workplace,
        unit,
        typed,
        read_by=hands.reader,
        second=hands.second,
        single_handed=not hands.second,
        instruments=(hands.analyser,),
    )


def do_steps(
    workplace: Workplace,
    unit: ThingId,
    clock: WalkingClock,
    hands: Hands,
    day: Circumstances,
    steps: Mapping[str, Mapping[str, str]],
    *,
    minutes: float,
    positions: tuple[str, ...] = (),
) -> tuple[Event, ...]:
    """Do named steps, outstanding or not, for all their subjects or those at the positions.

    Parameters
    ----------
    steps : mapping
        Step to the fields that read otherwise than usual.
    """
    clock.advance(minutes)
    bench = workplace.bench()
    typed = []
    for step_id, otherwise in steps.items():
        step = workplace.catalogue.step(step_id)
        abouts: tuple[Subject, ...] = bench.subjects_of(unit, step)
        if step.scope.each == "instrument":
            abouts = (instrument_subject(workplace.world, hands.analyser),)
        typed += [
            usual_entry(step, about, day, otherwise=otherwise)
            for about in abouts
            if not positions or not about.position or about.position in positions
        ]
    return record_steps(
        workplace,
        unit,
        typed,
        read_by=hands.reader,
        second=hands.second,
        single_handed=not hands.second,
        instruments=(hands.analyser,),
    )
