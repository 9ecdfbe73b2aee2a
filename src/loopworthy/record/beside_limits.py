"""How much may lie beside the record: events that cannot be placed yet, and texts and blobs that no event names.

Whoever is admitted may send what is well formed, and all of it costs room and time with each exchange. What is over the
limits is refused and named; it stays where it came from and is offered again. Nothing that is here already is given up
for it, and no limit touches what has its place in the record.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Final

import msgspec

from loopworthy.record.signing import SignedHead
from loopworthy.record.store import Store
from loopworthy.vocabulary.event import Envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, short

_MIB: Final = 1024 * 1024
_UNNAMED: Final = "unnamed-beside"
_DIGEST: Final = re.compile(rb"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """So many items and so many bytes, at most."""

    items: int
    size_bytes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideLimits:
    """How much may lie beside the record; set by the makers of this program, decision 0014.

    Attributes
    ----------
    announced_chain, announced : Room
        Of one chain, and of all chains together, whose devices have signed for a later event: in a first exchange all
        of a chain waits until the part with its end has come. Five years of one unit are some 60,000 events.
    strange_chain, strange : Room
        The same where no signature speaks of the events, so that nothing is known to be on its way.
    unnamed : Room
        Texts and blobs that no event in the record names.
    """

    announced_chain: Room = Room(items=100_000, size_bytes=96 * _MIB)
    announced: Room = Room(items=200_000, size_bytes=192 * _MIB)
    strange_chain: Room = Room(items=2_000, size_bytes=4 * _MIB)
    strange: Room = Room(items=10_000, size_bytes=16 * _MIB)
    unnamed: Room = Room(items=5_000, size_bytes=64 * _MIB)


@dataclass(frozen=True, slots=True, kw_only=True)
class Brought:
    """A text or blob that was new: its digest, its size, its line in the file, and which of the two it is."""

    digest: str
    size_bytes: int
    line: int
    is_blob: bool


class Unnamed(msgspec.Struct, frozen=True, kw_only=True):
    """How much came in since it was last looked up which of it no event names; never less than there is."""

    items: int = 0
    size_bytes: int = 0


def over_the_limits(
    limits: BesideLimits,
    beside: Iterable[EventId],
    *,
    new: Collection[EventId],
    candidates: Mapping[EventId, Envelope],
    bodies: Mapping[EventId, bytes],
    heads: Iterable[SignedHead],
) -> dict[EventId, str]:
    """Events that would lie beside the record and may not, and why.

    Parameters
    ----------
    beside : iterable of str
        All that would, what is there already included, in the order of placing.
    new : collection of str
        Those that a file has just brought and that did not lie here; only they can be refused.
    candidates, bodies : mapping
        What they are.
    heads : iterable of SignedHead
        Genuine ones.
    """
    ordered = list(beside)
    arrived = [one for one in ordered if one in new]
    if not arrived:
        return {}
    announced: dict[DeviceId, int] = {}
    for head in heads:
        announced[head.device] = max(head.sequence, announced.get(head.device, 0))
    tally = _Tally()

    def places(identity: EventId) -> tuple[tuple[object, Room, str], ...]:
        one = candidates[identity]
        if one.sequence <= announced.get(one.device, 0):
            return (
                ((True, one.device), limits.announced_chain, short(one.device)),
                (True, limits.announced, ""),
            )
        return ((False, one.device), limits.strange_chain, short(one.device)), (False, limits.strange, "")

    for identity in ordered:
        if identity not in new:
            tally.add((key for key, _, _ in places(identity)), len(bodies[identity]))
    refused: dict[EventId, str] = {}
    for identity in arrived:
        size = len(bodies[identity])
        full = next(((room, of) for key, room, of in places(identity) if not tally.has_room(key, room, size)), None)
        if full is None:
            tally.add((key for key, _, _ in places(identity)), size)
        else:
            refused[identity] = _too_many_events(*full)
    return refused


def _too_many_events(room: Room, device: str) -> str:
    whose = f"of device {device}" if device else "of all devices together"
    return (
        f"At most {room.items} events or {_size(room)} {whose} may wait beside the record. "
        f"Exchange with the device itself, so that they get their place; or revoke the device that sends them"
    )


def _size(room: Room) -> str:
    return f"{room.size_bytes // _MIB} MiB" if room.size_bytes >= _MIB else f"{room.size_bytes} bytes"


class _Tally:
    """Items and bytes by what they are counted under."""

    def __init__(self) -> None:
        self._items: Counter[object] = Counter()
        self._bytes: Counter[object] = Counter()

    def add(self, keys: Iterable[object], size_bytes: int) -> None:
        for key in keys:
            self._items[key] += 1
            self._bytes[key] += size_bytes

    def has_room(self, key: object, room: Room, size_bytes: int) -> bool:
        return self._items[key] < room.items and self._bytes[key] + size_bytes <= room.size_bytes


def refuse_unnamed(store: Store, brought: Iterable[Brought], limits: BesideLimits) -> dict[int, str]:
    """Take out again what was just brought, is named by no event in the record, and is over the limit; why, by line.

    Which texts and blobs events name is looked up only when so much has come in since the last time that the limit
    might be reached, for it takes reading the whole record.
    """
    new = list(brought)
    if not new:
        return {}
    before, room = _unnamed(store), limits.unnamed
    items, size_bytes = before.items + len(new), before.size_bytes + sum(one.size_bytes for one in new)
    if items <= room.items and size_bytes <= room.size_bytes:
        _put_unnamed(store, items, size_bytes)
        return {}
    named = _named(store)
    fresh = {one.digest for one in new}
    items, size_bytes = _weigh(store, leave=named | fresh)
    refused: dict[int, str] = {}
    for one in new:
        if one.digest in named:
            continue
        if items < room.items and size_bytes + one.size_bytes <= room.size_bytes:
            items, size_bytes = items + 1, size_bytes + one.size_bytes
            continue
        (store.drop_blob if one.is_blob else store.drop_text)(one.digest)
        refused[one.line] = (
            f"At most {room.items} texts and files or {_size(room)} are kept that no event in the record names. "
            f"It is taken when the event that names it has its place"
        )
    _put_unnamed(store, items, size_bytes)
    return refused


def _named(store: Store) -> set[str]:
    """Digests of texts and blobs here that some event in the record has in its bytes."""
    wanted = {one.digest.encode() for one in store.texts()} | {one.encode() for one in store.blob_digests()}
    named: set[bytes] = set()
    for stored in store.events():
        named.update(wanted.intersection(_DIGEST.findall(stored.body)))
    return {one.decode() for one in named}


def _weigh(store: Store, *, leave: set[str]) -> tuple[int, int]:
    """Items and bytes of all other texts and blobs."""
    sizes = [len((one.words or "").encode()) for one in store.texts() if one.digest not in leave and not one.erased]
    sizes += [len(store.blob(one) or b"") for one in store.blob_digests() if one not in leave]
    return len(sizes), sum(sizes)


def _unnamed(store: Store) -> Unnamed:
    text = store.setting(_UNNAMED)
    return msgspec.json.decode(text, type=Unnamed) if text else Unnamed()


def _put_unnamed(store: Store, items: int, size_bytes: int) -> None:
    store.put_setting(_UNNAMED, msgspec.json.encode(Unnamed(items=items, size_bytes=size_bytes)).decode())
