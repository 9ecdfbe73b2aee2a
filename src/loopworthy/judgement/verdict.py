"""The verdict on a unit at a moment: ready, unproven or stop, for each hold point and for the whole, with reasons.

A verdict is one value made by one pass. *Ready* always carries until when. Nothing done is not nothing wrong: what
was never done makes a unit unproven.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum
from math import inf

from loopworthy.judgement.apart import Caution
from loopworthy.judgement.asked import asked_steps, hold_of
from loopworthy.judgement.book import Book, Release
from loopworthy.judgement.catalogue.model import Catalogue, Hold, Step
from loopworthy.judgement.changelog import ChangeEntry
from loopworthy.judgement.standing import COUNTING, Bench, Standing, State, View
from loopworthy.judgement.subjects import Subject
from loopworthy.unit.configuration import Configuration
from loopworthy.unit.events import PERSON
from loopworthy.vocabulary.errors import RecordError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

AGAIN = "H8"
"""The hold before diving again: it counts only after a dive, and no other hold waits for it."""

LONGEST_READY_MS = 24 * 60 * 60 * 1000
"""Where no clock runs at all, *ready* is shown for a day at most (our choice); then it is judged anew."""


class Word(StrEnum):
    """The three verdicts. There is no fourth."""

    READY = "ready"
    UNPROVEN = "unproven"
    STOP = "stop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Requirement:
    """One thing that a hold asks for, and how its evidence stands."""

    kind: str
    step: Step
    subject: Subject
    standing: Standing

    @property
    def key(self) -> tuple[str, str, str]:
        """Kind, step and what it is about: the same requirement has the same key in every verdict."""
        return (self.kind, self.step.id, self.subject.key or self.subject.position)

    @property
    def counts(self) -> bool:
        """Whether its evidence counts."""
        return self.standing.state in COUNTING


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenHold:
    """A hold that a change opened and that no second person has released."""

    event: EventId
    change: str
    words: str
    note: str
    person: ThingId
    occurred_ms: int
    freezes: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldVerdict:
    """The verdict on one hold point: its own requirements, and whether the holds before it stand."""

    hold: Hold
    word: Word
    requirements: tuple[Requirement, ...]
    waits_for: str
    """The first earlier hold that is not ready; '' when none."""
    until_ms: int | None
    """When the first clock of this hold or of one before it runs out."""

    @property
    def open_requirements(self) -> tuple[Requirement, ...]:
        """Those whose evidence does not count."""
        return tuple(one for one in self.requirements if not one.counts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The verdict on a unit at a moment.

    Attributes
    ----------
    word : Word
    until_ms, first_to_end : int or None, Requirement or None
        For *ready*: when the first clock runs out, and whose it is.
    holds : tuple of HoldVerdict
    open_holds : tuple of OpenHold
        Faults and incidents that nobody released.
    marks : tuple of str
        What was single-handed, waived, near a limit or judged by a loosened limit.
    cautions : tuple of Caution
        Entries that lie beside the record and may undo some of this evidence. They change no word and no until-time; no
        door may show the verdict without them.
    code : str
        Why there can be no verdict from evidence: ``no-configuration``, ``no-dive-day``; '' otherwise.
    """

    unit: ThingId
    moment: Moment
    word: Word
    until_ms: int | None
    first_to_end: Requirement | None
    holds: tuple[HoldVerdict, ...]
    open_holds: tuple[OpenHold, ...]
    marks: tuple[str, ...]
    code: str = ""
    cautions: tuple[Caution, ...] = ()

    def requirements(self) -> Iterator[Requirement]:
        """Every requirement once, in the order of the holds."""
        seen = set()
        for hold in self.holds:
            for one in hold.requirements:
                if one.key not in seen:
                    seen.add(one.key)
                    yield one

    def reasons(self) -> tuple[Requirement, ...]:
        """The requirements that keep the unit from being ready; what failed first."""
        rank = {State.FAILED: 0}
        return tuple(
            sorted(
                (one for one in self.requirements() if not one.counts), key=lambda one: rank.get(one.standing.state, 1)
            )
        )


def required_steps(catalogue: Catalogue, hold: Hold, configuration: Configuration) -> tuple[tuple[str, Step], ...]:
    """The steps that a hold asks of a configuration, each with the kind of evidence that it is asked for."""
    return tuple(
        (kind, step)
        for kind in hold.needs
        if not catalogue.evidence[kind].momentary
        for step in asked_steps(catalogue, kind, hold.id, configuration)
    )


