"""Where things are, what holds what, and which stretch of time is open, as the events tell it."""

from __future__ import annotations

import pytest

from loopworthy.unit.configuration import configuration_from_choices, ready_configurations
from loopworthy.unit.events import (
    EVENT_TYPES,
    ChangeMade,
    ContentPlaced,
    ContentRemoved,
    CustodyGiven,
    EpisodeBegan,
    EpisodeEnded,
    ThingCreated,
    ThingDescribed,
    ThingsSame,
)
from loopworthy.unit.positions import positions
from loopworthy.unit.world import CONTENT, World
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.reading import Reading
from tests.unit.unit.storyteller import DIGEST, Storyteller, changed, plain

# --- things ------------------------------------------------------------------------------------------------------


def test_a_thing_is_known_by_the_event_that_created_it() -> None:
    told = Storyteller()
    event = told.tell(ThingCreated(kind="oxygen-sensor", serial="S-0412", batch="B7", made_on="2025-11-03"))
    thing = told.world.thing(event.id)
    assert (thing.id, thing.kind, thing.serial, thing.batch) == (event.id, "oxygen-sensor", "S-0412", "B7")
    assert thing.created == event.envelope.occurred_at
    assert thing.order == event.order
    assert not thing.retired


def test_what_is_learned_of_a_thing_leaves_the_rest_as_it_was() -> None:
    told = Storyteller()
    first = ThingCreated(kind="cylinder", serial="C-1", attributes={"thread": "M25x2", "volume": "3"})
    cylinder = told.tell(first).id
    told.tell(
        ThingDescribed(name="left", attributes={"volume": Reading(value="3.0", unit="L"), "thread": ""}), cylinder
    )
    thing = told.world.thing(cylinder)
    assert (thing.serial, thing.name) == ("C-1", "left")
    assert thing.attributes == {"volume": Reading(value="3.0", unit="L")}


def test_a_thing_can_be_retired_and_come_back() -> None:
    told = Storyteller()
    sensor = told.create("oxygen-sensor")
    told.tell(ThingDescribed(retired=True), sensor)
    assert told.world.thing(sensor).retired
    told.tell(ThingDescribed(name="spare"), sensor)
    assert told.world.thing(sensor).retired
    told.tell(ThingDescribed(retired=False), sensor)
    assert not told.world.thing(sensor).retired


def test_a_person_is_never_described_by_name() -> None:
    told = Storyteller()
    diver, unit = told.create("person"), told.unit()
    told.tell(ThingDescribed(name="Somebody"), diver)
    told.tell(ThingDescribed(name_digest=DIGEST), unit)
    assert told.world.thing(diver).name == ""
    assert told.world.thing(unit).name_digest == ""
    assert [one.problem for one in told.world.misfits] == ["gives a person a name", "gives a unit a name_digest"]


def test_a_persons_name_can_be_kept_under_a_new_digest() -> None:
    told = Storyteller()
    diver = told.create("person")
    told.tell(ThingDescribed(name_digest="cd" * 32), diver)
    assert told.world.person_digest(diver) == "cd" * 32


def test_the_digest_of_something_that_is_no_person_is_not_known() -> None:
    told = Storyteller()
    with pytest.raises(UnknownNameError, match="There is no person"):
        told.world.person_digest(told.unit())
    with pytest.raises(UnknownNameError, match="There is no person"):
        told.world.person_digest("f" * 64)


def test_an_unknown_thing_is_refused_with_the_next_step() -> None:
    with pytest.raises(UnknownNameError, match="There is no thing 'ffff.*Look for it on the page of things"):
        World.empty().thing("f" * 64)


def test_units_are_listed_in_order_of_creation() -> None:
    told = Storyteller()
    first = told.unit("Grey Heron")
    told.create("cylinder")
    second = told.unit("Dabchick")
    assert told.world.units() == (first, second)


# --- places ------------------------------------------------------------------------------------------------------


def test_a_fitted_thing_is_in_its_position_since_then() -> None:
    told = Storyteller()
    unit, sensor = told.unit(), told.create("oxygen-sensor")
    event = told.fit(unit, "oxygen-sensor-1", sensor)
    fitting = told.world.fitted(unit)["oxygen-sensor-1"]
    assert (fitting.thing, fitting.since, fitting.event, fitting.order) == (
        sensor,
        event.envelope.occurred_at,
        event.id,
        event.order,
    )
    assert told.world.at(unit, "oxygen-sensor-1") == sensor
    assert told.world.at(unit, "oxygen-sensor-2") is None
    assert told.world.place_of(sensor) == (unit, "oxygen-sensor-1")


