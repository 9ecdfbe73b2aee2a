"""Writing: one device adds events to the end of its own chain.

Everything that an event needs from the record (sequence, clock, what was seen, the event before) is read under the
store's write lock, so that two processes writing as one device take turns and never fork their chain.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import msgspec

from loopworthy.record.acts import Act
from loopworthy.record.clock_bound import set_apart_what_is_ahead
from loopworthy.record.copies import COPIED_FROM, become_new_device, holds_its_key
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.order import next_clock
from loopworthy.record.registry import Registry
from loopworthy.record.signing import DeviceKeys, SignedHead, device_of, head_message, is_keyed
from loopworthy.record.store import Store, Token
from loopworthy.vocabulary.errors import InputError, RecordError
from loopworthy.vocabulary.event import GENESIS, Envelope, Event, SeenHead, encode
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

DEVICE_ID_BYTES = 8
RECORD_ID_BYTES = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What somebody wants to record, before the chain gives it its place.

    Attributes
    ----------
    kind : str
        A registered kind.
    payload : struct
        Of the newest type of that kind.
    subjects : tuple of str
        The things that it is about.
    occurred_at : Moment or None
        When it happened, as claimed; None for now.
    read_by, typed_by : str
        The people who read it and who typed it; empty where nobody said.
    """

    kind: str
    payload: msgspec.Struct
    subjects: tuple[ThingId, ...] = ()
    occurred_at: Moment | None = None
    read_by: ThingId = ""
    typed_by: ThingId = ""


class Writer:
    """Adds events to the chain of this device at one moment.

    Opens the chain with its first event where the store has no device yet: in a new store, and in one that was
    copied or restored. Where keys are at hand the new chain is one that its device signs; and a store whose device's
    key is not here, or that is behind what was signed with it, was copied or set back and becomes a new device.
    """

    def __init__(
        self,
        store: Store,
        registry: Registry,
        *,
        now: Moment,
        token: Token,
        device_name: str,
        opening: ChainOpened,
        act: Act | None = None,
        keys: DeviceKeys | None = None,
    ) -> None:
        self._store = store
        self._registry = registry
        self._now = now
        self._token = token
        self._keys = keys
        self._opening = msgspec.structs.replace(opening, device_name=device_name)
        self._act = act

    def append(
        self,
        kind: str,
        payload: msgspec.Struct,
        *,
        subjects: tuple[ThingId, ...] = (),
        occurred_at: Moment | None = None,
        read_by: ThingId = "",
        typed_by: ThingId = "",
    ) -> Event:
        """Record one event; it is durable when this returns.

        Raises
        ------
        UnknownNameError, InputError
            If kind or payload are not what the registry knows.
        StoreError
            If the store could not keep it; nothing was recorded then.
        """
        draft = Draft(
            kind=kind, payload=payload, subjects=subjects, occurred_at=occurred_at, read_by=read_by, typed_by=typed_by
        )
        return self.append_all((draft,))[0]

    def append_all(self, drafts: Iterable[Draft]) -> tuple[Event, ...]:
        """Record several events, all or none."""
        with self.batch() as batch:
            for draft in drafts:
                batch.add(draft)
        return batch.events

    @contextmanager
    def batch(self) -> Iterator[Batch]:
        """Events that are recorded all together at the end of the ``with`` block, or not at all after an exception.

        Nobody else writes meanwhile, so keep the block short: no waiting for people inside.

        Raises
        ------
        RecordedBeforeError
            If the act that this belongs to stands in the record already.
        """
        with self._store.transaction():
            before = self._store.heads().get(self._store.device_id())
            self._open_chain()
            if self._act is not None:
                self._act.begin()
            yield Batch(self._store, self._registry, self._now, act=self._act.id if self._act is not None else "")
            self._sign(before)

    def _open_chain(self) -> None:
        if not self._store.record_id():
            raise RecordError("This store holds no record yet", next_step="Begin a record, or merge one into it")
        set_apart_what_is_ahead(self._store, self._now)
        if self._keys is not None and not holds_its_key(self._store, self._keys):
            become_new_device(self._store)
        if self._store.device_id():
            return
        public_key = self._keys.fresh(self._store.record_id()) if self._keys is not None else ""
        if public_key:
            self._store.set_device_id(device_of(self._store.record_id(), public_key))
        else:
            self._store.set_device_id(self._token(DEVICE_ID_BYTES).hex())
        opening = msgspec.structs.replace(
            self._opening, public_key=public_key, continues=self._store.setting(COPIED_FROM) or ""
        )
        Batch(self._store, self._registry, self._now)._place(Draft(kind=CHAIN_OPENED, payload=opening))
        self._store.put_setting(COPIED_FROM, "")

    def _sign(self, before: SeenHead | None) -> None:
        """Sign at once where that can be done: whoever carries the file away then has a signature for all of it."""
        device = self._store.device_id()
        head = self._store.heads().get(device)
        if self._keys is None or head is None or not is_keyed(device) or head == before:
            return
        record = self._store.record_id()
        signature = self._keys.sign_at_once(device, head_message(record, device, head.sequence, head.event))
        held = self._keys.held(device)
        if signature is None or held is None:
            return
        signed = SignedHead(
            record=record,
            device=device,
            sequence=head.sequence,
            event=head.event,
            public_key=held.public_key,
            signature=signature.hex(),
        )
        others = [one for one in self._store.signed_heads() if one.device != device or not self._store.has(one.event)]
        self._store.replace_signed_heads((*others, signed))


class Batch:
    """Events being recorded together. Each has its identity at once, so that the next can refer to it."""

    def __init__(self, store: Store, registry: Registry, now: Moment, *, act: str = "") -> None:
        self._store = store
        self._registry = registry
        self._now = now
        self._act = act
        self._events: list[Event] = []

    @property
    def events(self) -> tuple[Event, ...]:
        """The events so far, in the order in which they were added."""
        return tuple(self._events)

    def add(self, draft: Draft) -> EventId:
        """Give a draft its place at the end of the chain; its identity.

        Raises
        ------
        UnknownNameError, InputError
            If kind or payload are not what the registry knows.
        StoreError
            If the store could not keep it.
        """
        if draft.kind == CHAIN_OPENED:
            raise InputError("kind", draft.kind, "another one: a chain is opened by the record itself")
        return self._place(draft)

    def _place(self, draft: Draft) -> EventId:
        device = self._store.device_id()
        # Read anew for each event: another batch may have written inside this one's transaction.
        seen = self._store.heads()
        own = seen.pop(device, None)
        envelope = Envelope(
            record=self._store.record_id(),
            device=device,
            sequence=own.sequence + 1 if own else 1,
            clock=next_clock(self._now, self._store.latest_clock()),
            occurred_at=draft.occurred_at or self._now,
            recorded_at=self._now,
            read_by=draft.read_by,
            typed_by=draft.typed_by,
            kind=draft.kind,
            version=self._registry.newest_version(draft.kind),
            subjects=draft.subjects,
            payload=self._registry.encode_payload(draft.kind, draft.payload),
            seen=seen,
            previous=own.event if own else GENESIS,
            act=self._act or msgspec.UNSET,
        )
        body = encode(envelope)
        self._store.append((body,), head=envelope.previous)
        event = self._registry.decode(body)
        self._events.append(event)
        return event.id


def new_record_id(token: Token) -> str:
    """A fresh identity for a record."""
    return token(RECORD_ID_BYTES).hex()
