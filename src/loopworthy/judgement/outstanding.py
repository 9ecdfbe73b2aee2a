"""What is outstanding: the graph read backwards, as the smallest set of steps in a workable order.

A re-check by one reading takes the place of doing the whole again. A step that a reading rests on is added when it
would be stale by then (an analyser check before an analysis).
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.judgement.book import Book
from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.judgement.standing import SURROUNDINGS_HOLD_MS, Bench, State
from loopworthy.judgement.subjects import Subject
from loopworthy.judgement.verdict import Requirement, Verdict
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """One step to do, for one subject, and what it mends.

    `first_mend` is the failed reading that has to be mended before it is read again; '' when none.
    """

    step: Step
    subject: Subject
    mends: tuple[Requirement, ...]
    first_mend: str = ""
    prepares: bool = False
    """Asked only because another outstanding step rests on it."""


def outstanding(book: Book, catalogue: Catalogue, verdict: Verdict, *, bench: Bench | None = None) -> tuple[Task, ...]:
    """The smallest set of steps that restores readiness, in the order of the day.

    Parameters
    ----------
    book, catalogue
        What the verdict was made from.
    verdict : Verdict
        The verdict to be mended.
    bench : Bench, optional
        The one that the verdict was judged at.

    Returns
    -------
    tuple of Task
        Empty when every requirement counts.
    """
    unit = verdict.unit
    bench = bench or Bench(book, catalogue, verdict.moment)
    wanted: dict[tuple[str, str], Task] = {}
    for requirement in verdict.reasons():
        for step_id in _mends(bench, unit, requirement):
            step = catalogue.steps.get(step_id, requirement.step)
            for subject in _subjects_for(bench, unit, step, requirement):
                _want(wanted, step, subject, requirement)
    for key in [key for key, task in wanted.items() if _renewed_later(catalogue, task, wanted)]:
        del wanted[key]
    for task in tuple(wanted.values()):
        _add_groundwork(bench, book, catalogue, unit, task.step, task.subject, wanted)
    return tuple(sorted(wanted.values(), key=lambda task: (catalogue.order[task.step.id], task.subject.position)))


def _mends(bench: Bench, unit: ThingId, requirement: Requirement) -> tuple[str, ...]:
    """The steps that mend a requirement: of several re-checks that are due each one's own.

    What has only aged is looked at once more where a step asked on request starts its clock anew (a sealed fill), and
    no dive was made since.
    """
    standing, item = requirement.standing, requirement.standing.item
    if standing.code == "aged" and item is not None and bench.dives_before(unit, item, bench.at_ms) == item.dives:
        again = [one for one in bench.catalogue.renewing.get(requirement.kind, ()) if one.on_request]
        for step in again:
            if bench.applies(unit, step) and requirement.subject.key in [
                one.key for one in bench.subjects_of(unit, step)
            ]:
                return (step.id,)
    if standing.state is State.RECHECK and standing.item is not None:
        due, _ = bench.undoing.due(unit, standing.item, requirement.kind, bench.now)
        return tuple(dict.fromkeys(one.by for one in due)) or (standing.mend,)
    return (standing.mend or requirement.step.id,)


def _subjects_for(bench: Bench, unit: ThingId, step: Step, requirement: Requirement) -> tuple[Subject, ...]:
    if step.id == requirement.step.id:
        return (requirement.subject,)
    abouts = bench.subjects_of(unit, step)
    own = tuple(one for one in abouts if set(one.things) & set(requirement.subject.things))
    return own if own and requirement.subject.key != unit else abouts


def _renewed_later(catalogue: Catalogue, task: Task, wanted: dict[tuple[str, str], Task]) -> bool:
    """Whether all that the task mends has only aged, and a step that is outstanding anyhow starts its clock anew."""
    if not task.mends or any(one.standing.code != "aged" for one in task.mends):
        return False
    coming = {other.step.id for other in wanted.values()} - {task.step.id}
    return all(coming.intersection(step.id for step in catalogue.renewing.get(one.kind, ())) for one in task.mends)


def _want(wanted: dict[tuple[str, str], Task], step: Step, subject: Subject, requirement: Requirement) -> None:
    key = (step.id, subject.key or subject.position)
    known = wanted.get(key)
    failed = requirement.standing.cause if requirement.standing.state is State.FAILED else ""
    if known is None:
        wanted[key] = Task(step=step, subject=subject, mends=(requirement,), first_mend=failed)
    else:
        wanted[key] = Task(
            step=step,
            subject=subject,
            mends=(*known.mends, requirement),
            first_mend=known.first_mend or failed,
        )


def _add_groundwork(
    bench: Bench,
    book: Book,
    catalogue: Catalogue,
    unit: ThingId,
    step: Step,
    subject: Subject,
    wanted: dict[tuple[str, str], Task],
) -> None:
    """Steps that this one rests on, where their evidence would not count any more."""
    configuration = book.world.configuration(unit)
    for used_id in step.uses:
        used = catalogue.steps[used_id]
        if configuration is None or not used.when.holds(configuration) or used.scope.each == "instrument":
            continue
        abouts = bench.subjects_of(unit, used)
        own = tuple(one for one in abouts if set(one.things) & set(subject.things))
        for about in own or abouts:
            key = (used.id, about.key or about.position)
            if key in wanted or bench.standing(unit, used, used.makes[0], about).state is State.CURRENT:
                continue
            wanted[key] = Task(step=used, subject=about, mends=(), prepares=True)
            _add_groundwork(bench, book, catalogue, unit, used, about, wanted)
    _add_surroundings(bench, book, catalogue, unit, step, wanted)
    for kind in step.after:
        for instrument_step in catalogue.steps_making[kind]:
            if instrument_step.scope.each != "instrument" or (instrument_step.id, "") in wanted:
                continue
            if instrument_step.on_request:  # the check at the end closes a session, it opens none
                continue
            if not _some_instrument_good(bench, book, unit, instrument_step, kind):
                blank = Subject(key="", position="", things=(), missing="instrument")
                wanted[instrument_step.id, ""] = Task(step=instrument_step, subject=blank, mends=(), prepares=True)


def _add_surroundings(
    bench: Bench, book: Book, catalogue: Catalogue, unit: ThingId, step: Step, wanted: dict[tuple[str, str], Task]
) -> None:
    """The step that measures what a reading is made in, where it was measured too long ago to stand for now.

    Of several that come before the reading in the order of the day the one that asks for least is taken.
    """
    configuration = book.world.configuration(unit)
    own = {one.context for one in step.inputs if one.context}
    for name in {name for kind in step.makes for name in catalogue.evidence[kind].context} - own:
        known = book.context_at(unit, name, bench.at_ms)
        if known is not None and bench.at_ms - known.occurred_ms <= SURROUNDINGS_HOLD_MS:
            continue
        measuring = [
            one
            for one in catalogue.steps.values()
            if any(entered.context == name for entered in one.inputs)
            and one.scope.each == "unit"
            and not one.on_request
            and configuration is not None
            and one.when.holds(configuration)
            and catalogue.order[one.id] < catalogue.order[step.id]
        ]
        if not measuring or any(one.id == key[0] for one in measuring for key in wanted):
            continue
        least = min(measuring, key=lambda one: (len(one.inputs), catalogue.order[one.id]))
        for about in bench.subjects_of(unit, least):
            wanted[least.id, about.key] = Task(step=least, subject=about, mends=(), prepares=True)
            _add_groundwork(bench, book, catalogue, unit, least, about, wanted)


def _some_instrument_good(bench: Bench, book: Book, unit: ThingId, step: Step, kind: str) -> bool:
    for thing in book.world.of_kind("instrument"):
        about = Subject(key=thing.id, position="", things=(thing.id,))
        if bench.standing(unit, step, kind, about).state is State.CURRENT:
            return True
    return False
