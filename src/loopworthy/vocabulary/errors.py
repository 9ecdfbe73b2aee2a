"""The errors that all rooms raise.

Each one names the thing, the value, the limit and the next step, so that a door can show it as it is: the command
line prints one line and ends with code 2, the web answers with a 4xx and the same words.
"""

from __future__ import annotations

from typing import Final

_LONGEST_TOLD: Final = 400


class LoopworthyError(Exception):
    """Base of every error that a person may be shown.

    Parameters
    ----------
    message : str
        One sentence: what is wrong, with name, value and limit.
    next_step : str
        What to do about it; empty where there is nothing to do.
    """

    def __init__(self, message: str, *, next_step: str = "") -> None:
        self.message = message
        self.next_step = next_step
        super().__init__(f"{message}. {next_step}" if next_step else message)


class InputError(LoopworthyError):
    """Somebody typed or sent something that cannot be accepted; nothing was recorded."""

    def __init__(self, name: str, value: object, limit: str, *, next_step: str = "") -> None:
        self.name = name
        self.value = value
        self.limit = limit
        super().__init__(f"{name} must be {limit}, got {name}={_in_short(value)}", next_step=next_step)


def _in_short(value: object) -> str:
    """A value as it is told: a long one by its beginning."""
    told = repr(value)
    return told if len(told) <= _LONGEST_TOLD else f"{told[:_LONGEST_TOLD]}…"


class DomainError(InputError):
    """A number lies outside the range in which a formula holds."""


class UnknownNameError(LoopworthyError):
    """Something was asked for by a name that does not exist here."""

    def __init__(self, what: str, name: str, known: tuple[str, ...] = (), *, next_step: str = "") -> None:
        self.what = what
        self.name = name
        self.known = known
        step = next_step or (f"Known: {', '.join(known)}" if known else "")
        super().__init__(f"There is no {what} {name!r}", next_step=step)


class FileEntryError(LoopworthyError):
    """An entry of a catalogue, configuration or owner's file is wrong; names file, entry and key."""

    def __init__(self, file: str, entry: str, key: str, problem: str, *, next_step: str = "") -> None:
        self.file = file
        self.entry = entry
        self.key = key
        super().__init__(f"{file}: {entry}: {key}: {problem}", next_step=next_step)


class RecordError(LoopworthyError):
    """The record cannot take, give or vouch for something."""


class StoreError(RecordError):
    """The store below the record failed (full disk, read-only file, damaged page, locked by another)."""


class DamagedError(StoreError):
    """Bytes of the record no longer fit their hash; nothing may be concluded from it."""


class ConflictError(RecordError):
    """Another writer of the same chain was faster; read the head again and retry."""


class RefusedError(LoopworthyError):
    """The rules of the record do not allow this act (a waiver for a never-skipped step, a self-release)."""


class OutOfReachError(LoopworthyError):
    """Another device did not answer, or not to the end. What was taken from it until then stays."""
