"""The clock of a rehearsal: an invented record whose story stands in another time runs by a clock of its own.

The clock lies in the store, so that every door and every process that opens the record reads the same one. Two clocks
on one record would set apart what was written by the later of them.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from typing import Final

import msgspec

from loopworthy.record.secrets import STORY_CLOCK
from loopworthy.record.store import Store
from loopworthy.vocabulary.errors import StoreError
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

RUNS_S: Final = 12 * 60 * 60.0
"""So long it runs from its beginning; whoever opens the record later begins it anew, for a rehearsal that nobody looked
at for days should still tell its story. Set by the makers of this program. [s]"""

_AFTER_LAST_MS: Final = 1000
"""For no record's time runs backwards, it begins so long after the last thing recorded. [ms]"""


class Kept(msgspec.Struct, frozen=True, kw_only=True):
    """The clock as it lies in the store.

    Attributes
    ----------
    zone : str
        Of the story.
    opens_ms : int
        The moment of the story at which it opens. [ms]
    begins_ms : int
        What the clock showed when it was begun. [ms]
    began_s : float
        When that was, by the seconds that it runs by. [s]
    """

    zone: str
    opens_ms: int
    begins_ms: int
    began_s: float


class StoryClock:
    """Tells the moment of the story; whoever begins it anew in another process moves it here too.

    Parameters
    ----------
    store : Store
        Holds the clock.
    seconds : callable
        What it runs by: the computer's time, in seconds since any beginning that all processes share.
    kept : Kept
        What the store holds, or would if it could be written.
    """

    def __init__(self, store: Store, seconds: Callable[[], float], kept: Kept) -> None:
        self._store = store
        self._seconds = seconds
        self._kept = kept
        self._text = store.setting(STORY_CLOCK)

    def __call__(self) -> Moment:
        text = self._store.setting(STORY_CLOCK)
        if text and text != self._text:
            self._kept, self._text = _read(text), text
        passed_ms = round((self._seconds() - self._kept.began_s) * 1000)
        return moment_from_epoch_ms(self._kept.begins_ms + max(0, passed_ms), self._kept.zone)


def begin(store: Store, opens: Moment, *, seconds: Callable[[], float]) -> StoryClock:
    """Begin the clock at the story's moment, or after the last thing recorded where that is later."""
    return _begin(store, opens.epoch_ms, opens.zone, seconds)


def clock_of(store: Store, clock: Callable[[], Moment], *, seconds: Callable[[], float]) -> Callable[[], Moment]:
    """The clock that a record runs by: its own where it is a rehearsal that has one, else the one given."""
    text = store.setting(STORY_CLOCK)
    if not text:
        return clock
    kept = _read(text)
    if not 0 <= seconds() - kept.began_s <= RUNS_S:
        return _begin(store, kept.opens_ms, kept.zone, seconds)
    return StoryClock(store, seconds, kept)


def _begin(store: Store, opens_ms: int, zone: str, seconds: Callable[[], float]) -> StoryClock:
    latest_ms = store.latest_clock().wall_ms
    begins_ms = opens_ms if latest_ms < opens_ms else latest_ms + _AFTER_LAST_MS
    kept = Kept(zone=zone, opens_ms=opens_ms, begins_ms=begins_ms, began_s=seconds())
    with suppress(StoreError):  # of a file that cannot be written nobody else can write anything either
        store.put_setting(STORY_CLOCK, msgspec.json.encode(kept).decode())
    return StoryClock(store, seconds, kept)


def _read(text: str) -> Kept:
    return msgspec.json.decode(text, type=Kept)