def test_a_thing_fitted_elsewhere_leaves_its_earlier_place() -> None:
    told = Storyteller()
    unit, other, sensor = told.unit(), told.unit(), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", sensor)
    told.fit(other, "oxygen-sensor-2", sensor)
    assert told.world.fitted(unit) == {}
    assert told.world.place_of(sensor) == (other, "oxygen-sensor-2")


def test_a_position_holds_one_thing() -> None:
    told = Storyteller()
    unit, old, new = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", old)
    told.fit(unit, "oxygen-sensor-1", new)
    assert told.world.at(unit, "oxygen-sensor-1") == new
    assert told.world.place_of(old) is None


def test_two_sensors_that_change_places_leave_no_one_behind() -> None:
    told = Storyteller()
    unit, one, two = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", one)
    told.fit(unit, "oxygen-sensor-2", two)
    told.fit(unit, "oxygen-sensor-2", one)
    told.fit(unit, "oxygen-sensor-1", two)
    assert {position: fitting.thing for position, fitting in told.world.fitted(unit).items()} == {
        "oxygen-sensor-2": one,
        "oxygen-sensor-1": two,
    }


def test_a_thing_fitted_anew_in_its_own_place_is_there_since_then() -> None:
    told = Storyteller()
    unit, sensor = told.unit(), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", sensor)
    again = told.fit(unit, "oxygen-sensor-1", sensor)
    assert told.world.fitted(unit)["oxygen-sensor-1"].event == again.id
    assert len(told.world.fitting_history_of(sensor)) == 2


def test_a_removed_thing_is_nowhere() -> None:
    told = Storyteller()
    unit, sensor = told.unit(), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", sensor)
    told.remove(unit, "oxygen-sensor-1", sensor)
    assert told.world.at(unit, "oxygen-sensor-1") is None
    assert told.world.place_of(sensor) is None


def test_taking_out_what_is_not_there_changes_nothing_and_is_told() -> None:
    told = Storyteller()
    unit, there, absent = told.unit(), told.create("oxygen-sensor", "S-1"), told.create("oxygen-sensor", "S-2")
    told.fit(unit, "oxygen-sensor-1", there)
    event = told.remove(unit, "oxygen-sensor-1", absent)
    assert told.world.at(unit, "oxygen-sensor-1") == there
    assert [(one.event, one.problem) for one in told.world.misfits] == [
        (event.id, "takes sensor S-2 out of oxygen-sensor-1 of unit Grey Heron, where it is not")
    ]


def test_a_thing_cannot_be_put_into_itself() -> None:
    told = Storyteller()
    unit = told.unit()
    told.fit(unit, "second-loop", unit)
    assert told.world.fitted(unit) == {}
    assert [one.problem for one in told.world.misfits] == ["puts unit Grey Heron into itself"]


def test_a_thing_cannot_be_put_into_something_that_lies_in_it() -> None:
    told = Storyteller()
    outer, middle, inner = told.unit("Heron"), told.unit("Dabchick"), told.unit("Wren")
    told.fit(outer, "second-loop", middle)
    told.fit(middle, "second-loop", inner)
    told.fit(inner, "second-loop", outer)
    assert told.world.place_of(outer) is None
    assert [one.problem for one in told.world.misfits] == ["puts unit Heron into unit Wren, which lies in it"]


def test_one_person_can_be_the_diver_of_two_units() -> None:
    told = Storyteller()
    main, second, diver = told.unit("Grey Heron"), told.unit("Dabchick"), told.create("person")
    told.fit(main, "diver", diver)
    told.fit(second, "diver", diver)
    told.fit(main, "second-loop", second)
    assert told.world.at(main, "diver") == told.world.at(second, "diver") == diver
    assert told.world.units_of(diver) == (main, second)
    assert told.world.place_of(diver) is None


def test_another_diver_takes_the_place_of_the_first() -> None:
    told = Storyteller()
    unit, one, other = told.unit(), told.create("person"), told.create("person")
    told.fit(unit, "diver", one)
    told.fit(unit, "diver", other)
    assert told.world.at(unit, "diver") == other
    assert told.world.units_of(one) == ()


