"""What one unit is made of: an answer to every axis, checked whole and against each other.

A configuration is written in TOML, or put together from a page; either way the same checks apply and the same words
say what is wrong. Seven and more that are ready to start from lie in `ready/`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Final

from loopworthy.unit import entries
from loopworthy.unit.axes import Choices, axes
from loopworthy.unit.condition import Condition, option_ids, parse_condition, unknown_axis
from loopworthy.vocabulary.errors import FileEntryError

CONTRADICTIONS_FILE: Final = "contradictions.toml"
LONGEST_NAME: Final = 60
LONGEST_TITLE: Final = 120


@dataclass(frozen=True, slots=True, kw_only=True)
class Configuration:
    """A unit's answers.

    Attributes
    ----------
    name : str
        Name in files, kebab-case.
    title : str
        Name on pages.
    choices : Choices
        Axis to the options chosen, every axis of `axes.toml` in its order; empty for an axis that may be.
        One that comes out of a record may lack axes that were added later, or hold options unknown here.
    """

    name: str
    title: str
    choices: Choices

    @property
    def revision(self) -> str:
        """The first 12 hexadecimal digits of SHA-256 over the choices: equal for equal choices, whatever the name."""
        lines = (f"{axis}={','.join(sorted(self.choices[axis]))}" for axis in sorted(self.choices))
        return hashlib.sha256("\n".join(lines).encode()).hexdigest()[:12]

    @property
    def is_understood(self) -> bool:
        """Whether every axis is answered, with options that are known here."""
        return all(
            axis.id in self.choices and set(self.choices[axis.id]) <= set(axis.option_ids) for axis in axes().values()
        ) and all(axis in axes() for axis in self.choices)

    def chosen(self, axis_id: str) -> tuple[str, ...]:
        """The options of an axis; empty where it is not answered."""
        return self.choices.get(axis_id, ())

    def has(self, axis_id: str, *options: str) -> bool:
        """Whether any of the options is chosen."""
        return any(option in options for option in self.chosen(axis_id))

    def to_toml(self) -> str:
        """The configuration as a file that `load_configuration` reads."""
        known = axes()
        lines = [f"name = {_quoted(self.name)}", f"title = {_quoted(self.title)}", "", "[choices]"]
        for axis_id, chosen in self.choices.items():
            if axis_id in known and not known[axis_id].several:
                lines.append(f"{axis_id} = {_quoted(chosen[0])}" if chosen else f"{axis_id} = []")
            else:
                lines.append(f"{axis_id} = [{', '.join(_quoted(one) for one in chosen)}]")
        return "\n".join(lines) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class Contradiction:
    """Answers that cannot be true of one unit at once.

    Attributes
    ----------
    id, axis : str
        Its name; the axis at which a page shows it.
    all_of : tuple of Condition
        It is there when all of these hold
    unless : tuple of Condition
        and none of these does.
    reason, next_step : str
        Why it cannot be, and what to change.
    """

    id: str
    axis: str
    all_of: tuple[Condition, ...]
    unless: tuple[Condition, ...]
    reason: str
    next_step: str

    def holds(self, configuration: Configuration) -> bool:
        """Whether the configuration contradicts itself in this way."""
        return all(one.holds(configuration, unanswered=False) for one in self.all_of) and not any(
            one.holds(configuration, unanswered=False) for one in self.unless
        )


def load_configuration(path_or_bytes: Path | str | bytes, file_name: str = "") -> Configuration:
    """A configuration from a TOML file or its bytes.

    Parameters
    ----------
    path_or_bytes : path, str or bytes
        Where the file lies, or what is in it.
    file_name : str
        What errors call the file; the path's last part where it is empty.

    Raises
    ------
    FileEntryError
        If anything in it is wrong: file, key, value and what is allowed are named.
    """
    if isinstance(path_or_bytes, bytes):
        source, file = path_or_bytes, file_name or "configuration.toml"
    else:
        path = Path(path_or_bytes)
        file = file_name or path.name
        try:
            source = path.read_bytes()
        except OSError as error:
            raise FileEntryError(file, "file", "path", f"cannot be read: {error.strerror or error}") from error
    document = entries.read_toml(source, file)
    entry = str(document.get("name", "configuration"))
    entries.require_keys(
        document, ("name", "title", "choices"), file=file, entry=entry, required=("name", "title", "choices")
    )
    choices = document["choices"]
    if not isinstance(choices, dict):
        raise FileEntryError(file, entry, "choices", f"must be a table of axis to options, got {choices!r}")
    return configuration_from_choices(
        entries.text(document, "name", file=file, entry=entry),
        entries.text(document, "title", file=file, entry=entry),
        choices,
        file_name=file,
    )


def configuration_from_choices(
    name: str, title: str, choices: Mapping[str, object], *, file_name: str = "configuration"
) -> Configuration:
    """A configuration from answers: an option's name or a list of them, by axis.

    Raises
    ------
    FileEntryError
        If name or title do not fit, an axis or option is unknown or missing, or two answers contradict each other.
    """
    if not entries.KEBAB_ID.match(name) or len(name) > LONGEST_NAME:
        raise FileEntryError(
            file_name, name, "name", f"must be kebab-case of at most {LONGEST_NAME} letters, got {name!r}"
        )
    if not title.strip() or len(title) > LONGEST_TITLE or not title.isprintable():
        raise FileEntryError(
            file_name, name, "title", f"must be one line of 1 to {LONGEST_TITLE} letters, got {title!r}"
        )
    configuration = Configuration(name=name, title=title.strip(), choices=_checked(choices, file_name, name))
    found = contradictions_in(configuration)
    if found:
        one = found[0]
        values = ", ".join(
            f"{axis} = {entries.listing(configuration.choices[axis]) or 'nothing'}"
            for axis in dict.fromkeys(axis for condition in (*one.all_of, *one.unless) for axis in condition.choices)
        )
        raise FileEntryError(file_name, name, one.axis, f"{one.reason} ({values})", next_step=one.next_step)
    return configuration


def contradictions_in(configuration: Configuration) -> tuple[Contradiction, ...]:
    """Every way in which the configuration contradicts itself."""
    return tuple(one for one in contradictions() if one.holds(configuration))


@cache
def contradictions() -> tuple[Contradiction, ...]:
    """The contradictions that are known, from `contradictions.toml`."""
    file = CONTRADICTIONS_FILE
    document = entries.shipped_tables(file)
    entries.require_keys(document, ("contradiction",), file=file, entry="file", required=("contradiction",))
    return tuple(_contradiction(table, file) for table in entries.tables(document, "contradiction", file=file))


@cache
def ready_configurations() -> Mapping[str, Configuration]:
    """Configurations to start from, by name: invented, of no brand."""
    found: dict[str, Configuration] = {}
    folder = resources.files("loopworthy.unit").joinpath("ready")
    for file in sorted(folder.iterdir(), key=lambda one: one.name):
        if file.name.endswith(".toml"):
            configuration = load_configuration(file.read_bytes(), file.name)
            found[configuration.name] = configuration
    return MappingProxyType(found)


def _checked(choices: Mapping[str, object], file: str, entry: str) -> Choices:
    known = axes()
    for axis_id in choices:
        if axis_id not in known:
            raise unknown_axis(file, entry, str(axis_id), str(axis_id))
    missing = [one.id for one in known.values() if one.required and one.id not in choices]
    if missing:
        first = known[missing[0]]
        more = f"; so are {', '.join(missing[1:])}" if len(missing) > 1 else ""
        raise FileEntryError(
            file,
            entry,
            first.id,
            f"is not answered{more}",
            next_step=f"Set {first.id} to {entries.listing(first.option_ids)}",
        )
    checked: dict[str, tuple[str, ...]] = {}
    for axis in known.values():
        chosen = option_ids(choices.get(axis.id, ()), file=file, entry=entry, key=axis.id)
        for option in chosen:
            if option not in axis.option_ids:
                raise entries.unknown(file, entry, axis.id, f"an option of {axis.id}", option, axis.option_ids)
        if len(chosen) > 1 and not axis.several:
            raise FileEntryError(file, entry, axis.id, f"takes one option, got {', '.join(chosen)}")
        if not chosen and axis.required:
            raise FileEntryError(
                file,
                entry,
                axis.id,
                "names no option",
                next_step=f"Set {axis.id} to {entries.listing(axis.option_ids)}",
            )
        checked[axis.id] = tuple(option for option in axis.option_ids if option in chosen)
    return Choices(checked)


def _contradiction(table: Mapping[str, object], file: str) -> Contradiction:
    entry = entries.text(table, "id", file=file, entry="contradiction")
    entries.require_keys(
        table,
        ("id", "axis", "when", "also", "unless", "reason", "next_step"),
        file=file,
        entry=entry,
        required=("axis", "when", "reason", "next_step"),
    )
    axis_id = entries.text(table, "axis", file=file, entry=entry)
    if axis_id not in axes():
        raise unknown_axis(file, entry, "axis", axis_id)
    return Contradiction(
        id=entry,
        axis=axis_id,
        all_of=tuple(
            parse_condition(table[key], file=file, entry=entry, key=key) for key in ("when", "also") if key in table
        ),
        unless=(parse_condition(table["unless"], file=file, entry=entry, key="unless"),) if "unless" in table else (),
        reason=entries.text(table, "reason", file=file, entry=entry),
        next_step=entries.text(table, "next_step", file=file, entry=entry),
    )


def _quoted(value: str) -> str:
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
