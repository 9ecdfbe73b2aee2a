"""What every store owes the record. Each store's test class inherits from `StoreContract` and makes one."""

from __future__ import annotations

import hashlib
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from loopworthy.record.chain import Draft
from loopworthy.record.erasable import keep, tombstone
from loopworthy.record.signing import SignedHead, device_of
from loopworthy.record.store import Snapshot, Store, index_entry
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import ConflictError, InputError
from loopworthy.vocabulary.event import GENESIS, HybridTime, SeenHead
from loopworthy.vocabulary.identity import event_id
from tests.contract.record_makers import NOTED, START_MS, Noted, at, begin, bodies, known_kinds, note, tokens


class Interruption(Exception):
    """Something goes wrong in the middle of a transaction."""


class StoreContract(ABC):
    @abstractmethod
    def make(self, folder: Path) -> Store:
        """A new, empty store."""

    @pytest.fixture
    def store(self, tmp_path: Path) -> Iterator[Store]:
        store = self.make(tmp_path)
        yield store
        store.close()

    # --- a new store ---

    def test_a_new_store_is_empty(self, store: Store) -> None:
        assert (store.record_id(), store.device_id(), store.count()) == ("", "", 0)
        assert not list(store.events())
        assert not list(store.events_in_order())
        assert not list(store.index())
        assert store.heads() == {}
        assert store.latest_clock() == HybridTime(wall_ms=0)
        assert not list(store.waiting())
        assert not list(store.texts())
        assert not list(store.blob_digests())
        assert list(store.damage()) == []

    # --- appending ---

    def test_appended_bytes_come_back_as_they_were_in_order_of_arrival(self, store: Store) -> None:
        chain = bodies("a1", 3)
        assert store.append(chain, head=GENESIS) == 3
        assert [(one.position, one.id, one.body) for one in store.events()] == [
            (place, event_id(body), body) for place, body in enumerate(chain, start=1)
        ]
        assert store.count() == 3

    def test_a_chain_is_continued_from_its_head(self, store: Store) -> None:
        chain = bodies("a1", 2)
        store.append(chain, head=GENESIS)
        more = bodies("a1", 2, after=chain)
        assert store.append(more, head=event_id(chain[-1])) == 4
        assert store.heads() == {"a1": SeenHead(sequence=4, event=event_id(more[-1]))}

    def test_a_writer_with_an_outdated_head_gets_a_conflict_and_nothing_is_kept(self, store: Store) -> None:
        chain = bodies("a1", 2)
        store.append(chain, head=GENESIS)
        slower = bodies("a1", 1, after=chain[:1], mark="slower")
        with pytest.raises(ConflictError, match="Read the head again"):
            store.append(slower, head=event_id(chain[0]))
        assert [one.body for one in store.events()] == chain

    def test_a_writer_has_to_know_the_head_even_if_the_events_would_fit(self, store: Store) -> None:
        chain = bodies("a1", 2)
        store.append(chain[:1], head=GENESIS)
        with pytest.raises(ConflictError, match="the writer believed in a new chain"):
            store.append(chain[1:], head=GENESIS)
        assert store.count() == 1

    def test_a_second_first_event_is_a_conflict(self, store: Store) -> None:
        store.append(bodies("a1", 1), head=GENESIS)
        with pytest.raises(ConflictError):
            store.append(bodies("a1", 1, mark="again", first_ms=START_MS + 5), head=GENESIS)

    def test_a_batch_with_a_broken_link_is_refused_as_a_whole(self, store: Store) -> None:
        one, _, three = bodies("a1", 3)
        with pytest.raises(ConflictError):
            store.append([one, three], head=GENESIS)
        assert store.count() == 0

    def test_a_batch_of_two_chains_is_refused_as_a_whole(self, store: Store) -> None:
        with pytest.raises(ConflictError):
            store.append([*bodies("a1", 1), *bodies("b2", 1)], head=GENESIS)
        assert store.count() == 0

    def test_a_batch_of_nothing_is_refused(self, store: Store) -> None:
        with pytest.raises(InputError, match="at least one event"):
            store.append([], head=GENESIS)

    def test_bytes_that_are_no_event_are_refused(self, store: Store) -> None:
        with pytest.raises(InputError):
            store.append([b"{}"], head=GENESIS)
        with pytest.raises(InputError):
            store.take([*bodies("a1", 1), b"{}"])
        assert store.count() == 0

    # --- taking from elsewhere ---

    def test_taking_twice_is_the_same_as_once(self, store: Store) -> None:
        chain = bodies("a1", 3)
        assert store.take(chain[:2]) == 2
        assert store.take(chain) == 1
        assert store.take(chain) == 0
        assert [one.body for one in store.events()] == chain

    def test_both_branches_of_a_fork_are_kept_and_its_places_are_named(self, store: Store) -> None:
        trunk = bodies("a1", 2)
        left, right = (bodies("a1", 2, after=trunk, mark=mark) for mark in ("left", "right"))
        store.take([*trunk, *left, *right])
        assert store.count() == 6
        assert list(store.forked_places()) == [("a1", 3), ("a1", 4)]
        assert [one.id for one in store.events_at("a1", 3)] == sorted([event_id(left[0]), event_id(right[0])])

    def test_the_head_of_a_fork_is_the_farthest_then_the_highest(self, store: Store) -> None:
        trunk = bodies("a1", 1)
        short, long = bodies("a1", 1, after=trunk, mark="short"), bodies("a1", 2, after=trunk, mark="long")
        store.take([*trunk, *long, *short])
        assert store.heads() == {"a1": SeenHead(sequence=3, event=event_id(long[-1]))}
        other = bodies("a1", 1, after=[*trunk, *short], mark="other")
        store.take(other)
        highest = max(event_id(long[-1]), event_id(other[0]))
        assert store.heads() == {"a1": SeenHead(sequence=3, event=highest)}

    def test_each_chain_has_its_own_head(self, store: Store) -> None:
        one, two, three = bodies("a1", 2), bodies("b2", 1), bodies("c3", 3)
        store.take([*three, *one, *two])
        assert store.heads() == {
            "a1": SeenHead(sequence=2, event=event_id(one[-1])),
            "b2": SeenHead(sequence=1, event=event_id(two[-1])),
            "c3": SeenHead(sequence=3, event=event_id(three[-1])),
        }

    # --- finding ---

    def test_the_total_order_goes_by_clock_then_device(self, store: Store) -> None:
        late, early = bodies("a1", 2, first_ms=START_MS + 50), bodies("b2", 2)
        same = bodies("c3", 2)
        store.take([*late, *same, *early])
        assert [one.body for one in store.events_in_order()] == [early[0], same[0], early[1], same[1], *late]
        assert [one.position for one in store.events_in_order()] == [5, 3, 6, 4, 1, 2]

    def test_events_behind_a_position_are_those_that_came_later(self, store: Store) -> None:
        chain = bodies("a1", 4)
        store.append(chain, head=GENESIS)
        assert [one.body for one in store.events(after=2)] == chain[2:]
        assert list(store.events(after=4)) == []

    def test_events_of_one_kind_come_in_the_total_order(self, store: Store) -> None:
        late, early = bodies("a1", 2, first_ms=START_MS + 50), bodies("b2", 3)
        store.take([*late, *early])
        assert [one.body for one in store.events_of_kind(NOTED)] == [*early[1:], late[1]]
        assert list(store.events_of_kind("test.never-written")) == []

    def test_an_event_is_found_by_the_beginning_of_its_identity(self, store: Store) -> None:
        chain = bodies("a1", 40)
        store.append(chain, head=GENESIS)
        wanted = event_id(chain[7])
        assert [one.body for one in store.find(wanted)] == [chain[7]]
        assert [one.id for one in store.find("", limit=3)] == sorted(map(event_id, chain))[:3]
        digit = wanted[0]
        beginning_so = sorted(one for one in map(event_id, chain) if one.startswith(digit))
        assert [one.id for one in store.find(digit, limit=40)] == beginning_so
        assert store.has(wanted)
        assert not store.has("0" * 64)
        assert list(store.find("0" * 64)) == []

    def test_the_latest_clock_is_the_highest_not_the_last(self, store: Store) -> None:
        store.take([*bodies("a1", 2, first_ms=START_MS + 900), *bodies("b2", 1)])
        assert store.latest_clock() == HybridTime(wall_ms=START_MS + 902)

    def test_the_index_says_what_the_bodies_say(self, store: Store) -> None:
        store.take([*bodies("b2", 3), *bodies("a1", 2)])
        assert list(store.index()) == [index_entry(one.body) for one in store.events()]

    # --- transactions ---

    def test_an_exception_takes_everything_back(self, store: Store) -> None:
        text, other = keep("Ann Example", tokens("text")), keep("Ben Example", tokens("other"))
        kept = bodies("a1", 1)
        store.append(kept, head=GENESIS)
        store.put_text(other)
        store.put_setting("theme", "dark")
        store.put_snapshot("fold", Snapshot(1, b"old"))

        def write_everything() -> None:
            store.set_record_id("aa")
            store.set_device_id("bb")
            store.append(bodies("a1", 2, after=kept), head=event_id(kept[0]))
            store.take(bodies("b2", 2))
            store.put_blob(b"trace")
            store.put_text(text)
            store.put_text(tombstone(other.digest))
            store.put_setting("theme", "sun")
            store.put_setting("size", "large")
            store.drop_snapshots()
            store.put_snapshot("other", Snapshot(3, b"new"))
            store.replace_waiting(bodies("c3", 2))

        _interrupted(store, write_everything)
        assert (store.record_id(), store.device_id()) == ("", "")
        assert [one.body for one in store.events()] == kept
        assert [one.body for one in store.events_in_order()] == kept
        assert store.heads() == {"a1": SeenHead(sequence=1, event=event_id(kept[0]))}
        assert store.latest_clock() == HybridTime(wall_ms=START_MS + 1)
        assert not list(store.blob_digests())
        assert not list(store.waiting())
        assert not list(store.forked_places())
        assert list(store.texts()) == [other]
        assert (store.setting("theme"), store.setting("size")) == ("dark", None)
        assert (store.snapshot("fold"), store.snapshot("other")) == (Snapshot(1, b"old"), None)
        assert store.append(bodies("a1", 1, after=kept), head=event_id(kept[0])) == 2  # its position is free again

    def test_an_inner_transaction_can_fail_alone(self, store: Store) -> None:
        chain = bodies("a1", 3)

        def append_two() -> None:
            store.append(chain[1:2], head=event_id(chain[0]))
            with store.transaction():
                store.append(chain[2:], head=event_id(chain[1]))

        with store.transaction():
            store.append(chain[:1], head=GENESIS)
            _interrupted(store, append_two)
            store.append(chain[1:2], head=event_id(chain[0]))
        assert [one.body for one in store.events()] == chain[:2]

    def test_what_is_written_in_a_transaction_can_be_read_in_it(self, store: Store) -> None:
        with store.transaction():
            store.append(bodies("a1", 2), head=GENESIS)
            assert store.count() == 2
            assert len(store.events_in_order()) == 2

    def test_a_store_knows_whether_a_transaction_is_open(self, store: Store) -> None:
        open_now = [store.in_transaction]
        with store.transaction():
            open_now.append(store.in_transaction)
            with store.transaction():
                open_now.append(store.in_transaction)
            open_now.append(store.in_transaction)
        open_now.append(store.in_transaction)
        assert open_now == [False, True, True, True, False]

    # --- identity ---

    def test_a_store_holds_one_record_for_good(self, store: Store) -> None:
        store.set_record_id("aa")
        store.set_record_id("aa")
        with pytest.raises(ConflictError, match="holds record aa"):
            store.set_record_id("bb")
        assert store.record_id() == "aa"

    def test_a_store_can_write_as_another_device_from_now_on(self, store: Store) -> None:
        store.set_device_id("bb")
        store.set_device_id("")
        assert store.device_id() == ""

    # --- beside the events ---

    def test_waiting_events_are_replaced_and_no_part_of_the_record(self, store: Store) -> None:
        first, second = bodies("a1", 3), bodies("b2", 2)
        store.replace_waiting(first)
        store.replace_waiting(second)
        assert list(store.waiting()) == sorted(second, key=event_id)
        assert list(store.waiting_ids()) == sorted(map(event_id, second))
        assert store.count() == 0
        store.replace_waiting(())
        assert list(store.waiting()) == []

    def test_a_blob_is_named_by_its_hash_and_kept_once(self, store: Store) -> None:
        trace = bytes(range(256)) * 40
        digest = hashlib.sha256(trace).hexdigest()
        assert store.put_blob(trace) == store.put_blob(trace) == digest
        other = store.put_blob(b"")
        assert store.blob(digest) == trace
        assert store.blob(other) == b""
        assert store.blob("0" * 64) is None
        assert list(store.blob_digests()) == sorted([digest, other])

    def test_what_just_came_in_can_be_dropped_and_is_back_when_that_is_undone(self, store: Store) -> None:
        text, digest = keep("Ann Example", tokens("text")), store.put_blob(b"trace")
        store.put_text(text)

        def drop_and_fail() -> None:
            with store.transaction():
                store.drop_blob(digest)
                store.drop_text(text.digest)
                raise RuntimeError(store.blob(digest), store.text(text.digest))

        with pytest.raises(RuntimeError, match=r"\(None, None\)"):
            drop_and_fail()
        assert store.blob(digest) == b"trace"
        assert store.text(text.digest) == text
        store.drop_blob(digest)
        store.drop_text(text.digest)
        store.drop_text(text.digest)
        assert (list(store.blob_digests()), list(store.texts())) == ([], [])

    def test_an_erased_text_stays_erased(self, store: Store) -> None:
        text = keep("Ann Example", tokens("text"))
        assert store.put_text(text)
        assert not store.put_text(text)
        assert store.text(text.digest) == text
        assert store.put_text(tombstone(text.digest))
        assert not store.put_text(text)
        assert not store.put_text(tombstone(text.digest))
        assert store.text(text.digest) == tombstone(text.digest)

    def test_a_tombstone_that_comes_before_its_text_keeps_it_out(self, store: Store) -> None:
        text = keep("Ann Example", tokens("text"))
        assert store.put_text(tombstone(text.digest))
        assert not store.put_text(text)
        assert [one.words for one in store.texts()] == [None]
        assert store.text("0" * 64) is None

    def test_snapshots_are_replaced_and_can_be_thrown_away(self, store: Store) -> None:
        store.put_snapshot("fold", Snapshot(3, b"three"))
        store.put_snapshot("fold", Snapshot(5, b"five"))
        assert store.snapshot("fold") == Snapshot(5, b"five")
        store.drop_snapshots()
        assert store.snapshot("fold") is None

    def test_settings_are_kept(self, store: Store) -> None:
        assert store.setting("theme") is None
        store.put_setting("theme", "dark")
        store.put_setting("theme", "sun")
        assert store.setting("theme") == "sun"

    # --- with a record above ---

    # --- setting events apart ---

    def test_events_beyond_a_moment_move_beside_the_record_and_the_rest_keeps_its_position(self, store: Store) -> None:
        store.set_record_id("c0ffee00" * 4)
        early, late = bodies("a1", 2), bodies("b2", 2, first_ms=START_MS + 1_000)
        store.append(early, head=GENESIS)
        store.append(late, head=GENESIS)
        moved = store.set_apart(after_ms=START_MS + 500)
        assert list(moved) == sorted(event_id(body) for body in late)
        assert [(one.position, one.body) for one in store.events()] == [(1, early[0]), (2, early[1])]
        assert sorted(store.waiting()) == sorted(late)
        assert store.heads() == {"a1": SeenHead(sequence=2, event=event_id(early[1]))}
        assert store.latest_clock() == HybridTime(wall_ms=START_MS + 2)
        assert (store.count(), store.last_position(), store.departures()) == (2, 4, 1)
        assert list(store.damage()) == []

    def test_what_comes_back_arrives_anew(self, store: Store) -> None:
        chain = bodies("a1", 3)
        store.append(chain, head=GENESIS)
        store.set_apart(after_ms=START_MS + 2)
        store.take([chain[2]])
        store.replace_waiting(())
        assert [(one.position, one.body) for one in store.events(after=2)] == [(4, chain[2])]
        assert [one.id for one in store.index()] == [event_id(body) for body in chain]
        assert list(store.events_at("a1", 3)) == list(store.events(after=3))
        assert list(store.damage()) == []

    def test_nothing_happens_where_nothing_lies_beyond(self, store: Store) -> None:
        store.append(bodies("a1", 2), head=GENESIS)
        store.put_snapshot("fold", Snapshot(2, b"fold"))
        assert list(store.set_apart(after_ms=START_MS + 2)) == []
        assert (store.count(), store.departures()) == (2, 0)
        assert store.snapshot("fold") == Snapshot(2, b"fold")

    def test_setting_apart_throws_away_what_was_computed_from_it(self, store: Store) -> None:
        store.append(bodies("a1", 2), head=GENESIS)
        store.put_snapshot("fold", Snapshot(2, b"fold"))
        store.set_apart(after_ms=START_MS + 1)
        assert store.snapshot("fold") is None

    def test_a_transaction_that_fails_leaves_everything_where_it_was(self, store: Store) -> None:
        chain = bodies("a1", 3)
        store.append(chain, head=GENESIS)
        before = (list(store.events()), store.heads(), list(store.index()), store.departures())

        def away_and_back() -> None:
            store.set_apart(after_ms=START_MS + 1)
            store.take([chain[1]])

        _interrupted(store, away_and_back)
        assert (list(store.events()), store.heads(), list(store.index()), store.departures()) == before
        assert list(store.waiting()) == []
        assert store.append(bodies("a1", 1, after=chain), head=event_id(chain[-1])) == 4

    def test_a_reader_notices_that_events_were_set_apart_and_that_they_came_back(self, store: Store) -> None:
        record = begin(store)
        note(record, "early", second=1)
        late = note(record, "late", second=100)
        assert len(record.events()) == 3
        store.set_apart(after_ms=START_MS + 50_000)
        assert [event.payload for event in record.events()][1:] == [Noted(text="early")]
        store.take(store.waiting())
        store.replace_waiting(())
        assert record.events()[-1].id == late

    # --- signed heads ---

    def test_signed_heads_are_kept_in_order_and_replaced_as_a_whole(self, store: Store) -> None:
        store.set_record_id("c0ffee00" * 4)
        assert list(store.signed_heads()) == []
        one, other = _signed("1", 4), _signed("2", 2)
        store.replace_signed_heads([one, other])
        assert list(store.signed_heads()) == sorted([one, other])
        _interrupted(store, lambda: store.replace_signed_heads([]))
        assert list(store.signed_heads()) == sorted([one, other])
        store.replace_signed_heads([other])
        assert list(store.signed_heads()) == [other]

    def test_two_writers_of_one_device_take_turns_on_one_chain(self, store: Store) -> None:
        first = begin(store)
        second = type(first)(store, known_kinds(), device_name="laptop", token=tokens("second"))
        for turn in range(6):
            note(first if turn % 2 else second, f"turn {turn}", second=turn)
        with first.writer(at(9)).batch() as outer:
            note(second, "between", second=9)
            outer.add(_draft("after"))
        report = verify(store, known_kinds())
        assert report.unbroken
        assert [(chain.events, chain.head_sequence) for chain in report.chains] == [(9, 9)]
        assert report.forks == ()

    def test_threads_of_a_server_take_turns_on_one_chain(self, store: Store) -> None:
        record = begin(store)

        def write(name: str) -> None:
            for number in range(20):
                with record.writer(at(number)).batch() as batch:
                    first = batch.add(_draft(f"{name} {number}"))
                    batch.add(Draft(kind=NOTED, payload=Noted(text="and"), subjects=(first,)))
                record.events()

        with ThreadPoolExecutor(max_workers=4) as pool:
            list(pool.map(write, "abcd"))
        report = verify(store, known_kinds())
        assert report.unbroken
        assert report.forks == ()
        assert [(chain.events, chain.head_sequence) for chain in report.chains] == [(161, 161)]
        assert [event.envelope.sequence for event in record.events()] == list(range(1, 162))
        pairs = record.events()[1:]
        assert all(
            second.envelope.subjects == (first.id,) for first, second in zip(pairs[::2], pairs[1::2], strict=True)
        )

    def test_a_batch_that_fails_leaves_no_event_and_no_new_device(self, store: Store) -> None:
        record = begin(store)
        store.set_device_id("")

        def write_a_batch() -> None:
            with record.writer(at(2)).batch() as batch:
                batch.add(_draft("one"))
                assert len(record.events()) == 3
                raise Interruption

        with pytest.raises(Interruption):
            write_a_batch()
        assert store.device_id() == ""
        assert len(record.events()) == 1
        note(record, "two")
        assert len(record.events()) == 3


def _interrupted(store: Store, act: Callable[[], None]) -> None:
    """Do it in a transaction that fails at its end."""

    def fail() -> None:
        with store.transaction():
            act()
            raise Interruption

    with pytest.raises(Interruption):
        fail()


def _signed(digit: str, sequence: int) -> SignedHead:
    """A signed head in form only: a store does not ask whether it is genuine."""
    record, key = "c0ffee00" * 4, digit * 64
    return SignedHead(
        record=record,
        device=device_of(record, key),
        sequence=sequence,
        event=digit * 64,
        public_key=key,
        signature=digit * 128,
    )


def _draft(text: str) -> Draft:
    return Draft(kind=NOTED, payload=Noted(text=text))