def open_holds(
    book: Book, catalogue: Catalogue, unit: ThingId, moment: Moment, view: View = View.LIVE
) -> tuple[OpenHold, ...]:
    """Holds opened by changes (faults, floods, incidents) and not released by a second person.

    A hold concerns the unit that it was declared for, and any unit that a thing it names has come to since. Taking the
    declaration back does not lift it.
    """
    unit = book.world.canonical(unit)
    until_ms = inf if view is View.LIVE else moment.epoch_ms
    here = _things_on(book, unit)
    found = []
    for change in catalogue.changes.values():
        if not change.hold:
            continue
        for entry in book.changes.about(change.id, (unit, *here)):
            if entry.occurred_ms > until_ms or (entry.unit != unit and not entry.things & here):
                continue
            if any(_releases(book, one, entry, moment, view) for one in book.releases.get(entry.event, ())):
                continue
            found.append(
                OpenHold(
                    event=entry.event,
                    change=entry.change,
                    words=change.hold,
                    note=entry.note,
                    person=entry.person,
                    occurred_ms=entry.occurred_ms,
                    freezes=change.freezes,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.occurred_ms, one.event)))


def _things_on(book: Book, unit: ThingId) -> frozenset[ThingId]:
    world = book.world
    parts = {world.canonical(one.thing) for one in world.fitted(unit).values()}
    parts = {one for one in parts if one not in world.things or world.things[one].kind != PERSON}
    contents = {world.content_of(one) for one in parts}
    return frozenset(parts | {world.canonical(one) for one in contents if one is not None})


def _releases(book: Book, release: Release, entry: ChangeEntry, moment: Moment, view: View) -> bool:
    """A release counts when a person other than the one who declared the hold gives it, afterwards.

    Where nobody is named with the hold, the release must show two people itself.
    """
    withdrawal = book.withdrawals.get(release.event)
    taken_back = withdrawal is not None and (view is not View.THEN or withdrawal.occurred_ms <= moment.epoch_ms)
    if taken_back or not entry.occurred_ms <= release.occurred_ms <= moment.epoch_ms or not release.person:
        return False
    declared_by = entry.person or entry.typed_by
    if declared_by:
        return not book.world.is_same(release.person, declared_by)
    return bool(release.typed_by) and not book.world.is_same(release.person, release.typed_by)


def judge_unit(
    book: Book,
    catalogue: Catalogue,
    unit: ThingId,
    moment: Moment,
    view: View = View.LIVE,
    *,
    bench: Bench | None = None,
) -> Verdict:
    """The verdict on a unit at a moment.

    Parameters
    ----------
    book : Book
        The record, folded.
    catalogue : Catalogue
    unit : str
        Identity of the unit.
    moment : Moment
        The moment to judge for.
    view : View
        Whether the moment is now, or past.
    bench : Bench, optional
        One that was made of the same four and has answered before: it need not work everything out again.

    Raises
    ------
    UnknownNameError
        If there is no unit of that identity.
    RecordError
        If the book was kept short and does not reach back to the moment.
    """
    unit = book.world.canonical(unit)
    if unit not in book.world.units():
        raise UnknownNameError("unit", unit)
    if moment.epoch_ms < book.answers_from_ms:
        raise RecordError(
            f"This book answers only from {book.answers_from_ms} ms on, got {moment.epoch_ms} ms",
            next_step="Fold the record anew",
        )
    blocks = open_holds(book, catalogue, unit, moment, view)
    configuration = book.world.configuration(unit)
    if configuration is None:
        word = Word.STOP if blocks else Word.UNPROVEN
        return Verdict(
            unit=unit,
            moment=moment,
            word=word,
            until_ms=None,
            first_to_end=None,
            holds=(),
            open_holds=blocks,
            marks=(),
            code="no-configuration",
        )
    bench = bench or Bench(book, catalogue, moment, view)
    holds: list[HoldVerdict] = []
    waits_for = ""
    failed = _failed_elsewhere(bench, catalogue, configuration, unit)
    asked = [
        hold
        for hold in catalogue.holds
        if hold.when.holds(configuration) and (hold.id != AGAIN or book.dives_before(unit, _known_until(bench)))
    ]
    for hold in asked:
        more = tuple(one for page_hold, one in failed if _shown_at(page_hold, asked) == hold.id)
        required = _requirements(bench, catalogue, hold, configuration, unit)
        keys = {one.key for one in required}
        judged = _judge_hold(
            hold,
            (*required, *(one for one in more if one.key not in keys)),
            "" if hold.id == AGAIN else waits_for,
            blocked=bool(blocks),
        )
        if hold.id != AGAIN:
            ends = [one.until_ms for one in (judged, *holds[-1:]) if one.until_ms is not None]
            judged = replace(judged, until_ms=min(ends) if ends else None)
        holds.append(judged)
        if judged.word is not Word.READY and not waits_for and hold.id != AGAIN:
            waits_for = hold.id
    return _whole(bench, unit, tuple(holds), blocks)


