"""Before and after: the clock that a new event gets, and what must hold between an event and those it rests on.

The hybrid clock never runs behind an event that was here when it was read, so the total order (clock, device,
sequence, identity) keeps cause before effect on every device, whatever its wall clock says.
"""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from loopworthy.record.events import CHAIN_OPENED
from loopworthy.record.signing import device_of, is_keyed
from loopworthy.vocabulary.event import GENESIS, Envelope, HybridTime, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, short
from loopworthy.vocabulary.time import Moment


def next_clock(now: Moment, latest: HybridTime) -> HybridTime:
    """The clock of an event that is written now, after everything up to `latest`."""
    wall_ms = now.epoch_ms
    if wall_ms > latest.wall_ms:
        return HybridTime(wall_ms=wall_ms)
    return HybridTime(wall_ms=latest.wall_ms, counter=latest.counter + 1)


def rests_on(envelope: Envelope) -> tuple[EventId, ...]:
    """Identities of the events that must be here before this one can have its place."""
    seen = tuple(head.event for head in envelope.seen.values())
    return seen if envelope.previous == GENESIS else (envelope.previous, *seen)


def link_fault(envelope: Envelope, known: Mapping[EventId, Envelope]) -> str | None:
    """Why an event does not fit onto those that it rests on, all of them known; None where it fits."""
    if (envelope.kind == CHAIN_OPENED) != (envelope.previous == GENESIS):
        return f"a chain begins with {CHAIN_OPENED} and has it nowhere else"
    if envelope.previous == GENESIS and not _fits_its_key(envelope):
        return "its device is not that of its public key"
    if envelope.device in envelope.seen:
        return "it counts its own chain among the others that it has seen"
    if envelope.previous != GENESIS:
        fault = _previous_fault(envelope, known[envelope.previous])
        if fault is not None:
            return fault
    for device, head in envelope.seen.items():
        other = known[head.event]
        if other.device != device or other.sequence != head.sequence:
            return (
                f"it claims to have seen event {short(head.event)} as {head.sequence} of chain {short(device)}, "
                f"which is {other.sequence} of chain {short(other.device)}"
            )
        if envelope.clock <= other.clock:
            return f"its clock is not after that of event {short(head.event)}, which it had seen"
    return None


class _Key(msgspec.Struct, frozen=True):
    public_key: str = ""


def public_key_in(opening: Envelope) -> str:
    """The public key that the first event of a chain names; empty where it names none.

    The key's place in the payload is the same in every version of the kind, for this has to be told of all of them.
    """
    try:
        return _KEY.decode(opening.payload).public_key
    except (msgspec.MsgspecError, UnicodeDecodeError):
        return ""


def _fits_its_key(opening: Envelope) -> bool:
    """Whether the first event of a chain names the key that its device is made from, or neither has one."""
    key = public_key_in(opening)
    if is_keyed(opening.device) or key:
        return opening.device == device_of(opening.record, key)
    return True


_KEY = msgspec.json.Decoder(_Key)


def _previous_fault(envelope: Envelope, previous: Envelope) -> str | None:
    if previous.device != envelope.device:
        return f"the event before it belongs to another chain, {short(previous.device)}"
    if previous.sequence != envelope.sequence - 1:
        return f"its sequence is {envelope.sequence}, that of the event before it {previous.sequence}"
    if envelope.clock <= previous.clock:
        return "its clock is not after that of the event before it"
    return _forgotten(envelope.seen, previous)


def _forgotten(seen: Mapping[DeviceId, SeenHead], previous: Envelope) -> str | None:
    for device, before in sorted(previous.seen.items()):
        after = seen.get(device)
        if after is None or after.sequence < before.sequence:
            return f"it knows less of chain {short(device)} than the event before it did"
    return None
