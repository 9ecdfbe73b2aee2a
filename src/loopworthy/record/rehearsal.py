"""What would be written, without writing it: events with their place at the end of this device's chain as it stands.

They are for looking ahead only. Nobody else ever sees them, and what is recorded afterwards has other identities.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, cast

from loopworthy.record.chain import Batch
from loopworthy.record.registry import Registry
from loopworthy.record.store import Heads, Store
from loopworthy.vocabulary.event import Envelope, HybridTime, SeenHead, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id
from loopworthy.vocabulary.time import Moment

_NOBODY: Final = "0" * 16
"""Stands for this device where the store has none yet."""


def rehearsal(store: Store, registry: Registry, now: Moment) -> Batch:
    """A batch that gives events their place and keeps them to itself."""
    # A batch asks its store for five things only, and the stand-in answers those.
    return Batch(cast(Store, _StandIn(store)), registry, now)


class _StandIn:
    """The end of a store's chains, growing without the store."""

    def __init__(self, store: Store) -> None:
        self._record = store.record_id()
        self._device = store.device_id() or _NOBODY
        self._heads = dict(store.heads())
        self._clock = store.latest_clock()

    def record_id(self) -> RecordId:
        """The record's identity."""
        return self._record

    def device_id(self) -> DeviceId:
        """The device that would write."""
        return self._device

    def heads(self) -> Heads:
        """The last event of each chain, those of the rehearsal with them."""
        return dict(self._heads)

    def latest_clock(self) -> HybridTime:
        """The latest clock of any event."""
        return self._clock

    def append(self, bodies: Sequence[bytes], *, head: EventId) -> int:
        """Take events as written."""
        for body in bodies:
            one: Envelope = decode_envelope(body)
            self._heads[one.device] = SeenHead(sequence=one.sequence, event=event_id(body))
            self._clock = one.clock
        return len(bodies)
