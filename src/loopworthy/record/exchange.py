"""The record as lines of JSON, for carrying it to another device and for reading it without this program.

First a line that says what follows, then one line for each signed head, each event in the total order, each text,
each blob, and a last line with the number of lines, so that a file cut short is seen. An event's bytes travel as a
JSON string and come out as they went in.
"""

from __future__ import annotations

import base64
import binascii
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Final

import msgspec

from loopworthy.record.signing import SignedHead
from loopworthy.record.store import Heads, KeptText, Store, StoredEvent, checked_envelope
from loopworthy.vocabulary.errors import InputError, StoreError
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import EventId, RecordId, event_id, short
from loopworthy.vocabulary.time import Moment

FORMAT: Final = "loopworthy-record"
FORMAT_VERSION: Final = 2
READABLE_VERSIONS: Final = (1, 2)
"""Version 1 had no signed heads."""


class Header(msgspec.Struct, frozen=True, kw_only=True):
    """The first line: which record, as of when, and the last event of each chain in the file."""

    format: str
    version: int
    record: RecordId
    exported_at: Moment
    heads: Heads


class EventLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An event: its identity and its bytes."""

    event: EventId
    body: str


class HeadLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A head that its device has signed."""

    head: SignedHead


class TextLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, omit_defaults=True):
    """An erasable text with its salt in hexadecimal digits, or, without both, its tombstone."""

    text: str
    salt: str | None = None
    words: str | None = None


class BlobLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A blob: its SHA-256 and its bytes."""

    blob: str
    base64: str


class EndLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The last line: how many lines came before it."""

    lines: int


