"""Merging: the union of two records, in any order, any number of times, without loss.

Every event is checked before it is taken. One that rests on an event which is not here yet waits beside the record
until that event comes, so the record is at every moment something that a device could have known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from loopworthy.record.copies import become_new_device
from loopworthy.record.erasable import is_true, tombstone
from loopworthy.record.events import TEXT_ERASED, TextErased
from loopworthy.record.exchange import (
    BlobLine,
    EndLine,
    EventLine,
    Line,
    TextLine,
    blob_of,
    read_header,
    read_line,
    text_of,
)
from loopworthy.record.forks import Fork, forks
from loopworthy.record.order import link_fault, rests_on
from loopworthy.record.registry import Registry
from loopworthy.record.store import Store, checked_envelope
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import Envelope, decode_envelope
from loopworthy.vocabulary.identity import EventId, RecordId, event_id, short


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """Something that was not taken, and why.

    Attributes
    ----------
    line : int
        Its line in the file, from 1; 0 for an event that had waited here since an earlier merge.
    event : str
        The event, as far as that is known; else empty.
    why : str
        The reason, in words.
    """

    line: int
    event: EventId
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeReport:
    """What a merge did.

    Attributes
    ----------
    record : str
        The record that was merged into.
    taken, already_here : int
        Events that were new here, and events that were not.
    waiting : tuple of str
        Events that rest on something which has not arrived yet; kept beside the record.
    refused : tuple of Refusal
        What was not taken.
    forks : tuple of Fork
        All forks that the record has now.
    unknown_kinds : dict
        Taken events whose kind and version this program does not know, counted; they are kept as they are.
    texts_taken, texts_erased, blobs_taken : int
        What was new beside the chains.
    new_device : bool
        Whether the file brought events of this device's own chain, so that this store is an old copy and writes as
        a new device from now on.
    whole : bool
        Whether the file reached its own last line.
    """

    record: RecordId
    taken: int
    already_here: int
    waiting: tuple[EventId, ...]
    refused: tuple[Refusal, ...]
    forks: tuple[Fork, ...]
    unknown_kinds: dict[str, int]
    texts_taken: int
    texts_erased: int
    blobs_taken: int
    new_device: bool
    whole: bool


def merge(store: Store, registry: Registry, lines: Iterable[bytes], *, adopt: bool = False) -> MergeReport:
    """Take everything from an export that is not here yet; all of it or, after an exception, nothing.

    Parameters
    ----------
    store : Store
        Where to.
    registry : Registry
        Only for telling which kinds are not known here.
    lines : iterable of bytes
        The export, as `export_lines` gives it.
    adopt : bool
        Whether an empty store becomes a store of the exported record.

    Raises
    ------
    InputError
        If it is not an export, or one of another record.
    StoreError
        If the store could not keep it.
    """
    numbered = enumerate(lines, start=1)
    header = read_header(next(numbered, (0, b""))[1])
    with store.transaction():
        _require_record(store, header.record, adopt=adopt)
        merging = _Merging(store, registry)
        for number, line in numbered:
            if line.strip():
                merging.read(number, line)
        return merging.finish()


def _require_record(store: Store, record: RecordId, *, adopt: bool) -> None:
    here = store.record_id()
    if not record:
        raise InputError("record", record, "the identity of a record")
    if not here and not adopt:
        raise InputError(
            "record", short(record), "the record of this store, which is empty", next_step="Ask to adopt the record"
        )
    if here and here != record:
        raise InputError(
            "record", short(record), f"record {short(here)} of this store", next_step="Merge it into a file of its own"
        )
    store.set_record_id(record)


@dataclass(slots=True)
class _Merging:
    store: Store
    registry: Registry
    bodies: dict[EventId, bytes] = field(default_factory=dict)
    candidates: dict[EventId, Envelope] = field(default_factory=dict)
    line_of: dict[EventId, int] = field(default_factory=dict)
    known: dict[EventId, Envelope] = field(default_factory=dict)
    refused: list[Refusal] = field(default_factory=list)
    already_here: int = 0
    texts_taken: int = 0
    texts_erased: int = 0
    blobs_taken: int = 0
    whole: bool = False

    def read(self, number: int, line: bytes) -> None:
        event = ""
        try:
            parsed = read_line(line)
            event = parsed.event if isinstance(parsed, EventLine) else ""
            self._keep(number, parsed)
        except InputError as error:
            self.refused.append(Refusal(line=number, event=event, why=error.message))

    def _keep(self, number: int, line: Line) -> None:
        match line:
            case EventLine():
                self._keep_event(number, line.event, line.body.encode())
            case TextLine():
                text = text_of(line)
                if not is_true(text):
                    raise InputError("text", short(line.text), "the salted hash of its words")
                if self.store.put_text(text):
                    self.texts_erased += text.erased
                    self.texts_taken += not text.erased
            case BlobLine():
                body = blob_of(line)
                if self.store.blob(line.blob) is None:
                    self.store.put_blob(body)
                    self.blobs_taken += 1
            case EndLine():
                self.whole = line.lines == number - 1
                if not self.whole:
                    raise InputError("lines", number - 1, f"{line.lines}, as the last line says")

    def _keep_event(self, number: int, identity: EventId, body: bytes) -> None:
        if event_id(body) != identity:
            raise InputError("event", short(identity), "the hash of its bytes")
        if self.store.has(identity):
            self.already_here += 1
        elif identity not in self.candidates:
            envelope = decode_envelope(body)
            if envelope.record != self.store.record_id():
                raise InputError("record", short(envelope.record), f"record {short(self.store.record_id())}")
            self.candidates[identity] = envelope
            self.bodies[identity] = body
            self.line_of[identity] = number

    def finish(self) -> MergeReport:
        for body in self.store.waiting():
            self._keep_waiting(body)
        taken: list[EventId] = []
        waiting: list[EventId] = []
        # An event that can be taken has a later clock than all it rests on: one walk in clock order finds every one.
        for identity in sorted(self.candidates, key=self._order):
            envelope = self.candidates[identity]
            if not all(self._recall(one) for one in rests_on(envelope)):
                waiting.append(identity)
            elif fault := link_fault(envelope, self.known):
                self.refused.append(Refusal(line=self.line_of.get(identity, 0), event=identity, why=fault))
            else:
                taken.append(identity)
                self.known[identity] = envelope
        self.store.take(self.bodies[identity] for identity in taken)
        self.store.replace_waiting(self.bodies[identity] for identity in waiting)
        unknown = self._look_at(taken)
        own = self.store.device_id()
        copied = bool(own) and any(self.candidates[one].device == own for one in (*taken, *waiting))
        if copied:
            become_new_device(self.store)
        return MergeReport(
            record=self.store.record_id(),
            taken=len(taken),
            already_here=self.already_here,
            waiting=tuple(waiting),
            refused=tuple(sorted(self.refused, key=lambda one: one.line)),
            forks=forks(self.store),
            unknown_kinds=unknown,
            texts_taken=self.texts_taken,
            texts_erased=self.texts_erased,
            blobs_taken=self.blobs_taken,
            new_device=copied,
            whole=self.whole,
        )

    def _keep_waiting(self, body: bytes) -> None:
        identity = event_id(body)
        if identity not in self.candidates:
            self.candidates[identity] = decode_envelope(body)
            self.bodies[identity] = body

    def _order(self, identity: EventId) -> tuple[int, int, str, int, str]:
        one = self.candidates[identity]
        return (one.clock.wall_ms, one.clock.counter, one.device, one.sequence, identity)

    def _recall(self, identity: EventId) -> bool:
        if identity not in self.known:
            found = self.store.find(identity, limit=1)
            if not found or found[0].id != identity:
                return False
            self.known[identity] = checked_envelope(found[0])
        return True

    def _look_at(self, taken: list[EventId]) -> dict[str, int]:
        unknown: Counter[str] = Counter()
        for identity in taken:
            envelope = self.candidates[identity]
            if not self.registry.knows(envelope):
                unknown[f"{envelope.kind} {envelope.version}"] += 1
            if envelope.kind == TEXT_ERASED:
                payload = self.registry.decode_payload(envelope)
                if isinstance(payload, TextErased):
                    self.texts_erased += self.store.put_text(tombstone(payload.digest))
        return dict(sorted(unknown.items()))