def test_stays_are_told_by_position_and_by_serial() -> None:
    told = Storyteller()
    unit, one, two = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    first = told.fit(unit, "oxygen-sensor-1", one)
    second = told.fit(unit, "oxygen-sensor-1", two)
    third = told.fit(unit, "oxygen-sensor-2", one)
    by_position = told.world.fitting_history(unit, "oxygen-sensor-1")
    assert [(one.thing, one.fitted_by, one.removed_by) for one in by_position] == [
        (one, first.id, second.id),
        (two, second.id, ""),
    ]
    assert [stay.position for stay in told.world.fitting_history(unit)] == [
        "oxygen-sensor-1",
        "oxygen-sensor-1",
        "oxygen-sensor-2",
    ]
    by_serial = told.world.fitting_history_of(one)
    assert [(stay.position, stay.fitted_by, stay.removed_at) for stay in by_serial] == [
        ("oxygen-sensor-1", first.id, second.envelope.occurred_at),
        ("oxygen-sensor-2", third.id, None),
    ]


# --- configuration -----------------------------------------------------------------------------------------------


def test_a_unit_is_configured_as_was_said_last() -> None:
    told = Storyteller()
    unit = told.unit()
    assert told.world.configuration(unit) is None
    assert told.world.positions(unit) == ()
    told.configure(unit, plain())
    assert told.world.configuration(unit) == plain()
    told.configure(unit, changed(oxygen_sensors="4"))
    assert told.world.configuration(unit) == changed(oxygen_sensors="4")
    assert told.world.positions(unit) == positions(changed(oxygen_sensors="4"))


def test_nothing_stays_in_a_position_that_the_unit_no_longer_has() -> None:
    told = Storyteller()
    unit, kept, lost = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.configure(unit, plain())
    told.fit(unit, "oxygen-sensor-2", kept)
    told.fit(unit, "oxygen-sensor-3", lost)
    event = told.configure(unit, changed(oxygen_sensors="2"))
    assert told.world.at(unit, "oxygen-sensor-2") == kept
    assert told.world.place_of(lost) is None
    assert told.world.fitting_history_of(lost)[0].removed_by == event.id
    told.configure(unit, plain())
    assert told.world.at(unit, "oxygen-sensor-3") is None


def test_a_configuration_of_a_later_version_takes_nothing_away() -> None:
    told = Storyteller()
    unit, sensor = told.unit(), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-3", sensor)
    ours = changed(oxygen_sensors="2")
    newer = type(ours)(name="newer", title="Newer", choices=type(ours.choices)({**ours.choices, "gills": ("fitted",)}))
    told.configure(unit, newer)
    assert told.world.place_of(sensor) == (unit, "oxygen-sensor-3")
    assert told.world.configuration(unit) == newer


def test_a_ready_configuration_can_be_written_down_and_read_back() -> None:
    told = Storyteller()
    for configuration in ready_configurations().values():
        unit = told.unit()
        told.configure(unit, configuration)
        assert told.world.configuration(unit) == configuration


# --- contents ----------------------------------------------------------------------------------------------------


def test_a_fill_is_in_its_container_until_the_next_one() -> None:
    told = Storyteller()
    canister, old, new = told.create("canister"), told.create("absorbent-fill"), told.create("absorbent-fill")
    told.fill(canister, old)
    event = told.fill(canister, new)
    assert told.world.content_of(canister) == new
    assert told.world.container_of(new) == canister
    assert told.world.container_of(old) is None
    placed = told.world.content_placed(canister)
    assert placed is not None
    assert placed.since == event.envelope.occurred_at


def test_a_fill_stays_in_its_cylinder_when_the_cylinder_moves() -> None:
    told = Storyteller()
    unit, cylinder, gas = told.unit(), told.create("cylinder"), told.create("gas-fill")
    told.fill(cylinder, gas)
    told.fit(unit, "cylinder-oxygen", cylinder)
    told.remove(unit, "cylinder-oxygen", cylinder)
    assert told.world.content_of(cylinder) == gas
    assert told.world.place_of(gas) is None


def test_a_fill_that_was_moved_is_no_longer_in_the_first_container() -> None:
    told = Storyteller()
    one, two, fill = told.create("canister"), told.create("canister"), told.create("absorbent-fill")
    told.fill(one, fill)
    told.fill(two, fill)
    assert told.world.content_of(one) is None
    assert told.world.container_of(fill) == two
    assert [stay.holder for stay in told.world.fitting_history_of(fill)] == [one, two]
    assert [stay.position for stay in told.world.fitting_history(one)] == [CONTENT]


