"""Exchange without a network in it: what a side knows, what another is missing, and that in parts of a bearable size.

A side tells its knowledge in a few hundred bytes for each chain. From it the other side makes the missing part, chunk
by chunk. A chunk is a small export: it can be checked by itself, taken twice, and lost; whoever was cut off asks for
the rest with the mark of the last chunk, or begins again with what it knows by then.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import msgspec

from loopworthy.record.exchange import (
    FORMAT,
    FORMAT_VERSION,
    EndLine,
    EventLine,
    Header,
    HeadLine,
    Limits,
    blob_line,
    line_of,
    text_line,
)
from loopworthy.record.forks import tips
from loopworthy.record.placing import waiting_envelopes
from loopworthy.record.signing import is_keyed
from loopworthy.record.store import Store, checked_envelope
from loopworthy.record.vouching import signed_places
from loopworthy.vocabulary.errors import DamagedError, InputError
from loopworthy.vocabulary.event import Envelope, SeenHead, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, is_event_id, short
from loopworthy.vocabulary.time import Moment

EXCHANGE: Final = "loopworthy-exchange"
EXCHANGE_VERSIONS: Final = (1,)
"""Versions of the exchange that this program speaks."""

MOST_RUNS: Final = 4096
"""Runs of one chain in a knowledge; a sound chain needs some sixteen."""


class Run(msgspec.Struct, frozen=True, array_like=True):
    """All events of a line that ends with `event`, from place `first` to place `last`."""

    first: int
    last: int
    event: EventId

    def __post_init__(self) -> None:
        if not 1 <= self.first <= self.last:
            raise InputError("run", (self.first, self.last), "places of a chain in order, from 1")


class Knowledge(msgspec.Struct, frozen=True, kw_only=True):
    """What a side has.

    Attributes
    ----------
    format, versions : str, tuple of int
        `EXCHANGE`, and the versions of it that the side speaks.
    record : str
        Which record; one at a time.
    now : Moment
        The side's own clock.
    device : str
        Which device it writes as; empty where it has not written yet.
    runs : dict
        For each chain, in the record and beside it, runs that the side has. Those of the record reach from the
        beginning to the last event, to the one before it, and ever farther back, so that another side that has fallen
        behind, or whose line is another, finds the last one that both have.
    heads : tuple of str
        Events for which signed heads are kept.
    texts, tombstones, blobs : tuple of str
        Digests.
    """

    format: str
    versions: tuple[int, ...]
    record: RecordId
    now: Moment
    device: DeviceId
    runs: dict[DeviceId, tuple[Run, ...]]
    heads: tuple[EventId, ...] = ()
    texts: tuple[str, ...] = ()
    tombstones: tuple[str, ...] = ()
    blobs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Size:
    """How large a chunk gets; one item is always sent, however large. Set by the makers of this program.

    Attributes
    ----------
    items : int
        Most events, texts and blobs.
    size_bytes : int
        Most bytes before compression, unless one item alone is larger.
    """

    items: int = 2_000
    size_bytes: int = 2 * 1024 * 1024


@dataclass(frozen=True, slots=True, kw_only=True)
class Chunk:
    """A part of what another side is missing.

    Attributes
    ----------
    lines : tuple of bytes
        A small export.
    rest : str
        The mark to ask for the rest with; empty where there is none.
    left_out : tuple of str
        What is too large for an exchange and can only be carried in a file, by identity or digest.
    items : int
        Events, texts and blobs in it.
    """

    lines: tuple[bytes, ...]
    rest: str
    left_out: tuple[str, ...]
    items: int


def knowledge(store: Store, *, now: Moment) -> Knowledge:
    """What this side has, for telling it to another."""
    texts = store.texts()
    runs = {device: _runs_here(store, device, ends) for device, ends in tips(store).items()}
    for device, run in _runs_beside(waiting_envelopes(store)):
        runs[device] = (*runs.get(device, ()), run)
    return Knowledge(
        format=EXCHANGE,
        versions=EXCHANGE_VERSIONS,
        record=store.record_id(),
        now=now,
        device=store.device_id(),
        runs={device: runs[device][:MOST_RUNS] for device in sorted(runs)},
        heads=tuple(sorted({head.event for head in store.signed_heads()})),
        texts=tuple(text.digest for text in texts if not text.erased),
        tombstones=tuple(text.digest for text in texts if text.erased),
        blobs=tuple(store.blob_digests()),
    )


def knowledge_of_nothing(record: RecordId, *, now: Moment) -> Knowledge:
    """What a device has that was admitted to a record and holds nothing of it yet."""
    return Knowledge(format=EXCHANGE, versions=EXCHANGE_VERSIONS, record=record, now=now, device="", runs={})


def to_bytes(one: Knowledge) -> bytes:
    """Knowledge as JSON."""
    return _ENCODER.encode(one)


def from_bytes(body: bytes, *, limits: Limits | None = None) -> Knowledge:
    """Knowledge that another side has sent.

    Raises
    ------
    InputError
        If it is none, too large, or of versions that this program does not speak.
    """
    most = (limits or Limits()).total_bytes
    if len(body) > most:
        raise InputError("knowledge", f"{len(body)} bytes", f"at most {most} bytes")
    try:
        one = _DECODER.decode(body)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError("knowledge", body[:60], f"what a side of an exchange knows ({error})") from error
    if one.format != EXCHANGE:
        raise InputError("format", one.format, EXCHANGE)
    agreed_version(one)
    return one


def agreed_version(theirs: Knowledge) -> int:
    """The highest version of the exchange that both sides speak.

    Raises
    ------
    InputError
        If there is none.
    """
    both = set(theirs.versions) & set(EXCHANGE_VERSIONS)
    if not both:
        raise InputError(
            "versions",
            theirs.versions,
            f"one of {', '.join(map(str, EXCHANGE_VERSIONS))}",
            next_step="Bring the older of the two programs up to date",
        )
    return max(both)


def clock_offset_ms(theirs: Knowledge, *, now: Moment) -> int:
    """How far the other side's clock is ahead of the one here, give or take the way of the message. [ms]"""
    return theirs.now.epoch_ms - now.epoch_ms


