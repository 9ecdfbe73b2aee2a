"""When a step, rule or requirement applies to a configuration, and how that is written in TOML.

What a configuration does not answer counts as its worst answer: the step is asked for rather than left out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol

from loopworthy.unit import entries
from loopworthy.unit.axes import Choices, axes
from loopworthy.vocabulary.errors import FileEntryError


class Chosen(Protocol):
    """Anything that holds choices: a configuration."""

    @property
    def choices(self) -> Mapping[str, tuple[str, ...]]:
        """Axis to the options chosen."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """Options that are accepted, by axis: all axes must match, each by any of its options."""

    choices: Choices

    def holds(self, configuration: Chosen, *, unanswered: bool = True) -> bool:
        """Whether the configuration matches on every axis; `unanswered` counts for an axis that it leaves open."""
        chosen = configuration.choices
        for axis_id, accepted in self.choices.items():
            answer = chosen.get(axis_id)
            if answer is None:
                if not unanswered:
                    return False
            elif not any(option in accepted for option in answer):
                return False
        return True

    def describe(self) -> str:
        """In words: ``gas principle is hybrid and solenoids are one or two``."""
        known = axes()
        parts = []
        for axis_id, accepted in self.choices.items():
            axis = known[axis_id]
            parts.append(f"{axis.title}: {entries.listing(axis.option(option).title for option in accepted)}")
        return "; and ".join(parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class When:
    """Holds where any of `any_of` holds (or there is none) and none of `none_of` does.

    Attributes
    ----------
    any_of : tuple of Condition
        Empty for always.
    none_of : tuple of Condition
        Exceptions.
    """

    any_of: tuple[Condition, ...] = ()
    none_of: tuple[Condition, ...] = ()

    def holds(self, configuration: Chosen) -> bool:
        """Whether it applies to the configuration."""
        if self.any_of and not any(one.holds(configuration) for one in self.any_of):
            return False
        return not any(one.holds(configuration, unanswered=False) for one in self.none_of)

    def describe(self) -> str:
        """In words, for pages and reference."""
        text = ", or ".join(one.describe() for one in self.any_of) or "always"
        if self.none_of:
            text += f", unless {', or '.join(one.describe() for one in self.none_of)}"
        return text


ALWAYS = When()
"""Applies to every configuration."""


def parse_when(table: Mapping[str, object], *, file: str, entry: str) -> When:
    """The condition in the keys `when` and `unless` of an entry; other keys are left alone.

    Each is a table of axis to option or options, ``{gas_principle = ["electronic", "hybrid"], hud = "fitted"}``, or a
    list of such tables of which any may hold.

    Raises
    ------
    FileEntryError
        If an axis or option is unknown, or the form is another one.
    """
    return When(
        any_of=_conditions(table.get("when"), "when", file, entry),
        none_of=_conditions(table.get("unless"), "unless", file, entry),
    )


def parse_condition(table: object, *, file: str, entry: str, key: str = "when") -> Condition:
    """One table of axis to accepted option or options."""
    if not isinstance(table, Mapping):
        raise FileEntryError(file, entry, key, f"must be a table of axis to options, got {table!r}")
    if not table:
        raise FileEntryError(file, entry, key, "names no axis", next_step=f"Leave {key} out where it always applies")
    known = axes()
    accepted: dict[str, tuple[str, ...]] = {}
    for axis_id, value in table.items():
        if axis_id not in known:
            raise unknown_axis(file, entry, f"{key}.{axis_id}", str(axis_id))
        options = option_ids(value, file=file, entry=entry, key=f"{key}.{axis_id}")
        if not options:
            raise FileEntryError(file, entry, f"{key}.{axis_id}", "names no option")
        for option in options:
            if option not in known[axis_id].option_ids:
                raise entries.unknown(
                    file, entry, f"{key}.{axis_id}", f"an option of {axis_id}", option, known[axis_id].option_ids
                )
        accepted[axis_id] = options
    return Condition(choices=Choices(accepted))


def option_ids(value: object, *, file: str, entry: str, key: str) -> tuple[str, ...]:
    """Option names as written: one or a list, text or whole number, each once."""
    items = value if isinstance(value, list | tuple) else [value]
    found: list[str] = []
    for item in items:
        if isinstance(item, bool) or not isinstance(item, str | int):
            raise FileEntryError(file, entry, key, f"must be the name of an option, got {item!r}")
        if str(item) in found:
            raise FileEntryError(file, entry, key, f"names {str(item)!r} twice")
        found.append(str(item))
    return tuple(found)


def unknown_axis(file: str, entry: str, key: str, axis_id: str) -> FileEntryError:
    """The error for an axis that does not exist."""
    return entries.unknown(file, entry, key, "an axis", axis_id, axes())


def _conditions(value: object, key: str, file: str, entry: str) -> tuple[Condition, ...]:
    if value is None:
        return ()
    if isinstance(value, list):
        if not value:
            raise FileEntryError(
                file, entry, key, "is an empty list", next_step=f"Leave {key} out where it always applies"
            )
        return tuple(parse_condition(one, file=file, entry=entry, key=key) for one in value)
    return (parse_condition(value, file=file, entry=entry, key=key),)
