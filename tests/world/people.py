"""Hubs and phones of an invented world: their stores that may fail, their clocks that may be wrong, their keys.

Nothing here knows a network: the world carries lines from one to the other as it likes.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Coroutine, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from random import Random
from typing import Any, TypeVar, cast

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from loopworthy.record.chain import Draft
from loopworthy.record.copies import become_new_device
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.signing import HeldKey, SignedHead, device_of
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import KeptText, Store
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms
from tests.contract.record_makers import NOTED, Noted, known_kinds

_Answer = TypeVar("_Answer")

KINDS: Registry = known_kinds()


def at_once(answer: Coroutine[Any, Any, _Answer]) -> _Answer:
    """The result of a coroutine that never has to wait: natively no signature does."""
    try:
        answer.send(None)
    except StopIteration as done:
        return done.value  # type: ignore[no-any-return]
    raise AssertionError("it had to wait for something")


class Crash(Exception):
    """The program ends here."""


class FailingStore:
    """Stands before a store: its program ends at the n-th write from now. It remembers what was ever written here."""

    def __init__(self, inner: MemoryStore | SqliteStore) -> None:
        self._inner = inner
        self._depth = 0
        self.writes_left: int | None = None
        self.written: set[str] = set()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)

    def _write(self) -> None:
        if self.writes_left is not None:
            self.writes_left -= 1
            if self.writes_left < 0:
                raise Crash

    @contextmanager
    def transaction(self) -> Iterator[None]:
        with self._inner.transaction():
            self._depth += 1
            try:
                yield
                if self._depth == 1:
                    self._write()  # the commit itself
            finally:
                self._depth -= 1

    def append(self, bodies: Sequence[bytes], *, head: str) -> int:
        self._write()
        self.written.update(event_id(body) for body in bodies)
        return self._inner.append(bodies, head=head)

    def take(self, bodies: Iterable[bytes]) -> int:
        def one_by_one() -> Iterator[bytes]:
            for body in bodies:
                self._write()
                yield body

        return self._inner.take(one_by_one())

    def replace_waiting(self, bodies: Iterable[bytes]) -> None:
        self._write()
        self._inner.replace_waiting(bodies)

    def replace_signed_heads(self, heads: Iterable[SignedHead]) -> None:
        self._write()
        self._inner.replace_signed_heads(heads)

    def set_apart(self, *, after_ms: int) -> Sequence[str]:
        self._write()
        return self._inner.set_apart(after_ms=after_ms)

    def put_text(self, text: KeptText) -> bool:
        self._write()
        return self._inner.put_text(text)

    def put_blob(self, body: bytes) -> str:
        self._write()
        return self._inner.put_blob(body)

    def put_setting(self, name: str, value: str) -> None:
        self._write()
        self._inner.put_setting(name, value)

    def set_device_id(self, device: str) -> None:
        self._write()
        self._inner.set_device_id(device)

    def twin(self) -> FailingStore:
        """The store as it is now, once more: somebody copied the file."""
        if isinstance(self._inner, SqliteStore):
            path = self._inner.path.with_name(f"{len(list(self._inner.path.parent.iterdir()))}.lw")
            self._inner.copy_to(path)
            return in_a_file(path)
        store = MemoryStore()
        fresh = {
            name: copy.copy(value) if isinstance(value, dict | list) else value
            for name, value in self._inner.__dict__.items()
            if name not in ("_lock", "_undo")
        }
        fresh["_places"] = {place: list(events) for place, events in self._inner._places.items()}
        store.__dict__.update(fresh)
        return FailingStore(store)

    def begin_again(self) -> None:
        """The next program opens what the one that ended has left."""
        self.writes_left, self._depth = None, 0
        if isinstance(self._inner, SqliteStore):
            self._inner.close()
            self._inner = in_a_file(self._inner.path)._inner


def in_a_file(path: Path) -> FailingStore:
    """A store in a file, with the journal that it has in a phone's browser."""
    return FailingStore(SqliteStore(path, journal=Journal.TRUNCATE, watch_place=False))


