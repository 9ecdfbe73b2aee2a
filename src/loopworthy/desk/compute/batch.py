"""Many requests of one calculation: JSON lines in, JSON lines out.

Each line is answered by itself, in order and as soon as it was read, so that a long sweep can be piped. A line that
cannot be answered gives an object with ``line`` and ``error`` in its place; the others are answered all the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from loopworthy.desk.compute.calculation import Calculation
from loopworthy.vocabulary.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class LineAnswer:
    """The answer to one line, counted from 1, or what was wrong with it and the object that says so."""

    line: int
    answer: bytes
    error: InputError | None


def answer_lines(calculation: Calculation[msgspec.Struct], lines: Iterable[bytes]) -> Iterator[LineAnswer]:
    """Answer line by line; empty lines are passed over and counted."""
    for number, line in enumerate(lines, start=1):
        text = line.strip()
        if not text:
            continue
        try:
            yield LineAnswer(line=number, answer=calculation.answer(text), error=None)
        except InputError as error:
            told = msgspec.json.encode({"line": number, "error": str(error)})
            yield LineAnswer(line=number, answer=told, error=error)


def is_lines(request: bytes | str) -> bool:
    """Whether a text is several requests, one a line, and not one request over several lines."""
    text = request.encode() if isinstance(request, str) else request
    filled = [line for line in text.splitlines() if line.strip()]
    if len(filled) < 2 or not filled[0].lstrip().startswith(b"{"):
        return False
    try:
        return isinstance(json.loads(filled[0]), dict)
    except (ValueError, RecursionError):
        return False
