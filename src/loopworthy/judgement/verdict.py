"""The verdict on a unit at a moment: ready, unproven or stop, for each hold point and for the whole, with reasons.

A verdict is one value made by one pass. *Ready* always carries until when. Nothing done is not nothing wrong: what
was never done makes a unit unproven.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from enum import StrEnum

from loopworthy.judgement.book import Book, Release
from loopworthy.judgement.catalogue.model import Catalogue, Hold, Step
from loopworthy.judgement.changelog import ChangeEntry
from loopworthy.judgement.standing import COUNTING, Bench, Standing, State
from loopworthy.judgement.subjects import Subject
from loopworthy.unit.configuration import Configuration
from loopworthy.vocabulary.errors import UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

AGAIN = "H8"
"""The hold before diving again: it counts only after a dive, and no other hold waits for it."""


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
    """The steps that a hold asks of a configuration, each with the kind of evidence that it is asked for.

    Steps that are only asked on request count where nothing else makes the evidence; a step belongs to the first hold
    at which it is asked (its page's), so a later step is never asked earlier.
    """
    order = {one.id: place for place, one in enumerate(catalogue.holds)}
    page_hold = {page.id: page.hold for page in catalogue.pages}
    asked: list[tuple[str, Step]] = []
    for kind in hold.needs:
        if catalogue.evidence[kind].momentary:
            continue
        applicable = [
            step
            for step in catalogue.steps_making[kind]
            if order[page_hold[step.page]] <= order[hold.id] and step.when.holds(configuration)
        ]
        core = [step for step in applicable if not step.on_request]
        asked.extend((kind, step) for step in core or applicable)
    return tuple(asked)


def open_holds(book: Book, catalogue: Catalogue, unit: ThingId, moment: Moment) -> tuple[OpenHold, ...]:
    """Holds opened by changes (faults, floods, incidents) and not released by a second person."""
    at_ms = moment.epoch_ms
    found = []
    for change in catalogue.changes.values():
        if not change.hold:
            continue
        for entry in book.changes.about(change.id, (unit,)):
            if entry.occurred_ms > at_ms or entry.event in book.withdrawals:
                continue
            if any(_releases(one, entry, at_ms) for one in book.releases.get(entry.event, ())):
                continue
            found.append(
                OpenHold(
                    event=entry.event,
                    change=change.id,
                    words=change.hold,
                    note=entry.note,
                    person=entry.person,
                    occurred_ms=entry.occurred_ms,
                    freezes=change.freezes,
                )
            )
    return tuple(sorted(found, key=lambda one: (one.occurred_ms, one.event)))


def _releases(release: Release, entry: ChangeEntry, at_ms: int) -> bool:
    """A release counts when a person other than the one who declared the hold gives it."""
    return release.occurred_ms <= at_ms and bool(release.person) and release.person != entry.person


def judge_unit(book: Book, catalogue: Catalogue, unit: ThingId, moment: Moment) -> Verdict:
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

    Raises
    ------
    UnknownNameError
        If there is no unit of that identity.
    """
    unit = book.world.canonical(unit)
    if unit not in book.world.units():
        raise UnknownNameError("unit", unit)
    blocks = open_holds(book, catalogue, unit, moment)
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
    bench = Bench(book, catalogue, moment)
    holds: list[HoldVerdict] = []
    waits_for = ""
    for hold in catalogue.holds:
        if not hold.when.holds(configuration):
            continue
        if hold.id == AGAIN and not book.dives_before(unit, moment.epoch_ms):
            continue
        judged = _judge_hold(bench, catalogue, hold, configuration, unit, "" if hold.id == AGAIN else waits_for)
        if hold.id != AGAIN:
            ends = [one.until_ms for one in (judged, *holds[-1:]) if one.until_ms is not None]
            judged = replace(judged, until_ms=min(ends) if ends else None)
        holds.append(judged)
        if judged.word is not Word.READY and not waits_for and hold.id != AGAIN:
            waits_for = hold.id
    return _whole(book, unit, moment, tuple(holds), blocks)


def _judge_hold(
    bench: Bench, catalogue: Catalogue, hold: Hold, configuration: Configuration, unit: ThingId, waits_for: str
) -> HoldVerdict:
    requirements = tuple(
        Requirement(kind=kind, step=step, subject=subject, standing=bench.standing(unit, step, kind, subject))
        for kind, step in required_steps(catalogue, hold, configuration)
        for subject in bench.subjects_of(unit, step)
    )
    if any(one.standing.state is State.FAILED for one in requirements):
        word = Word.STOP
    elif waits_for or any(not one.counts for one in requirements):
        word = Word.UNPROVEN
    else:
        word = Word.READY
    ends = [one.standing.until_ms for one in requirements if one.counts and one.standing.until_ms is not None]
    return HoldVerdict(
        hold=hold, word=word, requirements=requirements, waits_for=waits_for, until_ms=min(ends) if ends else None
    )


def _whole(
    book: Book, unit: ThingId, moment: Moment, holds: tuple[HoldVerdict, ...], blocks: tuple[OpenHold, ...]
) -> Verdict:
    no_day = not book.episode_at(unit, "dive-day", moment.epoch_ms)
    if blocks or any(one.word is Word.STOP for one in holds):
        word = Word.STOP
    elif no_day or any(one.word is Word.UNPROVEN for one in holds):
        word = Word.UNPROVEN
    else:
        word = Word.READY
    clocks = [one for hold in holds for one in hold.requirements if one.counts and one.standing.until_ms is not None]
    first = min(clocks, key=lambda one: (one.standing.until_ms or 0, one.key)) if clocks else None
    marks = tuple(
        dict.fromkeys(
            f"{mark}: {one.step.id}"
            for hold in holds
            for one in hold.requirements
            if one.counts
            for mark in one.standing.marks
        )
    )
    return Verdict(
        unit=unit,
        moment=moment,
        word=word,
        until_ms=first.standing.until_ms if first else None,
        first_to_end=first,
        holds=holds,
        open_holds=blocks,
        marks=marks,
        code="no-dive-day" if no_day else "",
    )
