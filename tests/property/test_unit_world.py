"""Whatever is told about units, the world stays in one piece."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

import msgspec
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.unit.configuration import Configuration, ready_configurations
from loopworthy.unit.events import (
    EPISODE_KINDS,
    ConfigurationSet,
    ContentPlaced,
    ContentRemoved,
    CustodyGiven,
    EpisodeBegan,
    EpisodeEnded,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingDescribed,
    ThingsSame,
)
from loopworthy.unit.world import CONTENT, World
from loopworthy.vocabulary.event import Event
from tests.unit.unit.storyteller import DIGEST, Storyteller

Told = tuple[msgspec.Struct, tuple[int, ...]]
"""A payload, and its subjects as numbers of things in order of creation."""

KINDS = ("unit", "unit", "oxygen-sensor", "oxygen-sensor", "oxygen-sensor", "canister", "canister", "absorbent-fill",
         "absorbent-fill", "person", "person")  # fmt: skip
CONFIGURATIONS: tuple[Configuration, ...] = tuple(ready_configurations().values())

things = st.integers(0, len(KINDS) - 1)
pairs = st.tuples(things, things)
alike = st.sampled_from(
    [
        (one, other)
        for one, kind in enumerate(KINDS)
        for other, like in enumerate(KINDS)
        if kind == like and one != other
    ]
)
slots = st.sampled_from(("oxygen-sensor-1", "oxygen-sensor-3", "canister-2", "second-loop", "diver"))
moves: st.SearchStrategy[Told] = st.one_of(
    st.tuples(st.builds(PartFitted, position=slots), pairs),
    st.tuples(st.builds(PartFitted, position=slots), pairs),
    st.tuples(st.builds(PartRemoved, position=slots), pairs),
    st.tuples(st.just(ContentPlaced()), pairs),
    st.tuples(st.just(ContentRemoved()), pairs),
)
other: st.SearchStrategy[Told] = st.one_of(
    st.tuples(st.just(ThingsSame()), alike),
    st.tuples(st.just(ThingsSame()), pairs),
    st.tuples(st.builds(ThingDescribed, serial=st.sampled_from(("S-1", "S-2"))), st.tuples(things)),
    st.tuples(st.just(CustodyGiven()), pairs),
    st.tuples(
        st.sampled_from(CONFIGURATIONS).map(
            lambda one: ConfigurationSet(name=one.name, title=one.title, choices=dict(one.choices))
        ),
        st.tuples(things),
    ),
    st.tuples(st.builds(EpisodeBegan, episode=st.sampled_from(EPISODE_KINDS)), pairs),
    st.tuples(st.builds(EpisodeEnded, episode=st.sampled_from(EPISODE_KINDS)), pairs),
)
histories = st.lists(st.one_of(moves, moves, other), max_size=60)


def told(history: list[Told]) -> Storyteller:
    """Everything told, after the creation of all things."""
    teller = Storyteller()
    for kind in KINDS:
        teller.tell(ThingCreated(kind=kind, name_digest=DIGEST if kind == "person" else ""))
    ids = [event.id for event in teller.events]
    for payload, subjects in history:
        teller.tell(payload, *(ids[number] for number in subjects))
    return teller


def folded(events: list[Event], world: World | None = None) -> World:
    world = world or World.empty()
    for event in events:
        world.apply(event)
    return world


@given(histories)
def test_a_thing_is_in_one_place_and_a_place_holds_one_thing(history: list[Told]) -> None:
    world = told(history).world
    placed = [
        (fitting.thing, (holder, position))
        for holder, there in world.held.items()
        for position, fitting in there.items()
    ]
    objects = [(thing, place) for thing, place in placed if world.things[thing].kind != "person"]
    assert [thing for thing, count in Counter(thing for thing, _ in objects).items() if count > 1] == []
    assert world.where == dict(objects)
    for thing, (holder, position) in objects:
        assert world.at(holder, position) == thing
        if position == CONTENT:
            assert world.container_of(thing) == holder
            assert world.content_of(holder) == thing
        else:
            assert world.place_of(thing) == (holder, position)


@given(histories)
def test_places_never_go_round_in_a_circle(history: list[Told]) -> None:
    world = told(history).world
    for start in world.where:
        seen = {start}
        thing = start
        while thing in world.where:
            thing = world.where[thing][0]
            assert thing not in seen
            seen.add(thing)


@given(histories)
def test_the_first_identity_stands_for_all_and_for_itself(history: list[Told]) -> None:
    world = told(history).world
    for thing in world.things:
        root = world.canonical(thing)
        assert world.canonical(root) == root
        assert world.things[root].order <= world.things[thing].order
        assert world.things[root].kind == world.things[thing].kind
    known = {world.canonical(thing) for thing in world.things}
    assert set(world.held) <= known
    assert {fitting.thing for there in world.held.values() for fitting in there.values()} <= known
    assert set(world.configured) | set(world.stretches) | set(world.custodies) <= known
    assert {one.id for kind in set(KINDS) for one in world.of_kind(kind)} == known


@given(histories, st.data())
def test_a_world_taken_up_again_goes_on_as_if_never_put_down(history: list[Told], data: st.DataObject) -> None:
    teller = told(history)
    cut = data.draw(st.integers(0, len(teller.events)))
    kept = World.from_bytes(folded(teller.events[:cut]).to_bytes())
    assert folded(teller.events[cut:], kept) == teller.world
    assert kept.to_bytes() == teller.world.to_bytes()


@given(histories)
def test_a_thing_is_now_where_its_open_stay_says(history: list[Told]) -> None:
    world = told(history).world
    open_now = {
        (holder, position, fitting.thing, fitting.event)
        for holder, there in world.held.items()
        for position, fitting in there.items()
    }
    stays = [
        stay for thing in {world.canonical(one) for one in world.things} for stay in world.fitting_history_of(thing)
    ]
    assert {(one.holder, one.position, one.thing, one.fitted_by) for one in stays if one.removed_at is None} == open_now
    assert len(stays) == len(world.spans)
    for stay in stays:
        assert (stay.removed_at is None) == (stay.removed_by == "")
        assert stay.removed_at is None or stay.removed_at.epoch_ms >= stay.fitted_at.epoch_ms
        assert stay in world.fitting_history(stay.holder, stay.position)


@given(histories)
def test_stays_in_one_position_follow_one_another(history: list[Told]) -> None:
    without_sameness = [one for one in history if not isinstance(one[0], ThingsSame)]
    world = told(without_sameness).world
    for holder in world.things:
        for position in {stay.position for stay in world.fitting_history(holder)}:
            stays = world.fitting_history(holder, position)
            for one, following in pairwise(stays):
                assert one.removed_at is not None
                assert one.removed_at.epoch_ms <= following.fitted_at.epoch_ms


@given(histories)
def test_at_most_the_last_episode_of_a_kind_is_open(history: list[Told]) -> None:
    world = told(history).world
    for unit in world.things:
        for kind in EPISODE_KINDS:
            episodes = world.episodes(unit, kind)
            assert [one for one in episodes[:-1] if one.is_open] == []
            assert world.episode(unit, kind) == (episodes[-1] if episodes and episodes[-1].is_open else None)
            orders = [one.order for one in episodes]
            assert orders == sorted(orders)


@given(st.lists(moves, max_size=60))
def test_things_are_where_a_plain_list_of_places_has_them(history: list[Told]) -> None:
    teller = told(history)
    misfits = {one.event for one in teller.world.misfits}
    ids = [event.id for event in teller.events]
    people = {ids[number] for number, kind in enumerate(KINDS) if kind == "person"}
    places: list[tuple[str, str, str]] = []
    for event, (payload, subjects) in zip(teller.events[len(KINDS) :], history, strict=True):
        if event.id in misfits:
            continue
        holder, thing = (ids[number] for number in subjects)
        slot = payload.position if isinstance(payload, PartFitted | PartRemoved) else CONTENT
        if isinstance(payload, PartRemoved | ContentRemoved):
            places.remove((holder, slot, thing))
        else:
            places = [one for one in places if one[:2] != (holder, slot) and (one[2] != thing or thing in people)]
            places.append((holder, slot, thing))
    held = teller.world.held.items()
    assert sorted(places) == sorted((holder, slot, one.thing) for holder, there in held for slot, one in there.items())


@given(histories)
def test_what_is_fitted_has_a_position_on_the_unit_since_it_was_last_configured(history: list[Told]) -> None:
    configured = {number for payload, (number, *_) in history if isinstance(payload, ConfigurationSet)}
    first = [one for one in history if isinstance(one[0], ConfigurationSet)]
    world = told([one for one in history if not isinstance(one[0], ConfigurationSet)] + first).world
    ids = list(world.things)
    for number in configured:
        there = {one.id for one in world.positions(ids[number])}
        assert set(world.fitted(ids[number])) <= there
