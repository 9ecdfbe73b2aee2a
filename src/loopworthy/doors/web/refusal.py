"""What an error means for a browser: the HTTP status that goes with each kind."""

from __future__ import annotations

from loopworthy.vocabulary.errors import (
    ConflictError,
    FileEntryError,
    InputError,
    LoopworthyError,
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
)


def status_of(error: LoopworthyError) -> int:
    """The HTTP status of an error."""
    return next((status for kind, status in _STATUS if isinstance(error, kind)), 400)
