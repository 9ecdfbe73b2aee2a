"""What verification can say, and what it does not say."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.store import KeptText, StoredEvent
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import InputError, StoreError
from loopworthy.vocabulary.identity import event_id, fingerprint
from tests.contract.record_makers import at, begin, join, known_kinds, note, send


@pytest.fixture
def laptop() -> Record:
    return begin(MemoryStore())


def test_a_chain_is_named_with_its_head_and_fingerprint(laptop: Record) -> None:
    last = note(laptop, "one")
    report = verify(laptop.store, known_kinds())
    assert (report.record, report.events, report.unbroken, report.first_fault) == (laptop.id, 2, True, None)
    (chain,) = report.chains
    assert (chain.device, chain.device_name, chain.events) == (laptop.device, "laptop", 2)
    assert (chain.head, chain.head_sequence, chain.fingerprint) == (last, 2, fingerprint(last))


def test_a_chain_that_nobody_has_seen_is_not_witnessed(laptop: Record) -> None:
    (chain,) = verify(laptop.store, known_kinds()).chains
    assert (chain.witnessed_sequence, chain.witnesses) == (0, ())


def test_a_chain_is_witnessed_up_to_the_event_that_another_device_saw(laptop: Record) -> None:
    note(laptop, "one")
    phone = join(laptop.store, "phone")
    note(phone, "seen")
    note(laptop, "after that")
    send(phone.store, laptop.store)
    chains = {chain.device_name: chain for chain in verify(laptop.store, known_kinds()).chains}
    assert (chains["laptop"].head_sequence, chains["laptop"].witnessed_sequence) == (3, 2)
    assert chains["laptop"].witnesses == (phone.device,)
    assert chains["phone"].witnessed_sequence == 0
    note(laptop, "and now the laptop has seen the phone's")
    chains = {chain.device_name: chain for chain in verify(laptop.store, known_kinds()).chains}
    assert (chains["phone"].witnessed_sequence, chains["phone"].witnesses) == (2, (laptop.device,))


def test_a_sheet_witnesses_too(laptop: Record) -> None:
    noted = note(laptop, "one")
    laptop.witness(fingerprint(noted), now=at(9))
    (chain,) = verify(laptop.store, known_kinds()).chains
    assert chain.witnessed_sequence == 2


def test_a_fingerprint_from_outside_is_confirmed_or_contradicted(laptop: Record) -> None:
    noted = note(laptop, "one")
    confirmed = verify(laptop.store, known_kinds(), sheets=[fingerprint(noted)])
    assert [sheet.event for sheet in confirmed.sheets] == [noted]
    assert confirmed.unbroken
    contradicted = verify(laptop.store, known_kinds(), sheets=["0123 4567 89ab cdef"])
    assert [sheet.event for sheet in contradicted.sheets] == [None]
    assert not contradicted.unbroken
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        verify(laptop.store, known_kinds(), sheets=["0123 4567"])


class Handled(MemoryStore):
    """A store in which somebody has replaced or removed events, or the medium has failed."""

    replaced: dict[int, bytes]
    texts_instead: tuple[KeptText, ...] = ()
    blob_instead: bytes | None = None
    fails = False

    def events(self, *, after: int = 0) -> Sequence[StoredEvent]:
        if self.fails:
            raise StoreError("Cannot read record.lw: the file is damaged")
        changes = getattr(self, "replaced", {})
        return [
            StoredEvent(one.position, event_id(changes[one.position]), changes[one.position])
            if one.position in changes
            else one
            for one in super().events(after=after)
        ]

    def texts(self) -> Sequence[KeptText]:
        return self.texts_instead or super().texts()

    def blob(self, digest: str) -> bytes | None:
        return self.blob_instead if self.blob_instead is not None else super().blob(digest)


def _handled(source: Record) -> Handled:
    store = Handled()
    send(source.store, store)
    return store


def test_rewriting_the_past_after_somebody_saw_it_is_found_and_named(laptop: Record) -> None:
    note(laptop, "cell 2 reads low")
    phone = join(laptop.store, "phone")
    note(phone, "seen")
    send(phone.store, laptop.store)
    store = _handled(laptop)
    victim = laptop.events()[1]
    store.replaced = {2: victim.body.replace(b"reads low", b"reads well")}
    report = verify(store, known_kinds())
    assert not report.unbroken
    why = [fault.why for fault in report.faults if fault.device == phone.device]
    assert f"it had seen event {victim.id[:12]} as 2 of chain {laptop.device[:12]}; now " in why[0]
    assert str(report.faults[-1]).startswith("Event ")


def test_an_event_after_a_missing_one_is_the_first_bad_one(laptop: Record) -> None:
    note(laptop, "one")
    note(laptop, "two")
    store = _handled(laptop)
    other = begin(MemoryStore(), "other")
    note(other, "stranger")
    store.replaced = {2: laptop.events()[1].body.replace(b'"one"', b'"won"')}
    report = verify(store, known_kinds())
    assert report.first_fault is not None
    assert (report.first_fault.sequence, report.first_fault.device) == (2, laptop.device)
    assert "the store's index says something else" in report.first_fault.why
    assert f"the event before it ({laptop.events()[1].id[:12]}) is missing" in report.faults[1].why


def test_damaged_texts_and_blobs_are_named(laptop: Record) -> None:
    blob = laptop.put_blob(b"a trace")
    store = _handled(laptop)
    store.blob_instead = b"another trace"
    store.texts_instead = (KeptText(digest="ab" * 32, salt=b"s" * 16, words="Ann Example"),)
    report = verify(store, known_kinds())
    assert report.damage == (
        "Text abababababab does not fit its salted hash",
        f"Blob {blob[:12]} does not fit its hash",
    )
    assert not report.unbroken


def test_a_medium_that_cannot_be_read_is_reported_not_raised(laptop: Record) -> None:
    store = _handled(laptop)
    store.fails = True
    report = verify(store, known_kinds())
    assert report.damage == ("Cannot read record.lw: the file is damaged",)
    assert (report.events, report.unbroken) == (0, False)
