"""The reference page of events: the envelope, and for each kind its payload, field by field, from the code itself."""

from __future__ import annotations

import inspect
import re
from typing import Any

import msgspec

from loopworthy.doors.report.markdown import code, sections, table
from loopworthy.judgement.events import Trace
from loopworthy.record.registry import Registry
from loopworthy.vocabulary.event import Envelope, HybridTime, SeenHead
from loopworthy.vocabulary.reading import UNITS, Reading
from loopworthy.vocabulary.time import Moment

_ENTRY = re.compile(r"^(?P<names>\w+(?:, \w+)*) : (?P<rest>.*)$")
_TITLES = {"record": "The record itself", "unit": "Units and their parts", "judgement": "Evidence and what follows"}


def events_reference(known: Registry) -> str:
    """The page as Markdown.

    Parameters
    ----------
    known : Registry
        Every kind of event with its payloads.
    """
    rooms: dict[str, list[str]] = {}
    for kind in known.kinds():
        rooms.setdefault(kind.partition(".")[0], []).append(kind)
    index = table(
        ("kind", "version", "says"),
        (
            (code(kind), str(known.newest_version(kind)), _summary(known.payload_type(kind)))
            for kinds in rooms.values()
            for kind in kinds
        ),
    )
    return (
        sections(
            [
                _OPENING,
                index,
                "## The envelope\n\n" + sections([_summary(Envelope), _fields(Envelope), _ENVELOPE]),
                "## Values inside",
                *(f"### {one.__name__}\n\n{sections([_prose(one), _fields(one)])}" for one in _VALUES),
                f"A reading has one of these units: {', '.join(code(unit) for unit in UNITS)}.",
                *(f"## {_TITLES[room]}\n\n{_room(known, kinds)}" for room, kinds in rooms.items()),
            ]
        )
        + "\n"
    )


_VALUES: tuple[type[msgspec.Struct], ...] = (Moment, Reading, Trace, HybridTime, SeenHead)

_OPENING = """# Events

This page is made from the program by `python -m loopworthy.doors.report.reference docs/reference`.

Everything that Loopworthy knows is an event: written once, never edited, never deleted. Verdicts, states and lists are
worked out from events each time. No event holds a float: a reading is the decimal that somebody typed, with its unit.
Kinds and versions that a program does not know are kept as they are and shown as unknown."""

_ENVELOPE = """An event's identity is the SHA-256 of its stored bytes, which are compact JSON with sorted keys. The
bytes travel as they are; nothing is ever encoded again. `loopworthy record show EVENT` shows them, `loopworthy record
export` writes all."""

_MEANINGS = {
    "unit": "The unit that it is about.",
    "step": "The catalogue's step.",
    "subject": "The subject's key, or its position where nothing is fitted.",
    "hearer": "The person who heard it.",
    "limit": "The catalogue's limit.",
    "value": "The value, in the limit's unit.",
    "source": "Where it stands: manual, revision, page.",
    "reason": "Why.",
    "mends": "The failed readings that it mends.",
    "cause": "What was found to be the cause.",
    "done": "What was done.",
    "place": "Where on the unit.",
    "repair": "What was done.",
    "test": "What showed that it is mended.",
    "hold": "The hold: a hold point of the catalogue, or the event that opened it.",
    "verdict": "The verdict on which somebody went on.",
    "catalogue": "Digest of the catalogue that held.",
    "engine": "Version of the rules of judgement.",
    "revision": "Revision of the catalogue.",
    "digest": "SHA-256 of what it names.",
    "texts": "File name to the full text.",
    "owner_texts": "File name to the full text of the owner's files.",
    "event": "The event that it is about.",
    "note": "In own words.",
    "name": "Name of the configuration.",
    "title": "What people call it.",
    "choices": "Axis to the options chosen; see the reference of configuration.",
    "position": "The position; see the reference of configuration.",
    "episode": "Which kind of stretch of time.",
    "details": "Further facts by name, text or reading.",
    "sequence": "Place in that chain.",
    "columns": "Names of the columns.",
    "rows": "One tuple of decimals, as typed, for each line.",
}
"""What a field means where its struct does not say so itself."""


def _room(known: Registry, kinds: list[str]) -> str:
    return "\n\n".join(_kind(known, kind) for kind in kinds)


def _kind(known: Registry, kind: str) -> str:
    payload = known.payload_type(kind)
    count = getattr(payload, "subject_count", None)
    subjects = f"Number of subjects: {_span(*count)}." if count and count[0] else ""
    return sections(
        [f"### `{kind}`, version {known.newest_version(kind)}", _prose(payload), subjects, _fields(payload)]
    )


def _span(low: int, high: int) -> str:
    return str(low) if low == high else f"{low} to {high}"


def _prose(struct: type[msgspec.Struct]) -> str:
    """What stands in the docstring before its first section."""
    text = inspect.getdoc(struct) or ""
    return _plain(re.split(r"\n\w+\n-{3,}\n", text)[0].strip())


def _summary(struct: type[msgspec.Struct]) -> str:
    return _plain((inspect.getdoc(struct) or "").partition("\n\n")[0])


def _plain(text: str) -> str:
    return text.replace("``", "`")


def _fields(struct: type[msgspec.Struct]) -> str:
    told = _told(struct)
    rows = [
        (
            code(field.encode_name),
            code(_type_of(struct, field.name)),
            _default(field),
            told.get(field.name) or _MEANINGS.get(field.name, ""),
        )
        for field in msgspec.structs.fields(struct)
    ]
    return table(("field", "type", "where left out", "means"), rows) if rows else "No fields: the subjects say it all."


def _type_of(struct: type[msgspec.Struct], name: str) -> str:
    for owner in struct.__mro__:
        annotation = inspect.get_annotations(owner).get(name)
        if annotation is not None:
            return str(annotation)
    return ""


def _default(field: Any) -> str:
    if field.required:
        return "must be given"
    value = field.default_factory() if field.default is msgspec.NODEFAULT else field.default
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value or "empty"
    return "none" if isinstance(value, tuple | dict) and not value else str(value)


def _told(struct: type[msgspec.Struct]) -> dict[str, str]:
    """Field to what its docstring says about it, from the section Attributes."""
    _, _, section = (inspect.getdoc(struct) or "").partition("Attributes\n----------\n")
    told: dict[str, str] = {}
    names: list[str] = []
    for line in section.splitlines():
        found = _ENTRY.match(line)
        if found:
            names = found["names"].split(", ")
        elif line.startswith("    ") and names:
            for name in names:
                told[name] = f"{told.get(name, '')} {line.strip()}".strip()
        elif not line.strip():
            names = []
    return {name: _plain(text) for name, text in told.items()}
