"""Verification: what can be said about a record from its own bytes.

It finds every alteration that leaves a trace: bytes against hashes, links, clocks, and what other chains and sheets
have seen. It can say that a chain is unaltered since it was witnessed, and no more: whoever holds every copy and
every witness can write all of them anew.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from loopworthy.record.erasable import is_true
from loopworthy.record.events import (
    CHAIN_OPENED,
    HEAD_WITNESSED,
    HEADS_RECEIVED,
    ChainOpened,
    HeadsReceived,
    HeadWitnessed,
)
from loopworthy.record.forks import Fork, forks_among
from loopworthy.record.order import link_fault
from loopworthy.record.registry import Registry
from loopworthy.record.signing import SignedHead, is_keyed
from loopworthy.record.store import IndexEntry, Store, StoredEvent, checked_envelope, entry_of
from loopworthy.vocabulary.errors import InputError, StoreError
from loopworthy.vocabulary.event import GENESIS, Envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, event_id, fingerprint, short


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A bad event.

    Attributes
    ----------
    position : int
        Where it stands in the store.
    event, device, sequence : str, str, int
        What the store says it is; device empty and sequence 0 where even that cannot be read.
    why : str
        What is wrong with it, in words.
    """

    position: int
    event: EventId
    device: DeviceId
    sequence: int
    why: str

    def __str__(self) -> str:
        return f"Event {self.sequence} of chain {short(self.device)} ({short(self.event)}): {self.why}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainReport:
    """What is known of one device's chain.

    Attributes
    ----------
    device, device_name : str
        Whose it is.
    events : int
        How many there are of it.
    head, head_sequence : str, int
        Its last event.
    witnessed_sequence : int
        The last event of it that another chain, or a sheet, has seen; 0 where nobody has.
    witnesses : tuple of str
        The devices that saw that one.
    keyed : bool
        Whether the device signs its chain; one without a key anybody could have continued.
    signed_sequence : int
        The last event for which its signature is kept here; 0 where there is none.
    """

    device: DeviceId
    device_name: str
    events: int
    head: EventId
    head_sequence: int
    witnessed_sequence: int
    witnesses: tuple[DeviceId, ...]
    keyed: bool
    signed_sequence: int

    @property
    def fingerprint(self) -> str:
        """The head's fingerprint, for comparing with a sheet."""
        return fingerprint(self.head)


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetCheck:
    """A fingerprint from outside and the event that it belongs to; None: that event is not in this record."""

    fingerprint: str
    event: EventId | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VerifyReport:
    """What verification found.

    Attributes
    ----------
    record : str
        Which record.
    events : int
        How many events were read.
    chains : tuple of ChainReport
        By device.
    faults : tuple of Fault
        Bad events in order of arrival.
    damage : tuple of str
        What is wrong with the medium, with blobs or with texts, in words.
    forks : tuple of Fork
        Kept as they are; a fork is no fault of the bytes.
    sheets : tuple of SheetCheck
        The fingerprints that were given.
    unknown_kinds : dict
        Kinds and versions that this program does not know, counted.
    unreadable : tuple of str
        Events of a known kind whose payload cannot be read.
    waiting : int
        Events beside the record that rest on something which has not arrived.
    """

    record: RecordId
    events: int
    chains: tuple[ChainReport, ...]
    faults: tuple[Fault, ...]
    damage: tuple[str, ...]
    forks: tuple[Fork, ...]
    sheets: tuple[SheetCheck, ...]
    unknown_kinds: dict[str, int]
    unreadable: tuple[EventId, ...]
    waiting: int

    @property
    def first_fault(self) -> Fault | None:
        """The first bad event."""
        return self.faults[0] if self.faults else None

    @property
    def unbroken(self) -> bool:
        """Whether all bytes fit their hashes, all links hold and every given fingerprint was found."""
        return not self.faults and not self.damage and all(sheet.event is not None for sheet in self.sheets)