def test_a_container_can_be_emptied() -> None:
    told = Storyteller()
    canister, fill, other = told.create("canister"), told.create("absorbent-fill", "F-1"), told.create("absorbent-fill")
    told.fill(canister, fill)
    told.tell(ContentRemoved(), canister, other)
    assert told.world.content_of(canister) == fill
    assert len(told.world.misfits) == 1
    told.tell(ContentRemoved(), canister, fill)
    assert told.world.content_of(canister) is None


def test_what_a_container_holds_is_not_among_what_is_fitted() -> None:
    told = Storyteller()
    cylinder, gas = told.create("cylinder"), told.create("gas-fill")
    told.fill(cylinder, gas)
    assert told.world.fitted(cylinder) == {}


# --- episodes and custody ----------------------------------------------------------------------------------------


def test_an_episode_is_open_until_somebody_ends_it() -> None:
    told = Storyteller()
    unit = told.unit()
    begun = told.tell(EpisodeBegan(episode="dive", title="Wall", details={"site": "quarry"}), unit)
    episode = told.world.episode(unit, "dive")
    assert episode is not None
    assert (episode.id, episode.title, episode.began, episode.details, episode.is_open) == (
        begun.id,
        "Wall",
        begun.envelope.occurred_at,
        {"site": "quarry"},
        True,
    )
    ended = told.tell(EpisodeEnded(episode="dive", details={"depth": Reading(value="31", unit="m")}), unit)
    assert told.world.episode(unit, "dive") is None
    (over,) = told.world.episodes(unit, "dive")
    assert (over.ended, over.ended_by, over.ended_order, over.end_declared) == (
        ended.envelope.occurred_at,
        ended.id,
        ended.order,
        True,
    )
    assert over.end_details == {"depth": Reading(value="31", unit="m")}


@pytest.mark.parametrize("kind", ["dive-day", "preparation", "assembly", "dive"])
def test_a_new_episode_ends_the_open_one_of_its_kind(kind: str) -> None:
    told = Storyteller()
    unit = told.unit()
    told.tell(EpisodeBegan(episode=kind), unit)  # type: ignore[arg-type]
    second = told.tell(EpisodeBegan(episode=kind), unit)  # type: ignore[arg-type]
    first, open_one = told.world.episodes(unit, kind)  # type: ignore[arg-type]
    assert (first.ended, first.ended_by, first.end_declared) == (second.envelope.occurred_at, second.id, False)
    assert told.world.episode(unit, kind) == open_one  # type: ignore[arg-type]
    assert open_one.id == second.id


def test_an_ended_episode_is_not_ended_again_by_the_next() -> None:
    told = Storyteller()
    unit = told.unit()
    told.tell(EpisodeBegan(episode="dive"), unit)
    end = told.tell(EpisodeEnded(episode="dive"), unit)
    told.tell(EpisodeBegan(episode="dive"), unit)
    assert told.world.episodes(unit, "dive")[0].ended_by == end.id


def test_episodes_of_other_kinds_and_other_units_go_on() -> None:
    told = Storyteller()
    one, other = told.unit(), told.unit()
    told.tell(EpisodeBegan(episode="dive-day"), one, other)
    told.tell(EpisodeBegan(episode="assembly"), one)
    told.tell(EpisodeBegan(episode="dive-day"), one)
    assert len(told.world.episodes(one, "dive-day")) == 2
    assert told.world.episode(one, "assembly") is not None
    assert len(told.world.episodes(other, "dive-day")) == 1
    assert told.world.episode(other, "dive-day") is not None


def test_ending_what_is_not_open_is_told() -> None:
    told = Storyteller()
    unit = told.unit()
    told.tell(EpisodeEnded(episode="dive"), unit)
    assert [one.problem for one in told.world.misfits] == ["ends a dive of unit Grey Heron, and none is open"]
    assert told.world.episodes(unit, "dive") == ()


def test_whoever_was_given_a_unit_last_has_it() -> None:
    told = Storyteller()
    unit, one, other = told.unit(), told.create("person"), told.create("person")
    assert told.world.holder(unit) is None
    told.tell(CustodyGiven(), unit, one)
    event = told.tell(CustodyGiven(), unit, other)
    assert told.world.holder(unit) == other
    custody = told.world.custody(unit)
    assert custody is not None
    assert (custody.since, custody.event) == (event.envelope.occurred_at, event.id)