Line = EventLine | HeadLine | TextLine | BlobLine | EndLine


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much is taken at once from somebody else; set by the makers of this program, decision 0014.

    Attributes
    ----------
    line_bytes : int
        Longest line that is not a blob's. The longest honest one is the event that adopts a catalogue with its full
        text: a quarter of a MiB for the shipped one, more with an owner's files.
    blob_line_bytes : int
        Longest line of a blob, which travels a third longer than it is.
    lines : int
        Most lines.
    total_bytes : int
        All lines together.
    """

    line_bytes: int = 2 * 1024 * 1024
    blob_line_bytes: int = 24 * 1024 * 1024
    lines: int = 5_000
    total_bytes: int = 32 * 1024 * 1024


def within(lines: Iterable[bytes], limits: Limits) -> Iterator[bytes]:
    """The lines, as long as they keep to the limits.

    Raises
    ------
    InputError
        At the first line that does not.
    """
    total = 0
    for number, line in enumerate(lines, start=1):
        longest = limits.blob_line_bytes if line.startswith(_BLOB_LINES) else limits.line_bytes
        total += len(line)
        if len(line) > longest:
            raise InputError("line", f"line {number} of {len(line)} bytes", f"at most {longest} bytes long")
        if number > limits.lines:
            raise InputError("lines", number, f"at most {limits.lines} at once", next_step="Send smaller parts")
        if total > limits.total_bytes:
            raise InputError("bytes", total, f"at most {limits.total_bytes} at once", next_step="Send smaller parts")
        yield line


def export_lines(
    store: Store, *, exported_at: Moment, leave_out: Callable[[StoredEvent], None] | None = None
) -> Iterator[bytes]:
    """The whole record, line by line, each with its line feed.

    Parameters
    ----------
    store : Store
        May be written to meanwhile; what comes later than the start is not in the export.
    exported_at : Moment
        Goes into the first line; all else depends on the record alone.
    leave_out : callable, optional
        For rescue: called with each damaged event, which is then left out. Without it a damaged event stops the
        export.

    Raises
    ------
    StoreError
        If an event's bytes no longer fit its hash.
    """
    waiting = {event_id(body): body for body in store.waiting()}
    events: dict[EventId, bytes] = {}
    heads: Heads = {}
    for stored in store.events_in_order():
        try:
            envelope = checked_envelope(stored)
        except StoreError:
            if leave_out is None:
                raise
            leave_out(stored)
            continue
        events[stored.id] = stored.body
        head = heads.get(envelope.device)
        if head is None or (envelope.sequence, stored.id) > (head.sequence, head.event):
            heads[envelope.device] = SeenHead(sequence=envelope.sequence, event=stored.id)
    yield line_of(
        Header(format=FORMAT, version=FORMAT_VERSION, record=store.record_id(), exported_at=exported_at, heads=heads)
    )
    count = 1
    for signed in store.signed_heads():
        yield line_of(HeadLine(head=signed))
        count += 1
    # Waiting events travel too: what could not be placed here may be placed there.
    for identity, body in (events | {one: waiting[one] for one in waiting if one not in events}).items():
        yield line_of(EventLine(event=identity, body=body.decode()))
        count += 1
    for text in store.texts():
        yield line_of(text_line(text))
        count += 1
    for digest in store.blob_digests():
        blob = store.blob(digest)
        if blob is not None:
            yield line_of(blob_line(digest, blob))
            count += 1
    yield line_of(EndLine(lines=count))


def read_header(line: bytes) -> Header:
    """The first line of an export.

    Raises
    ------
    InputError
        If it is not one, or one of a version that is not known here.
    """
    try:
        header = _HEADER.decode(line)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError("file", line[:60], "an exported record", next_step="Export it again on the device") from error
    if header.format != FORMAT:
        raise InputError("format", header.format, FORMAT)
    if header.version not in READABLE_VERSIONS:
        raise InputError(
            "version", header.version, f"{FORMAT_VERSION} or lower", next_step="Read it with the newer program"
        )
    return header


def read_line(line: bytes) -> Line:
    """A line after the first.

    Raises
    ------
    InputError
        If it is not event, text, blob or end.
    """
    for decoder in _LINES:
        try:
            return decoder.decode(line)
        except (msgspec.MsgspecError, UnicodeDecodeError):
            continue
    raise InputError("line", line[:60], "an event, a signed head, a text, a blob or the end")


def line_of(value: Header | Line) -> bytes:
    """A line with its line feed."""
    return _ENCODER.encode(value) + b"\n"


def text_line(text: KeptText) -> TextLine:
    """A text or a tombstone as a line."""
    return TextLine(text=text.digest, salt=text.salt.hex() if text.salt is not None else None, words=text.words)


def blob_line(digest: str, body: bytes) -> BlobLine:
    """A blob as a line."""
    return BlobLine(blob=digest, base64=base64.b64encode(body).decode())


def text_of(line: TextLine) -> KeptText:
    """The text or tombstone in a line; whether it fits its digest is not checked here."""
    try:
        salt = bytes.fromhex(line.salt) if line.salt is not None else None
    except ValueError as error:
        raise InputError("salt", line.salt, f"hexadecimal digits (text {short(line.text)})") from error
    return KeptText(digest=line.text, salt=salt, words=line.words)


def blob_of(line: BlobLine) -> bytes:
    """The bytes in a line, after comparing them with their digest.

    Raises
    ------
    InputError
        If they do not fit it.
    """
    try:
        body = base64.b64decode(line.base64, validate=True)
    except binascii.Error as error:
        raise InputError("base64", line.base64[:20], f"base64 (blob {short(line.blob)})") from error
    if event_id(body) != line.blob:
        raise InputError("blob", short(line.blob), "the SHA-256 of its bytes")
    return body


_BLOB_LINES: Final = (b'{"base64":', b'{"blob":')
_ENCODER = msgspec.json.Encoder(order="sorted")
_HEADER = msgspec.json.Decoder(Header)
_LINES: tuple[msgspec.json.Decoder[Line], ...] = (
    msgspec.json.Decoder(EventLine),
    msgspec.json.Decoder(HeadLine),
    msgspec.json.Decoder(TextLine),
    msgspec.json.Decoder(BlobLine),
    msgspec.json.Decoder(EndLine),
)
