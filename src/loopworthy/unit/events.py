"""What is written down about units: payloads of the events whose fold is a `World`.

Which things an event is about stands in the envelope's subjects; each payload says which subjects it expects, in
order. Names of people are kept beside the record, here is only their digest.
"""

from __future__ import annotations

import re
from datetime import date
from typing import ClassVar, Final, Literal

import msgspec

from loopworthy.unit.entries import AXIS_ID, KEBAB_ID
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import require_event_id
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.wording import LONGEST_LINE, LONGEST_NOTE, is_clean

EpisodeKind = Literal["dive-day", "preparation", "assembly", "dive"]
EPISODE_KINDS: Final[tuple[EpisodeKind, ...]] = ("dive-day", "preparation", "assembly", "dive")
PERSON: Final = "person"

_FACT = re.compile(r"[a-z][a-z0-9]*([_-][a-z0-9]+)*\Z")
_CHANGE = re.compile(r"[a-z][a-z0-9]*([-_.:/][a-z0-9]+)*\Z")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z")


class ThingCreated(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A thing comes into the record; its identity is the identity of this event. Subjects are not read.

    Attributes
    ----------
    kind : str
        One of the kinds of `positions.PART_KINDS` (unknown ones from a later version are kept).
    name, serial, batch : str
        As people call it, as it is stamped, as it was made with others; empty where not known.
    made_on, opened_on : str
        Dates, ``2026-03-01``; empty where not known.
    maker_note : str
        Whatever else the label says.
    attributes : dict
        Further facts by name, text or reading: ``{"volume": Reading(value="3", unit="L")}``.
    name_digest : str
        For a person, and only there: the salted hash of the name, 64 hexadecimal digits.
    """

    kind: str
    name: str = ""
    serial: str = ""
    batch: str = ""
    made_on: str = ""
    opened_on: str = ""
    maker_note: str = ""
    attributes: dict[str, str | Reading] = msgspec.field(default_factory=dict)
    name_digest: str = ""

    subject_count: ClassVar[tuple[int, int]] = (0, 100)

    def __post_init__(self) -> None:
        _require_kebab("kind", self.kind)
        _require_line("name", self.name)
        _require_line("serial", self.serial)
        _require_line("batch", self.batch)
        _require_date("made_on", self.made_on)
        _require_date("opened_on", self.opened_on)
        _require_note("maker_note", self.maker_note)
        _require_facts("attributes", self.attributes)
        if self.kind == PERSON:
            require_event_id("name_digest", self.name_digest)
            if self.name:
                raise InputError("name", self.name, "empty for a person, whose name is kept beside the record")
        elif self.name_digest:
            raise InputError("name_digest", self.name_digest, f"empty for a thing of kind {self.kind}")


class ThingDescribed(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something is learned about a thing; what is not named stays as it was. Subjects: the thing.

    Attributes
    ----------
    name, serial, batch, made_on, opened_on, maker_note, name_digest : str or None
        The new value; None leaves the old one.
    attributes : dict
        New or changed ones; an empty text takes one away.
    retired : bool or None
        True when it is taken out of use for good, False when it comes back.
    note : str
        Why.
    """

    name: str | None = None
    serial: str | None = None
    batch: str | None = None
    made_on: str | None = None
    opened_on: str | None = None
    maker_note: str | None = None
    attributes: dict[str, str | Reading] = msgspec.field(default_factory=dict)
    name_digest: str | None = None
    retired: bool | None = None
    note: str = ""

    subject_count: ClassVar[tuple[int, int]] = (1, 1)

    def __post_init__(self) -> None:
        for key in ("name", "serial", "batch"):
            _require_line(key, getattr(self, key) or "")
        for key in ("made_on", "opened_on"):
            _require_date(key, getattr(self, key) or "")
        _require_note("maker_note", self.maker_note or "")
        _require_note("note", self.note)
        _require_facts("attributes", self.attributes)
        if self.name_digest is not None:
            require_event_id("name_digest", self.name_digest)
        if not self.attributes and self.retired is None and not self.changed_fields():
            raise InputError("thing-described", "nothing", "a change of at least one field")

    def changed_fields(self) -> dict[str, str]:
        """The fields that are given, by name."""
        given = {
            key: getattr(self, key)
            for key in ("name", "serial", "batch", "made_on", "opened_on", "maker_note", "name_digest")
        }
        return {key: value for key, value in given.items() if value is not None}


class ThingsSame(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Two identities turn out to be one thing. Subjects: the two."""

    note: str = ""

    subject_count: ClassVar[tuple[int, int]] = (2, 2)

    def __post_init__(self) -> None:
        _require_note("note", self.note)


class ConfigurationSet(msgspec.Struct, frozen=True, kw_only=True):
    """A unit is said to be so configured from now on. Subjects: the unit.

    Whether the choices make sense is checked before writing, by `configuration.configuration_from_choices`.
    """

    name: str
    title: str
    choices: dict[str, tuple[str, ...]]

    subject_count: ClassVar[tuple[int, int]] = (1, 1)

    def __post_init__(self) -> None:
        _require_kebab("name", self.name)
        _require_line("title", self.title)
        if not self.title:
            raise InputError("title", self.title, "given")
        if not self.choices:
            raise InputError("choices", self.choices, "an answer to every axis")
        for axis, chosen in self.choices.items():
            if not AXIS_ID.match(axis):
                raise InputError("choices", axis, "named by snake_case axes")
            for option in chosen:
                _require_kebab(axis, option)


class PartFitted(msgspec.Struct, frozen=True, kw_only=True):
    """A thing is put into a position; it leaves its earlier place, and what was there leaves. Subjects: unit, thing."""

    position: str

    subject_count: ClassVar[tuple[int, int]] = (2, 2)

    def __post_init__(self) -> None:
        _require_kebab("position", self.position)


class PartRemoved(msgspec.Struct, frozen=True, kw_only=True):
    """A thing is taken out of a position. Subjects: unit, thing."""

    position: str

    subject_count: ClassVar[tuple[int, int]] = (2, 2)

    def __post_init__(self) -> None:
        _require_kebab("position", self.position)


class ContentPlaced(msgspec.Struct, frozen=True, kw_only=True):
    """A fill is put into a container; what it held before is no longer there. Subjects: container, content."""

    subject_count: ClassVar[tuple[int, int]] = (2, 2)


class ContentRemoved(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A fill is emptied out of a container, or lifted out to be kept. Subjects: container, content."""

    note: str = ""

    subject_count: ClassVar[tuple[int, int]] = (2, 2)

    def __post_init__(self) -> None:
        _require_note("note", self.note)


class ChangeMade(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Something was done to a unit that evidence may not survive. Subjects: the unit, then things it was done to.

    Attributes
    ----------
    change : str
        Kind of change, as the catalogue names it.
    positions : tuple of str
        Where.
    answers : dict
        Answers to the questions of that kind of change; a question left out counts as its worst answer.
    readings : dict
        What was measured with it.
    note : str
        In own words.
    """

    change: str
    positions: tuple[str, ...] = ()
    answers: dict[str, str] = msgspec.field(default_factory=dict)
    readings: dict[str, Reading] = msgspec.field(default_factory=dict)
    note: str = ""

    subject_count: ClassVar[tuple[int, int]] = (1, 100)

    def __post_init__(self) -> None:
        if not _CHANGE.match(self.change) or len(self.change) > LONGEST_LINE:
            raise InputError("change", self.change, "the name of a kind of change, such as sensor-replaced")
        for position in self.positions:
            _require_kebab("positions", position)
        if len(set(self.positions)) != len(self.positions):
            raise InputError("positions", self.positions, "each named once")
        _require_facts("answers", self.answers)
        _require_facts("readings", self.readings)
        _require_note("note", self.note)


class EpisodeBegan(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """A stretch of time begins for units; an open one of the same kind ends with it. Subjects: the units."""

    episode: EpisodeKind
    title: str = ""
    details: dict[str, str | Reading] = msgspec.field(default_factory=dict)

    subject_count: ClassVar[tuple[int, int]] = (1, 100)

    def __post_init__(self) -> None:
        _require_episode(self.episode)
        _require_line("title", self.title)
        _require_facts("details", self.details)


class EpisodeEnded(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """The open episode of that kind ends for units. Subjects: the units."""

    episode: EpisodeKind
    details: dict[str, str | Reading] = msgspec.field(default_factory=dict)

    subject_count: ClassVar[tuple[int, int]] = (1, 100)

    def __post_init__(self) -> None:
        _require_episode(self.episode)
        _require_facts("details", self.details)


class CustodyGiven(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Somebody has a unit or a thing from now on. Subjects: unit or thing, person."""

    note: str = ""

    subject_count: ClassVar[tuple[int, int]] = (2, 2)

    def __post_init__(self) -> None:
        _require_note("note", self.note)


UnitPayload = (
    ThingCreated
    | ThingDescribed
    | ThingsSame
    | ConfigurationSet
    | PartFitted
    | PartRemoved
    | ContentPlaced
    | ContentRemoved
    | ChangeMade
    | EpisodeBegan
    | EpisodeEnded
    | CustodyGiven
)

EVENT_TYPES: Final[tuple[tuple[str, int, type[UnitPayload]], ...]] = (
    ("unit.thing-created", 1, ThingCreated),
    ("unit.thing-described", 1, ThingDescribed),
    ("unit.things-same", 1, ThingsSame),
    ("unit.configured", 1, ConfigurationSet),
    ("unit.part-fitted", 1, PartFitted),
    ("unit.part-removed", 1, PartRemoved),
    ("unit.content-placed", 1, ContentPlaced),
    ("unit.content-removed", 1, ContentRemoved),
    ("unit.change-made", 1, ChangeMade),
    ("unit.episode-began", 1, EpisodeBegan),
    ("unit.episode-ended", 1, EpisodeEnded),
    ("unit.custody-given", 1, CustodyGiven),
)
"""Kind, version and payload of every event of this room, for the record's registry."""


def _require_kebab(name: str, value: str) -> None:
    if not KEBAB_ID.match(value) or len(value) > LONGEST_LINE:
        raise InputError(name, value, "kebab-case, such as oxygen-sensor-1")


def _require_line(name: str, value: str) -> None:
    if len(value) > LONGEST_LINE or not is_clean(value) or value != value.strip():
        raise InputError(name, value, f"one line of at most {LONGEST_LINE} letters, without blanks around it")


def _require_note(name: str, value: str) -> None:
    if len(value) > LONGEST_NOTE or not is_clean(value, also="\n\t"):
        raise InputError(name, value[:LONGEST_LINE], f"text of at most {LONGEST_NOTE} letters")


def _require_date(name: str, value: str) -> None:
    if not value:
        return
    try:
        if not _DATE.match(value):
            raise ValueError(value)
        date.fromisoformat(value)
    except ValueError as error:
        raise InputError(name, value, "a date such as 2026-03-01, or empty") from error


def _require_facts(name: str, facts: dict[str, str] | dict[str, Reading] | dict[str, str | Reading]) -> None:
    for key, value in facts.items():
        if not _FACT.match(key) or len(key) > LONGEST_LINE:
            raise InputError(name, key, "named by small letters, such as water_temperature")
        if isinstance(value, str):
            _require_note(f"{name}.{key}", value)


def _require_episode(kind: str) -> None:
    # The type says so already; a caller that is not type-checked learns it here.
    if kind not in EPISODE_KINDS:
        raise InputError("episode", kind, f"one of {', '.join(EPISODE_KINDS)}")