# --- labels ------------------------------------------------------------------------------------------------------


def test_a_label_says_kind_and_serial() -> None:
    told = Storyteller()
    assert told.world.label(told.create("oxygen-sensor", "S-0412")) == "sensor S-0412"
    assert told.world.label(told.create("cylinder", "C-7", name="left")) == "cylinder C-7"
    assert told.world.label(told.create("cylinder", name="left")) == "cylinder left"
    assert told.world.label(told.create("unit", "U-1", name="Grey Heron")) == "unit Grey Heron"


def test_a_fill_is_called_after_its_container() -> None:
    told = Storyteller()
    cylinder, gas = told.create("cylinder", "C-7"), told.create("gas-fill")
    assert told.world.label(gas) == f"gas fill {short(gas)}"
    told.fill(cylinder, gas)
    assert told.world.label(gas) == "gas fill in cylinder C-7"


def test_a_part_without_serial_is_called_after_its_position() -> None:
    told = Storyteller()
    unit, solenoid, gill = told.unit(), told.create("solenoid"), told.create("gill")
    assert told.world.label(solenoid) == f"solenoid {short(solenoid)}"
    told.fit(unit, "solenoid-1", solenoid)
    told.fit(unit, "gill-4", gill)
    assert told.world.label(solenoid) == "solenoid 1"
    assert told.world.label(gill) == "gill at gill-4"


def test_a_label_never_holds_a_persons_digest() -> None:
    told = Storyteller()
    diver = told.create("person")
    assert told.world.label(diver) == f"person {short(diver)}"
    told.fit(told.unit(), "diver", diver)
    assert told.world.label(diver) == f"person {short(diver)}"


def test_something_unknown_has_a_label_too() -> None:
    assert World.empty().label("f" * 64) == "thing ffffffffffff"


# --- two identities of one thing ---------------------------------------------------------------------------------


def test_the_first_identity_stands_for_both() -> None:
    told = Storyteller()
    first = told.tell(ThingCreated(kind="cylinder", serial="C-7", attributes={"volume": "3"})).id
    second = told.tell(ThingCreated(kind="cylinder", serial="C-1", batch="B", attributes={"thread": "M25x2"})).id
    told.tell(ThingsSame(), second, first)
    assert told.world.canonical(second) == told.world.canonical(first) == first
    assert told.world.is_same(first, second)
    thing = told.world.thing(second)
    assert (thing.id, thing.serial, thing.batch) == (first, "C-7", "B")
    assert thing.attributes == {"volume": "3", "thread": "M25x2"}
    assert [one.id for one in told.world.of_kind("cylinder")] == [first]


def test_sameness_passes_on() -> None:
    told = Storyteller()
    one, two, three, four = (told.create("cylinder") for _ in range(4))
    told.tell(ThingsSame(), three, four)
    told.tell(ThingsSame(), two, one)
    told.tell(ThingsSame(), four, two)
    assert {told.world.canonical(each) for each in (one, two, three, four)} == {one}
    told.tell(ThingsSame(), four, one)
    assert told.world.misfits == []


def test_one_thing_under_two_identities_is_where_it_was_put_last() -> None:
    told = Storyteller()
    unit, first, second = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", second)
    later = told.fit(unit, "oxygen-sensor-2", first)
    event = told.tell(ThingsSame(), first, second)
    assert told.world.place_of(second) == (unit, "oxygen-sensor-2")
    assert told.world.at(unit, "oxygen-sensor-1") is None
    stays = told.world.fitting_history_of(first)
    assert [(one.thing, one.position, one.removed_by) for one in stays] == [
        (first, "oxygen-sensor-1", event.id),
        (first, "oxygen-sensor-2", ""),
    ]
    assert told.world.fitted(unit)["oxygen-sensor-2"].event == later.id


def test_the_later_place_wins_under_the_second_identity_as_well() -> None:
    told = Storyteller()
    unit, first, second = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", first)
    told.fit(unit, "oxygen-sensor-2", second)
    told.tell(ThingsSame(), first, second)
    assert told.world.at(unit, "oxygen-sensor-2") == first
    assert told.world.at(unit, "oxygen-sensor-1") is None
    told.remove(unit, "oxygen-sensor-2", second)
    assert told.world.place_of(first) is None
    assert told.world.misfits == []


