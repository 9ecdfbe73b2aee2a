"""In which ways evidence can stand, and from what point of view it is asked."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from math import inf

from loopworthy.judgement.book import Item
from loopworthy.judgement.filed import Order
from loopworthy.judgement.outcome import Assessment
from loopworthy.vocabulary.identity import EventId


class State(StrEnum):
    """The ways in which evidence can stand. Only the first two count."""

    CURRENT = "current"
    WAIVED = "waived"
    ABSENT = "absent"
    VOID = "void"
    EXPIRED = "expired"
    RECHECK = "re-check due"
    OUT_OF_ORDER = "out of order"
    CANNOT_TELL = "cannot tell"
    FAILED = "failed"


COUNTING = frozenset({State.CURRENT, State.WAIVED})


class View(StrEnum):
    """What counts as known when a book is asked for a moment."""

    LIVE = "live"
    """The moment is now. All that takes evidence away counts whatever time it claims, for it is on record by now: a
    device whose clock is ahead must not hide a change. What speaks for a unit counts only from its own time on."""
    THEN = "then"
    """The moment is past: only what had happened by then counts."""
    HINDSIGHT = "hindsight"
    """The moment is past: what had happened by then counts, and what was found out since about whether it was true."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How the evidence for one step, kind and subject stands, and why.

    Attributes
    ----------
    state : State
    item : Item or None
        The evidence that decided.
    code, values : str, dict
        The reason, for the doors to put in words.
    cause : str
        The event behind the reason (the change that voided it, the repair, the waiver).
    until_ms : int or None
        The last moment at which it counts by itself; None where no clock runs.
    assessment : Assessment or None
        The reading against its limits.
    marks : tuple of str
        What has to be shown wherever it counts: ``single-handed``, ``near limit``, ``loosened <limit>``.
    mend : str
        The step that mends it in the shortest way.
    """

    state: State
    item: Item | None = None
    code: str = ""
    values: dict[str, str] = field(default_factory=dict)
    cause: EventId = ""
    until_ms: int | None = None
    assessment: Assessment | None = None
    marks: tuple[str, ...] = ()
    mend: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AsOf:
    """The moment for which evidence is looked at: now, or that at which later evidence was made on it.

    Attributes
    ----------
    ms : int
        Evidence and what mends must have been by then.
    order : tuple or None
        Evidence must also be filed before this place of the record; None for all of it.
    changes_until_ms : float
        Changes claimed for later than this have not happened yet.
    """

    ms: int
    order: Order | None = None
    changes_until_ms: float = inf

    @classmethod
    def of(cls, item: Item) -> AsOf:
        """As of when a piece of evidence was read."""
        return cls(ms=item.occurred_ms, order=item.order, changes_until_ms=item.occurred_ms)
