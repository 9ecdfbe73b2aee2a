"""What to do next on a unit: outstanding steps gathered by the page on which they are done, and what bars the way.

A step that cannot be entered yet leads to where that is mended: a position without a part, a canister without a fill,
a reading outside its limit that nobody repaired, a limit that the owner never held against the manual.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from loopworthy.doors.web.asked import Asked
from loopworthy.judgement.outstanding import Task
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Requirement, Verdict
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """One thing to do, as templates/parts/outstanding.html draws it.

    Attributes
    ----------
    text, href : str
        What, and where it is done.
    why : str
        What it is for, in a few words.
    short : str
        `text` in fewer words, for a list of units.
    page : str
        The work page; '' where it is something else.
    count : int
        How many steps are outstanding there.
    state : State or None
        Where all that it mends stands alike.
    never_skipped, two_person : bool
    """

    text: str
    href: str
    why: str = ""
    short: str = ""
    page: str = ""
    count: int = 0
    state: State | None = None
    never_skipped: bool = False
    two_person: bool = False


def next_things(asked: Asked, unit: ThingId, verdict: Verdict) -> tuple[Next, ...]:
    """Everything outstanding on a unit, first what bars the way, then the work pages in the order of the day."""
    if verdict.code == "no-configuration":
        text = asked.say("next.configure")
        return (Next(text=text, href=asked.links.parts(unit)),)
    found = [
        Next(
            text=asked.say("next.release"),
            href=asked.links.release(unit, hold.event),
            why=asked.words.open_hold_sentence(hold),
            two_person=True,
        )
        for hold in verdict.open_holds
    ]
    if any(hold.freezes for hold in verdict.open_holds):
        return tuple(found)
    if verdict.code == "no-dive-day":
        found.append(Next(text=asked.say("next.begin_day"), href=asked.links.day(unit), why=asked.say("next.day_why")))
    tasks = asked.workplace.outstanding(unit, asked.now)
    found += _repairs(asked, unit, tasks)
    found += _gaps(asked, unit, tasks)
    if any(_only_unconfirmed(task) for task in tasks):
        href = asked.links.limits(unit)
        found.append(Next(text=asked.say("next.confirm_limits"), href=href, why=asked.say("next.limits_why")))
    doable = [task for task in tasks if _can_be_done(asked, task) and not _only_unconfirmed(task)]
    found += [_page(asked, unit, page, tuple(group)) for page, group in groupby(doable, key=lambda one: one.step.page)]
    return tuple(found)


def _page(asked: Asked, unit: ThingId, page_id: str, tasks: tuple[Task, ...]) -> Next:
    page = next(one for one in asked.workplace.catalogue.pages if one.id == page_id)
    states = {one.standing.state for task in tasks for one in task.mends}
    steps = {task.step.id: task.step for task in tasks}
    return Next(
        text=page.title,
        href=asked.links.work(unit, page.id),
        why=", ".join(step.title for step in list(steps.values())[:3]) + ("…" if len(steps) > 3 else ""),
        page=page.id,
        count=len(tasks),
        state=states.pop() if len(states) == 1 else None,
        never_skipped=any(step.never_skipped for step in steps.values()),
        two_person=any(step.two_person for step in steps.values()),
    )


def _repairs(asked: Asked, unit: ThingId, tasks: Sequence[Task]) -> list[Next]:
    """Readings outside their limit that nobody has mended, each once."""
    found = {}
    for task in tasks:
        if not task.first_mend:
            continue
        failed = next(one for one in task.mends if one.standing.cause == task.first_mend)
        found[task.first_mend] = Next(
            text=asked.say("next.mend", title=asked.words.requirement_title(failed)),
            short=_short_mend(asked, failed),
            href=asked.links.repair(unit, task.first_mend),
            why=asked.words.standing_sentence(failed.standing, failed.step),
            state=State.FAILED,
        )
    return list(found.values())


def _short_mend(asked: Asked, failed: Requirement) -> str:
    """Which part to mend; the reason beside it names the step."""
    part = asked.words.subject_label(failed.subject)
    return asked.say("next.mend_part", part=part) if part else asked.say("next.mend_it")


def _gaps(asked: Asked, unit: ThingId, tasks: Sequence[Task]) -> list[Next]:
    """Positions without a part or fill, and instruments that are not there, each kind once."""
    links, say = asked.links, asked.say
    missing = {task.subject.missing: task for task in reversed(tasks) if task.subject.missing}
    found = []
    for part in ("part", "channel"):
        if part in missing:
            position = missing[part].subject.position
            found.append(Next(text=say("next.name_parts"), href=links.parts(unit, position), why=say("next.parts_why")))
            break
    if "content" in missing:
        href = links.change(unit)
        found.append(Next(text=say("next.name_fill"), href=href, why=asked.words.task_title(missing["content"])))
    if "instrument" in missing and not _can_be_done(asked, missing["instrument"]):
        text = say("next.add_instrument", title=missing["instrument"].step.title)
        found.append(Next(text=text, href=links.instruments(), why=say("next.instrument_why")))
    return found


def _can_be_done(asked: Asked, task: Task) -> bool:
    """Whether what the task is about is recorded; for a check of an instrument, whether there is one to check."""
    if task.subject.missing != "instrument":
        return not task.subject.missing
    uses = task.step.scope.places
    instruments = asked.workplace.world.of_kind("instrument")
    return any(one.attributes.get("instrument") in uses and not one.retired for one in instruments)


def _only_unconfirmed(task: Task) -> bool:
    """Whether the step was done well and only its limit still has to be held against the manual."""
    return bool(task.mends) and all(one.standing.code == "limit-unconfirmed" for one in task.mends)


def after_saving(asked: Asked, unit: ThingId, page_id: str) -> str:
    """Where to go on after something was recorded on a page: the same page while steps are left on it, else on."""
    asked = replace(asked, now=asked.workplace.now())  # what was just recorded lies after the request's own moment
    things = next_things(asked, unit, asked.workplace.verdict(unit, asked.now))
    order = {page.id: page.order for page in asked.workplace.catalogue.pages}
    pages = [one for one in things if one.page]
    here = order.get(page_id, -1)
    for one in pages:
        if order[one.page] >= here:
            return one.href
    return things[0].href if things else asked.links.unit(unit)