def verify(store: Store, registry: Registry, *, sheets: Iterable[str] = ()) -> VerifyReport:
    """Check every event, link, blob and text of a record, and compare it with fingerprints from outside.

    Parameters
    ----------
    store : Store
        May be damaged: what can still be read is checked.
    registry : Registry
        For telling which kinds are not known here.
    sheets : iterable of str
        Fingerprints from sheets or read aloud.

    Raises
    ------
    InputError
        If a fingerprint is not 16 hexadecimal digits.
    """
    wanted = [_fingerprint_digits(text) for text in sheets]
    damage = list(store.damage())
    try:
        stored, index = store.events(), store.index()
        beside = _damage_beside(store)
        waiting, record = len(store.waiting()), store.record_id()
        signed = [head for head in store.signed_heads() if store.has(head.event)]
    except StoreError as error:
        return VerifyReport(
            record="", events=0, chains=(), faults=(), damage=(*damage, error.message), forks=(), sheets=(),
            unknown_kinds={}, unreadable=(), waiting=0,
        )  # fmt: skip
    check = _Check(registry, record, signed)
    for one, entry in zip(stored, index, strict=False):
        check.read(one, entry)
    for one in stored:
        check.link(one)
    faults = tuple(sorted(check.faults.values(), key=lambda fault: fault.position))
    return VerifyReport(
        record=record,
        events=len(stored),
        chains=check.chains(),
        faults=faults,
        damage=(*damage, *beside),
        forks=forks_among(check.known),
        sheets=tuple(SheetCheck(fingerprint=fingerprint(digits), event=check.beginning(digits)) for digits in wanted),
        unknown_kinds=dict(sorted(check.unknown.items())),
        unreadable=tuple(check.unreadable),
        waiting=waiting,
    )


