"""Merging: the union of two records, in any order, any number of times, without loss.

Every event is checked before it is taken. One that rests on an event which is not here, for which its device has not
signed, or whose clock is too far ahead, waits beside the record until that changes, so the record is at every moment
something that a device could have known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from loopworthy.record.beside_limits import BesideLimits, Brought, over_the_limits, refuse_unnamed
from loopworthy.record.clock_bound import latest_acceptable_ms, set_apart_beyond
from loopworthy.record.copies import become_new_device
from loopworthy.record.erasable import is_true, tombstone
from loopworthy.record.events import TEXT_ERASED, TextErased
from loopworthy.record.exchange import (
    BlobLine,
    EndLine,
    EventLine,
    HeadLine,
    Line,
    TextLine,
    blob_of,
    read_header,
    read_line,
    text_of,
)
from loopworthy.record.forks import Fork, forks
from loopworthy.record.placing import Placing, SetApart, place, set_apart
from loopworthy.record.registry import Registry
from loopworthy.record.signing import SignedHead, is_keyed
from loopworthy.record.store import Store, checked_envelope
from loopworthy.record.vouching import ForkProof, covered, fork_proofs, stands_at, worth_keeping
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import Envelope, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, short
from loopworthy.vocabulary.time import Moment


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
    after, through : int
        Positions in the store: what was taken lies behind the one and up to the other (`Record.events_since`).
    waiting : tuple of str
        Events that rest on something which has not arrived yet; kept beside the record.
    not_vouched : tuple of str
        Events for which their device has not signed yet, and what rests on them; kept beside the record.
    ahead : tuple of SetApart
        Events whose clock is beyond the bound, and what rests on them, with how far; kept beside the record.
    faulty : tuple of SetApart
        Events that their device has signed and that can never fit; kept beside the record as they are.
    departed : tuple of str
        Events that were in the record and have been set apart now, because the clock here shows that theirs was ahead.
    refused : tuple of Refusal
        What was not taken.
    forks : tuple of Fork
        All forks that the record has now.
    fork_proofs : tuple of ForkProof
        Forks that their device has signed itself, with both signatures.
    unknown_kinds : dict
        Taken events whose kind and version this program does not know, counted; they are kept as they are.
    texts_taken, texts_erased, blobs_taken : int
        What was new beside the chains.
    new_device : bool
        Whether this store writes as a new device from now on: the file brought events, or a signed head, of this
        device's own chain that are not here, so this is an old copy; or its own last events were set apart.
    whole : bool
        Whether the file reached its own last line.
    """

    record: RecordId
    taken: int
    already_here: int
    after: int
    through: int
    waiting: tuple[EventId, ...]
    not_vouched: tuple[EventId, ...]
    ahead: tuple[SetApart, ...]
    faulty: tuple[SetApart, ...]
    departed: tuple[EventId, ...]
    refused: tuple[Refusal, ...]
    forks: tuple[Fork, ...]
    fork_proofs: tuple[ForkProof, ...]
    unknown_kinds: dict[str, int]
    texts_taken: int
    texts_erased: int
    blobs_taken: int
    new_device: bool
    whole: bool


