"""How far ahead of the clock here an event may claim to be before it is set apart.

Without a bound one phone set to a wrong year would pull the clocks of all others into that year for good, because a
hybrid clock never runs behind what it has seen. The reasons for the numbers are in decision 0014.
"""

from __future__ import annotations

from typing import Final

from loopworthy.record.copies import become_new_device
from loopworthy.record.store import Store, checked_envelope
from loopworthy.vocabulary.event import Envelope, SeenHead
from loopworthy.vocabulary.identity import EventId
from loopworthy.vocabulary.time import Moment

CLOCK_BOUND_MS: Final = 24 * 60 * 60 * 1000
"""Set by the makers of this program (decision 0014). A wrong time zone puts a clock off by some hours, a wrong date by
a day or more; the bound lies between. [ms]"""

PLAUSIBLE_FROM_MS: Final = 1_767_225_600_000
"""2026-01-01T00:00:00Z. This program did not exist before: a clock that says so is behind and can judge nobody. [ms]"""


def latest_acceptable_ms(now: Moment, *, told: Moment | None = None) -> int | None:
    """The latest clock that an event may have to count now; None where nothing can be said.

    Parameters
    ----------
    now : Moment
        The clock here.
    told : Moment, optional
        The clock of whoever handed the events over. Only asked where the clock here is known to be behind.
    """
    for clock in (now, told):
        if clock is not None and clock.epoch_ms >= PLAUSIBLE_FROM_MS:
            return clock.epoch_ms + CLOCK_BOUND_MS
    return None


def ahead_ms(envelope: Envelope, now: Moment) -> int:
    """How far an event's clock is ahead of the clock here; negative where it is behind. [ms]"""
    return envelope.clock.wall_ms - now.epoch_ms


def set_apart_what_is_ahead(store: Store, now: Moment) -> tuple[EventId, ...]:
    """Set apart what this store took or wrote while its clock was ahead; which events.

    When events of this device are among them it writes as a new device from now on: its old chain ends in a year
    that others will not see for a while.
    """
    return set_apart_beyond(store, latest_acceptable_ms(now))


def set_apart_beyond(store: Store, latest_ms: int | None) -> tuple[EventId, ...]:
    """The same, with the latest clock that counts given. [ms]"""
    if latest_ms is None or store.latest_clock().wall_ms <= latest_ms:
        return ()
    with store.transaction():
        head = store.heads().get(store.device_id())
        if head is not None and _clock_of(store, head) > latest_ms:
            become_new_device(store)  # while its last event is still here: that is what it has to sign
        return tuple(store.set_apart(after_ms=latest_ms))


def _clock_of(store: Store, head: SeenHead) -> int:
    return checked_envelope(store.find(head.event, limit=1)[0]).clock.wall_ms
