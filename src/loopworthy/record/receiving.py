"""Handing on and receiving: signing the own head, checking the heads of others, and recording what was received.

Signatures are made and checked here, before and after the merge, because that may take the browser's time; the merge
itself asks nobody and is one transaction.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import chain, islice
from typing import Final

import msgspec

from loopworthy.record.copies import put_tails, tails
from loopworthy.record.events import (
    CHAIN_OPENED,
    HEADS_RECEIVED,
    ChainOpened,
    ClockOffset,
    HeadsReceived,
    ReceivedHead,
)
from loopworthy.record.exchange import HeadLine, Limits, read_header, read_line, within
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.record import Record
from loopworthy.record.signing import DeviceKeys, HeadVerifier, SignedHead, is_genuine, is_keyed, signed_head
from loopworthy.record.store import Store
from loopworthy.record.vouching import signed_places, worth_keeping
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId
from loopworthy.vocabulary.time import Moment

MOST_HEADS: Final = 4096
"""Signed heads in one file or chunk."""

_RECORDED: Final = "heads-recorded"
_ABOUT_RECEIVING: Final = frozenset({CHAIN_OPENED, HEADS_RECEIVED})
"""Kinds that alone are no reason to record that heads were received: two sides would answer each other for ever."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedLines:
    """Lines of an export, with those of their signed heads that are genuine."""

    lines: Iterable[bytes]
    heads: frozenset[SignedHead]


@dataclass(frozen=True, slots=True, kw_only=True)
class Peer:
    """A device that this one speaks with directly, and how far its clock is ahead. [ms]"""

    device: DeviceId
    offset_ms: int


async def sign_own_heads(store: Store, keys: DeviceKeys) -> tuple[SignedHead, ...]:
    """Sign the last event of this device's chain, and of chains that this store wrote before, and keep that.

    To be called before anything is handed on: an exchange, an export, a backup. What is signed is remembered beside the
    key first, so that a store which is put back to before it is noticed. Chains without a key are left as they are.
    """
    record, own = store.record_id(), store.device_id()
    ends = tails(store) | {device: head for device, head in store.heads().items() if device == own}
    kept = {one.event for one in store.signed_heads()}
    made: list[SignedHead] = []
    settled: list[DeviceId] = []
    for device, end in sorted(ends.items()):
        signer = keys.signer(device) if is_keyed(device) else None
        if signer is None:
            continue
        if end.event in kept:
            await signer.remember(end)
        else:
            made.append(await signed_head(record, end, signer))
        settled.append(device)
    with store.transaction():
        if made:
            store.replace_signed_heads(worth_keeping(store, (*store.signed_heads(), *made)))
        if any(device in tails(store) for device in settled):
            put_tails(store, {device: end for device, end in tails(store).items() if device not in settled})
    return tuple(made)


async def check_heads(lines: Iterable[bytes], verifier: HeadVerifier, *, limits: Limits | None = None) -> CheckedLines:
    """Check the signatures of the heads that stand at the beginning of an export.

    Parameters
    ----------
    limits : Limits, optional
        For what comes from a network. A file that somebody chose may be as large as it is.

    Raises
    ------
    InputError
        If the lines are no export, or not within the limits.
    """
    flow = iter(within(lines, limits) if limits is not None else lines)
    first = next(flow, b"")
    read_header(first)
    begin: list[bytes] = [first]
    heads: list[SignedHead] = []
    for line in islice(flow, MOST_HEADS + 1):
        begin.append(line)
        head = _head_in(line)
        if head is None:
            break
        if len(heads) == MOST_HEADS:
            raise InputError("heads", len(heads) + 1, f"at most {MOST_HEADS} at once")
        heads.append(head)
    genuine = frozenset([head for head in heads if await is_genuine(head, verifier)])
    return CheckedLines(lines=chain(begin, flow), heads=genuine)


async def receive(
    record: Record,
    lines: Iterable[bytes],
    *,
    now: Moment,
    verifier: HeadVerifier,
    peer: Peer | None = None,
    limits: Limits | None = None,
) -> MergeReport:
    """Take lines of another device into a record: heads checked, merged, and what was received recorded.

    For several chunks in a row call `check_heads` and `merge` for each, and `record_heads_received` after the last.
    """
    checked = await check_heads(lines, verifier, limits=limits)
    with record.store.transaction():
        report = merge(record.store, record.registry, checked.lines, now=now, vouched=checked.heads)
        record_heads_received(record, now=now, peer=peer)
    return report


def record_heads_received(record: Record, *, now: Moment, peer: Peer | None = None) -> Event | None:
    """Record which heads others had signed when they came here; None where there is nothing new to say.

    What is due is told from the store, so that nothing is forgotten when a program ends between two chunks.
    """
    store = record.store
    with store.transaction():
        recorded = _recorded(store)
        news = {
            device: place
            for device, place in signed_places(store).items()
            if device != store.device_id() and place.sequence > recorded.get(device, 0)
        }
        if not news:
            return None
        about = {
            entry.device
            for entry in store.index()
            if entry.kind not in _ABOUT_RECEIVING and entry.sequence > recorded.get(entry.device, 0)
        }
        due = [head for head in store.signed_heads() if head.device in news and head.event == news[head.device].event]
        store.put_setting(_RECORDED, msgspec.json.encode(recorded | {one.device: one.sequence for one in due}).decode())
        if not about & news.keys():
            return None
        heads = tuple(
            ReceivedHead(device=one.device, sequence=one.sequence, event=one.event, signature=one.signature)
            for one in due
        )
        offsets = (ClockOffset(device=peer.device, offset_ms=peer.offset_ms),) if peer is not None else ()
        return record.writer(now).append(HEADS_RECEIVED, HeadsReceived(heads=heads, offsets=offsets))


async def false_signatures(record: Record, verifier: HeadVerifier) -> tuple[str, ...]:
    """What is wrong with the signatures in a record, in words: those kept, and those that events tell of."""
    problems = [
        f"Signed head {head.sequence} of device {head.device[:12]} is not genuine"
        for head in record.store.signed_heads()
        if not await is_genuine(head, verifier)
    ]
    keys = {
        event.envelope.device: event.payload.public_key
        for event in record.events_of_kind(CHAIN_OPENED)
        if isinstance(event.payload, ChainOpened) and is_keyed(event.envelope.device)
    }
    for event in record.events_of_kind(HEADS_RECEIVED):
        if isinstance(event.payload, HeadsReceived):
            for one in event.payload.heads:
                head = _as_signed(record.id, one, keys.get(one.device, ""))
                if head is None or not await is_genuine(head, verifier):
                    problems.append(
                        f"Event {event.envelope.sequence} of device {event.envelope.device[:12]} tells of a head "
                        f"{one.sequence} of device {one.device[:12]} that it has not signed"
                    )
    return tuple(problems)


def _as_signed(record: str, one: ReceivedHead, public_key: str) -> SignedHead | None:
    try:
        return SignedHead(
            record=record,
            device=one.device,
            sequence=one.sequence,
            event=one.event,
            public_key=public_key,
            signature=one.signature,
        )
    except InputError:
        return None


def _head_in(line: bytes) -> SignedHead | None:
    try:
        parsed = read_line(line)
    except InputError:
        return None
    return parsed.head if isinstance(parsed, HeadLine) else None


def _recorded(store: Store) -> dict[DeviceId, int]:
    text = store.setting(_RECORDED)
    return msgspec.json.decode(text, type=dict[str, int]) if text else {}
