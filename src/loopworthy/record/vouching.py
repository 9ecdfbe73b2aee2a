"""Vouching: which events a device has signed for, which signed heads are worth keeping, and what proves a fork.

A signed head covers its event and all that the chain has before it. Events of a keyed chain that no signed head covers
stay beside the record, so that nobody who only carries a chain can continue it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from loopworthy.record.signing import SignedHead
from loopworthy.record.store import Store, checked_envelope
from loopworthy.vocabulary.event import Envelope, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, fingerprint, short

MOST_UNKNOWN_HEADS: Final = 64
"""Signed heads that are kept of one device for events that are not here; a sound device needs one or two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ForkProof:
    """Two heads that one device has signed and that cannot both be on one line of its chain.

    Attributes
    ----------
    device : str
        Whose chain it is.
    one, other : SignedHead
        Both with their signatures; whoever has the two needs no trust in anybody else.
    """

    device: DeviceId
    one: SignedHead
    other: SignedHead

    def __str__(self) -> str:
        return (
            f"Device {short(self.device)} has signed two lines of its chain: {fingerprint(self.one.event)} at "
            f"{self.one.sequence} and {fingerprint(self.other.event)} at {self.other.sequence}"
        )


def covered(candidates: Mapping[EventId, Envelope], heads: Iterable[SignedHead]) -> set[EventId]:
    """Those of the candidates for which one of the heads, all of them genuine, speaks."""
    found: set[EventId] = set()
    for head in heads:
        one = candidates.get(head.event)
        if one is None or (one.device, one.sequence) != (head.device, head.sequence):
            continue
        identity = head.event
        while identity not in found and one is not None and one.device == head.device:
            found.add(identity)
            identity = one.previous
            one = candidates.get(identity)
    return found


def worth_keeping(store: Store, heads: Iterable[SignedHead]) -> tuple[SignedHead, ...]:
    """Of genuine heads the newest on each line of each chain, and those whose events are beside the record or not here.

    A head that names an event of another place or chain says nothing and is left out.
    """
    heads = sorted(heads)
    by_device: dict[DeviceId, dict[EventId, SignedHead]] = {}
    for head in heads:
        by_device.setdefault(head.device, {})[head.event] = head
    elsewhere = {head.event for head in heads if not store.has(head.event)}
    waiting = elsewhere & set(store.waiting_ids()) if elsewhere else set()
    kept: list[SignedHead] = []
    for signed in by_device.values():
        here = [one for one in signed.values() if one.event not in elsewhere and stands_at(store, one)]
        # What speaks for an event beside the record may speak for events in it, too.
        beside = [one for one in signed.values() if one.event in waiting]
        unknown = [one for one in signed.values() if one.event in elsewhere - waiting]
        kept += _newest_of_each_line(store, here)
        kept += beside
        kept += sorted(unknown, key=lambda one: (one.sequence, one.event))[-MOST_UNKNOWN_HEADS:]
    return tuple(sorted(kept))


def fork_proofs(store: Store) -> tuple[ForkProof, ...]:
    """Pairs of kept heads that their device cannot have signed honestly."""
    by_device: dict[DeviceId, list[SignedHead]] = {}
    for head in store.signed_heads():
        by_device.setdefault(head.device, []).append(head)
    proofs: list[ForkProof] = []
    for device, heads in sorted(by_device.items()):
        here = [one for one in heads if store.has(one.event)]
        lines = _newest_of_each_line(store, here)
        proofs += [ForkProof(device=device, one=lines[0], other=other) for other in lines[1:]]
        proved = {one.event for one in lines}
        places: dict[int, SignedHead] = {}
        for head in heads:
            first = places.setdefault(head.sequence, head)
            if first.event != head.event and not proved >= {first.event, head.event}:
                proofs.append(ForkProof(device=device, one=first, other=head))
    return tuple(proofs)


def signed_places(store: Store) -> dict[DeviceId, SeenHead]:
    """The farthest event of each chain, here in the record, for which its device has signed."""
    places: dict[DeviceId, SeenHead] = {}
    for head in store.signed_heads():
        before = places.get(head.device)
        if store.has(head.event) and (before is None or before.sequence < head.sequence):
            places[head.device] = SeenHead(sequence=head.sequence, event=head.event)
    return places


def stands_at(store: Store, head: SignedHead) -> bool:
    """Whether the event of a head stands in the record at the place that the head says."""
    return any(stored.id == head.event for stored in store.events_at(head.device, head.sequence))


def _newest_of_each_line(store: Store, heads: list[SignedHead]) -> list[SignedHead]:
    if len(heads) < 2:
        return heads
    by_place = sorted(heads, key=lambda one: (-one.sequence, one.event))
    device = by_place[0].device
    forked = [sequence for owner, sequence in store.forked_places() if owner == device]
    if not forked or by_place[0].sequence < min(forked):
        return by_place[:1]
    kept: list[SignedHead] = []
    below: set[EventId] = set()
    for head in by_place:
        # Before the first place where the chain parts there is one line only.
        if head.event not in below and head.sequence >= min(forked):
            kept.append(head)
            below |= _line_down(store, head.event, head.device, head.sequence, min(forked))
    return kept


def _line_down(store: Store, event: EventId, device: DeviceId, sequence: int, lowest: int) -> set[EventId]:
    """The events of a line from one of them down to a place."""
    line: set[EventId] = set()
    while sequence >= lowest and event:
        stored = next((one for one in store.events_at(device, sequence) if one.id == event), None)
        if stored is None:
            break
        line.add(event)
        event, sequence = checked_envelope(stored).previous, sequence - 1
    return line