def test_a_thing_with_one_place_keeps_it_under_the_first_identity() -> None:
    told = Storyteller()
    unit, first, second = told.unit(), told.create("oxygen-sensor"), told.create("oxygen-sensor")
    told.fit(unit, "oxygen-sensor-1", second)
    told.tell(ThingsSame(), first, second)
    assert told.world.at(unit, "oxygen-sensor-1") == first
    assert told.world.place_of(first) == told.world.place_of(second) == (unit, "oxygen-sensor-1")


@pytest.mark.parametrize("first_is_filled_last", [True, False])
def test_a_canister_under_two_identities_holds_what_was_placed_last(first_is_filled_last: bool) -> None:
    told = Storyteller()
    first, second = told.create("canister"), told.create("canister")
    old, new = told.create("absorbent-fill"), told.create("absorbent-fill")
    told.fill(second if first_is_filled_last else first, old)
    told.fill(first if first_is_filled_last else second, new)
    event = told.tell(ThingsSame(), first, second)
    assert told.world.content_of(second) == new
    assert told.world.container_of(new) == first
    assert told.world.container_of(old) is None
    assert told.world.fitting_history_of(old)[0].removed_by == event.id
    assert {stay.holder for stay in told.world.fitting_history(second)} == {first}


def test_what_was_placed_under_the_second_identity_comes_along() -> None:
    told = Storyteller()
    first, second, fill = told.create("canister"), told.create("canister"), told.create("absorbent-fill")
    told.fill(second, fill)
    told.tell(ThingsSame(), first, second)
    assert told.world.content_of(first) == fill
    assert told.world.container_of(fill) == first
    empty = told.create("canister")
    told.fill(empty, fill)
    assert told.world.content_of(first) is None


def test_two_units_that_are_one_share_what_was_said_of_either() -> None:
    told = Storyteller()
    first, second, owner, mate = (
        told.unit("Heron"),
        told.unit("Grey Heron"),
        told.create("person"),
        told.create("person"),
    )
    told.configure(second, plain())
    told.configure(first, changed(oxygen_sensors="2"))
    sensors = [told.create("oxygen-sensor") for _ in range(3)]
    for number, sensor in enumerate(sensors, start=1):
        told.fit(second, f"oxygen-sensor-{number}", sensor)
    told.tell(CustodyGiven(), first, owner)
    told.tell(CustodyGiven(), second, mate)
    day = told.tell(EpisodeBegan(episode="dive-day"), first)
    told.tell(EpisodeBegan(episode="assembly"), second)
    next_day = told.tell(EpisodeBegan(episode="dive-day"), second)
    told.tell(ThingsSame(), second, first)
    world = told.world
    assert world.units() == (first,)
    assert world.configuration(second) == changed(oxygen_sensors="2")
    # The latest configuration has no third sensor, so nothing can be there.
    assert {position: one.thing for position, one in world.fitted(first).items()} == {
        "oxygen-sensor-1": sensors[0],
        "oxygen-sensor-2": sensors[1],
    }
    assert world.holder(first) == mate
    ended, open_one = world.episodes(second, "dive-day")
    assert (ended.id, ended.ended_by, ended.end_declared) == (day.id, next_day.id, False)
    assert open_one.is_open
    assert world.episode(first, "assembly") is not None


def test_a_person_under_two_identities_is_one_diver_and_one_holder() -> None:
    told = Storyteller()
    unit, spare, first, second = told.unit(), told.unit(), told.create("person"), told.create("person")
    told.fit(unit, "diver", second)
    told.fit(spare, "diver", first)
    told.tell(CustodyGiven(), unit, second)
    told.tell(ThingsSame(), first, second)
    assert told.world.units_of(second) == (unit, spare)
    assert told.world.holder(unit) == first
    told.remove(unit, "diver", first)
    assert told.world.units_of(first) == (spare,)


def test_a_unit_that_turns_out_to_lie_in_itself_does_not() -> None:
    told = Storyteller()
    for inner_first in (True, False):
        one, two = told.unit(), told.unit()
        inner, outer = (one, two) if inner_first else (two, one)
        told.fit(outer, "second-loop", inner)
        told.tell(ThingsSame(), one, two)
        assert told.world.fitted(one) == {}
        assert told.world.place_of(one) is None


