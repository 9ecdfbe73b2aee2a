"""Scraps: one or a few events as one line of text, short enough for a QR code, and back.

A scrap carries its events, the signatures that speak for them, and texts that they name. Hashes of what the other side
must have anyway are cut to eight bytes and found there again; whether the right ones were found is shown by the
signature, which is over the whole. What no other device has seen yet stays whole, so that lines may come in any order.
What comes out are the lines of a small export, which go the way of every other one.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable, Mapping
from typing import Final

import msgspec

from loopworthy.record import base45
from loopworthy.record.exchange import FORMAT, FORMAT_VERSION, EndLine, EventLine, Header, HeadLine, line_of, text_line
from loopworthy.record.order import public_key_in
from loopworthy.record.signing import SIGNATURE_BYTES, SignedHead, is_keyed
from loopworthy.record.store import KeptText, Store, checked_envelope
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import Envelope, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, event_id, short
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms

MARK: Final = "LW1:"
"""How a scrap begins: the form of what follows."""
END: Final = "/"
"""How it ends, so that a blank at the end is not lost on the way."""

MOST_CHARACTERS: Final = 1_200
"""Longest scrap: about the twentieth of the forty sizes of a QR code (from memory: confirm), which one phone still
reads from the screen of another."""
MOST_BYTES: Final = 64 * 1024
"""Most bytes that are unpacked from one."""

CUT_BYTES: Final = 8
"""What is left of a hash that the other side has; eight bytes tell a thousand million events apart."""

_HASH: Final = re.compile("(?<![0-9a-f])(?:[0-9a-f]{64}|[0-9a-f]{32})(?![0-9a-f])")
_WHOLE, _EVENT, _DEVICE, _AGAIN = "\x01", "\x02", "\x03", "\x04"
_PLACES: Final = re.compile(f"[{_WHOLE}{_EVENT}{_DEVICE}]|{_AGAIN}(.)", re.DOTALL)
"""What stands in an event in place of a hash; JSON itself never holds these characters."""

_USUAL: Final = (
    b'"payload":{"reason":"","kind":"","answers":{},"measurements":{},"position":"","serial":"","name":"","note":""},'
    b'"kind":"unit.change-made","kind":"unit.part-fitted","kind":"unit.part-removed","kind":"unit.thing-created",'
    b'"kind":"unit.content-placed","kind":"judgement.hold-passed","kind":"record.chain-opened","payload":{"continues":"",'
    b'"device_name":"","invented":false,"public_key":"","record_title":""},"kind":"record.heads-received","payload":'
    b'{"heads":[],"offsets":[]},{"act":"","clock":{"counter":0,"wall_ms":17},"device":"\x03","kind":'
    b'"judgement.evidence-recorded","occurred_at":{"at":"2026-01-01T00:00:00.000000+02:00","zone":"Europe/"},"payload":'
    b'{"answers":{},"context":[],"instruments":["\x02"],"readings":{"value":{"shown_to":null,"unit":"mV","value":"1"}},'
    b'"step":"","used":["\x02"]},"previous":"\x02","read_by":"\x02","record":"\x01","recorded_at":{"at":"2026-",'
    b'"zone":"UTC"},"seen":{"\x03":{"event":"\x02","sequence":1},"\x03":{"event":"\x02","sequence":2}},"sequence":1,'
    b'"subjects":["\x02","\x02"],"typed_by":"\x02","version":1}'
)
"""What events often hold; both sides know it, so that it need not travel. Part of the form: it never changes."""


class _Head(msgspec.Struct, frozen=True, array_like=True):
    """A signature, and over which event: by its number here, or by its hash and place."""

    signature: bytes
    number: int
    event: bytes = b""
    device: bytes = b""
    sequence: int = 0
    public_key: bytes = b""


class _Scrap(msgspec.Struct, frozen=True, array_like=True):
    record: bytes
    now_ms: int
    hashes: tuple[bytes, ...]
    events: tuple[str, ...]
    heads: tuple[_Head, ...]
    texts: tuple[tuple[bytes, bytes | None, str | None], ...] = ()


def scrap(
    store: Store, events: Iterable[EventId], *, now: Moment, heads: Iterable[SignedHead] = (), texts: Iterable[str] = ()
) -> str:
    """Some events as one line of text.

    Parameters
    ----------
    store : Store
        Where they are, in the record or beside it.
    events : iterable of str
        Which. What they rest on has to be on the other side, or to come along before them.
    now : Moment
        The clock here.
    heads : iterable of SignedHead
        Signed heads beside those that are kept here, for example of the very event (`signing.signed_head`).
    texts : iterable of str
        Digests of erasable texts to send along.

    Raises
    ------
    UnknownNameError
        If an event or text is not here.
    InputError
        If it is too much for one code, or no signed head speaks for an event of a keyed chain.
    """
    bodies = {identity: _body(store, identity) for identity in dict.fromkeys(events)}
    envelopes = {identity: decode_envelope(body) for identity, body in bodies.items()}
    numbers = {identity: number for number, identity in enumerate(bodies)}
    cutting = _Cutting(store, envelopes)
    cut = tuple(cutting.cut(body.decode()) for body in bodies.values())
    value = _Scrap(
        record=bytes.fromhex(store.record_id()),
        now_ms=now.epoch_ms,
        hashes=tuple(cutting.hashes),
        events=cut,
        heads=tuple(
            _packed_head(one, numbers, with_key=one.device in cutting.new_devices)
            for one in _speaking(envelopes, (*store.signed_heads(), *heads))
        ),
        texts=tuple(_packed_text(store, digest) for digest in texts),
    )
    packing = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_DEFAULT_STRATEGY, _USUAL)
    body = packing.compress(msgspec.msgpack.encode(value)) + packing.flush()
    line = f"{MARK}{base45.encode(body)}{END}"
    if len(line) > MOST_CHARACTERS:
        raise InputError(
            "scrap",
            f"{len(line)} characters",
            f"at most {MOST_CHARACTERS} characters long",
            next_step="Send fewer events at once, or carry the record in a file",
        )
    return line


def lines_in(text: str, store: Store) -> list[bytes]:
    """The lines of the small export that a scrap stands for; `receiving.receive` takes them.

    Parameters
    ----------
    text : str
        What was scanned or typed; blanks around it do not matter.
    store : Store
        Where what the scrap's events rest on is looked up; nothing is written.

    Raises
    ------
    InputError
        If the text is no scrap, a damaged one, one of another record, or one that rests on what is not here.
    """
    line = text.strip()
    if not line.startswith(MARK) or not line.endswith(END):
        raise InputError("scrap", line[:20], f"a line from {MARK} to {END}", next_step="Read the whole code again")
    value = _unpacked(base45.decode(line[len(MARK) : -len(END)]))
    record = value.record.hex()
    if record != store.record_id():
        raise InputError("record", short(record), f"record {short(store.record_id())} of this store")
    finding = _Finding(store, value.hashes)
    bodies = [finding.fill(cut).encode() for cut in value.events]
    envelopes = [decode_envelope(body) for body in bodies]
    heads = [_head(store, one, bodies, envelopes) for one in value.heads]
    lines = [
        line_of(
            Header(
                format=FORMAT,
                version=FORMAT_VERSION,
                record=record,
                exported_at=_moment(value.now_ms),
                heads={},
            )
        ),
        *(line_of(HeadLine(head=head)) for head in heads),
        *(line_of(EventLine(event=event_id(body), body=body.decode())) for body in bodies),
        *(
            line_of(text_line(KeptText(digest=digest.hex(), salt=salt, words=words)))
            for digest, salt, words in value.texts
        ),
    ]
    return [*lines, line_of(EndLine(lines=len(lines)))]


class _Cutting:
    """Takes the hashes out of events, each once, and cuts those that the other side must have."""

    def __init__(self, store: Store, along: Mapping[EventId, Envelope]) -> None:
        self._store = store
        self._along = along
        self._seen = _seen_elsewhere(store, {one.device for one in along.values()})
        self.new_devices = {device for device, sequence in self._seen.items() if not sequence}
        self._devices = set(store.heads())
        self._numbers: dict[str, int] = {}
        self.hashes: list[bytes] = []

    def cut(self, body: str) -> str:
        return _HASH.sub(lambda found: self._place(found.group()), body)

    def _place(self, text: str) -> str:
        if text in self._numbers:
            return _AGAIN + chr(_FIRST + self._numbers[text])
        self._numbers[text] = len(self._numbers)
        raw = bytes.fromhex(text)
        if text in self._along or self._is_known_elsewhere(text):
            self.hashes.append(raw[:CUT_BYTES])
            return _EVENT
        if text in self._devices and text not in self.new_devices:
            self.hashes.append(raw[:CUT_BYTES])
            return _DEVICE
        self.hashes.append(raw)
        return _WHOLE

    def _is_known_elsewhere(self, identity: EventId) -> bool:
        found = self._store.find(identity, limit=1)
        if not found or found[0].id != identity:
            return False
        one = checked_envelope(found[0])
        return one.sequence <= self._seen.get(one.device, one.sequence)


class _Finding:
    """Puts the hashes back, from the scrap, from its own earlier events, or from the store."""

    def __init__(self, store: Store, hashes: tuple[bytes, ...]) -> None:
        self._store = store
        self._hashes = iter(hashes)
        self._found: list[str] = []
        self._along: list[EventId] = []

    def fill(self, cut: str) -> str:
        body = _PLACES.sub(lambda place: self._hash(place.group(), place.group(1)), cut)
        self._along.append(event_id(body.encode()))
        return body

    def _hash(self, place: str, again: str | None) -> str:
        if again is not None:
            number = ord(again) - _FIRST
            if not 0 <= number < len(self._found):
                raise InputError("scrap", number, "sound", next_step="Read the code again")
            return self._found[number]
        raw = next(self._hashes, None)
        if raw is None:
            raise InputError("scrap", len(self._found), "sound: a hash is missing", next_step="Read the code again")
        text = raw.hex() if place == _WHOLE else self._whole(raw.hex(), devices=place == _DEVICE)
        self._found.append(text)
        return text

    def _whole(self, beginning: str, *, devices: bool) -> str:
        known: Iterable[str] = self._store.heads() if devices else self._along
        found = [one for one in known if one.startswith(beginning)]
        if not devices:
            found += [one.id for one in self._store.find(beginning)]
        if len(set(found)) != 1:
            raise InputError(
                "scrap",
                beginning,
                "about what is here: it rests on something that has not arrived",
                next_step="Exchange over a network or by file first",
            )
        return found[0]


def _body(store: Store, identity: EventId) -> bytes:
    found = store.find(identity, limit=1)
    if found and found[0].id == identity:
        checked_envelope(found[0])
        return found[0].body
    for body in store.waiting():
        if event_id(body) == identity:
            return body
    raise UnknownNameError("event", identity)


def _speaking(envelopes: Mapping[EventId, Envelope], heads: tuple[SignedHead, ...]) -> list[SignedHead]:
    """For each event of a keyed chain the nearest signed head at or after it."""
    chosen: dict[EventId, SignedHead] = {}
    for identity, one in envelopes.items():
        if not is_keyed(one.device):
            continue
        later = [head for head in heads if head.device == one.device and head.sequence >= one.sequence]
        if not later:
            raise InputError(
                "event", short(identity), "one for which its device has signed", next_step="Sign its head first"
            )
        head = min(later, key=lambda head: (head.sequence, head.event != identity))
        chosen[head.event] = head
    return sorted(chosen.values())


def _seen_elsewhere(store: Store, devices: set[DeviceId]) -> dict[DeviceId, int]:
    """For each of these devices the last place of its chain that any other device has seen; 0 for none."""
    seen = dict.fromkeys(devices, 0)
    for other, head in store.heads().items():
        last = checked_envelope(store.find(head.event, limit=1)[0])
        for device in devices - {other}:
            if device in last.seen:
                seen[device] = max(seen[device], last.seen[device].sequence)
    return seen


def _packed_head(one: SignedHead, numbers: Mapping[EventId, int], *, with_key: bool) -> _Head:
    signature = bytes.fromhex(one.signature)
    key = bytes.fromhex(one.public_key) if with_key else b""
    if one.event in numbers:
        return _Head(signature, numbers[one.event], public_key=key)
    return _Head(signature, -1, bytes.fromhex(one.event), bytes.fromhex(one.device), one.sequence, key)


def _packed_text(store: Store, digest: str) -> tuple[bytes, bytes | None, str | None]:
    text = store.text(digest)
    if text is None:
        raise UnknownNameError("erasable text", digest)
    return bytes.fromhex(digest), text.salt, text.words


def _head(store: Store, one: _Head, bodies: list[bytes], envelopes: list[Envelope]) -> SignedHead:
    if len(one.signature) != SIGNATURE_BYTES:
        raise InputError("signature", short(one.signature.hex()), "one of Ed25519")
    if 0 <= one.number < len(bodies):
        event, envelope = event_id(bodies[one.number]), envelopes[one.number]
        device, sequence = envelope.device, envelope.sequence
    else:
        event, device, sequence = one.event.hex(), one.device.hex(), one.sequence
    openings = (checked_envelope(stored) for stored in store.events_at(device, 1))
    return SignedHead(
        record=store.record_id(),
        device=device,
        sequence=sequence,
        event=event,
        public_key=one.public_key.hex() or next(map(public_key_in, openings), ""),
        signature=one.signature.hex(),
    )


def _moment(now_ms: int) -> Moment:
    try:
        return moment_from_epoch_ms(now_ms)
    except (ValueError, OverflowError, OSError) as error:
        raise InputError("now_ms", now_ms, "a moment", next_step="Read the code again") from error


def _unpacked(body: bytes) -> _Scrap:
    unpacking = zlib.decompressobj(-15, zdict=_USUAL)
    try:
        packed = unpacking.decompress(body, MOST_BYTES + 1)
        if len(packed) > MOST_BYTES or not unpacking.eof:
            raise InputError("scrap", f"{len(body)} bytes", "whole, and small", next_step="Read the whole code again")
        return _DECODER.decode(packed)
    except (zlib.error, msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError("scrap", body[:10].hex(), f"sound ({error})", next_step="Read the code again") from error


_FIRST: Final = 0x20
_DECODER = msgspec.msgpack.Decoder(_Scrap)
