"""The port between the record and whatever keeps its bytes.

A store keeps events as bytes in the order of their arrival, and beside them blobs, erasable texts, snapshots and a
few settings of its own. It knows envelopes, but no payload. `memory` and `sqlite` implement it; one contract suite
runs on both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import NamedTuple, Protocol

from loopworthy.record.signing import SignedHead
from loopworthy.vocabulary.errors import ConflictError, DamagedError, InputError
from loopworthy.vocabulary.event import GENESIS, Envelope, HybridTime, SeenHead, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, short

Token = Callable[[int], bytes]
"""Gives so many random bytes; comes in as an argument, `secrets.token_bytes` at the doors."""

Heads = dict[DeviceId, SeenHead]
"""The last event of each chain. Of a forked chain: the one with the highest sequence, then the highest identity."""


class StoredEvent(NamedTuple):
    """An event as the store gives it back; nothing about it has been checked."""

    position: int
    id: EventId
    body: bytes


class IndexEntry(NamedTuple):
    """What the store has written down about an event, for finding it again. Equal to what its body says, or damaged."""

    id: EventId
    device: DeviceId
    sequence: int
    wall_ms: int
    counter: int
    kind: str


class Snapshot(NamedTuple):
    """Something computed from the events up to a position; only ever a short cut."""

    through: int
    body: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptText:
    """A text that lies beside the chain. `salt` and `words` are None once it was erased."""

    digest: str
    salt: bytes | None
    words: str | None

    @property
    def erased(self) -> bool:
        """Whether only the tombstone is left."""
        return self.words is None


class Store(Protocol):
    """What the record asks of a store.

    Every method is atomic by itself. Inside ``with store.transaction()`` a group of them is atomic together, and no
    other writer, in this process or another, comes between. A failure of the medium raises `StoreError`.
    """

    # --- grouping ---

    def transaction(self) -> AbstractContextManager[None]:
        """Hold the write lock; keep everything at the end, or nothing after an exception. May be nested."""
        ...

    @property
    def in_transaction(self) -> bool:
        """Whether a transaction is open, so that what is read may still be taken back."""
        ...

    # --- identity ---

    def record_id(self) -> RecordId:
        """The record in this store; empty in a new store."""
        ...

    def set_record_id(self, record: RecordId) -> None:
        """Say once which record this is. Raises `ConflictError` if the store already holds another."""
        ...

    def device_id(self) -> DeviceId:
        """The device as which this store writes; empty until its chain is opened, and in a copy."""
        ...

    def set_device_id(self, device: DeviceId) -> None:
        """From now on write as this device; empty: as a new one."""
        ...

    # --- events ---

    def append(self, bodies: Sequence[bytes], *, head: EventId) -> int:
        """Add events to the end of one chain, all or none; the position of the last.

        Parameters
        ----------
        bodies : sequence of bytes
            Envelopes of one chain, each linked to the one before.
        head : str
            What the writer believes is the last event of the chain; `GENESIS` for a new chain.

        Raises
        ------
        ConflictError
            If the chain has another head, or the bodies do not continue it.
        """
        ...

    def take(self, bodies: Iterable[bytes]) -> int:
        """Keep events that were written elsewhere; how many were new. Twice is the same as once."""
        ...

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        """Events in order of arrival, from behind a position."""
        ...

    def events_in_order(self) -> Sequence[StoredEvent]:
        """All events in the total order."""
        ...

    def events_of_kind(self, kind: str) -> Sequence[StoredEvent]:
        """Events of one kind, in the total order."""
        ...

    def events_at(self, device: DeviceId, sequence: int) -> Sequence[StoredEvent]:
        """Events at one place of a chain: none, one, or the branches of a fork."""
        ...

    def find(self, prefix: str, *, limit: int = 2) -> Sequence[StoredEvent]:
        """Events whose identity begins so, at most `limit`, ordered by identity."""
        ...

    def has(self, event: EventId) -> bool:
        """Whether this event is here."""
        ...

    def heads(self) -> Heads:
        """The last event of each chain."""
        ...

    def latest_clock(self) -> HybridTime:
        """The highest clock of all events; zero in an empty store."""
        ...

    def forked_places(self) -> Sequence[tuple[DeviceId, int]]:
        """Places of chains that hold more than one event, by device and sequence."""
        ...

    def last_position(self) -> int:
        """The position of the event that arrived last; 0 in a new store. Never falls, unless a transaction fails."""
        ...

    def count(self) -> int:
        """How many events there are."""
        ...

    def index(self) -> Sequence[IndexEntry]:
        """What the store has written down about each event, in order of arrival."""
        ...

    # --- events that are no part of the record yet, or not now ---

    def waiting(self) -> Sequence[bytes]:
        """Events beside the record, ordered by identity: they rest on something that is not here, nobody has vouched
        for them, or their clock is too far ahead. `beside` tells which."""
        ...

    def waiting_ids(self) -> Sequence[EventId]:
        """Identities of the events beside the record, sorted."""
        ...

    def replace_waiting(self, bodies: Iterable[bytes]) -> None:
        """Let exactly these events wait."""
        ...

    def set_apart(self, *, after_ms: int) -> Sequence[EventId]:
        """Move every event whose clock is later than this from the record to those that wait; which, sorted.

        An event's clock is later than that of all it rests on, so what stays is whole. Positions of what stays do not
        change; what comes back later arrives anew.
        """
        ...

    def departures(self) -> int:
        """How often events were set apart. Who has read events before this number changed has to read anew."""
        ...

    # --- heads that were signed by their devices ---

    def signed_heads(self) -> Sequence[SignedHead]:
        """The signed heads that are kept, by device, sequence and event."""
        ...

    def replace_signed_heads(self, heads: Iterable[SignedHead]) -> None:
        """Keep exactly these."""
        ...

    # --- blobs ---

    def put_blob(self, body: bytes) -> str:
        """Keep bytes; their SHA-256."""
        ...

    def blob(self, digest: str) -> bytes | None:
        """The bytes of that digest; None if they are not here."""
        ...

    def blob_digests(self) -> Sequence[str]:
        """Digests of all blobs, sorted."""
        ...

    def drop_blob(self, digest: str) -> None:
        """Keep these bytes no longer: only for what has just come in and no event names."""
        ...

    # --- erasable texts ---

    def put_text(self, text: KeptText) -> bool:
        """Keep a text, or its tombstone; whether that changed anything. A tombstone wins over a text, always."""
        ...

    def text(self, digest: str) -> KeptText | None:
        """The text or tombstone of that digest; None if neither is here."""
        ...

    def texts(self) -> Sequence[KeptText]:
        """All texts and tombstones, sorted by digest."""
        ...

    def drop_text(self, digest: str) -> None:
        """Keep this text no longer, without a tombstone: only for what has just come in and no event names."""
        ...

    # --- snapshots and settings: local, never exported ---

    def put_snapshot(self, name: str, snapshot: Snapshot) -> None:
        """Keep a snapshot under a name, in place of an older one."""
        ...

    def snapshot(self, name: str) -> Snapshot | None:
        """The snapshot of that name, if it is still here."""
        ...

    def drop_snapshots(self) -> None:
        """Throw all snapshots away."""
        ...

    def setting(self, name: str) -> str | None:
        """A setting of this store."""
        ...

    def put_setting(self, name: str, value: str) -> None:
        """Keep a setting of this store."""
        ...

    # --- care ---

    def damage(self) -> Sequence[str]:
        """What is wrong with the medium itself, in words; empty when nothing was found."""
        ...

    def close(self) -> None:
        """Let go of the medium."""
        ...


def chain_entries(bodies: Sequence[bytes], *, actual: SeenHead | None, believed: EventId) -> list[IndexEntry]:
    """Index entries of events that are about to be appended, after checking that they continue the chain.

    Parameters
    ----------
    bodies : sequence of bytes
        At least one envelope, all of one chain.
    actual : SeenHead or None
        The head that the store has for that chain now.
    believed : str
        The head that the writer believes in.

    Raises
    ------
    ConflictError
        If the two heads differ, or an event does not link to the one before it.
    """
    sequence, previous = (actual.sequence, actual.event) if actual else (0, GENESIS)
    if previous != believed:
        raise ConflictError(
            f"The head of this chain is {short(previous) or 'still missing'}, the writer believed in "
            f"{short(believed) or 'a new chain'}",
            next_step="Read the head again and retry",
        )
    entries: list[IndexEntry] = []
    for body in bodies:
        envelope = decode_envelope(body)
        entry = entry_of(event_id(body), envelope)
        same_chain = not entries or entry.device == entries[0].device
        if not same_chain or envelope.previous != previous or entry.sequence != sequence + 1:
            raise ConflictError(
                f"Event {short(entry.id)} has sequence {entry.sequence} after {short(envelope.previous)}; the chain "
                f"continues with {sequence + 1} after {short(previous)}",
                next_step="Read the head again and retry",
            )
        sequence, previous = entry.sequence, entry.id
        entries.append(entry)
    return entries


def chain_of(bodies: Sequence[bytes]) -> DeviceId:
    """The device whose chain the events about to be appended belong to.

    Raises
    ------
    InputError
        If there are none.
    """
    if not bodies:
        raise InputError("bodies", bodies, "at least one event")
    return decode_envelope(bodies[0]).device


def checked_envelope(stored: StoredEvent) -> Envelope:
    """The envelope of a stored event, after comparing its bytes with its hash.

    Raises
    ------
    DamagedError
        If the bytes no longer fit the hash.
    """
    if event_id(stored.body) != stored.id:
        raise DamagedError(
            f"Event {short(stored.id)} at position {stored.position} is damaged: its bytes no longer fit its hash",
            next_step="Verify the record; bring it back from a backup or another device",
        )
    return decode_envelope(stored.body)


def index_entry(body: bytes) -> IndexEntry:
    """What a store has to write down about an event.

    Raises
    ------
    InputError
        If the bytes are not an envelope.
    """
    return entry_of(event_id(body), decode_envelope(body))


def entry_of(event: EventId, envelope: Envelope) -> IndexEntry:
    """The index entry of a decoded envelope."""
    return IndexEntry(
        event, envelope.device, envelope.sequence, envelope.clock.wall_ms, envelope.clock.counter, envelope.kind
    )
