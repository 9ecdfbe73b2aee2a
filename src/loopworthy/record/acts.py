"""Acts: what one sending of one form recorded, so that the same form sent twice records once.

The name of an act stands in the bytes of its events. Whether it was recorded is looked up there, never in the memory of
a program that may have been started anew, and once more under the store's write lock before anything is written.
"""

from __future__ import annotations

from typing import Final

from loopworthy.record.store import Store
from loopworthy.vocabulary.event import decode_envelope
from loopworthy.vocabulary.identity import EventId

_WITH_ACT: Final = b'{"act":"'
"""How the bytes of an event begin that belongs to an act: its name sorts before all other keys."""


class RecordedBeforeError(Exception):
    """The act stands in the record already.

    Not a `LoopworthyError`: nothing is wrong with what was sent, and a page must not show it as a mistake to be mended.

    Parameters
    ----------
    act : str
    events : tuple of str
        What it recorded.
    """

    def __init__(self, act: str, events: tuple[EventId, ...]) -> None:
        self.act = act
        self.events = events
        super().__init__(f"act {act} recorded {len(events)} events before")


class Acts:
    """Finds the events of an act in a store; reads each event of it once."""

    def __init__(self, store: Store) -> None:
        self._store = store
        # Replaced as a whole, and only from what nobody can take back any more.
        self._known: tuple[dict[str, tuple[EventId, ...]], int] = ({}, 0)

    def events_of(self, act: str) -> tuple[EventId, ...]:
        """What the act recorded, in order of arrival."""
        known, through = self._known
        stored = self._store.events(after=through)
        if stored:
            known = dict(known)
            for one in stored:
                if not one.body.startswith(_WITH_ACT):
                    continue
                name = decode_envelope(one.body).act
                if isinstance(name, str):
                    known[name] = (*known.get(name, ()), one.id)
            if not self._store.in_transaction:
                self._known = (known, stored[-1].position)
        return known.get(act, ())


class Act:
    """One act under way: several batches may belong to it, only the first asks whether it was recorded before."""

    def __init__(self, identity: str, acts: Acts) -> None:
        self.id = identity
        self._acts = acts
        self._begun = False

    def begin(self) -> None:
        """Ask, under the store's write lock.

        Raises
        ------
        RecordedBeforeError
            If it was.
        """
        if self._begun:
            return
        found = self._acts.events_of(self.id)
        if found:
            raise RecordedBeforeError(self.id, found)
        self._begun = True