def test_a_circle_that_comes_of_sameness_is_opened() -> None:
    told = Storyteller()
    outer, middle, inner = told.unit("Heron"), told.unit("Dabchick"), told.unit("Wren")
    told.fit(outer, "second-loop", middle)
    told.fit(middle, "second-loop", inner)
    told.tell(ThingsSame(), outer, inner)
    assert told.world.at(outer, "second-loop") == middle
    assert told.world.at(middle, "second-loop") is None
    assert told.world.place_of(inner) is None


def test_things_of_different_kinds_are_not_the_same() -> None:
    told = Storyteller()
    cylinder, sensor = told.create("cylinder", "C-7"), told.create("oxygen-sensor", "S-1")
    told.tell(ThingsSame(), cylinder, sensor)
    told.tell(ThingsSame(), cylinder, "f" * 64)
    assert not told.world.is_same(cylinder, sensor)
    assert [one.problem for one in told.world.misfits] == [
        "cylinder C-7 and sensor S-1 are of different kinds",
        "names a thing that the record does not hold",
    ]


# --- what does not fit -------------------------------------------------------------------------------------------


def test_events_of_other_rooms_change_nothing() -> None:
    told = Storyteller()
    before = told.world.to_bytes()
    told.take(told.event("judgement.evidence-recorded", 1, b"{}", None, ("a",)))
    told.tell(ChangeMade(change="hose-opened"), told.unit())
    assert len(told.world.things) == 1
    assert told.world.misfits == []
    assert before == World.empty().to_bytes()


def test_a_version_that_is_not_understood_is_told() -> None:
    told = Storyteller()
    event = told.take(told.event("unit.part-fitted", 2, b"{}", None, ("a", "b")))
    assert [(one.event, one.kind, one.problem) for one in told.world.misfits] == [
        (event.id, "unit.part-fitted", "version 2 is not understood here")
    ]


@pytest.mark.parametrize(
    ("kind", "count"), [("unit.part-fitted", 1), ("unit.content-placed", 3), ("unit.configured", 0)]
)
def test_an_event_with_another_number_of_subjects_is_told(kind: str, count: int) -> None:
    told = Storyteller()
    told.take(told.event(kind, 1, b"{}", ContentPlaced(), tuple("abc"[:count])))
    (misfit,) = told.world.misfits
    assert misfit.problem.startswith(f"has {count} subjects, needs ")
    assert told.world.held == {}


def test_a_description_of_an_unknown_thing_is_told() -> None:
    told = Storyteller()
    told.tell(ThingDescribed(serial="S-1"), "f" * 64)
    assert [one.problem for one in told.world.misfits] == ["describes a thing that the record does not hold"]


def test_every_kind_of_this_room_but_changes_is_taken_in() -> None:
    told = Storyteller()
    for kind, version, _ in EVENT_TYPES:
        told.take(told.event(kind, version, b"{}", None))
    # A payload that cannot be read is told for each kind that would have moved something.
    assert {one.kind for one in told.world.misfits} == {kind for kind, _, _ in EVENT_TYPES} - {"unit.change-made"}


# --- keeping -----------------------------------------------------------------------------------------------------


def test_a_world_can_be_kept_and_taken_up_again() -> None:
    told = Storyteller()
    unit, cylinder, gas = told.unit(), told.create("cylinder", "C-7"), told.create("gas-fill")
    configuration = configuration_from_choices("kept", "Kept", plain().choices)
    told.configure(unit, configuration)
    told.fit(unit, "cylinder-oxygen", cylinder)
    told.fill(cylinder, gas)
    told.tell(ThingDescribed(attributes={"volume": Reading(value="3.0", unit="L")}), cylinder)
    told.tell(EpisodeBegan(episode="dive-day"), unit)
    told.tell(EpisodeEnded(episode="dive-day"), unit)
    told.tell(ThingsSame(), cylinder, told.create("cylinder"))
    told.remove(unit, "opv", cylinder)
    again = World.from_bytes(told.world.to_bytes())
    assert again == told.world
    assert again.configuration(unit) == configuration


def test_bytes_that_are_no_world_are_refused() -> None:
    with pytest.raises(InputError, match="snapshot must be a world as it was kept, .*Fold the events anew"):
        World.from_bytes(b"\x93\x01\x02\x03")