def is_missing_something(store: Store, theirs: Knowledge, *, now: Moment) -> bool:
    """Whether this side has anything that the other does not."""
    return chunk(store, theirs, now=now, size=Size(items=1)).items > 0


def chunk(store: Store, theirs: Knowledge, *, now: Moment, rest: str = "", size: Size | None = None) -> Chunk:
    """The next part of what the other side is missing.

    Parameters
    ----------
    store : Store
        This side.
    theirs : Knowledge
        What the other side has told; for all chunks of one go the same.
    now : Moment
        The clock here; it travels in the first line.
    rest : str
        The mark of the chunk before; empty for the first.
    size : Size, optional
        How much at once.

    Raises
    ------
    InputError
        If the other side speaks of another record, or the mark is none of this program's.
    StoreError
        If something here is damaged: nothing damaged is handed on.
    """
    if theirs.record != store.record_id():
        raise InputError(
            "record", short(theirs.record), f"record {short(store.record_id())}, the one that is open here"
        )
    limit, most = size or Size(), Limits()
    body: list[bytes] = []
    devices: set[DeviceId] = set()
    left_out: list[str] = []
    total = 0
    mark, more = "", False
    for item in _missing(store, theirs, rest):
        line = item.line
        if len(line) > (most.blob_line_bytes if item.mark.startswith(_BLOB) else most.line_bytes):
            left_out.append(item.mark[2:])
            continue
        if body and (total + len(line) > limit.size_bytes or len(body) >= limit.items):
            more = True
            break
        body.append(line)
        total += len(line)
        mark = item.mark
        if item.device:
            devices.add(item.device)
    known_heads = set(theirs.heads)
    heads = [
        one for one in store.signed_heads() if one.device in devices or (not rest and one.event not in known_heads)
    ]
    lines = [
        line_of(Header(format=FORMAT, version=FORMAT_VERSION, record=store.record_id(), exported_at=now, heads={})),
        *(line_of(HeadLine(head=one)) for one in heads),
        *body,
    ]
    lines.append(line_of(EndLine(lines=len(lines))))
    new_heads = sum(one.event not in known_heads for one in heads)
    return Chunk(lines=tuple(lines), rest=mark if more else "", left_out=tuple(left_out), items=len(body) + new_heads)


