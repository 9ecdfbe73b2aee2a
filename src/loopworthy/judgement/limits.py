"""The limits that hold for a unit: the catalogue's, or its owner's in their place.

Of limits that stand against each other the stricter counts: one set without knowledge of another, and one that was
taken back, until somebody sets or confirms a limit anew.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from decimal import Decimal, InvalidOperation
from math import inf

from loopworthy.judgement.book import Book, LimitEntry
from loopworthy.judgement.catalogue.model import Limit, Origin, Rule, Step, Tighter
from loopworthy.judgement.filed import Order
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class EffectiveLimit:
    """A limit as it holds for a unit at a moment.

    `confirmed` is true when the owner set it or held it against the manual; `loosened` carries the reason when the
    owner's value is looser than the catalogue's; `unreadable` what the owner set when it cannot be read as a limit.
    """

    limit: Limit
    value: str
    origin: Origin
    source: str
    confirmed: bool
    loosened: str = ""
    unreadable: str = ""

    @property
    def shown(self) -> str:
        """Value and unit."""
        unit = self.limit.unit
        return self.value if unit in ("", "1", "count") else f"{self.value} {unit}"

    @property
    def decimal(self) -> Decimal:
        """The value, for comparison."""
        return Decimal(self.value)


def effective_limit(
    book: Book, unit: ThingId, limit: Limit, moment_ms: int, *, known_until_ms: float = inf
) -> EffectiveLimit:
    """The limit for a unit at a moment: the owner's latest, else the catalogue's.

    Parameters
    ----------
    moment_ms : int
        What was set or confirmed later than that does not hold yet.
    known_until_ms : float
        What was set or taken back by then is known; a limit set for later than the moment only ever tightens.
    """
    entries = book.limits.get(f"{unit} {limit.id}")
    if not entries:
        return _of_catalogue(limit, confirmed=limit.origin is Origin.OWNER)
    known = [one for one in entries if one.occurred_ms <= max(moment_ms, known_until_ms)]
    holding = [
        one
        for one in known
        if one.occurred_ms <= moment_ms and not _taken_back(book, one, known_until_ms) and _readable(limit, one.value)
    ]
    owners = [one for one in holding if not one.confirmed]
    latest = owners[-1] if owners else None
    if latest is None:
        confirmed = any(one.confirmed and _same(limit, one.value, limit.value) for one in holding)
        found = _of_catalogue(limit, confirmed=confirmed or limit.origin is Origin.OWNER)
    else:
        found = _of_owner(limit, latest, confirmed=True)
    for one in known:
        if one.confirmed or one is latest:
            continue
        if not _readable(limit, one.value):
            answered = latest is not None and latest.order > one.order
            if not answered and not _taken_back(book, one, known_until_ms):
                found = replace(found, confirmed=False, unreadable=one.value)
        elif _stands_against(book, one, latest, holding, moment_ms, known_until_ms):
            stricter = _stricter(limit, found.value, one.value)
            if not _same(limit, stricter, found.value):
                withdrawn = _taken_back(book, one, known_until_ms)
                found = _of_owner(limit, one, confirmed=not withdrawn, value=stricter)
    return found


def limits_when_read(book: Book, unit: ThingId, step: Step, order: Order) -> dict[str, EffectiveLimit]:
    """The step's limits as they held for a unit when the event at that place of the record was written."""
    found = {}
    for limit in step.limits:
        entries = [
            one
            for one in book.limits.get(f"{unit} {limit.id}", ())
            if one.order < order and not one.confirmed and _readable(limit, one.value)
            and not (one.event in book.withdrawals and book.withdrawals[one.event].order < order)
        ]  # fmt: skip
        found[limit.id] = _of_owner(limit, entries[-1], confirmed=True) if entries else _of_catalogue(limit)
    return found


def _of_catalogue(limit: Limit, *, confirmed: bool = False) -> EffectiveLimit:
    return EffectiveLimit(limit=limit, value=limit.value, origin=limit.origin, source=limit.source, confirmed=confirmed)


def _of_owner(limit: Limit, entry: LimitEntry, *, confirmed: bool, value: str | None = None) -> EffectiveLimit:
    value = entry.value if value is None else value
    loosened = "" if limit.is_tightened_by(value) else entry.reason or entry.source
    return EffectiveLimit(
        limit=limit, value=value, origin=Origin.OWNER, source=entry.source, confirmed=confirmed, loosened=loosened
    )


def _taken_back(book: Book, entry: LimitEntry, known_until_ms: float) -> bool:
    withdrawal = book.withdrawals.get(entry.event)
    return withdrawal is not None and withdrawal.occurred_ms <= known_until_ms


def _stands_against(
    book: Book,
    entry: LimitEntry,
    latest: LimitEntry | None,
    holding: Iterable[LimitEntry],
    moment_ms: int,
    known_until_ms: float,
) -> bool:
    """Whether a limit that was set still has to be reckoned with beside the one that holds."""
    if entry.occurred_ms > moment_ms:
        return True
    if _taken_back(book, entry, known_until_ms):
        since = book.withdrawals[entry.event]
        return not any(one.order > since.order and book.lineage.outlives(one, since) for one in holding)
    return latest is not None and entry.sequence > book.lineage.known(latest, entry.device, entry.branch)


def _readable(limit: Limit, value: str) -> bool:
    if limit.rule is Rule.ONE_OF:
        return bool(value.strip())
    try:
        return Decimal(value).is_finite()
    except InvalidOperation:
        return False


def _same(limit: Limit, one: str, other: str) -> bool:
    if limit.rule is Rule.ONE_OF:
        return set(_choices(one)) == set(_choices(other))
    return Decimal(one) == Decimal(other)


def _stricter(limit: Limit, one: str, other: str) -> str:
    if limit.rule is Rule.ONE_OF:
        return ", ".join(choice for choice in _choices(one) if choice in _choices(other))
    return (max if limit.tighter is Tighter.HIGHER else min)(one, other, key=Decimal)


def _choices(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]
