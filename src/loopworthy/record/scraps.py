"""Scraps: one or a few events as one line of text, short enough for a QR code, and back.

A scrap carries the bytes of its events, the signed heads that speak for them, and texts that they name. It comes out
as the lines of a small export and goes the way of every other one: checked before anything of it is taken.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from typing import Final

import msgspec

from loopworthy.record import base45
from loopworthy.record.exchange import FORMAT, FORMAT_VERSION, EndLine, EventLine, Header, HeadLine, line_of, text_line
from loopworthy.record.placing import waiting_envelopes
from loopworthy.record.signing import PUBLIC_KEY_BYTES, SIGNATURE_BYTES, SignedHead, device_of, is_keyed
from loopworthy.record.store import KeptText, Store, checked_envelope
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import Envelope
from loopworthy.vocabulary.identity import EventId, RecordId, event_id, short
from loopworthy.vocabulary.time import Moment

MARK: Final = "LW1:"
"""How a scrap begins: the form of what follows."""
END: Final = "/"
"""How it ends, so that a blank at the end is not lost on the way."""

MOST_CHARACTERS: Final = 1_200
"""Longest scrap. A code with so many modules still reads from one phone's screen to another (from memory: confirm)."""
MOST_BYTES: Final = 64 * 1024
"""Most bytes that are unpacked from one."""

_USUAL: Final = (
    b'","subjects":["","typed_by":"","version":1}'
    b'{"clock":{"counter":0,"wall_ms":17},"device":"","kind":"record.chain-opened","occurred_at":{"at":"2026-'
    b'T00:00:00+02:00","zone":"Europe/"},"payload":{"continues":"","device_name":"","invented":false,"public_key":"",'
    b'"record_title":""},"previous":"","read_by":"","record":"","recorded_at":{"at":"2026-","zone":"UTC"},"seen":{"'
    b'":{"event":"","sequence":1}},"sequence":1,"kind":"judgement.evidence-recorded","kind":"unit.change-declared",'
    b'"payload":{"answers":{},"readings":{"":{"resolution":"","unit":"mV","value":""}},"used":[""],"step":""'
)
"""What events often hold; both sides know it, so that it need not travel. Part of the form: it never changes."""


class _Scrap(msgspec.Struct, frozen=True, array_like=True):
    record: bytes
    now: str
    zone: str
    heads: tuple[tuple[int, bytes, bytes, bytes], ...]
    events: tuple[bytes, ...]
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
        Which. Between each of them and a signed head of its chain all have to come along, or be on the other side.
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
    wanted = list(dict.fromkeys(events))
    bodies = {identity: _body(store, identity) for identity in wanted}
    envelopes = {identity: envelope for identity, (envelope, _) in bodies.items()}
    speaking = _speaking(envelopes, (*store.signed_heads(), *heads))
    value = _Scrap(
        record=bytes.fromhex(store.record_id()),
        now=now.at,
        zone=now.zone,
        heads=tuple(
            (one.sequence, bytes.fromhex(one.event), bytes.fromhex(one.public_key), bytes.fromhex(one.signature))
            for one in speaking
        ),
        events=tuple(bodies[identity][1] for identity in wanted),
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


def lines_in(text: str) -> list[bytes]:
    """The lines of the small export that a scrap stands for; `receiving.receive` takes them.

    Raises
    ------
    InputError
        If the text is no scrap, or a damaged one.
    """
    line = text.strip()
    if not line.startswith(MARK) or not line.endswith(END):
        raise InputError("scrap", line[:20], f"a line from {MARK} to {END}", next_step="Read the whole code again")
    value = _unpacked(base45.decode(line[len(MARK) : -len(END)]))
    record = value.record.hex()
    lines = [
        line_of(
            Header(
                format=FORMAT,
                version=FORMAT_VERSION,
                record=record,
                exported_at=Moment(at=value.now, zone=value.zone),
                heads={},
            )
        ),
        *(line_of(HeadLine(head=_head(record, *one))) for one in value.heads),
    ]
    for body in value.events:
        try:
            lines.append(line_of(EventLine(event=event_id(body), body=body.decode())))
        except UnicodeDecodeError as error:
            raise InputError("event", body[:20], "text") from error
    lines += [
        line_of(text_line(KeptText(digest=digest.hex(), salt=salt, words=words))) for digest, salt, words in value.texts
    ]
    return [*lines, line_of(EndLine(lines=len(lines)))]


def _body(store: Store, identity: EventId) -> tuple[Envelope, bytes]:
    found = store.find(identity, limit=1)
    if found and found[0].id == identity:
        return checked_envelope(found[0]), found[0].body
    waiting = waiting_envelopes(store)
    if identity in waiting:
        return waiting[identity], next(body for body in store.waiting() if event_id(body) == identity)
    raise UnknownNameError("event", identity)


def _speaking(envelopes: dict[EventId, Envelope], heads: tuple[SignedHead, ...]) -> list[SignedHead]:
    """For each event of a keyed chain the nearest signed head at or after it."""
    chosen: dict[EventId, SignedHead] = {}
    for identity, one in envelopes.items():
        if not is_keyed(one.device):
            continue
        later = [head for head in heads if head.device == one.device and head.sequence >= one.sequence]
        exact = [head for head in later if head.event == identity]
        if not later:
            raise InputError(
                "event",
                short(identity),
                "one for which its device has signed",
                next_step="Sign its head, then try again",
            )
        head = exact[0] if exact else min(later, key=lambda one: one.sequence)
        chosen[head.event] = head
    return sorted(chosen.values())


def _packed_text(store: Store, digest: str) -> tuple[bytes, bytes | None, str | None]:
    text = store.text(digest)
    if text is None:
        raise UnknownNameError("erasable text", digest)
    return bytes.fromhex(digest), text.salt, text.words


def _head(record: RecordId, sequence: int, event: bytes, public_key: bytes, signature: bytes) -> SignedHead:
    if len(public_key) != PUBLIC_KEY_BYTES or len(signature) != SIGNATURE_BYTES:
        raise InputError("signature", short(signature.hex()), "key and signature of Ed25519")
    key = public_key.hex()
    return SignedHead(
        record=record,
        device=device_of(record, key),
        sequence=sequence,
        event=event.hex(),
        public_key=key,
        signature=signature.hex(),
    )


def _unpacked(body: bytes) -> _Scrap:
    unpacking = zlib.decompressobj(-15, zdict=_USUAL)
    try:
        packed = unpacking.decompress(body, MOST_BYTES + 1)
        if len(packed) > MOST_BYTES or not unpacking.eof:
            raise InputError("scrap", f"{len(body)} bytes", "whole, and small", next_step="Read the whole code again")
        return _DECODER.decode(packed)
    except (zlib.error, msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError("scrap", body[:10].hex(), f"sound ({error})", next_step="Read the code again") from error


_DECODER = msgspec.msgpack.Decoder(_Scrap)