class PocketKeys:
    """Keys that lie outside the store and survive whatever happens to it; satisfies `DeviceKeys`."""

    def __init__(self, random: Random, *, at_once: bool) -> None:
        self._random = random
        self._at_once = at_once
        self._private: dict[str, Ed25519PrivateKey] = {}
        self._held: dict[str, HeldKey] = {}

    @property
    def devices(self) -> tuple[str, ...]:
        return tuple(self._held)

    def fresh(self, record: str) -> str:
        private = Ed25519PrivateKey.from_private_bytes(self._random.randbytes(32))
        public_key = private.public_key().public_bytes_raw().hex()
        device = device_of(record, public_key)
        self._private[device] = private
        self._held[device] = HeldKey(public_key=public_key)
        return public_key

    def held(self, device: str) -> HeldKey | None:
        return self._held.get(device)

    def sign_at_once(self, device: str, message: bytes) -> bytes | None:
        return self._private[device].sign(message) if self._at_once and device in self._private else None

    def signer(self, device: str) -> PocketSigner | None:
        return PocketSigner(self, device) if device in self._private else None

    def remember(self, device: str, head: SeenHead) -> None:
        held = self._held[device]
        if held.signed is None or held.signed.sequence < head.sequence:
            self._held[device] = HeldKey(public_key=held.public_key, signed=head)

    def sign(self, device: str, message: bytes) -> bytes:
        return self._private[device].sign(message)


class PocketSigner:
    def __init__(self, keys: PocketKeys, device: str) -> None:
        self._keys = keys
        self._device = device
        held = keys.held(device)
        assert held is not None
        self.public_key = held.public_key

    async def sign(self, message: bytes) -> bytes:
        return self._keys.sign(self._device, message)

    async def remember(self, head: SeenHead) -> None:
        self._keys.remember(self._device, head)


class Checker:
    """Checks signatures with a general library; satisfies `HeadVerifier`."""

    async def verify(self, public_key: str, message: bytes, signature: bytes) -> bool:
        try:
            Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_key)).verify(signature, message)
        except (InvalidSignature, ValueError):
            return False
        return True


class Somebody:
    """A person with a phone, or a hub: a store, a clock, keys, and what was acknowledged to them."""

    def __init__(
        self, name: str, random: Random, true_ms: Callable[[], int], store: FailingStore | None = None
    ) -> None:
        self.name = name
        self.random = random
        self.true_ms = true_ms
        self.offset_ms = random.randrange(-90_000, 90_000)
        self.failing = FailingStore(MemoryStore()) if store is None else store
        # Half of them sign at once like a computer, half only before they hand something on, like a browser.
        self.keys = PocketKeys(random, at_once=random.random() < 0.5)
        self.acknowledged: set[str] = set()

    @property
    def store(self) -> Store:
        """What the record sees of the store."""
        return cast("Store", self.failing)

    def now(self) -> Moment:
        return moment_from_epoch_ms(max(self.true_ms() + self.offset_ms, 0), "UTC")

    def record(self) -> Record:
        """Opened anew, as after the start of a program: nothing is remembered outside the store."""
        return Record(self.store, KINDS, device_name=self.name, token=self.random.randbytes, keys=self.keys)

    def begin(self) -> None:
        Record.begin(
            self.store,
            KINDS,
            title="Quarry week",
            device_name=self.name,
            now=self.now(),
            token=self.random.randbytes,
            invented=True,
            keys=self.keys,
        )

    def note(self, count: int) -> None:
        """Note things in one batch; acknowledged when it returns."""
        with self.record().writer(self.now()).batch() as batch:
            made = [batch.add(Draft(kind=NOTED, payload=Noted(text=f"{self.name} {n}"))) for n in range(count)]
        self.acknowledged.update(made)

    def put_back(self, older: FailingStore) -> None:
        """An older file is put in the place of this one; what only the newer one held is lost by it."""
        older.written |= self.failing.written
        self.failing = older

    def become_new(self) -> None:
        become_new_device(self.store)

    def identities(self) -> set[str]:
        return {one.id for one in self.store.events()}

    def beside(self) -> set[str]:
        return {event_id(body) for body in self.store.waiting()}