class _Check:
    """Walks over the events twice: each by itself, then each against those that it rests on."""

    def __init__(self, registry: Registry, record: RecordId, signed: Iterable[SignedHead]) -> None:
        self._registry = registry
        self._record = record
        self._signed = tuple(signed)
        self.known: dict[EventId, Envelope] = {}
        self.faults: dict[int, Fault] = {}
        self.unknown: Counter[str] = Counter()
        self.unreadable: list[EventId] = []
        self._damaged: set[EventId] = set()
        self._places: dict[tuple[DeviceId, int], EventId] = {}
        self._names: dict[DeviceId, str] = {}
        self._witnessed: dict[DeviceId, dict[int, set[DeviceId]]] = {}

    def read(self, stored: StoredEvent, entry: IndexEntry) -> None:
        try:
            envelope = checked_envelope(stored)
        except (StoreError, InputError) as error:
            self._damaged.add(stored.id)
            why = "its bytes no longer fit its hash" if isinstance(error, StoreError) else error.message
            self._fault(stored, entry.device, entry.sequence, why)
            return
        self.known[stored.id] = envelope
        self._places[envelope.device, envelope.sequence] = stored.id
        if entry != entry_of(stored.id, envelope):
            self._fault(stored, envelope.device, envelope.sequence, "the store's index says something else than it")
        elif envelope.record != self._record:
            self._fault(stored, envelope.device, envelope.sequence, f"it is of record {short(envelope.record)}")
        self._look_inside(stored.id, envelope)

    def _look_inside(self, identity: EventId, envelope: Envelope) -> None:
        payload = self._registry.decode_payload(envelope)
        if not self._registry.knows(envelope):
            self.unknown[f"{envelope.kind} {envelope.version}"] += 1
        elif payload is None:
            self.unreadable.append(identity)
        if envelope.kind == CHAIN_OPENED and isinstance(payload, ChainOpened):
            self._names[envelope.device] = payload.device_name
        if envelope.kind == HEAD_WITNESSED and isinstance(payload, HeadWitnessed):
            self._witness(payload.device, payload.sequence, envelope.device)
        if envelope.kind == HEADS_RECEIVED and isinstance(payload, HeadsReceived):
            for one in payload.heads:
                self._witness(one.device, one.sequence, envelope.device)
        for device, head in envelope.seen.items():
            self._witness(device, head.sequence, envelope.device)

    def _witness(self, device: DeviceId, sequence: int, by: DeviceId) -> None:
        self._witnessed.setdefault(device, {}).setdefault(sequence, set()).add(by)

    def link(self, stored: StoredEvent) -> None:
        envelope = self.known.get(stored.id)
        if envelope is None or stored.position in self.faults:
            return
        why = self._broken_link(envelope) or link_fault(envelope, self.known)
        if why is not None:
            self._fault(stored, envelope.device, envelope.sequence, why)

    def _broken_link(self, envelope: Envelope) -> str | None:
        if envelope.previous != GENESIS and envelope.previous not in self.known:
            state = "is damaged" if envelope.previous in self._damaged else "is missing"
            return f"the event before it ({short(envelope.previous)}) {state}"
        for device, head in sorted(envelope.seen.items()):
            if head.event not in self.known:
                return self._not_as_seen(device, head.sequence, head.event)
        return self._not_as_witnessed(envelope)

    def _not_as_witnessed(self, envelope: Envelope) -> str | None:
        if envelope.kind != HEAD_WITNESSED:
            return None
        payload = self._registry.decode_payload(envelope)
        if not isinstance(payload, HeadWitnessed) or payload.event in self.known:
            return None
        return self._not_as_seen(payload.device, payload.sequence, payload.event)

    def _not_as_seen(self, device: DeviceId, sequence: int, event: EventId) -> str:
        here = self._places.get((device, sequence))
        state = f"now {short(here)} stands there" if here else "now it is damaged or missing"
        return f"it had seen event {short(event)} as {sequence} of chain {short(device)}; {state}"

    def _fault(self, stored: StoredEvent, device: DeviceId, sequence: int, why: str) -> None:
        self.faults.setdefault(
            stored.position,
            Fault(position=stored.position, event=stored.id, device=device, sequence=sequence, why=why),
        )

    def chains(self) -> tuple[ChainReport, ...]:
        counts = Counter(envelope.device for envelope in self.known.values())
        heads: dict[DeviceId, tuple[int, EventId]] = {}
        for identity, envelope in self.known.items():
            heads[envelope.device] = max(heads.get(envelope.device, (0, "")), (envelope.sequence, identity))
        return tuple(self._chain(device, counts[device], *heads[device]) for device in sorted(heads))

    def _chain(self, device: DeviceId, events: int, sequence: int, head: EventId) -> ChainReport:
        witnessed = {
            place: by for place, by in self._witnessed.get(device, {}).items() if (device, place) in self._places
        }
        last = max(witnessed, default=0)
        return ChainReport(
            device=device,
            device_name=self._names.get(device, ""),
            events=events,
            head=head,
            head_sequence=sequence,
            witnessed_sequence=last,
            witnesses=tuple(sorted(witnessed.get(last, ()))),
            keyed=is_keyed(device),
            signed_sequence=max((one.sequence for one in self._signed if one.device == device), default=0),
        )

    def beginning(self, digits: str) -> EventId | None:
        return next((identity for identity in self.known if identity.startswith(digits)), None)


def _damage_beside(store: Store) -> list[str]:
    problems = [
        f"Text {short(text.digest)} does not fit its salted hash" for text in store.texts() if not is_true(text)
    ]
    for digest in store.blob_digests():
        body = store.blob(digest)
        if body is None or event_id(body) != digest:
            problems.append(f"Blob {short(digest)} does not fit its hash")
    return problems


def _fingerprint_digits(text: str) -> str:
    digits = "".join(text.split()).lower()
    if len(digits) != 16 or not all(digit in "0123456789abcdef" for digit in digits):
        raise InputError("fingerprint", text, "16 hexadecimal digits in groups of four")
    return digits