def packed(lines: Iterable[bytes]) -> bytes:
    """Lines, compressed for the way."""
    return zlib.compress(b"".join(lines), 6)


def unpacked(body: bytes, *, limits: Limits | None = None) -> list[bytes]:
    """The lines in what `packed` made.

    Raises
    ------
    InputError
        If it is not that, or would be larger than the limits allow.
    """
    most = (limits or Limits()).total_bytes
    unpacking = zlib.decompressobj()
    try:
        text = unpacking.decompress(body, most + 1)
    except zlib.error as error:
        raise InputError("body", body[:20], "compressed lines") from error
    if len(text) > most:
        raise InputError("bytes", f"more than {most}", f"at most {most} at once", next_step="Send smaller parts")
    if not unpacking.eof:
        raise InputError("body", f"{len(body)} bytes", "whole; it was cut short", next_step="Send it again")
    return text.splitlines(keepends=True)


_EVENT, _WAITING, _TEXT, _BLOB = _PHASES = "ewtb"
"""In this order things are sent: events as they arrived here, so that causes come before effects, then the rest."""


class _Item(NamedTuple):
    """Something missing: its mark in the order of sending, its line, and the chain where it is an event."""

    mark: str
    line: bytes
    device: DeviceId = ""


def _missing(store: Store, theirs: Knowledge, rest: str) -> Iterator[_Item]:
    phase, name = _read_mark(rest)
    held = _Held(store)
    there = held.known_to(theirs)
    if phase <= _PHASES.index(_EVENT):
        yield from _missing_events(store, held, there, after=name if rest else "")
    if phase <= _PHASES.index(_WAITING):
        for identity, body in sorted(held.waiting_bodies.items()):
            if identity not in there and (phase < 1 or identity > name):
                line = line_of(EventLine(event=identity, body=body.decode()))
                yield _Item(f"{_WAITING}:{identity}", line, held.waiting[identity].device)
    if phase <= _PHASES.index(_TEXT):
        texts, tombstones = set(theirs.texts), set(theirs.tombstones)
        for text in store.texts():
            known = text.digest in tombstones or (text.digest in texts and not text.erased)
            if not known and (phase < 2 or text.digest > name):
                yield _Item(f"{_TEXT}:{text.digest}", line_of(text_line(text)))
    blobs = set(theirs.blobs)
    for digest in store.blob_digests():
        if digest not in blobs and (phase < 3 or digest > name):
            blob = store.blob(digest)
            if blob is None or event_id(blob) != digest:
                raise DamagedError(
                    f"Blob {short(digest)} is damaged", next_step="Verify the record; bring it back from a backup"
                )
            yield _Item(f"{_BLOB}:{digest}", line_of(blob_line(digest, blob)))


def _missing_events(store: Store, held: _Held, there: set[EventId], *, after: str) -> Iterator[_Item]:
    order = [entry.id for entry in held.index]
    # An event that was set apart since the last chunk leaves no place to go on from; then all are gone through again.
    start = order.index(after) + 1 if after in held.entries else 0
    own = store.device_id()
    signed = signed_places(store).get(own)
    for identity in order[start:]:
        entry = held.entries[identity]
        if identity in there:
            continue
        if entry.device == own and is_keyed(own) and (signed is None or entry.sequence > signed.sequence):
            continue  # written after the head was signed for this exchange: the next one brings it
        stored = next(one for one in store.find(identity, limit=1))
        checked_envelope(stored)
        line = line_of(EventLine(event=identity, body=stored.body.decode()))
        yield _Item(f"{_EVENT}:{identity}", line, entry.device)


