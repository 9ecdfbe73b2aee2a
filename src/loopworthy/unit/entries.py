"""Reading of hand-written TOML entries: every error names file, entry and key, and offers the nearest right word.

Shared by axes, parts, conditions and configurations, so that they all fail in the same words.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable, Mapping
from importlib import resources
from typing import Final

from loopworthy.vocabulary import kept_tables
from loopworthy.vocabulary.errors import FileEntryError

AXIS_ID: Final = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*\Z")
"""Names of axes, answers and attributes: snake_case."""
KEBAB_ID: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\Z")
"""Names of options, positions, kinds, changes and configurations: kebab-case."""


def listing(words: Iterable[str]) -> str:
    """Words as one says them: ``a, b or c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} or {items[-1]}"


def together(words: Iterable[str]) -> str:
    """Words that hold at once: ``a, b and c``."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A question with the nearest known word, or an empty text where none is near."""
    near = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f"Did you mean {near[0]!r}?" if near else ""


def unknown(file: str, entry: str, key: str, what: str, word: object, known: Iterable[str]) -> FileEntryError:
    """The error for a word that is not among the known ones."""
    words = tuple(known)
    return FileEntryError(
        file, entry, key, f"{word!r} is not {what}; allowed: {listing(words)}", next_step=did_you_mean(str(word), words)
    )


def read_toml(source: bytes, file: str) -> dict[str, object]:
    """The tables of a TOML file.

    Raises
    ------
    FileEntryError
        If it is not UTF-8 or not TOML; the problem holds line and column.
    """
    try:
        return tomllib.loads(source.decode("utf-8"))
    except UnicodeDecodeError as error:
        raise FileEntryError(
            file, "file", "text", f"byte {error.start} is not UTF-8", next_step="Save the file as UTF-8"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise FileEntryError(file, "file", "toml", f"not TOML: {error}") from error


def shipped(name: str) -> bytes:
    """A data file of this room, as it lies in the package."""
    return resources.files("loopworthy.unit").joinpath(*name.split("/")).read_bytes()


def shipped_tables(name: str) -> dict[str, object]:
    """The tables of a data file of this room."""
    return kept_tables.tables(f"unit-{name.replace('/', '-')}", shipped(name).decode("utf-8"))


def require_keys(
    table: Mapping[str, object], known: Iterable[str], *, file: str, entry: str, required: Iterable[str] = ()
) -> None:
    """Refuse keys that mean nothing here, and the absence of those that must be there."""
    words = tuple(known)
    for key in table:
        if key not in words:
            raise unknown(file, entry, key, "a key of this entry", key, words)
    for key in required:
        if key not in table:
            raise FileEntryError(file, entry, key, "is missing")


def text(table: Mapping[str, object], key: str, *, file: str, entry: str, default: str | None = None) -> str:
    """A text of one or more letters, stripped."""
    value = table.get(key, default)
    if not isinstance(value, str):
        raise FileEntryError(file, entry, key, f"must be text, got {value!r}")
    if not value.strip() and value != default:
        raise FileEntryError(file, entry, key, "must not be empty")
    return value.strip()


def flag(table: Mapping[str, object], key: str, *, default: bool, file: str, entry: str) -> bool:
    """True or false."""
    value = table.get(key, default)
    if not isinstance(value, bool):
        raise FileEntryError(file, entry, key, f"must be true or false, got {value!r}")
    return value


def words(table: Mapping[str, object], key: str, *, file: str, entry: str) -> tuple[str, ...]:
    """A list of texts, each once."""
    value = table.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise FileEntryError(file, entry, key, f"must be a list of texts, got {value!r}")
    if len(set(value)) != len(value):
        raise FileEntryError(file, entry, key, f"names something twice: {', '.join(value)}")
    return tuple(value)


def tables(document: Mapping[str, object], key: str, *, file: str, entry: str = "file") -> list[dict[str, object]]:
    """A list of tables under a key (``[[key]]``)."""
    value = document.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise FileEntryError(file, entry, key, f"must be a list of tables [[{key}]], got {value!r}")
    return value
