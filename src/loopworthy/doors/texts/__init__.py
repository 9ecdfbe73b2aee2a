"""Every sentence that a door shows, one file a language, kept apart from the pages that show it.

A text is found by its section and name ("parts.skip_to_content") and filled with named values. A missing text or a
value left out raises at once: half a sentence beside a reading is worse than an error page.
"""

from __future__ import annotations

import string
from collections.abc import Mapping
from functools import cache
from importlib import resources
from types import MappingProxyType

from loopworthy.vocabulary.errors import FileEntryError, InputError, UnknownNameError
from loopworthy.vocabulary.kept_tables import tables

LANGUAGES: tuple[str, ...] = ("en",)
"""Codes of the languages that have a file here; the first one is what a door speaks when nobody chose."""


class Texts:
    """The texts of one language.

    Parameters
    ----------
    language : str
        Code of the language (BCP 47), also written into the page's ``lang`` attribute.
    entries : Mapping[str, str]
        Text by "section.name", with ``{name}`` where a value goes.

    Raises
    ------
    FileEntryError
        If a placeholder is anything but a plain name: positions, attributes, indices, conversions and formats are
        refused, so that a text can never reach into the value it shows.
    """

    def __init__(self, language: str, entries: Mapping[str, str]) -> None:
        self.language = language
        self._entries = MappingProxyType(dict(entries))
        self._names = {key: _placeholders(language, key, text) for key, text in self._entries.items()}

    @classmethod
    def load(cls, language: str = LANGUAGES[0]) -> Texts:
        """Return the texts of a language that ships with the program; each file is read once.

        Raises
        ------
        UnknownNameError
            If there is no such language.
        FileEntryError
            If its file cannot be read as flat tables of strings.
        """
        return _shipped(language)

    @classmethod
    def from_toml(cls, language: str, toml: str, *, file: str) -> Texts:
        """Read texts from TOML: tables of strings, one level deep."""
        import tomllib

        try:
            found = tomllib.loads(toml)
        except tomllib.TOMLDecodeError as error:
            raise FileEntryError(file, "whole file", "TOML", str(error)) from error
        return cls._from_tables(language, found, file=file)

    @classmethod
    def _from_tables(cls, language: str, found: Mapping[str, object], *, file: str) -> Texts:
        entries: dict[str, str] = {}
        for section, table in found.items():
            if not isinstance(table, dict):
                raise FileEntryError(file, section, section, "must be a table of texts")
            for name, text in table.items():
                if not isinstance(text, str) or not text.strip():
                    raise FileEntryError(file, section, name, f"must be a text that is not empty, got {text!r}")
                entries[f"{section}.{name}"] = text
        return cls(language, entries)

    def say(self, key: str, /, **values: object) -> str:
        """Return the text with its values filled in.

        Raises
        ------
        UnknownNameError
            If there is no such text.
        InputError
            If a value is left out, or one is given that the text has no place for.
        """
        text = self._entries.get(key)
        if text is None:
            section = key.partition(".")[0] + "."
            near = tuple(sorted(known for known in self._entries if known.startswith(section)))
            raise UnknownNameError(
                f"text in language {self.language!r}", key, near, next_step="" if near else "Add its section and name"
            )
        if set(values) != self._names[key]:
            wanted = ", ".join(sorted(self._names[key])) or "none"
            raise InputError(f"values of text {key}", sorted(values), f"exactly these: {wanted}")
        return text.format(**values)

    def keys(self) -> tuple[str, ...]:
        """All keys, sorted."""
        return tuple(sorted(self._entries))

    def placeholders(self, key: str) -> frozenset[str]:
        """Names of the values that a text needs."""
        if key not in self._names:
            raise UnknownNameError(f"text in language {self.language!r}", key)
        return self._names[key]


@cache
def _shipped(language: str) -> Texts:
    if language not in LANGUAGES:
        raise UnknownNameError("language", language, LANGUAGES)
    file = f"{language}.toml"
    toml = resources.files(__name__).joinpath(file).read_text(encoding="utf-8")
    found = tables(f"texts-{file}", toml)
    return Texts._from_tables(language, found, file=f"doors/texts/{file}")


def _placeholders(language: str, key: str, text: str) -> frozenset[str]:
    section, _, name = key.partition(".")
    file = f"doors/texts/{language}.toml"
    try:
        pieces = list(string.Formatter().parse(text))
    except ValueError as error:
        raise FileEntryError(file, section, name, f"braces do not close: {error}") from error
    names = set()
    for _, placeholder, format_spec, conversion in pieces:
        if placeholder is None:
            continue
        if not placeholder.isidentifier() or format_spec or conversion:
            raise FileEntryError(file, section, name, f"a placeholder must be a plain name, got {{{placeholder}}}")
        names.add(placeholder)
    return frozenset(names)