class _Held:
    """What this side has, arranged for asking which of it another side knows."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self.index = store.index()
        self.entries = {entry.id: entry for entry in self.index}
        self.waiting_bodies = {event_id(body): body for body in store.waiting()}
        self.waiting = {identity: decode_envelope(body) for identity, body in self.waiting_bodies.items()}
        self._places: dict[DeviceId, dict[int, list[EventId]]] = {}
        for identity, entry in self.entries.items():
            self._places.setdefault(entry.device, {}).setdefault(entry.sequence, []).append(identity)
        for identity, one in self.waiting.items():
            self._places.setdefault(one.device, {}).setdefault(one.sequence, []).append(identity)

    def known_to(self, theirs: Knowledge) -> set[EventId]:
        """The events here that the other side has, as far as its runs tell."""
        there: set[EventId] = set()
        for device, runs in theirs.runs.items():
            places = self._places.get(device, {})
            parted = any(len(events) > 1 for events in places.values())
            for run in sorted(runs, key=lambda one: (-one.last, one.event)):
                if run.event in places.get(run.last, ()):
                    there |= self._line(run, places) if parted else _stretch(run, places)
        return there

    def _line(self, run: Run, places: Mapping[int, list[EventId]]) -> set[EventId]:
        line: set[EventId] = set()
        identity, sequence = run.event, run.last
        while sequence >= run.first and identity in places.get(sequence, ()):
            line.add(identity)
            identity, sequence = self._previous(identity), sequence - 1
        return line

    def _previous(self, identity: EventId) -> EventId:
        if identity in self.waiting:
            return self.waiting[identity].previous
        return checked_envelope(next(one for one in self._store.find(identity, limit=1))).previous


def _stretch(run: Run, places: Mapping[int, list[EventId]]) -> set[EventId]:
    """The same for a chain that has one line only: nothing has to be read for it."""
    stretch: set[EventId] = set()
    for sequence in range(run.last, run.first - 1, -1):
        if sequence not in places:  # here, too, something is missing in between
            break
        stretch.update(places[sequence])
    return stretch


def _runs_here(store: Store, device: DeviceId, ends: tuple[SeenHead, ...]) -> tuple[Run, ...]:
    """Runs of a chain in the record: from its ends, and from places ever farther back where it has one line."""
    runs = {end.event: Run(1, end.sequence, end.event) for end in ends}
    back = 1
    sequence = ends[-1].sequence - back
    while sequence >= 1:
        events = store.events_at(device, sequence)
        if len(events) == 1:
            runs.setdefault(events[0].id, Run(1, sequence, events[0].id))
        back *= 2
        sequence -= back
    return tuple(runs.values())


def _runs_beside(waiting: Mapping[EventId, Envelope]) -> Iterator[tuple[DeviceId, Run]]:
    """Runs of chains beside the record."""
    continued = {one.previous for one in waiting.values()}
    for end, one in sorted(waiting.items()):
        if end in continued:
            continue
        first = one
        while first.previous in waiting and waiting[first.previous].sequence == first.sequence - 1:
            first = waiting[first.previous]
        yield one.device, Run(first.sequence, one.sequence, end)


def _read_mark(rest: str) -> tuple[int, str]:
    if not rest:
        return 0, ""
    phase, colon, name = rest.partition(":")
    if not colon or phase not in tuple(_PHASES) or not is_event_id(name):
        raise InputError(
            "rest", rest[:80], "the mark that came with the chunk before", next_step="Begin again without it"
        )
    return _PHASES.index(phase), name


_ENCODER = msgspec.json.Encoder(order="sorted")
_DECODER = msgspec.json.Decoder(Knowledge)
