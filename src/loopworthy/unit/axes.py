"""The questions that describe a unit (axes) and their answers (options), read from `axes.toml`.

Nothing is assumed not to be fitted: an axis that takes one answer must be answered, because an unanswered one would
take steps off the list in silence.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from types import MappingProxyType

from loopworthy.unit import entries
from loopworthy.vocabulary.errors import FileEntryError, UnknownNameError

FILE = "axes.toml"


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One answer to an axis.

    Attributes
    ----------
    id, title : str
        Name in files (kebab-case) and on pages.
    effect : str
        What it brings to the list of steps, for the person who chooses it.
    parts : tuple of str
        Positions that exist because of it.
    """

    id: str
    title: str
    effect: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Axis:
    """One question about a unit.

    Attributes
    ----------
    id, title : str
        Name in files (snake_case) and on pages.
    options : tuple of Option
        Its answers, in the order in which they are shown.
    several : bool
        Whether more than one answer may hold together.
    required : bool
        Whether at least one answer must be given.
    why : str
        Why it is asked.
    """

    id: str
    title: str
    options: tuple[Option, ...]
    several: bool
    required: bool
    why: str

    @property
    def option_ids(self) -> tuple[str, ...]:
        """Names of its answers in order."""
        return tuple(option.id for option in self.options)

    def option(self, option_id: str) -> Option:
        """The answer of that name.

        Raises
        ------
        UnknownNameError
            If the axis has no such answer.
        """
        for option in self.options:
            if option.id == option_id:
                return option
        step = entries.did_you_mean(option_id, self.option_ids)
        raise UnknownNameError(
            f"option of {self.id}",
            option_id,
            self.option_ids,
            next_step=f"{step} Allowed: {', '.join(self.option_ids)}".strip(),
        )


class Choices(Mapping[str, tuple[str, ...]]):
    """Axis to the options chosen or accepted: a mapping that cannot be changed and can be hashed."""

    __slots__ = ("_options",)

    def __init__(self, options: Mapping[str, tuple[str, ...]]) -> None:
        self._options = {axis: tuple(chosen) for axis, chosen in options.items()}

    def __getitem__(self, axis: str) -> tuple[str, ...]:
        return self._options[axis]

    def __iter__(self) -> Iterator[str]:
        return iter(self._options)

    def __len__(self) -> int:
        return len(self._options)

    def __hash__(self) -> int:
        return hash(frozenset(self._options.items()))

    def __repr__(self) -> str:
        return f"Choices({self._options!r})"


@cache
def axes() -> Mapping[str, Axis]:
    """All axes by name, in the order in which they are asked."""
    return MappingProxyType(_axes_of(entries.shipped_tables(FILE), FILE))


def axis(axis_id: str) -> Axis:
    """The axis of that name.

    Raises
    ------
    UnknownNameError
        If there is none.
    """
    known = axes()
    if axis_id not in known:
        step = entries.did_you_mean(axis_id, known)
        raise UnknownNameError("axis", axis_id, tuple(known), next_step=f"{step} Known: {', '.join(known)}".strip())
    return known[axis_id]


def read_axes(source: bytes, file: str) -> dict[str, Axis]:
    """Axes from the text of a file like `axes.toml`.

    Raises
    ------
    FileEntryError
        If an entry is wrong; names file, entry and key.
    """
    return _axes_of(entries.read_toml(source, file), file)


def _axes_of(document: Mapping[str, object], file: str) -> dict[str, Axis]:
    entries.require_keys(document, ("axis",), file=file, entry="file", required=("axis",))
    found: dict[str, Axis] = {}
    for table in entries.tables(document, "axis", file=file):
        one = _axis(table, file)
        if one.id in found:
            raise FileEntryError(file, one.id, "id", "is used by an earlier axis as well")
        found[one.id] = one
    return found


def _axis(table: Mapping[str, object], file: str) -> Axis:
    axis_id = entries.text(table, "id", file=file, entry="axis")
    if not entries.AXIS_ID.match(axis_id):
        raise FileEntryError(file, axis_id, "id", "must be snake_case")
    entries.require_keys(
        table,
        ("id", "title", "option", "several", "required", "why"),
        file=file,
        entry=axis_id,
        required=("title", "why", "option"),
    )
    options = tuple(_option(one, axis_id, file) for one in entries.tables(table, "option", file=file, entry=axis_id))
    if len(options) < 2:
        raise FileEntryError(file, axis_id, "option", "a question needs two answers or more")
    ids = [option.id for option in options]
    if len(set(ids)) != len(ids):
        raise FileEntryError(file, axis_id, "option", f"an option is named twice: {', '.join(ids)}")
    return Axis(
        id=axis_id,
        title=entries.text(table, "title", file=file, entry=axis_id),
        options=options,
        several=entries.flag(table, "several", default=False, file=file, entry=axis_id),
        required=entries.flag(table, "required", default=True, file=file, entry=axis_id),
        why=entries.text(table, "why", file=file, entry=axis_id),
    )


def _option(table: Mapping[str, object], axis_id: str, file: str) -> Option:
    option_id = entries.text(table, "id", file=file, entry=f"{axis_id}, option")
    entry = f"{axis_id}, option {option_id}"
    if not entries.KEBAB_ID.match(option_id):
        raise FileEntryError(file, entry, "id", "must be kebab-case")
    entries.require_keys(
        table, ("id", "title", "effect", "parts"), file=file, entry=entry, required=("title", "effect")
    )
    return Option(
        id=option_id,
        title=entries.text(table, "title", file=file, entry=entry),
        effect=entries.text(table, "effect", file=file, entry=entry),
        parts=entries.words(table, "parts", file=file, entry=entry),
    )
