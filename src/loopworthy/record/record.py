"""The door to the record for everybody above: events in order, a writer, blobs and erasable texts.

Joins a store with a registry of kinds. Time and randomness come in as arguments; what a reading is worth is decided
elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property
from itertools import chain
from typing import Final

from loopworthy.record.acts import Act, Acts
from loopworthy.record.chain import Writer, new_record_id
from loopworthy.record.copies import become_new_device
from loopworthy.record.erasable import keep, tombstone
from loopworthy.record.events import CHAIN_OPENED, HEAD_WITNESSED, TEXT_ERASED, ChainOpened, HeadWitnessed, TextErased
from loopworthy.record.forks import Fork, forks
from loopworthy.record.registry import Registry
from loopworthy.record.signing import DeviceKeys, is_keyed
from loopworthy.record.store import Heads, KeptText, Store, StoredEvent, Token, checked_envelope
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import DamagedError, InputError, RecordError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, ThingId, event_id, fingerprint, short
from loopworthy.vocabulary.time import Moment

FINGERPRINT_DIGITS: Final = 16
_PREFIX: Final = re.compile(r"[0-9a-f]{4,64}\Z")


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrivals:
    """Events in the order in which they came into this store.

    Attributes
    ----------
    events : tuple of Event
        Those from behind the position that was asked for.
    through : int
        The position of the last one; ask from here the next time.
    """

    events: tuple[Event, ...]
    through: int


class Record:
    """A record in a store.

    Parameters
    ----------
    store : Store
        Where the bytes lie; must hold a record already (`begin`, or a merge into an empty store).
    registry : Registry
        What the kinds of event mean.
    device_name : str
        What people call this device; written down when its chain is opened.
    token : callable
        Gives so many random bytes.
    keys : DeviceKeys, optional
        With which new chains are opened and old ones recognised; without it chains are not signed.

    Raises
    ------
    RecordError
        If the store holds no record.
    """

    def __init__(
        self, store: Store, registry: Registry, *, device_name: str, token: Token, keys: DeviceKeys | None = None
    ) -> None:
        if not store.record_id():
            raise RecordError("This store holds no record yet", next_step="Begin a record, or merge one into it")
        self.store = store
        self.registry = registry
        self._device_name = device_name
        self._token = token
        self._keys = keys
        # Decoded events in the total order, the position up to which they are all in it, and how often events had
        # left by then. Replaced as a whole, never changed, so that a reader in another thread keeps a consistent one.
        self._decoded: tuple[tuple[Event, ...], int, int] = ((), 0, 0)
        self._acts = Acts(store)
        self._act: Act | None = None

    @classmethod
    def begin(
        cls,
        store: Store,
        registry: Registry,
        *,
        title: str,
        device_name: str,
        now: Moment,
        token: Token,
        invented: bool = False,
        keys: DeviceKeys | None = None,
    ) -> Record:
        """A new record in an empty store, with this device's chain opened.

        Parameters
        ----------
        title : str
            What people call the record.
        invented : bool
            Whether everything in it will be made up (a rehearsal, a demonstration).

        Raises
        ------
        RecordError
            If the store holds a record already.
        """
        words = wording.line("title", title)
        if not words:
            raise InputError("title", title, "a name for the record")
        with store.transaction():
            if store.record_id():
                raise RecordError(
                    f"This store holds record {short(store.record_id())} already",
                    next_step="Open it, or use a new file",
                )
            store.set_record_id(new_record_id(token))
            record = cls(store, registry, device_name=device_name, token=token, keys=keys)
            opening = ChainOpened(device_name=device_name, record_title=words, invented=invented)
            record._writer(now, opening).append_all(())
        return record

    # --- who and what ---

    @property
    def id(self) -> RecordId:
        """The record's identity."""
        return self.store.record_id()

    @property
    def device(self) -> DeviceId:
        """The device that this store writes as; empty until it first writes (a copy, a record just joined)."""
        return self.store.device_id()

    @property
    def keys(self) -> DeviceKeys | None:
        """The keys of the devices that this store writes as, kept outside it; None where chains are not signed."""
        return self._keys

    @cached_property
    def opening(self) -> ChainOpened:
        """What the very first event of the record says: title, and whether everything is invented."""
        for event in chain(self.events_of_kind(CHAIN_OPENED), self._apart()):
            if isinstance(event.payload, ChainOpened):
                return event.payload
        raise RecordError(
            f"Record {short(self.id)} has no first event", next_step="Verify the record; bring it back from a backup"
        )

    def _apart(self) -> Iterator[Event]:
        """Events beside the record: where the clock here is far behind, even its beginning may be among them."""
        yield from sorted((self.registry.decode(body) for body in self.store.waiting()), key=lambda event: event.order)

    @property
    def title(self) -> str:
        """What people call the record."""
        return self.opening.record_title

    @property
    def invented(self) -> bool:
        """Whether everything in the record is made up."""
        return self.opening.invented

    # --- reading ---

    def events(self) -> tuple[Event, ...]:
        """All events in the total order, decoded.

        Raises
        ------
        StoreError
            If stored bytes do not fit their hash: nothing may be concluded from a damaged record.
        """
        departures = self.departures
        known, through, before = self._decoded
        if departures != before:
            known, through = (), 0
        arrivals = self.events_since(through)
        if not arrivals.events:
            if departures != before and not self.store.in_transaction:
                self._decoded = (known, through, departures)
            return known
        ordered = sorted((*known, *arrivals.events), key=lambda event: event.order)
        result = tuple(ordered)
        if not self.store.in_transaction:  # what is read inside a transaction may still be taken back
            self._decoded = (result, arrivals.through, departures)
        return result

    @property
    def departures(self) -> int:
        """How often events were set apart; after a change all that was read before has to be read anew."""
        return self.store.departures()

    def events_since(self, position: int) -> Arrivals:
        """Events that arrived after a position, in order of arrival; 0 for all."""
        stored = self.store.events(after=position)
        return Arrivals(
            events=tuple(self._event(one) for one in stored), through=stored[-1].position if stored else position
        )

    def events_of_kind(self, kind: str) -> tuple[Event, ...]:
        """Events of one kind, in the total order."""
        return tuple(self._event(one) for one in self.store.events_of_kind(kind))

    def get(self, identity: str) -> Event:
        """The event with this identity, or with the only one that begins so (at least four digits).

        Raises
        ------
        UnknownNameError
            If there is none.
        InputError
            If there are several, or it is no identity.
        """
        if not _PREFIX.match(identity):
            raise InputError("identity", identity, "4 to 64 hexadecimal digits of an event's identity")
        found = self.store.find(identity)
        if not found:
            raise UnknownNameError("event", identity)
        if len(found) > 1:
            raise InputError(
                "identity", identity, "the beginning of one event only", next_step="Give more of its digits"
            )
        return self._event(found[0])

    def find_fingerprint(self, text: str) -> Event:
        """The event whose fingerprint was printed on a sheet or read aloud; blanks do not matter."""
        digits = "".join(text.split()).lower()
        if len(digits) != FINGERPRINT_DIGITS:
            raise InputError("fingerprint", text, f"{FINGERPRINT_DIGITS} hexadecimal digits in groups of four")
        return self.get(digits)

    def heads(self) -> Heads:
        """The last event of each chain."""
        return self.store.heads()

    def fork_reports(self) -> tuple[Fork, ...]:
        """Places where one device's chain continues in more than one way."""
        return forks(self.store)

    def _event(self, stored: StoredEvent) -> Event:
        return self.registry.event(stored.id, stored.body, checked_envelope(stored))

    # --- writing ---

    def writer(self, now: Moment) -> Writer:
        """Adds events to this device's chain at that moment."""
        return self._writer(now, self.opening)

    def _writer(self, now: Moment, opening: ChainOpened) -> Writer:
        return Writer(
            self.store,
            self.registry,
            now=now,
            token=self._token,
            device_name=self._device_name,
            opening=opening,
            act=self._act,
            keys=self._keys,
        )

    @contextmanager
    def acting(self, act: str) -> Iterator[None]:
        """Whatever is recorded inside belongs to one act: one sending of one form.

        Parameters
        ----------
        act : str
            A name that nothing else has, made by chance when the form was drawn.

        Raises
        ------
        RecordedBeforeError
            At the first attempt to write inside, if the act stands in the record already; nothing is recorded then.
        """
        before = self._act
        self._act = Act(act, self._acts)
        try:
            yield
        finally:
            self._act = before

    def events_of_act(self, act: str) -> tuple[EventId, ...]:
        """What one act recorded, in order of arrival; nothing where it recorded nothing."""
        return self._acts.events_of(act)

    def witness(self, text: str, *, now: Moment, read_by: ThingId = "", typed_by: ThingId = "") -> Event:
        """Record that somebody compared a fingerprint from outside with this record and found its event here."""
        found = self.find_fingerprint(text)
        one = found.envelope
        witnessed = HeadWitnessed(
            device=one.device, sequence=one.sequence, event=found.id, fingerprint=fingerprint(found.id)
        )
        return self.writer(now).append(HEAD_WITNESSED, witnessed, read_by=read_by, typed_by=typed_by)

    def become_keyed(self, now: Moment) -> bool:
        """Open a chain that this device signs, if it has none yet: before it first exchanges; whether it did.

        Its chain without a key, if it wrote one, is named by the new one and stays readable, unsigned.
        """
        if self._keys is None or is_keyed(self.device):
            return False
        with self.store.transaction():
            become_new_device(self.store)
            self.writer(now).append_all(())
        return True

    # --- beside the chain ---

    def put_blob(self, body: bytes) -> str:
        """Keep a trace, photo or imported file; its SHA-256, by which an event names it."""
        return self.store.put_blob(body)

    def blob(self, digest: str) -> bytes:
        """The bytes with that hash.

        Raises
        ------
        UnknownNameError
            If they are not here.
        DamagedError
            If they no longer fit their hash.
        """
        body = self.store.blob(digest)
        if body is None:
            raise UnknownNameError("blob", digest, next_step="Merge the record of the device that took it in")
        if event_id(body) != digest:
            raise DamagedError(
                f"Blob {short(digest)} is damaged", next_step="Verify the record; bring it back from a backup"
            )
        return body

    def put_text(self, words: str) -> str:
        """Keep a name or a statement so that it can be erased; its salted digest, which the event holds."""
        text = keep(words, self._token)
        self.store.put_text(text)
        return text.digest

    def text(self, digest: str) -> KeptText | None:
        """The text of a digest, or its tombstone; None where neither has arrived here."""
        return self.store.text(digest)

    def words(self, digest: str, *, erased: str = "(erased)", absent: str = "(not here)") -> str:
        """The text of a digest for showing."""
        text = self.store.text(digest)
        if text is None:
            return absent
        return erased if text.words is None else text.words

    def erase_text(self, digest: str, *, reason: str, now: Moment, typed_by: ThingId = "") -> Event:
        """Erase a text here, and wherever the record of it arrives. The chains stay whole.

        Raises
        ------
        UnknownNameError
            If no text with that digest is or was here.
        """
        with self.store.transaction():
            if self.store.text(digest) is None:
                raise UnknownNameError("erasable text", digest)
            event = self.writer(now).append(TEXT_ERASED, TextErased(digest=digest, reason=reason), typed_by=typed_by)
            self.store.put_text(tombstone(digest))
        return event
