"""A mark in the store that keeps an older program from a record that a newer one has written to.

Kinds of event that a program does not know stay in the record unread. Where such an event could undo evidence, a
verdict told without it would be too good; a program that adds one raises `LEVEL`, and older programs then refuse.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Final

from loopworthy.record.store import Store
from loopworthy.vocabulary.errors import StoreError

LEVEL: Final = 1
"""What this program writes at. Raise it with any event, or meaning of one, that older programs must not overlook."""

_SETTING: Final = "written-at-level"


def level_of(store: Store) -> int:
    """The highest level at which any program wrote to this store; 0 where none left a mark."""
    text = store.setting(_SETTING) or "0"
    return int(text) if text.isdecimal() else LEVEL + 1


def take_up(store: Store, *, level: int = LEVEL) -> None:
    """Refuse a store that a newer program has written to; mark it as written to by this one otherwise.

    Raises
    ------
    StoreError
        If its mark is above `level`. Nothing has been written then.
    """
    marked = level_of(store)
    if marked > level:
        raise StoreError(
            f"A newer program has written to this record (level {marked}; this one reads up to level {level})",
            next_step="Open it with the newer program. Nothing was changed",
        )
    if marked < level:
        with suppress(StoreError):  # a file that cannot be written to needs no mark
            store.put_setting(_SETTING, str(level))
