"""A unit: the verdict and its reasons first, then what to do next, then the evidence by hold point."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import groupby

from loopworthy.desk.mending import pass_hold
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, person_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.nexts import Next, next_things
from loopworthy.doors.web.resume import LastEntry, last_entry
from loopworthy.doors.web.routes import Door
from loopworthy.doors.web.shown import (
    EvidenceRow,
    Reason,
    VerdictPanel,
    counted_states,
    evidence_row,
    once,
    reason,
    stopping,
    verdict_panel,
)
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import HoldVerdict, Requirement, Verdict, Word
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId

NEXT_IN_SIGHT = 4

_NOT_COUNTING = {State.FAILED: "failed", State.ABSENT: "absent"}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReasonGroup:
    """What keeps a unit from being ready on one work page.

    Attributes
    ----------
    title, href : str
        The work page.
    counts : str
        ``2 void · 1 expired``.
    reasons : tuple of Reason
    """

    title: str
    href: str
    counts: str
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RowGroup:
    """Evidence of a hold point beneath one fold: ``19 current``."""

    counts: str
    rows: tuple[EvidenceRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldShown:
    """One hold point with its evidence.

    Attributes
    ----------
    id, title : str
    word : Word
    until_iso, until_text : str
        For a hold that is ready: when that ends, its own clock or the first of the whole unit.
    summary, counts : str
        ``2 of 22 missing``; ``2 void · 20 current``.
    rows_open, rows_folded : tuple of EvidenceRow, tuple of RowGroup
        At once what failed, or where nothing did what fell; beneath a fold each what else does not count, what was
        never read, and what counts.
    is_open : bool
        Whether its evidence is shown at once, because something in it was read outside its limit.
    go_on_href : str
        Where to say that one goes on from here; '' where the hold is not ready.
    gone_on : str
        Who last went on from here, and when; '' for nobody.
    """

    id: str
    title: str
    word: Word
    until_iso: str
    until_text: str
    summary: str
    counts: str
    rows_open: tuple[EvidenceRow, ...]
    rows_folded: tuple[RowGroup, ...]
    is_open: bool
    go_on_href: str
    gone_on: str

    @property
    def rows(self) -> tuple[EvidenceRow, ...]:
        """All its evidence."""
        return (*self.rows_open, *(row for group in self.rows_folded for row in group.rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPage:
    """A unit.

    Attributes
    ----------
    verdict : VerdictPanel
        Its reasons are what holds the unit at stop, each with its way on.
    groups, never_read : tuple of ReasonGroup
        What fell or cannot count, by page; what was never read, by page.
    never_read_count : int
    nexts, nexts_later : tuple of Next
        What to do but for the ways on that stand with the verdict.
    last : LastEntry or None
    holds : tuple of HoldShown
    who : Field
        Who goes on from a hold point.
    holder, custody_href, day_title, day_href : str
        Who has it; the open dive day, '' for none.
    """

    frame: Frame
    name: str
    verdict: VerdictPanel
    groups: tuple[ReasonGroup, ...]
    never_read: tuple[ReasonGroup, ...]
    never_read_count: int
    nexts: tuple[Next, ...]
    nexts_later: tuple[Next, ...]
    last: LastEntry | None
    holds: tuple[HoldShown, ...]
    who: Field
    holder: str
    custody_href: str
    day_title: str
    day_href: str


def unit_page(asked: Asked) -> Answer:
    """The page of a unit."""
    return Page(template="unit.html", context=unit_context(asked, asked.unit))


def unit_context(asked: Asked, unit: ThingId) -> UnitPage:
    """Everything that the page of a unit shows."""
    verdict = asked.workplace.verdict(unit, asked.now)
    missing = once(verdict.reasons())
    fallen = [one for one in missing if one.standing.state not in (State.FAILED, State.ABSENT)]
    absent = [one for one in missing if one.standing.state is State.ABSENT]
    stops = stopping(asked, unit, verdict)
    there = {one.mend_href for one in stops}
    nexts = tuple(one for one in next_things(asked, unit, verdict) if one.href not in there)
    last = last_entry(asked, unit)
    if last is not None and last.href in _of_failed(asked, unit, missing):
        last = None
    world = asked.workplace.world
    holder, day = world.holder(unit), world.episode(unit, "dive-day")
    return UnitPage(
        frame=page_frame(
            asked,
            asked.workplace.name(unit),
            unit=unit,
            place="verdict",
            verdict=verdict,
            until_ms=min((one.until_ms for one in verdict.holds if one.until_ms is not None), default=None),
            cautions=("current",),
        ),
        name=asked.workplace.name(unit),
        verdict=verdict_panel(asked, verdict, reasons=stops),
        groups=_groups(asked, unit, fallen),
        never_read=_groups(asked, unit, absent),
        never_read_count=len(absent),
        nexts=nexts[:NEXT_IN_SIGHT],
        nexts_later=nexts[NEXT_IN_SIGHT:],
        last=last,
        holds=tuple(_hold(asked, unit, verdict, one) for one in verdict.holds),
        who=person_field(asked, "read_by", asked.say("who.read_by"), chosen=asked.person, required=True),
        holder=asked.workplace.name(holder) if holder is not None else "",
        custody_href=asked.links.custody(unit),
        day_title=(day.title or asked.words.clock.day(day.began.epoch_ms)) if day is not None else "",
        day_href=asked.links.day(unit),
    )


def _of_failed(asked: Asked, unit: ThingId, missing: Iterable[Requirement]) -> frozenset[str]:
    """Every reading of what failed: the verdict tells of it already."""
    by_subject = asked.workplace.book().by_subject
    failed = [one for one in missing if one.standing.state is State.FAILED]
    events = (event for one in failed for event in by_subject.get(f"{one.step.id} {one.subject.key}", ()))
    return frozenset(asked.links.evidence(unit, event) for event in events)


def _groups(asked: Asked, unit: ThingId, requirements: list[Requirement]) -> tuple[ReasonGroup, ...]:
    pages = {page.id: page for page in asked.workplace.catalogue.pages}
    ordered = sorted(requirements, key=lambda one: pages[one.step.page].order)
    groups = []
    for page_id, group in groupby(ordered, key=lambda one: one.step.page):
        here = tuple(group)
        groups.append(
            ReasonGroup(
                title=pages[page_id].title,
                href=asked.links.work(unit, page_id),
                counts=counted_states(asked, (one.standing for one in here)),
                reasons=tuple(_short(reason(asked, unit, one), one) for one in here),
            )
        )
    return tuple(groups)


def _short(one: Reason, requirement: Requirement) -> Reason:
    """What was never read has no reading to show, and its page is the way to mend it."""
    return replace(one, mend_href="", mend_text="") if requirement.standing.state is State.ABSENT else one


def _hold(asked: Asked, unit: ThingId, verdict: Verdict, hold: HoldVerdict) -> HoldShown:
    requirements = once(hold.requirements)
    ready = hold.word is Word.READY and not verdict.open_holds
    passings = [one for one in asked.workplace.book().passings.get(unit, ()) if one.passed.hold == hold.hold.id]
    gone_on = ""
    if passings:
        last = passings[-1]
        when = asked.words.clock.when(last.occurred.epoch_ms)
        gone_on = asked.say("unit.gone_on", when=when, who=asked.workplace.name(last.person))
    until = hold.until_ms if hold.until_ms is not None else verdict.until_ms
    bounded = hold.word is Word.READY and until is not None
    rows_open, rows_folded = _rows(asked, unit, requirements)
    return HoldShown(
        until_iso=asked.words.clock.iso(until) if bounded and until is not None else "",
        until_text=asked.words.clock.when(until) if bounded and until is not None else "",
        id=hold.hold.id,
        title=hold.hold.title,
        word=hold.word,
        summary=asked.words.hold_sentence(hold),
        counts=counted_states(asked, (one.standing for one in requirements)),
        rows_open=rows_open,
        rows_folded=rows_folded,
        is_open=any(one.standing.state is State.FAILED for one in requirements),
        go_on_href=asked.links.go_on(unit, hold.hold.id) if ready else "",
        gone_on=gone_on,
    )


def _rows(
    asked: Asked, unit: ThingId, requirements: tuple[Requirement, ...]
) -> tuple[tuple[EvidenceRow, ...], tuple[RowGroup, ...]]:
    """The evidence of a hold: what matters at once, the rest folded; a fold over all of it would hide it twice."""
    kinds: dict[str, list[Requirement]] = {"failed": [], "fallen": [], "absent": [], "counting": []}
    for one in requirements:
        kinds["counting" if one.counts else _NOT_COUNTING.get(one.standing.state, "fallen")].append(one)
    groups = [tuple(group) for group in kinds.values() if group]
    at_once = groups.pop(0) if kinds["failed"] or kinds["fallen"] or len(groups) == 1 else ()
    folded = (
        RowGroup(
            counts=counted_states(asked, (one.standing for one in group)),
            rows=tuple(_row(asked, unit, one) for one in group),
        )
        for group in groups
    )
    return tuple(_row(asked, unit, one) for one in at_once), tuple(folded)


def _row(asked: Asked, unit: ThingId, requirement: Requirement) -> EvidenceRow:
    """A line of evidence; why it failed is told with the verdict and on its own page."""
    row = evidence_row(asked, unit, requirement)
    return replace(row, state_reason="") if requirement.standing.state is State.FAILED else row


def next_step(asked: Asked) -> Answer:
    """On to what is outstanding first; to the verdict where nothing is."""
    things = next_things(asked, asked.unit, asked.workplace.verdict(asked.unit, asked.now))
    return SeeOther(address=things[0].href if things else asked.links.unit(asked.unit))


def go_on(asked: Asked) -> Answer:
    """Somebody goes on from a hold point on the verdict of this moment."""
    person = asked.form.get("read_by") or asked.person
    if not person:
        raise InputError("read_by", person, "the person who goes on", next_step=asked.say("unit.choose_yourself"))
    event = pass_hold(asked.workplace, asked.unit, asked.values["hold"], person=person)
    return SeeOther(address=asked.links.unit(asked.unit, done=(event,)))


ROUTES = (
    Door(path="/unit/{unit}", handler=unit_page),
    Door(path="/unit/{unit}/next", handler=next_step),
    Door(path="/unit/{unit}/go-on/{hold}", handler=go_on, methods=("POST",)),
)
