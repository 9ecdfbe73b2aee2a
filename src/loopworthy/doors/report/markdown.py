"""The few pieces of Markdown that reference pages are put together from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

NOTHING = "–"


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A table; an empty cell shows a dash."""
    lines = [tuple(head), tuple("---" for _ in head), *(tuple(row) for row in rows)]
    return "\n".join("| " + " | ".join(cell(one) for one in line) + " |" for line in lines)


def cell(text: str) -> str:
    """A text as it may stand in a table."""
    return " ".join(text.split()).replace("|", "\\|") or NOTHING


def code(text: str) -> str:
    """A name of the program; empty stays empty."""
    return f"`{text}`" if text else ""


def codes(names: Iterable[str]) -> str:
    """Names of the program, one after the other."""
    return ", ".join(code(name) for name in names)


def anchor(text: str) -> str:
    """The address of a heading, as the usual renderers make it."""
    kept = "".join(letter for letter in text.lower() if letter.isalnum() or letter in " -_")
    return kept.replace(" ", "-")


def sections(parts: Iterable[str]) -> str:
    """Parts of a page with an empty line between them; empty ones are left out."""
    return "\n\n".join(part for part in parts if part)
