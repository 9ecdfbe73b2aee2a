"""Payloads of the events that judgement gives their meaning: evidence, waivers, limits, repairs, releases, passings.

A reading stays as it was typed. What follows from it (inside, near, outside) is never stored here but worked out
anew each time, with the catalogue and limits of the moment.
"""

from __future__ import annotations

from typing import Final

import msgspec

from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading


class Trace(msgspec.Struct, frozen=True, kw_only=True):
    """A series of readings in columns, as typed or received: for a pressure test ``s``, ``mbar`` and perhaps ``C``."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise InputError("rows", row, f"as long as the columns {self.columns}")

    def column(self, name: str) -> tuple[str, ...]:
        """The values of one column; empty where the trace has no such column."""
        if name not in self.columns:
            return ()
        place = self.columns.index(name)
        return tuple(row[place] for row in self.rows)


class EvidenceRecorded(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A step that somebody did, with what was read.

    Attributes
    ----------
    unit, step, subject, position : str
        The unit it was done for, the catalogue's step, the subject's key (see `judgement.subjects`) and the position.
    readings : dict
        Input name to the readings entered for it.
    answers : dict
        Input name to the answer: ``yes`` for a tick, a choice, a date, a time, a text.
    traces, files : dict
        Input name to a series; input name to the SHA-256 of a stored file.
    instruments : tuple of str
        Things that it was read with.
    context : dict
        ``ambient``, ``temperature`` or ``humidity`` to the reading that held when it was made.
    used : tuple of str
        Evidence that it rests on.
    second, single_handed : str, bool
        The second person of a two-person step, or the honest statement that there was none.
    confirmed_odd : tuple of str
        Inputs whose odd value was asked about and confirmed.
    """

    unit: ThingId
    step: str
    subject: str
    position: str = ""
    readings: dict[str, tuple[Reading, ...]] = {}
    answers: dict[str, str] = {}
    traces: dict[str, Trace] = {}
    files: dict[str, str] = {}
    instruments: tuple[ThingId, ...] = ()
    context: dict[str, Reading] = {}
    used: tuple[EventId, ...] = ()
    second: ThingId = ""
    single_handed: bool = False
    confirmed_odd: tuple[str, ...] = ()
    note: str = ""

    def __post_init__(self) -> None:
        if self.second and self.single_handed:
            raise InputError("single_handed", True, "left out where a second person is named")
        if not (self.readings or self.answers or self.traces or self.files):
            raise InputError("readings", self.readings, "given: a step without anything entered is no evidence")


class WaiverGiven(msgspec.Struct, frozen=True, kw_only=True):
    """One requirement left out for one dive, aloud: what, why, and who heard it."""

    unit: ThingId
    step: str
    subject: str
    reason: str
    hearer: ThingId

    def __post_init__(self) -> None:
        if not self.reason.strip():
            raise InputError("reason", self.reason, "said in words")
        if not self.hearer:
            raise InputError("hearer", self.hearer, "the person who heard it")


class LimitSet(msgspec.Struct, frozen=True, kw_only=True):
    """A limit of the unit's owner in place of the catalogue's, with where it stands; a reason if it is looser."""

    unit: ThingId
    limit: str
    value: str
    source: str
    reason: str = ""

    def __post_init__(self) -> None:
        if not self.source.strip():
            raise InputError("source", self.source, "named: the manual and its page, for example")


class LimitConfirmed(msgspec.Struct, frozen=True, kw_only=True):
    """The owner has held the limit against the unit's manual and it stands."""

    unit: ThingId
    limit: str
    value: str
    source: str


class RepairMade(msgspec.Struct, frozen=True, kw_only=True):
    """What was mended after readings outside their limit: it names them, the place and the cause."""

    unit: ThingId
    mends: tuple[EventId, ...]
    cause: str
    done: str
    place: str = ""

    def __post_init__(self) -> None:
        if not self.mends:
            raise InputError("mends", self.mends, "the readings that it mends")
        if not self.cause.strip() or not self.done.strip():
            raise InputError("cause", self.cause, "said in words, and what was done as well")


class HoldReleased(msgspec.Struct, frozen=True, kw_only=True):
    """A second person lifts a hold: cause found, repair made, test passed."""

    unit: ThingId
    hold: EventId
    cause: str
    repair: str
    test: str


class HoldPassed(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody passed a hold point on this verdict, with this catalogue and engine."""

    unit: ThingId
    hold: str
    verdict: str
    catalogue: str
    engine: str


class CatalogueAdopted(msgspec.Struct, frozen=True, kw_only=True):
    """The catalogue (and owner's files) that holds from here on, with its full text."""

    revision: str
    digest: str
    texts: dict[str, str]
    owner_texts: dict[str, str] = {}


EVENT_TYPES: Final[tuple[tuple[str, int, type[msgspec.Struct]], ...]] = (
    ("judgement.evidence-recorded", 1, EvidenceRecorded),
    ("judgement.waiver-given", 1, WaiverGiven),
    ("judgement.limit-set", 1, LimitSet),
    ("judgement.limit-confirmed", 1, LimitConfirmed),
    ("judgement.repair-made", 1, RepairMade),
    ("judgement.hold-released", 1, HoldReleased),
    ("judgement.hold-passed", 1, HoldPassed),
    ("judgement.catalogue-adopted", 1, CatalogueAdopted),
)
"""Kind, version and payload, for the record's registry."""
