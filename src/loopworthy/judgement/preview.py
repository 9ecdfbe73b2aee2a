"""What a change would do, before anybody says that it was done: what falls, and which one reading restores."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.judgement.book import Book, Item
from loopworthy.judgement.catalogue.model import Catalogue, Change, Effect, EffectRule, Step
from loopworthy.judgement.standing import COUNTING, Standing
from loopworthy.judgement.subjects import Subject, touched
from loopworthy.judgement.verdict import judge_unit
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Fall:
    """One piece of evidence that would fall, and how."""

    effect: Effect
    kind: str
    step: Step
    subject: Subject
    standing: Standing
    by: str
    """For a re-check: the step whose one reading restores it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """Everything that a change would do.

    Attributes
    ----------
    falls : tuple of Fall
        Requirements whose evidence counts now and would not afterwards.
    proved_wrong : tuple of Item
        Evidence of any age that would turn out never to have been true.
    hold : str
        Words of the hold that it opens; '' for none.
    """

    change: Change
    falls: tuple[Fall, ...]
    proved_wrong: tuple[Item, ...]
    hold: str


def preview_change(
    book: Book,
    catalogue: Catalogue,
    unit: ThingId,
    change: Change,
    moment: Moment,
    *,
    positions: tuple[str, ...] = (),
    things: tuple[ThingId, ...] = (),
    answers: dict[str, str] | None = None,
) -> Preview:
    """What the change would do to a unit at a moment; questions not answered count as their worst answer."""
    given = answers or {}
    concerned, side = touched(book.world, unit, positions, things)
    leaving = _leaving(book, unit, change, positions)
    falls: dict[tuple[str, str, str], Fall] = {}
    for requirement in judge_unit(book, catalogue, unit, moment).requirements():
        if requirement.standing.state not in COUNTING or requirement.standing.item is None:
            continue
        item = requirement.standing.item
        for rule in catalogue.rules_on.get(change.id, {}).get(requirement.kind, ()):
            if rule.effect is Effect.DISPROVE or not _applies(change, rule, given):
                continue
            if not _concerns(rule, item, unit, concerned, side):
                continue
            known = falls.get(requirement.key)
            if known is None or known.effect is Effect.RECHECK:
                falls[requirement.key] = Fall(
                    effect=rule.effect,
                    kind=requirement.kind,
                    step=requirement.step,
                    subject=requirement.subject,
                    standing=requirement.standing,
                    by=rule.by if rule.effect is Effect.RECHECK else "",
                )
        if leaving.intersection(item.things) and requirement.key not in falls:
            # No rule takes it away: it stays with the thing, but the thing is no longer what is fitted.
            falls[requirement.key] = Fall(
                effect=Effect.VOID,
                kind=requirement.kind,
                step=requirement.step,
                subject=requirement.subject,
                standing=requirement.standing,
                by="",
            )
    return Preview(
        change=change,
        falls=tuple(falls.values()),
        proved_wrong=_proved_wrong(book, catalogue, unit, change, given, concerned),
        hold=change.hold,
    )


def _leaving(book: Book, unit: ThingId, change: Change, positions: tuple[str, ...]) -> frozenset[ThingId]:
    """The things that are no longer there after a change that brings others in their place."""
    world = book.world
    parts = {thing for position in positions if (thing := world.at(unit, position)) is not None}
    contents = {content for thing in parts if (content := world.content_of(thing)) is not None}
    if change.does in ("replaces part", "new diver"):
        return frozenset(world.canonical(one) for one in parts | contents)
    if change.does in ("new gas", "new absorbent"):
        return frozenset(world.canonical(one) for one in contents)
    return frozenset()


def _applies(change: Change, rule: EffectRule, answers: dict[str, str]) -> bool:
    questions = {question.id: question for question in change.questions}
    for name, wanted in rule.condition:
        given = answers.get(name, "")
        if (given if given in questions[name].answers else questions[name].worst) != wanted:
            return False
    return True


def _concerns(
    rule: EffectRule, item: Item, unit: ThingId, concerned: frozenset[ThingId], side: frozenset[ThingId]
) -> bool:
    if rule.scope in ("unit", "record"):
        return True
    if rule.scope == "whole":
        return item.subject == unit
    return bool((side if rule.scope == "side" else concerned).intersection(item.things))


def _proved_wrong(
    book: Book,
    catalogue: Catalogue,
    unit: ThingId,
    change: Change,
    answers: dict[str, str],
    concerned: frozenset[ThingId],
) -> tuple[Item, ...]:
    found: dict[EventId, Item] = {}
    for rule in change.rules:
        if rule.effect is not Effect.DISPROVE or not _applies(change, rule, answers):
            continue
        making = {step.id for step in catalogue.steps_making[rule.evidence]}
        for item in book.items.values():
            if item.step not in making or item.event in book.withdrawals:
                continue
            if rule.scope == "instrument":
                hit = any(book.world.canonical(one) in concerned for one in item.payload.instruments)
            else:
                hit = _concerns(rule, item, unit, concerned, concerned)
            if hit:
                found[item.event] = item
    return tuple(sorted(found.values(), key=lambda one: one.order))
