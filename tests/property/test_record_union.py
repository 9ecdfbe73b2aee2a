"""Merging is union: whatever way the parts of a record arrive, the same record comes out."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.verify import verify
from loopworthy.vocabulary.event import Event
from tests.contract.record_makers import at, bodies, known_kinds, lines_of, send
from tests.property.record_strategies import STEPS, Step, live


def test_the_strategy_makes_histories_in_which_devices_know_different_things() -> None:
    steps = [
        Step(device=1, source=0, act="note", second=5),
        Step(device=0, source=1, act="merge", second=0),
        Step(device=0, source=0, act="note", second=-5),
    ]
    laptop, phone, _ = live(steps)
    assert len(laptop.events()) == 4
    assert len(phone.events()) == 3


@settings(max_examples=60)
@given(steps=STEPS, data=st.data())
def test_any_order_repetition_and_split_of_the_parts_gives_the_same_record(
    steps: list[Step], data: st.DataObject
) -> None:
    records = live(steps)
    whole = MemoryStore()
    for record in records:
        send(record.store, whole)
    wanted = lines_of(whole)
    header, *parts, _ = wanted

    pieces = data.draw(st.lists(st.lists(st.sampled_from(parts), max_size=12), max_size=5), label="with repetitions")
    # Whatever was drawn, in the end every part has arrived at least once, each in a file of its own at worst.
    rest = data.draw(st.permutations(parts), label="rest")
    cut = data.draw(st.integers(1, len(parts)), label="cut")
    pieces += [rest[start : start + cut] for start in range(0, len(rest), cut)]

    target = MemoryStore()
    for piece in pieces:
        merge(target, known_kinds(), [header, *piece], now=at(86_400), adopt=True)

    assert lines_of(target) == wanted
    assert [one.id for one in target.events_in_order()] == [one.id for one in whole.events_in_order()]
    assert list(target.waiting()) == []
    assert verify(target, known_kinds()).unbroken


@settings(max_examples=40)
@given(steps=STEPS, order=st.permutations(range(3)))
def test_merging_whole_records_is_commutative_associative_and_idempotent(steps: list[Step], order: list[int]) -> None:
    records = live(steps)
    straight, shuffled, nested = MemoryStore(), MemoryStore(), MemoryStore()
    for record in records:
        send(record.store, straight)
    for index in [*order, *order]:
        send(records[index].store, shuffled)
    first, second, third = (records[index].store for index in order)
    inner = MemoryStore()
    send(second, inner)
    send(third, inner)
    send(first, nested)
    send(inner, nested)
    assert lines_of(straight) == lines_of(shuffled) == lines_of(nested)


@settings(max_examples=40)
@given(steps=STEPS)
def test_the_total_order_keeps_cause_before_effect_whatever_the_wall_clocks_say(steps: list[Step]) -> None:
    for record in live(steps):
        met: dict[str, Event] = {}
        for event in record.events():
            one = event.envelope
            assert one.previous == "" or one.previous in met
            assert all(head.event in met for head in one.seen.values())
            assert all(event.knew_of(met[head.event]) for head in one.seen.values())
            met[event.id] = event


@given(
    lengths=st.tuples(st.integers(1, 4), st.integers(1, 4), st.integers(1, 4)),
    data=st.data(),
)
def test_a_fork_survives_in_every_order_of_arrival(lengths: tuple[int, int, int], data: st.DataObject) -> None:
    trunk = bodies("a1", lengths[0])
    left = bodies("a1", lengths[1], after=trunk, mark="left")
    right = bodies("a1", lengths[2], after=trunk, mark="right")
    canonical = MemoryStore()
    canonical.set_record_id("c0ffee00" * 4)
    canonical.take([*trunk, *left, *right])
    wanted = lines_of(canonical)
    header, *parts, _ = wanted

    target = MemoryStore()
    for line in data.draw(st.permutations(parts)):
        report = merge(target, known_kinds(), [header, line], now=at(86_400), adopt=True)
    assert lines_of(target) == wanted
    assert [(fork.sequence, len(fork.branches)) for fork in report.forks] == [(lengths[0] + 1, 2)]
