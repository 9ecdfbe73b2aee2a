"""Verdicts, reasons and evidence as the parts of pages take them: values from judgement, in words, with their links."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace

from loopworthy.doors.web.asked import Asked
from loopworthy.judgement.book import Item
from loopworthy.judgement.standing import Standing, State
from loopworthy.judgement.verdict import OpenHold, Requirement, Verdict, Word
from loopworthy.vocabulary.identity import ThingId

ORDER_OF_STATES = (
    State.FAILED,
    State.VOID,
    State.RECHECK,
    State.EXPIRED,
    State.OUT_OF_ORDER,
    State.CANNOT_TELL,
    State.ABSENT,
    State.WAIVED,
    State.CURRENT,
)
"""What is told first: what was true and is no longer, before what was never read."""

_TOLD_BY_FACTS = frozenset({"", "oxygen-against-expected", "against-known-gas"})
"""Findings of which reading, expectation, limit and margin say everything."""


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictPanel:
    """A verdict, as templates/parts/verdict.html draws it.

    Attributes
    ----------
    word : Word
    sentence, at_text : str
    until_iso, until_text, until_reason : str
        '' for what is not ready.
    reasons : tuple of Reason
    marks : tuple of str
    cautions : tuple of str
        What lies beside the record and may undo some of the evidence.
    apart_href : str
        Where all of that is listed.
    """

    word: Word
    sentence: str
    at_text: str
    until_iso: str = ""
    until_text: str = ""
    until_reason: str = ""
    reasons: tuple[Reason, ...] = ()
    marks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    apart_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """One reason, as templates/parts/reason.html draws it; parts that are '' are left out."""

    text: str
    state: State | None = None
    reading_name: str = ""
    reading: str = ""
    expected: str = ""
    limit: str = ""
    margin: str = ""
    uncertainty: str = ""
    origin: str = ""
    note: str = ""
    since: str = ""
    marks: tuple[str, ...] = ()
    mend_href: str = ""
    mend_text: str = ""
    evidence_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRow:
    """One piece of evidence, as templates/parts/evidence_row.html draws it; parts that are '' are left out.

    Attributes
    ----------
    until_iso : str
        When the state turns into "expired" by itself.
    leave_out_href : str
        Where it may be left out aloud; '' where it may not.
    """

    title: str
    state: State
    state_reason: str = ""
    reading: str = ""
    limit: str = ""
    margin: str = ""
    origin: str = ""
    at_text: str = ""
    until_text: str = ""
    until_iso: str = ""
    by: str = ""
    instrument: str = ""
    context_text: str = ""
    marks: tuple[str, ...] = ()
    href: str = ""
    leave_out_href: str = ""


def verdict_panel(asked: Asked, verdict: Verdict, *, reasons: tuple[Reason, ...] = ()) -> VerdictPanel:
    """The verdict with its end, where it has one."""
    words = asked.words
    until = verdict.until_ms if verdict.word is Word.READY else None
    return VerdictPanel(
        word=verdict.word,
        sentence=words.verdict_sentence(verdict),
        at_text=f"{words.clock.when(verdict.moment.epoch_ms)}, {verdict.moment.zone}",
        until_iso=words.clock.iso(until) if until is not None else "",
        until_text=words.clock.when(until) if until is not None else "",
        until_reason=words.until_reason(verdict) if until is not None else "",
        reasons=reasons,
        marks=words.verdict_marks(verdict),
        cautions=words.cautions(verdict),
        apart_href=asked.links.apart() if verdict.cautions else "",
    )


def reason(asked: Asked, unit: ThingId, requirement: Requirement) -> Reason:
    """Why one requirement does not count, with the reading, its limit, and the shortest way to mend it."""
    standing, words = requirement.standing, asked.words
    facts = words.facts(standing)
    return Reason(
        text=f"{words.requirement_title(requirement)}: {words.standing_sentence(standing, requirement.step)}",
        state=standing.state,
        reading=facts.reading,
        expected=facts.expected,
        limit=facts.limit,
        margin=facts.margin,
        uncertainty=facts.uncertainty,
        origin=facts.origin,
        marks=words.marks(standing.marks),
        mend_href=mend_href(asked, unit, requirement),
        mend_text=mend_text(asked, requirement),
        evidence_href=asked.links.evidence(unit, standing.item.event) if standing.item is not None else "",
    )


def stopping(asked: Asked, unit: ThingId, verdict: Verdict) -> tuple[Reason, ...]:
    """What holds a unit at stop, each told once and with its way on: open holds, then readings outside their limit."""
    failed = [one for one in verdict.reasons() if one.standing.state is State.FAILED]
    found = {one.standing.cause: _outside(asked, unit, one) for one in once(failed)}
    return (*(_held(asked, unit, one) for one in verdict.open_holds), *found.values())


def _held(asked: Asked, unit: ThingId, hold: OpenHold) -> Reason:
    who = asked.workplace.name(hold.person) or asked.say("words.nobody_named")
    return Reason(
        text=hold.words,
        note=asked.say("unit.note", note=hold.note) if hold.note else "",
        since=asked.say("shown.held_since", when=asked.words.clock.when(hold.occurred_ms), who=who),
        mend_href=asked.links.release(unit, hold.event),
        mend_text=asked.say("next.release"),
    )


def _outside(asked: Asked, unit: ThingId, requirement: Requirement) -> Reason:
    """A reading outside its limit: where its facts say everything, no sentence says it again."""
    standing, words = requirement.standing, asked.words
    told = reason(asked, unit, requirement)
    decisive = standing.assessment.decisive if standing.assessment is not None else None
    item = standing.item
    if decisive is not None and decisive.code in _TOLD_BY_FACTS and told.limit:
        name = "" if decisive.code else decisive.about
        told = replace(told, text=words.requirement_title(requirement), reading_name=name)
    if item is None:
        return told
    when, who = words.clock.when(item.occurred_ms), by_whom(asked, item) or asked.say("words.nobody_named")
    return replace(told, since=asked.say("shown.stop_since", when=when, who=who))


def mend_href(asked: Asked, unit: ThingId, requirement: Requirement) -> str:
    """Where the shortest way to mend a requirement begins."""
    standing, links = requirement.standing, asked.links
    if standing.state is State.FAILED:
        return links.repair(unit, standing.cause)
    if standing.code == "limit-unconfirmed":
        return links.limits(unit, standing.values.get("limit", ""))
    missing = requirement.subject.missing
    if missing in ("part", "channel"):
        return links.parts(unit, requirement.subject.position)
    if missing == "content":
        return links.change(unit)
    step = asked.workplace.catalogue.steps.get(standing.mend, requirement.step)
    same = step.id == requirement.step.id
    return links.work(unit, step.page, step=step.id, about=requirement.subject.key if same else "")


def mend_text(asked: Asked, requirement: Requirement) -> str:
    """The words of that link."""
    standing = requirement.standing
    if standing.state is State.FAILED:
        return asked.say("shown.mend_failed")
    if standing.code == "limit-unconfirmed":
        return asked.say("shown.mend_limit")
    if requirement.subject.missing:
        return asked.say("shown.mend_missing")
    step = asked.workplace.catalogue.steps.get(standing.mend, requirement.step)
    return asked.say("shown.mend_step", title=step.title)


def evidence_row(asked: Asked, unit: ThingId, requirement: Requirement) -> EvidenceRow:
    """One requirement with its evidence in full."""
    words, standing, step = asked.words, requirement.standing, requirement.step
    facts, item = words.facts(standing), standing.item
    may_leave = standing.state in (State.ABSENT, State.EXPIRED) and not step.never_skipped
    about = requirement.subject.key or requirement.subject.position
    return EvidenceRow(
        title=words.requirement_title(requirement),
        state=standing.state,
        state_reason="" if standing.state is State.CURRENT else words.standing_sentence(standing, step),
        reading=facts.reading,
        limit=facts.limit,
        margin=facts.margin,
        origin=facts.origin,
        at_text=words.clock.when(item.occurred_ms) if item is not None else "",
        until_text=words.clock.when(standing.until_ms) if standing.until_ms is not None else "",
        until_iso=words.clock.iso(standing.until_ms) if standing.until_ms is not None else "",
        by=by_whom(asked, item) if item is not None else "",
        instrument=with_what(asked, item) if item is not None else "",
        context_text=in_what(asked, item) if item is not None else "",
        marks=words.marks(standing.marks),
        href=asked.links.evidence(unit, item.event) if item is not None else "",
        leave_out_href=asked.links.waive(unit, step.id, about) if may_leave else "",
    )


def by_whom(asked: Asked, item: Item) -> str:
    """Who read it, and who else looked."""
    reader = asked.workplace.name(item.read_by)
    second = asked.workplace.name(item.payload.second)
    return asked.say("shown.by_two", reader=reader, second=second) if second else reader


def with_what(asked: Asked, item: Item) -> str:
    """What it was read with."""
    return ", ".join(asked.workplace.name(one) for one in item.payload.instruments)


def in_what(asked: Asked, item: Item) -> str:
    """The surroundings that it was read in."""
    return ", ".join(asked.words.reading(one) for one in item.payload.context.values())


def once(requirements: Iterable[Requirement]) -> tuple[Requirement, ...]:
    """Each step and subject once; where two kinds of evidence of one reading stand differently, the worse."""
    found: dict[tuple[str, str], Requirement] = {}
    rank = {state: place for place, state in enumerate(ORDER_OF_STATES)}
    for one in requirements:
        key = (one.step.id, one.subject.key or one.subject.position)
        known = found.get(key)
        if known is None or rank[one.standing.state] < rank[known.standing.state]:
            found[key] = one
    return tuple(found.values())


def counted_states(asked: Asked, standings: Iterable[Standing]) -> str:
    """``2 void · 1 expired · 19 current``."""
    counts = Counter(one.state for one in standings)
    parts = []
    for state in ORDER_OF_STATES:
        if counts[state]:
            name = asked.say(f"states.{state.value.replace(' ', '_').replace('-', '_')}")
            parts.append(asked.say("shown.counted", count=counts[state], state=name))
    return " · ".join(parts)
