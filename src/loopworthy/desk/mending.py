"""What sets things right, or says aloud that they were left: repairs, releases, waivers, withdrawals, holds passed."""

from __future__ import annotations

from loopworthy.desk.late import check_moment
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.engine import ENGINE
from loopworthy.judgement.events import HoldPassed, HoldReleased, RepairMade, WaiverGiven
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Requirement, open_holds
from loopworthy.record.events import EVENT_WITHDRAWN, EventWithdrawn
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment


def record_repair(
    workplace: Workplace,
    unit: ThingId,
    mends: tuple[EventId, ...],
    *,
    cause: str,
    done: str,
    place: str = "",
    person: ThingId,
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> EventId:
    """Name the failed readings that a repair mends, the cause and what was done. A later reading must still pass.

    A failed reading that was taken again and failed again was failed by one cause: the repair mends what failed of the
    same step and subject until then, though one of them was named.
    """
    book = workplace.book()
    for mended in mends:
        if mended not in book.items:
            raise UnknownNameError("reading", mended)
    check_moment(workplace, occurred_at, units=(unit,), confirmed=moment_confirmed)
    mended_ms = (occurred_at or workplace.now()).epoch_ms
    payload = RepairMade(
        unit=unit,
        mends=_with_repeated(workplace, mends, mended_ms),
        cause=wording.said("cause", cause),
        done=wording.said("done", done),
        place=wording.line("place", place),
    )
    return (
        workplace.writer()
        .append(
            "judgement.repair-made",
            payload,
            subjects=(unit,),
            read_by=person,
            typed_by=person,
            occurred_at=occurred_at,
        )
        .id
    )


def _with_repeated(workplace: Workplace, mends: tuple[EventId, ...], by_ms: int) -> tuple[EventId, ...]:
    book, bench = workplace.book(), workplace.bench()
    found = list(mends)
    for named in mends:
        item = book.items[named]
        found += [
            one.event
            for one in book.of(item.step, item.subject)
            if one.occurred_ms <= by_ms
            and one.event not in book.withdrawals
            and one.event not in book.repairs
            and bench.assess(one).outcome is Outcome.OUTSIDE
        ]
    return tuple(dict.fromkeys(found))


def release_hold(
    workplace: Workplace, unit: ThingId, hold: EventId, *, cause: str, repair: str, test: str, person: ThingId
) -> EventId:
    """A second person lifts a hold.

    Raises
    ------
    RefusedError
        If the person is the one who declared it, or nobody is named.
    """
    found = next(
        (one for one in open_holds(workplace.book(), workplace.catalogue, unit, workplace.now()) if one.event == hold),
        None,
    )
    if found is None:
        raise UnknownNameError("open hold", hold)
    if not person or person == found.person:
        raise RefusedError(
            "A hold is released by a second person, not by the one who declared it",
            next_step="Let somebody else look, and choose their name",
        )
    payload = HoldReleased(
        unit=unit,
        hold=hold,
        cause=wording.said("cause", cause),
        repair=wording.said("repair", repair),
        test=wording.said("test", test),
    )
    return (
        workplace.writer()
        .append("judgement.hold-released", payload, subjects=(unit,), read_by=person, typed_by=person)
        .id
    )


def give_waiver(
    workplace: Workplace, unit: ThingId, step_id: str, about: str, *, reason: str, hearer: ThingId, person: ThingId
) -> EventId:
    """Leave one requirement out for one dive, aloud.

    Parameters
    ----------
    about : str
        The requirement's subject (its key, or its position where nothing is fitted).

    Raises
    ------
    RefusedError
        If the step is never skipped, or its evidence is not merely absent or expired, or the hearer is the speaker.
    """
    step = workplace.catalogue.step(step_id)
    if step.never_skipped:
        raise RefusedError(f"{step.id} {step.title} is never skipped", next_step="Do it; it cannot be waived")
    if hearer == person:
        raise RefusedError("A waiver is heard by somebody else", next_step="Say it to a second person")
    found = [one for one in workplace.verdict(unit).requirements() if one.key[1:] == (step.id, about)]
    if not found:
        raise UnknownNameError("requirement", f"{step.id} {about}")
    for requirement in found:
        if requirement.standing.state not in (State.ABSENT, State.EXPIRED):
            raise RefusedError(
                f"{step.id} {step.title} is {requirement.standing.state.value}, which no waiver covers",
                next_step="Do the step; only what is absent or expired can be waived",
            )
    payload = WaiverGiven(unit=unit, step=step.id, subject=about, reason=wording.said("reason", reason), hearer=hearer)
    return (
        workplace.writer()
        .append("judgement.waiver-given", payload, subjects=(unit,), read_by=person, typed_by=person)
        .id
    )


def withdraw(workplace: Workplace, event: EventId, *, reason: str, person: ThingId) -> EventId:
    """Take back an event that was entered wrongly. It stays readable, and nothing comes back to life by it."""
    found = workplace.record.get(event)
    words = wording.said("reason", reason)
    if found.id in workplace.book().withdrawals:
        raise RefusedError("It is withdrawn already")
    if not found.envelope.kind.startswith("judgement.") and found.envelope.kind != "unit.change-made":
        raise RefusedError(
            f"An event of kind {found.envelope.kind} is corrected by a new entry, not withdrawn",
            next_step="Record how it is now",
        )
    payload = EventWithdrawn(event=found.id, reason=words)
    return workplace.writer().append(EVENT_WITHDRAWN, payload, read_by=person, typed_by=person).id


def pass_hold(workplace: Workplace, unit: ThingId, hold_id: str, *, person: ThingId) -> EventId:
    """Record that somebody passes a hold point on the verdict of this moment.

    Raises
    ------
    RefusedError
        If the hold is not ready: nobody passes without the evidence.
    """
    now = workplace.now()
    verdict = workplace.verdict(unit, now)
    found = next((one for one in verdict.holds if one.hold.id == hold_id), None)
    if found is None:
        raise UnknownNameError("hold point", hold_id, tuple(one.hold.id for one in verdict.holds))
    if verdict.open_holds or found.word.value != "ready":
        raise RefusedError(f"{found.hold.title} is {found.word.value}", next_step="Do what is outstanding first")
    payload = HoldPassed(
        unit=unit, hold=hold_id, verdict=found.word.value, catalogue=workplace.catalogue.digest, engine=ENGINE
    )
    return (
        workplace.writer(now)
        .append("judgement.hold-passed", payload, subjects=(unit,), read_by=person, typed_by=person)
        .id
    )


def failed_readings(requirements: tuple[Requirement, ...]) -> tuple[EventId, ...]:
    """The failed readings behind requirements, each once."""
    return tuple(dict.fromkeys(one.standing.cause for one in requirements if one.standing.state is State.FAILED))
