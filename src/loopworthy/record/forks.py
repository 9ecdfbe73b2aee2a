"""Forks: places where one device's chain continues in more than one way.

A fork comes from a store that was copied behind the program's back and written on in both copies, or from somebody
who rewrote the past. All branches are kept and reported; none is chosen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopworthy.record.store import Store, checked_envelope
from loopworthy.vocabulary.event import Envelope, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, fingerprint, short


@dataclass(frozen=True, slots=True, kw_only=True)
class Fork:
    """One chain, one predecessor, several events after it.

    Attributes
    ----------
    device : str
        Whose chain it is.
    sequence : int
        The place at which the branches begin.
    after : str
        The last event that the branches have in common; empty where they differ from the first on.
    branches : tuple of str
        The first event of each branch, by identity.
    """

    device: DeviceId
    sequence: int
    after: EventId
    branches: tuple[EventId, ...]

    def __str__(self) -> str:
        names = ", ".join(fingerprint(branch) for branch in self.branches)
        return f"Chain {short(self.device)} continues in {len(self.branches)} ways at {self.sequence}: {names}"


def forks(store: Store) -> tuple[Fork, ...]:
    """Every place in a store where a chain divides, by device and sequence."""
    return forks_among(
        {
            stored.id: checked_envelope(stored)
            for device, sequence in store.forked_places()
            for stored in store.events_at(device, sequence)
        }
    )


def tips(store: Store) -> dict[DeviceId, tuple[SeenHead, ...]]:
    """The last event of every line of every chain, by sequence and identity; more than one where a chain has forked."""
    first_fork: dict[DeviceId, int] = {}
    for device, sequence in store.forked_places():
        first_fork[device] = min(sequence, first_fork.get(device, sequence))
    found: dict[DeviceId, tuple[SeenHead, ...]] = {}
    for device, head in store.heads().items():
        if device not in first_fork:
            found[device] = (head,)
            continue
        lines: dict[EventId, Envelope] = {
            stored.id: checked_envelope(stored)
            for sequence in range(first_fork[device], head.sequence + 1)
            for stored in store.events_at(device, sequence)
        }
        continued = {envelope.previous for envelope in lines.values()}
        ends = [(one.sequence, identity) for identity, one in lines.items() if identity not in continued]
        found[device] = tuple(SeenHead(sequence=sequence, event=event) for sequence, event in sorted(ends))
    return found


def forks_among(envelopes: Mapping[EventId, Envelope]) -> tuple[Fork, ...]:
    """Every place where a chain divides among these events, by device and sequence."""
    branches: dict[tuple[DeviceId, int, EventId], list[EventId]] = {}
    for identity, envelope in envelopes.items():
        # Branches run on side by side; only where they part, after one common event, is a fork.
        branches.setdefault((envelope.device, envelope.sequence, envelope.previous), []).append(identity)
    return tuple(
        Fork(device=device, sequence=sequence, after=after, branches=tuple(sorted(events)))
        for (device, sequence, after), events in sorted(branches.items())
        if len(events) > 1
    )
