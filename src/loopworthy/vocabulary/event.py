"""The envelope that every event of a record travels in.

What is inside (the payload) belongs to the room that gave the kind its meaning; here are only the parts that all
kinds share: chain, clock, claimed time, people, subjects and the link to the event before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import msgspec

from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, ThingId
from loopworthy.vocabulary.time import Moment

GENESIS: Final = ""
"""What the first event of a chain holds in place of the hash of an event before it."""


class HybridTime(msgspec.Struct, frozen=True, kw_only=True, order=True):
    """A hybrid logical clock: never behind the device's own clock, never behind an event that was seen.

    Attributes
    ----------
    wall_ms : int
        Milliseconds since 1970-01-01 UTC.
    counter : int
        Tells events of one millisecond apart.
    """

    wall_ms: int
    counter: int = 0


class SeenHead(msgspec.Struct, frozen=True, kw_only=True):
    """The last event that a device knew of another device's chain."""

    sequence: int
    event: EventId


class Envelope(msgspec.Struct, frozen=True, kw_only=True):
    """An event as it is stored.

    Attributes
    ----------
    record, device : str
        The record and the device whose chain this is.
    sequence : int
        Place in the chain, from 1.
    clock : HybridTime
        Gives the total order together with device, sequence and identity.
    occurred_at, recorded_at : Moment
        When it happened, as claimed; when it was written down here.
    read_by, typed_by : str
        Identities of the people who read it and who typed it; empty where nobody said.
    kind, version : str, int
        What the payload means. Unknown kinds and versions are kept as they are.
    subjects : tuple of str
        The things that it is about.
    payload : msgspec.Raw
        JSON, meaning by kind and version.
    seen : dict
        Device to the last event known of that other device's chain.
    previous : str
        Identity of the event before in this chain; `GENESIS` for the first.
    act : str
        One name for everything that was recorded by one sending of one form, so that the same form sent twice is known
        again. Not written at all where there is none.
    """

    record: RecordId
    device: DeviceId
    sequence: int
    clock: HybridTime
    occurred_at: Moment
    recorded_at: Moment
    kind: str
    version: int
    payload: msgspec.Raw
    previous: EventId
    read_by: ThingId = ""
    typed_by: ThingId = ""
    subjects: tuple[ThingId, ...] = ()
    seen: dict[DeviceId, SeenHead] = msgspec.field(default_factory=dict)
    act: str | msgspec.UnsetType = msgspec.UNSET

    def __post_init__(self) -> None:
        if self.sequence < 1:
            raise InputError("sequence", self.sequence, "1 or more")
        if (self.previous == GENESIS) != (self.sequence == 1):
            raise InputError("previous", self.previous, "empty in the first event of a chain and only there")
        if self.version < 1:
            raise InputError("version", self.version, "1 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """A stored event with its identity and its payload, decoded where the kind is known.

    Attributes
    ----------
    id : str
        Hash of `body`.
    body : bytes
        The stored bytes.
    envelope : Envelope
        `body`, decoded.
    payload : object
        The payload as the struct that the registry names, brought up to its newest version; None where kind or
        version is not known here (the event is kept all the same).
    """

    id: EventId
    body: bytes
    envelope: Envelope
    payload: object | None

    @property
    def order(self) -> tuple[int, int, str, int, str]:
        """Key of the total order: the same on every device that has the same events."""
        one = self.envelope
        return (one.clock.wall_ms, one.clock.counter, one.device, one.sequence, self.id)

    def knew_of(self, other: Event) -> bool:
        """Whether the device that wrote this event had the other one then."""
        mine, theirs = self.envelope, other.envelope
        if mine.device == theirs.device:
            return theirs.sequence < mine.sequence
        head = mine.seen.get(theirs.device)
        return head is not None and head.sequence >= theirs.sequence


def encode(envelope: Envelope) -> bytes:
    """The bytes to store: compact JSON with sorted keys, so that one envelope has one form."""
    return _ENCODER.encode(envelope)


def decode_envelope(body: bytes) -> Envelope:
    """The envelope in stored bytes.

    Raises
    ------
    InputError
        If the bytes are not an envelope.
    """
    try:
        return _DECODER.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError("event", body[:80], f"an event envelope ({error})") from error


_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODER = msgspec.json.Decoder(Envelope)
