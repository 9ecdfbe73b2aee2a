"""The places of a unit that hold things, and the kinds of things there are, read from `parts.toml`.

Which positions a unit has follows from its configuration: some are on every unit, the others exist because of an
option.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType

from loopworthy.unit import entries
from loopworthy.unit.axes import axes
from loopworthy.unit.configuration import Configuration
from loopworthy.vocabulary.errors import FileEntryError, UnknownNameError

FILE = "parts.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartKind:
    """A kind of thing.

    Attributes
    ----------
    id, title, label : str
        Name in records; name on pages; short word before a serial number.
    built_in : bool
        Whether it is made with the unit, its serial number not read yet; otherwise a person says which one it is.
    content_kind : str
        Kind of what it holds; empty where it holds nothing.
    has_position : bool
        Whether units have positions for it. A fill lies in a container, an instrument lies in a drawer.
    """

    id: str
    title: str
    label: str
    built_in: bool
    content_kind: str
    has_position: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Position:
    """A place of a unit that holds one thing.

    Attributes
    ----------
    id, title : str
        Name in records, ``cylinder-bailout-2``; name on pages.
    kind : str
        Kind of thing that belongs there.
    content_kind : str
        Kind of what that thing holds: ``gas-fill``, ``absorbent-fill``, or empty.
    family : str
        Name without its number, ``cylinder-bailout``: the same for positions that differ only by number.
    """

    id: str
    kind: str
    title: str
    content_kind: str
    family: str


@dataclass(frozen=True, slots=True, kw_only=True)
class _Defined:
    position: Position
    always: bool
    beside: str


@lru_cache(maxsize=256)
def positions(configuration: Configuration) -> tuple[Position, ...]:
    """Every position of a unit so configured, in a fixed order."""
    known = axes()
    named = {
        part
        for axis_id, chosen in configuration.choices.items()
        if axis_id in known
        for option in known[axis_id].options
        if option.id in chosen
        for part in option.parts
    }
    there = {one.position.id for one in _defined() if one.always or one.position.id in named}
    return tuple(
        one.position for one in _defined() if one.position.id in there and (not one.beside or one.beside in there)
    )


def position(configuration: Configuration, position_id: str) -> Position:
    """The position of that name.

    Raises
    ------
    UnknownNameError
        If a unit so configured has none.
    """
    known = {one.id: one for one in positions(configuration)}
    if position_id not in known:
        step = entries.did_you_mean(position_id, known)
        raise UnknownNameError(
            f"position on a unit configured as {configuration.title!r}",
            position_id,
            tuple(known),
            next_step=f"{step} Known: {', '.join(known)}".strip(),
        )
    return known[position_id]


@cache
def all_positions() -> Mapping[str, Position]:
    """Every position that any configuration can have, by name."""
    return MappingProxyType({one.position.id: one.position for one in _defined()})


def part_kind(kind: str) -> PartKind:
    """The kind of thing of that name.

    Raises
    ------
    UnknownNameError
        If there is none.
    """
    if kind not in PART_KINDS:
        step = entries.did_you_mean(kind, PART_KINDS)
        raise UnknownNameError(
            "kind of thing", kind, tuple(PART_KINDS), next_step=f"{step} Known: {', '.join(PART_KINDS)}".strip()
        )
    return PART_KINDS[kind]


def _read_kinds() -> dict[str, PartKind]:
    document = entries.shipped_tables(FILE)
    entries.require_keys(document, ("kind", "position"), file=FILE, entry="file", required=("kind", "position"))
    kinds: dict[str, PartKind] = {}
    for table in entries.tables(document, "kind", file=FILE):
        entry = entries.text(table, "id", file=FILE, entry="kind")
        entries.require_keys(
            table,
            ("id", "title", "label", "built_in", "content", "position"),
            file=FILE,
            entry=entry,
            required=("title",),
        )
        title = entries.text(table, "title", file=FILE, entry=entry)
        kinds[entry] = PartKind(
            id=entry,
            title=title,
            label=entries.text(table, "label", file=FILE, entry=entry, default=title),
            built_in=entries.flag(table, "built_in", default=False, file=FILE, entry=entry),
            content_kind=entries.text(table, "content", file=FILE, entry=entry, default=""),
            has_position=entries.flag(table, "position", default=True, file=FILE, entry=entry),
        )
    for kind in kinds.values():
        if kind.content_kind and kind.content_kind not in kinds:
            raise entries.unknown(FILE, kind.id, "content", "a kind of thing", kind.content_kind, kinds)
    return kinds


PART_KINDS: Mapping[str, PartKind] = MappingProxyType(_read_kinds())
"""All kinds of things by name."""


@cache
def _defined() -> tuple[_Defined, ...]:
    document = entries.shipped_tables(FILE)
    found: list[_Defined] = []
    for table in entries.tables(document, "position", file=FILE):
        family = entries.text(table, "id", file=FILE, entry="position")
        entries.require_keys(
            table,
            ("id", "kind", "title", "count", "always", "beside"),
            file=FILE,
            entry=family,
            required=("kind", "title"),
        )
        kind = entries.text(table, "kind", file=FILE, entry=family)
        if kind not in PART_KINDS:
            raise entries.unknown(FILE, family, "kind", "a kind of thing", kind, PART_KINDS)
        title = entries.text(table, "title", file=FILE, entry=family)
        count = table.get("count", 0)
        if not isinstance(count, int) or count < 0:
            raise FileEntryError(FILE, family, "count", f"must be a whole number, got {count!r}")
        names = [(f"{family}-{n}", f"{title} {n}" if count > 1 else title) for n in range(1, count + 1)]
        found.extend(
            _Defined(
                position=Position(
                    id=position_id,
                    kind=kind,
                    title=position_title,
                    content_kind=PART_KINDS[kind].content_kind,
                    family=family,
                ),
                always=entries.flag(table, "always", default=False, file=FILE, entry=family),
                beside=entries.text(table, "beside", file=FILE, entry=family, default=""),
            )
            for position_id, position_title in names or [(family, title)]
        )
    return tuple(found)