def _known_until(bench: Bench) -> float:
    return bench.now.changes_until_ms


def _requirements(
    bench: Bench, catalogue: Catalogue, hold: Hold, configuration: Configuration, unit: ThingId
) -> tuple[Requirement, ...]:
    return tuple(
        Requirement(kind=kind, step=step, subject=subject, standing=bench.standing(unit, step, kind, subject))
        for kind, step in required_steps(catalogue, hold, configuration)
        for subject in bench.subjects_of(unit, step)
    )


def _failed_elsewhere(
    bench: Bench, catalogue: Catalogue, configuration: Configuration, unit: ThingId
) -> list[tuple[str, Requirement]]:
    """Readings outside their limit that nobody has mended, of whatever step, with the hold of the step's page.

    A step that no hold asks for may still have shown that something is wrong: a known gas read after a dive.
    """
    found = []
    for step in catalogue.steps.values():
        if step.scope.each == "instrument" or not step.when.holds(configuration):
            continue
        for subject in bench.subjects_of(unit, step):
            if subject.key and bench.failures.now(unit, step.id, subject.key)[0] is not None:
                kind = step.makes[0]
                standing = bench.standing(unit, step, kind, subject)
                requirement = Requirement(kind=kind, step=step, subject=subject, standing=standing)
                found.append((hold_of(catalogue, step), requirement))
    return found


def _shown_at(page_hold: str, asked: list[Hold]) -> str:
    names = [one.id for one in asked]
    return page_hold if page_hold in names else names[-1]


def _judge_hold(hold: Hold, requirements: tuple[Requirement, ...], waits_for: str, *, blocked: bool) -> HoldVerdict:
    if blocked or any(one.standing.state is State.FAILED for one in requirements):
        word = Word.STOP
    elif waits_for or any(not one.counts for one in requirements):
        word = Word.UNPROVEN
    else:
        word = Word.READY
    ends = [one.standing.until_ms for one in requirements if one.counts and one.standing.until_ms is not None]
    return HoldVerdict(
        hold=hold, word=word, requirements=requirements, waits_for=waits_for, until_ms=min(ends) if ends else None
    )


def _whole(bench: Bench, unit: ThingId, holds: tuple[HoldVerdict, ...], blocks: tuple[OpenHold, ...]) -> Verdict:
    at_ms = bench.at_ms
    no_day = not bench.book.episode_at(unit, "dive-day", at_ms)
    if blocks or any(one.word is Word.STOP for one in holds):
        word = Word.STOP
    elif no_day or not holds or any(one.word is Word.UNPROVEN for one in holds):
        word = Word.UNPROVEN
    else:
        word = Word.READY
    counting = [one for hold in holds for one in hold.requirements if one.counts]
    clocks = [one for one in counting if one.standing.until_ms is not None]
    first = min(clocks, key=lambda one: (one.standing.until_ms or 0, one.key)) if clocks else None
    until_ms = first.standing.until_ms if first else None
    if word is Word.READY and until_ms is None:
        until_ms = at_ms + LONGEST_READY_MS
    return Verdict(
        unit=unit,
        moment=bench.moment,
        word=word,
        until_ms=until_ms,
        first_to_end=first,
        holds=holds,
        open_holds=blocks,
        marks=_marks(bench, unit, counting),
        code="no-dive-day" if no_day else "",
    )


def _marks(bench: Bench, unit: ThingId, counting: list[Requirement]) -> tuple[str, ...]:
    """What has to be shown with the verdict, of the evidence that counts and of all that it rests on."""
    found: dict[str, None] = {}
    for one in counting:
        for mark in one.standing.marks:
            found[f"{mark}: {one.step.id}"] = None
    for one in counting:
        if one.standing.item is not None and one.standing.state is State.CURRENT:
            for mark, step in bench.inherited_marks(unit, one.standing.item):
                found[f"{mark}: {step}"] = None
    return tuple(found)
