"""All stores give the same answers after the same random commands."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from loopworthy.record.erasable import text_digest, tombstone
from loopworthy.record.memory import MemoryStore
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.record.store import KeptText, Snapshot, Store
from loopworthy.vocabulary.errors import ConflictError
from loopworthy.vocabulary.event import GENESIS, decode_envelope
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import START_MS, bodies

DEVICES = st.sampled_from(("a1", "b2", "c3"))
WORDS = st.sampled_from(("Ann Example", "Ben Example", "Cy Example"))
NAMES = st.sampled_from(("one", "two"))


class StoresAgree(RuleBasedStateMachine):
    """Drives three stores at once; any difference between them is a failure."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="stores-agree-"))
        self.stores: list[Store] = [
            MemoryStore(),
            SqliteStore(self.folder / "ahead.lw"),
            SqliteStore(self.folder / "truncate.lw", journal=Journal.TRUNCATE),
        ]
        self.chains: dict[str, list[bytes]] = {}
        self.rolled_back = 0

    def teardown(self) -> None:
        for store in getattr(self, "stores", ()):
            store.close()
        if hasattr(self, "folder"):
            shutil.rmtree(self.folder)

    def all_agree(self, ask: Callable[[Store], object]) -> object:
        first, *others = [_outcome(ask, store) for store in self.stores]
        assert all(other == first for other in others), (first, others)
        return first

    @rule(device=DEVICES, count=st.integers(1, 3), late_ms=st.integers(0, 20))
    def append(self, device: str, count: int, late_ms: int) -> None:
        chain = self.chains.get(device, [])
        more = bodies(device, count, after=chain, first_ms=START_MS + late_ms)
        head = event_id(chain[-1]) if chain else GENESIS
        outcome = self.all_agree(lambda store: store.append(more, head=head))
        if isinstance(outcome, int):
            self.chains[device] = chain + more

    @rule(device=DEVICES, mark=st.sampled_from(("left", "right")))
    def append_to_an_outdated_head(self, device: str, mark: str) -> None:
        chain = self.chains.get(device, [])
        if len(chain) >= 2:
            slower = bodies(device, 1, after=chain[:-1], mark=mark)
            assert self.all_agree(lambda store: store.append(slower, head=event_id(chain[-2]))) == ConflictError

    @rule(device=DEVICES, keep=st.integers(1, 4), mark=st.sampled_from(("left", "right")))
    def take_a_branch(self, device: str, keep: int, mark: str) -> None:
        chain = self.chains.get(device, [])
        if chain:
            branch = bodies(device, 2, after=chain[:keep], mark=mark)
            self.all_agree(lambda store: store.take(branch))
            # From now on nobody writes this chain: its head depends on which branch is farther.
            head = self.stores[0].heads()[device].event
            if head != event_id(chain[-1]):
                self.chains[device] = _chain_to(self.stores[0], head)

    @rule(device=DEVICES)
    def fail_in_a_transaction(self, device: str) -> None:
        chain = self.chains.get(device, [])
        more = bodies(device, 2, after=chain)
        head = event_id(chain[-1]) if chain else GENESIS
        self.rolled_back += 1

        def attempt(store: Store) -> None:
            with store.transaction():
                store.append(more, head=head)
                store.put_setting("one", f"lost {self.rolled_back}")
                store.put_blob(f"lost {self.rolled_back}".encode())
                raise LookupError

        assert self.all_agree(attempt) is LookupError

    @rule(words=WORDS)
    def keep_a_text(self, words: str) -> None:
        text = KeptText(digest=text_digest(words, b"s" * 16), salt=b"s" * 16, words=words)
        self.all_agree(lambda store: store.put_text(text))

    @rule(words=WORDS)
    def erase_a_text(self, words: str) -> None:
        self.all_agree(lambda store: store.put_text(tombstone(text_digest(words, b"s" * 16))))

    @rule(body=st.binary(max_size=40))
    def keep_a_blob(self, body: bytes) -> None:
        self.all_agree(lambda store: store.put_blob(body))

    @rule(name=NAMES, value=st.text(max_size=5))
    def set_a_setting(self, name: str, value: str) -> None:
        self.all_agree(lambda store: store.put_setting(name, value))

    @rule(name=NAMES, through=st.integers(0, 9))
    def keep_a_snapshot(self, name: str, through: int) -> None:
        self.all_agree(lambda store: store.put_snapshot(name, Snapshot(through, b"fold")))

    @rule()
    def drop_snapshots(self) -> None:
        self.all_agree(lambda store: store.drop_snapshots())

    @rule(late_ms=st.integers(0, 25))
    def set_apart(self, late_ms: int) -> None:
        moved = self.all_agree(lambda store: list(store.set_apart(after_ms=START_MS + late_ms)))
        if moved:
            heads = self.stores[0].heads()
            # Here clocks run as they like, so a chain may have lost a link in its middle: nobody writes it any more.
            chains = {device: _chain_to(self.stores[0], head.event) for device, head in heads.items()}
            self.chains = {device: chain for device, chain in chains.items() if chain}

    @rule(device=DEVICES)
    def let_events_wait(self, device: str) -> None:
        self.all_agree(lambda store: store.replace_waiting(bodies(device, 2, mark="waiting")))

    @invariant()
    def the_stores_answer_alike(self) -> None:
        if hasattr(self, "stores"):
            for ask in _QUESTIONS:
                self.all_agree(ask)


_QUESTIONS: tuple[Callable[[Store], object], ...] = (
    lambda store: list(store.events()),
    lambda store: list(store.events(after=2)),
    lambda store: list(store.events_in_order()),
    lambda store: list(store.events_of_kind("test.noted")),
    lambda store: list(store.events_at("a1", 2)),
    lambda store: list(store.find("a", limit=3)),
    lambda store: list(store.index()),
    lambda store: list(store.heads().items()),
    lambda store: store.latest_clock(),
    lambda store: list(store.forked_places()),
    lambda store: (store.count(), store.last_position(), store.departures()),
    lambda store: list(store.waiting()),
    lambda store: list(store.texts()),
    lambda store: [store.blob(digest) for digest in store.blob_digests()],
    lambda store: [(store.setting(name), store.snapshot(name)) for name in ("one", "two")],
    lambda store: list(store.damage()),
)


def _outcome(ask: Callable[[Store], object], store: Store) -> object:
    try:
        return ask(store)
    except (ConflictError, LookupError) as error:
        return type(error)


def _chain_to(store: Store, head: str) -> list[bytes]:
    """The chain up to an event; empty where a part of it is not there."""
    chain: list[bytes] = []
    while head != GENESIS:
        if not store.has(head):
            return []
        body = store.find(head)[0].body
        chain.insert(0, body)
        head = decode_envelope(body).previous
    return chain


TestStoresAgree = StoresAgree.TestCase
TestStoresAgree.settings = settings(max_examples=40, stateful_step_count=25, deadline=None)
