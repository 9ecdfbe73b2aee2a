"""What an error means for a browser: the HTTP status that goes with each kind, and what a person is told."""

from __future__ import annotations

from loopworthy.doors.web.asked import Asked
from loopworthy.vocabulary.errors import (
    ConflictError,
    FileEntryError,
    InputError,
    LoopworthyError,
    OutOfReachError,
    RecordError,
    RefusedError,
    StoreError,
    UnknownNameError,
)

_STATUS: tuple[tuple[type[LoopworthyError], int], ...] = (
    (UnknownNameError, 404),
    (InputError, 422),
    (FileEntryError, 422),
    (RefusedError, 403),
    (ConflictError, 409),
    (StoreError, 503),
    (RecordError, 409),
    (OutOfReachError, 504),
)


def status_of(error: LoopworthyError) -> int:
    """The HTTP status of an error."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 400)


def told(asked: Asked, error: LoopworthyError) -> str:
    """What is wrong, in the words of a page: what was typed in place of the name that a program gives the field."""
    if isinstance(error, InputError) and isinstance(error.value, str) and error.value:
        return asked.say("parts.must_be", typed=error.value[:40], limit=error.limit)
    return error.message