def merge(
    store: Store,
    registry: Registry,
    lines: Iterable[bytes],
    *,
    now: Moment,
    vouched: Iterable[SignedHead] = (),
    adopt: bool = False,
    limits: BesideLimits | None = None,
) -> MergeReport:
    """Take everything from an export that is not here yet; all of it or, after an exception, nothing.

    Parameters
    ----------
    store : Store
        Where to.
    registry : Registry
        Only for telling which kinds are not known here.
    lines : iterable of bytes
        The export, as `export_lines` or `chunk` gives it.
    now : Moment
        The clock here: events too far ahead of it are set apart.
    vouched : iterable of SignedHead
        Heads whose signatures were checked (`receiving.check_heads`). A signed head in the lines that is not among
        them, nor kept here already, is refused.
    adopt : bool
        Whether an empty store becomes a store of the exported record.
    limits : BesideLimits, optional
        How much may lie beside the record; the makers' where none are given.

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
        merging = _Merging(store, registry, now, latest_acceptable_ms(now, told=header.exported_at))
        merging.limits = limits or merging.limits
        merging.trust(vouched)
        for number, line in numbered:
            if line.strip():
                merging.read(number, line)
        return merging.finish()


def settle(store: Store, registry: Registry, *, now: Moment) -> MergeReport:
    """Take in what waits and can be placed now that time has passed; set apart what turns out to be ahead."""
    with store.transaction():
        settling = _Merging(store, registry, now, latest_acceptable_ms(now), whole=True)
        settling.trust(())
        return settling.finish()


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
    now: Moment
    latest_ms: int | None
    whole: bool = False
    limits: BesideLimits = field(default_factory=BesideLimits)
    brought: list[Brought] = field(default_factory=list)
    bodies: dict[EventId, bytes] = field(default_factory=dict)
    candidates: dict[EventId, Envelope] = field(default_factory=dict)
    line_of: dict[EventId, int] = field(default_factory=dict)
    genuine: set[SignedHead] = field(default_factory=set)
    heads: set[SignedHead] = field(default_factory=set)
    refused: list[Refusal] = field(default_factory=list)
    tombstones: list[tuple[int, str]] = field(default_factory=list)
    already_here: int = 0
    texts_taken: int = 0
    texts_erased: int = 0
    blobs_taken: int = 0

    def trust(self, vouched: Iterable[SignedHead]) -> None:
        """These were checked; those of other records say nothing here."""
        self.heads = set(self.store.signed_heads())
        self.genuine = self.heads | {one for one in vouched if one.record == self.store.record_id()}

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
            case HeadLine():
                self._keep_head(line.head)
            case TextLine():
                text = text_of(line)
                if not is_true(text):
                    raise InputError("text", short(line.text), "the salted hash of its words")
                if text.erased:
                    self.tombstones.append((number, text.digest))
                elif self.store.put_text(text):
                    self.texts_taken += 1
                    size = len((text.words or "").encode())
                    self.brought.append(Brought(digest=text.digest, size_bytes=size, line=number, is_blob=False))
            case BlobLine():
                body = blob_of(line)
                if self.store.blob(line.blob) is None:
                    self.store.put_blob(body)
                    self.blobs_taken += 1
                    self.brought.append(Brought(digest=line.blob, size_bytes=len(body), line=number, is_blob=True))
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

    def _keep_head(self, head: SignedHead) -> None:
        if head.record != self.store.record_id():
            raise InputError("record", short(head.record), f"record {short(self.store.record_id())}")
        if head not in self.genuine:
            raise InputError("signature", short(head.signature), f"one of device {short(head.device)} that was checked")
        self.heads.add(head)

    def finish(self) -> MergeReport:
        own = self.store.device_id()
        after = self.store.last_position()
        departed = set_apart_beyond(self.store, self.latest_ms)
        for body in self.store.waiting():
            identity = event_id(body)
            if identity not in self.candidates:
                self.candidates[identity], self.bodies[identity] = decode_envelope(body), body
        placing = place(self.store, self.candidates, heads=self.heads, latest_ms=self.latest_ms)
        self._refuse(placing)
        self._keep_to_the_limits(placing)
        self.store.take(self.bodies[identity] for identity in placing.taken)
        self.store.replace_waiting(self.bodies[identity] for identity in placing.beside)
        self.store.replace_signed_heads(worth_keeping(self.store, self.heads))
        self._refuse_unnamed()
        unknown = self._look_at(placing.taken)
        self._erase(placing)
        if self._is_a_copy(own, placing):
            become_new_device(self.store)
        return MergeReport(
            record=self.store.record_id(),
            taken=len(placing.taken),
            already_here=self.already_here,
            after=after,
            through=self.store.last_position(),
            waiting=tuple(placing.missing),
            not_vouched=tuple(placing.not_vouched),
            ahead=tuple(set_apart(one, self.candidates[one], self.now) for one in placing.ahead),
            faulty=tuple(set_apart(one, self.candidates[one], self.now) for one in placing.signed_faults),
            departed=departed,
            refused=tuple(sorted(self.refused, key=lambda one: one.line)),
            forks=forks(self.store),
            fork_proofs=fork_proofs(self.store),
            unknown_kinds=unknown,
            texts_taken=self.texts_taken,
            texts_erased=self.texts_erased,
            blobs_taken=self.blobs_taken,
            new_device=bool(own) and not self.store.device_id(),
            whole=self.whole,
        )

    def _refuse(self, placing: Placing) -> None:
        for identity, why in placing.faults.items():
            if identity in placing.signed_faults and identity not in self.line_of:
                continue  # it was refused when it came, and is only kept
            self.refused.append(Refusal(line=self.line_of.get(identity, 0), event=identity, why=why))

    def _keep_to_the_limits(self, placing: Placing) -> None:
        """Refuse what would lie beside the record over the limits; what is there already stays."""
        over = over_the_limits(
            self.limits,
            placing.beside,
            new=self.line_of.keys() - set(self.store.waiting_ids()),
            candidates=self.candidates,
            bodies=self.bodies,
            heads=self.heads,
        )
        if not over:
            return
        for group in (placing.missing, placing.not_vouched, placing.ahead, placing.signed_faults):
            group[:] = [one for one in group if one not in over]
        self.refused += [Refusal(line=self.line_of[one], event=one, why=why) for one, why in over.items()]

    def _refuse_unnamed(self) -> None:
        over = refuse_unnamed(self.store, self.brought, self.limits)
        for one in self.brought:
            if one.line in over:
                self.blobs_taken -= one.is_blob
                self.texts_taken -= not one.is_blob
                self.refused.append(Refusal(line=one.line, event="", why=over[one.line]))

    def _erase(self, placing: Placing) -> None:
        """Erase what an event says was erased. A tombstone by itself is nobody's word: whoever carries a file could
        take names away with it."""
        if not self.tombstones:
            return
        told = self._digests(checked_envelope(stored) for stored in self.store.events_of_kind(TEXT_ERASED))
        # Somebody's word is enough, also while the event has no place yet; only without a word it is not.
        told |= self._digests(self.candidates[one] for one in (*placing.missing, *placing.ahead))
        doubtful = self._digests(self.candidates[one] for one in placing.not_vouched)
        for number, digest in self.tombstones:
            if digest in told:
                self.texts_erased += self.store.put_text(tombstone(digest))
            elif digest not in doubtful:
                self.refused.append(
                    Refusal(line=number, event="", why=f"No event says that {short(digest)} was erased")
                )

    def _digests(self, envelopes: Iterable[Envelope]) -> set[str]:
        payloads = (self.registry.decode_payload(one) for one in envelopes if one.kind == TEXT_ERASED)
        return {payload.digest for payload in payloads if isinstance(payload, TextErased)}

    def _is_a_copy(self, own: DeviceId, placing: Placing) -> bool:
        """Whether this device's own chain has a part that is not from here, so that this store is an old copy.

        Of a keyed chain only what its key has signed says so: others can make events in its name, but not heads.
        """
        if not own or self.store.device_id() != own:
            return False
        if not is_keyed(own):
            return any(self.candidates[one].device == own for one in (*placing.taken, *placing.beside))
        vouched = covered(self.candidates, self.heads) - placing.faults.keys()
        return any(self.candidates[one].device == own for one in vouched) or any(
            one.device == own and not stands_at(self.store, one) for one in self.heads
        )

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
