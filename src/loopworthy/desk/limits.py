"""An owner's limits: confirming one against the unit's manual, setting another, loosening one with a reason."""

from __future__ import annotations

from decimal import Decimal

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.catalogue.model import Rule, Step
from loopworthy.judgement.events import LimitConfirmed, LimitSet
from loopworthy.judgement.outcome import EffectiveLimit, effective_limit
from loopworthy.record.chain import Draft
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import parse_number


def limits_of(workplace: Workplace, unit: ThingId) -> tuple[tuple[Step, EffectiveLimit], ...]:
    """Every limit that the unit's configuration meets, as it holds now, with the step it belongs to."""
    configuration = workplace.world.configuration(unit)
    if configuration is None:
        return ()
    now_ms = workplace.now().epoch_ms
    return tuple(
        (step, effective_limit(workplace.book(), unit, limit, now_ms))
        for step in workplace.catalogue.steps.values()
        if step.when.holds(configuration)
        for limit in step.limits
    )


def unconfirmed(workplace: Workplace, unit: ThingId) -> tuple[tuple[Step, EffectiveLimit], ...]:
    """Limits of never-skipped steps that the owner still has to hold against the unit's manual."""
    return tuple(
        (step, limit)
        for step, limit in limits_of(workplace, unit)
        if step.never_skipped
        and not limit.confirmed
        and limit.limit.rule not in (Rule.DAYS_LEFT, Rule.DAYS_SINCE, Rule.ONE_OF)
    )


def confirm_limits(
    workplace: Workplace, unit: ThingId, limits: tuple[str, ...], *, source: str, owner: ThingId
) -> tuple[EventId, ...]:
    """The owner has held these limits against the manual and they stand.

    Raises
    ------
    UnknownNameError
        If the catalogue has no such limit.
    InputError
        If the source (the manual and its page or revision) is not named.
    """
    named = wording.line("source", source)
    if not named:
        raise InputError("source", source, "the manual and its revision or page")
    payloads = []
    for identifier in limits:
        known = _known(workplace, identifier)
        now = effective_limit(workplace.book(), unit, known.limit, workplace.now().epoch_ms)
        payloads.append(LimitConfirmed(unit=unit, limit=identifier, value=now.value, source=named))
    with workplace.writer().batch() as batch:
        return tuple(
            batch.add(
                Draft(
                    kind="judgement.limit-confirmed", payload=payload, subjects=(unit,), read_by=owner, typed_by=owner
                )
            )
            for payload in payloads
        )


def set_limit(
    workplace: Workplace, unit: ThingId, identifier: str, value: str, *, source: str, owner: ThingId, reason: str = ""
) -> EventId:
    """The owner's value in place of the one that holds.

    Raises
    ------
    RefusedError
        If it is looser than the one that holds and no reason is given.
    """
    known = _known(workplace, identifier)
    now = effective_limit(workplace.book(), unit, known.limit, workplace.now().epoch_ms)
    plain = wording.line("value", value) if known.limit.rule is Rule.ONE_OF else parse_number("value", value)
    if known.limit.rule is not Rule.ONE_OF and Decimal(plain) < 0:
        raise InputError("value", value, "0 or more")
    looser = not known.limit.is_tightened_by(plain) or not _as_strict(now, plain)
    if looser and not reason.strip():
        raise RefusedError(
            f"{identifier}: {plain} is looser than {now.shown} ({now.origin.value})",
            next_step="Give the reason; it is shown on every verdict that uses this limit",
        )
    payload = LimitSet(
        unit=unit,
        limit=identifier,
        value=plain,
        source=wording.line("source", source),
        reason=wording.note("reason", reason) if looser else "",
    )
    return workplace.writer().append("judgement.limit-set", payload, subjects=(unit,), read_by=owner, typed_by=owner).id


def _as_strict(now: EffectiveLimit, value: str) -> bool:
    if now.limit.rule is Rule.ONE_OF:
        return True
    mine, theirs = Decimal(now.value), Decimal(value)
    return theirs >= mine if now.limit.tighter.value == "higher" else theirs <= mine


def _known(workplace: Workplace, identifier: str) -> EffectiveLimit:
    limit = workplace.catalogue.limits.get(identifier)
    if limit is None:
        raise UnknownNameError("limit", identifier, next_step="See the list of limits of this unit")
    return EffectiveLimit(limit=limit, value=limit.value, origin=limit.origin, source=limit.source, confirmed=False)
