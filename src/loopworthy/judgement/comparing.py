"""One piece of evidence against given limits: what was entered, who is named, plain limits, the step's own judge."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from loopworthy.judgement.book import Book, Item
from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.judgement.judges import Case, judge
from loopworthy.judgement.outcome import (
    Assessment,
    EffectiveLimit,
    Finding,
    assessment,
    cannot_tell,
    compare_entries,
    compare_plain_limits,
)
from loopworthy.vocabulary.errors import InputError


def compared(
    book: Book,
    catalogue: Catalogue,
    step: Step,
    item: Item,
    limits: Mapping[str, EffectiveLimit],
    *,
    today: date | None = None,
) -> Assessment:
    """The item's readings against given limits; dates as of the day of reading where no other day is named.

    What was written elsewhere, by a faulty device or a catalogue with other units, is no error here: it cannot be told.
    """
    findings = [*compare_entries(step, item), *_names(book, step, item)]
    findings += [
        cannot_tell(step.title, "limit-unreadable", limit=one.limit.id, value=one.unreadable)
        for one in limits.values()
        if one.unreadable
    ]
    try:
        if step.limits:
            read_on = _read_on(item)
            findings += compare_plain_limits(step, item, limits, today=today or read_on, read_on=read_on)
        if step.judge:
            case = Case(book=book, catalogue=catalogue, item=item, step=step, limits=limits)
            findings += judge(case).findings
    except (ArithmeticError, ValueError) as error:
        findings.append(cannot_tell(step.title, "outside-science", what=str(error)))
    return assessment(findings)


def _read_on(item: Item) -> date:
    try:
        return item.occurred.local().date()
    except InputError:  # a zone that is not in the time-zone database here; the offset is known all the same
        return item.occurred.instant.date()


def _names(book: Book, step: Step, item: Item) -> list[Finding]:
    """No name, no evidence; and where two people are asked for, two or the honest word that there was one."""
    payload = item.payload
    if not item.read_by:
        return [cannot_tell(step.title, "nobody-named")]
    if step.two_person and not payload.single_handed:
        if not payload.second:
            return [cannot_tell(step.title, "second-person-missing")]
        if book.world.is_same(payload.second, item.read_by):
            return [cannot_tell(step.title, "second-is-reader")]
    return []
