"""“I changed something”: what falls is seen before it is saved, and everything that came in is recorded with it."""

from __future__ import annotations

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.units import NewThing, add_instrument
from loopworthy.doors.web.pages.change_list import Choosing
from loopworthy.doors.web.pages.changes import OneChange
from loopworthy.judgement.standing import State
from loopworthy.unit.configuration import ready_configurations
from loopworthy.unit.events import ChangeMade
from loopworthy.vocabulary.event import Event
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Answered, Visitor


@pytest.fixture
def morning() -> Shop:
    """A unit whose sensors were read in air and in oxygen."""
    shop = make_shop()
    shop.walk("oxygen")
    return shop


@pytest.fixture
def reader(morning: Shop) -> Visitor:
    """Somebody on the pages of that unit."""
    visitor = Visitor(morning.app)
    visitor.cookies["person"] = morning.reader
    return visitor


def choosing_of(answered: Answered) -> Choosing:
    assert isinstance(answered.context, Choosing)
    return answered.context


def change_of(answered: Answered) -> OneChange:
    assert isinstance(answered.context, OneChange)
    return answered.context


def changes_in(shop: Shop) -> list[Event]:
    return [event for event in shop.workplace.record.events() if isinstance(event.payload, ChangeMade)]


# --- choosing -------------------------------------------------------------------------------------------------------


def test_every_change_that_can_happen_to_the_unit_is_listed_once_by_group(shop: Shop, visitor: Visitor) -> None:
    context = choosing_of(visitor.get(f"{shop.at}/change"))
    listed = [choice.href for group in context.groups for choice in group.choices]
    assert len(listed) == len(set(listed))
    assert len(listed) + context.left_out == len(shop.workplace.catalogue.changes)
    assert [group.id for group in context.groups][:3] == ["sensors", "loop", "gas"]
    assert not any("helium-sensor" in href for href in listed)  # this unit has none


def test_the_dive_and_the_day_are_at_hand_and_what_happens_often_comes_next(shop: Shop, visitor: Visitor) -> None:
    for _ in range(2):
        record_change(shop.workplace, shop.unit, Declared(change="rough-ride"), person=shop.reader)
    context = choosing_of(visitor.get(f"{shop.at}/change"))
    assert [one.title for one in context.quick] == ["A dive was made", "The dive day"]
    assert [one.title for one in context.often] == ["Rough ride or long drive"]


def test_a_change_is_found_by_words_in_any_order_and_without_scripts(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/change")
    (form,) = [one for one in answered.document.all("form") if one.get("role") == "search"]
    assert form.get("method") == "get"
    found = choosing_of(visitor.get(f"{shop.at}/change?find=replaced+SENSOR")).found
    assert [one.title for one in found] == ["Oxygen sensor replaced"]
    nothing = visitor.get(f"{shop.at}/change?find=zzz")
    assert choosing_of(nothing).found == ()
    assert "Part changed that is not named elsewhere" in nothing.text


def test_a_frozen_unit_says_so_before_anybody_chooses(shop: Shop, visitor: Visitor) -> None:
    events = record_change(shop.workplace, shop.unit, Declared(change="incident"), person=shop.reader)
    answered = visitor.get(f"{shop.at}/change")
    assert choosing_of(answered).frozen
    assert events[0].id[:12] in choosing_of(answered).release_href
    before = len(changes_in(shop))
    refused = visitor.post(f"{shop.at}/change", {"change": "rough-ride", "person": shop.reader})
    assert refused.status == 403
    assert "frozen" in change_of(refused).frame.problem
    assert len(changes_in(shop)) == before


# --- what falls -----------------------------------------------------------------------------------------------------


def test_what_falls_is_shown_only_when_it_is_said_which_one(morning: Shop, reader: Visitor) -> None:
    context = change_of(reader.get(f"{morning.at}/change?change=sensor-replaced"))
    assert context.falls is None
    assert context.saving is None
    assert context.needs == "Pick which oxygen sensor, and you see what falls."
    assert [place.value for place in context.places] == ["oxygen-sensor-1", "oxygen-sensor-2", "oxygen-sensor-3"]
    assert "4F-2201" in context.places[0].text


def test_the_readings_of_the_sensor_picked_fall_and_those_of_the_others_stay(morning: Shop, reader: Visitor) -> None:
    context = change_of(reader.get(f"{morning.at}/change?change=sensor-replaced&position=oxygen-sensor-2"))
    assert context.falls is not None
    rows = {row.title.split()[0]: row for row in context.falls.void}
    assert rows["C03"].about == ("oxygen sensor 2: sensor 4F-2202",)
    assert context.falls.void_count >= len(rows)
    assert context.keeps == "Age, linearity and response of the other sensors."


def test_an_unanswered_question_counts_as_its_worst_answer_and_the_page_says_so(morning: Shop, reader: Visitor) -> None:
    address = f"{morning.at}/change?change=sensor-replaced&position=oxygen-sensor-2"
    unanswered = change_of(reader.get(address)).falls
    assert unanswered is not None
    assert unanswered.worst == (
        "“Did the head come off the canister?” is not answered and counts as “yes”, the worst.",
    )
    assert [one.by.split()[0] for one in unanswered.restored] == ["A02"]
    answered = change_of(reader.get(f"{address}&answer-head=no")).falls
    assert answered is not None
    assert answered.worst == ()
    assert answered.restored == ()


def test_seeing_what_falls_records_nothing(morning: Shop, reader: Visitor) -> None:
    before = morning.workplace.book().count
    reader.get(f"{morning.at}/change?change=sensor-replaced&position=oxygen-sensor-2&answer-head=yes")
    assert morning.workplace.book().count == before


def test_an_instrument_found_bad_shows_what_was_never_true_and_the_dives_since(morning: Shop, reader: Visitor) -> None:
    record_change(morning.workplace, morning.unit, Declared(change="dive-made"), person=morning.reader)
    context = change_of(reader.get(f"{morning.at}/change?change=analyser-failed"))
    assert [place.text for place in context.places] == ["Analyser A1"]
    assert context.falls is not None
    assert {one.title.split()[0] for one in context.falls.wrong} >= {"D02", "D03"}
    (dive,) = context.falls.dives
    assert dive == f"Grey Heron, {morning.workplace.now().local():%H:%M}"


def test_a_change_that_opens_a_hold_says_its_words_before_it_is_saved(morning: Shop, reader: Visitor) -> None:
    context = change_of(reader.get(f"{morning.at}/change?change=flooded"))
    assert context.falls is not None
    assert context.falls.hold.startswith("Water was in the loop")


def test_the_part_that_scripts_refresh_is_one_part_of_the_whole_page(morning: Shop, reader: Visitor) -> None:
    document = reader.get(f"{morning.at}/change?change=sensor-replaced").document
    (pick,) = [one for one in document.all("form") if one.get("id") == "pick"]
    assert (pick.get("hx-select"), pick.get("hx-target"), pick.get("method")) == ("#falls", "#falls", "get")
    assert len([one for one in document.walk() if one.get("id") == "falls"]) == 1


# --- recording ------------------------------------------------------------------------------------------------------


def test_a_new_sensor_is_written_down_with_the_change_and_the_unit_page_tells_it(
    morning: Shop, reader: Visitor
) -> None:
    before = morning.workplace.world.at(morning.unit, "oxygen-sensor-2")
    page = reader.get(f"{morning.at}/change?change=sensor-replaced&position=oxygen-sensor-2&answer-head=no")
    form = next(one for one in page.document.all("form") if one.get("id") == "save")
    assert form.get("method") == "post"
    sent = {
        **{one.get("name"): one.get("value") for one in form.all("input", type="hidden")},
        "oxygen-sensor-2-thing": "new",
        "oxygen-sensor-2-serial": "4F-9999",
        "oxygen-sensor-2-batch": "B-77",
        "oxygen-sensor-2-made-on": "2026-02-03",
        "note": "dropped on the quay",
        "person": morning.reader,
    }
    answered = reader.post(f"{morning.at}/change", sent)
    assert answered.template == "unit.html"
    assert answered.context.frame.notice
    after = morning.workplace.world.at(morning.unit, "oxygen-sensor-2")
    assert after is not None
    assert after != before
    thing = morning.workplace.world.thing(after)
    assert (thing.serial, thing.batch, thing.made_on) == ("4F-9999", "B-77", "2026-02-03")
    event = changes_in(morning)[-1]
    assert isinstance(event.payload, ChangeMade)
    assert dict(event.payload.answers) == {"head": "no"}
    assert event.payload.note == "dropped on the quay"
    read = next(
        one
        for one in morning.workplace.verdict(morning.unit).requirements()
        if one.step.id == "C03" and one.subject.position == "oxygen-sensor-2"
    )
    assert read.standing.state is State.ABSENT


def test_a_spare_from_the_record_can_take_the_place_and_one_of_another_kind_cannot(
    morning: Shop, reader: Visitor
) -> None:
    created = NewThing(serial="4F-0007").created("oxygen-sensor")
    spare = morning.workplace.writer().append("unit.thing-created", created).id
    address = f"{morning.at}/change?change=sensor-replaced&position=oxygen-sensor-1"
    context = change_of(reader.get(address))
    assert context.saving is not None
    (arrival,) = context.saving.arrivals
    assert spare in [value for value, _ in arrival.fields[0].choices]
    sent = {
        "change": "sensor-replaced",
        "kept-position": "oxygen-sensor-1",
        "oxygen-sensor-1-thing": morning.analyser,
        "person": morning.reader,
    }
    refused = reader.post(f"{morning.at}/change", sent)
    assert refused.status == 403
    reader.post(f"{morning.at}/change", {**sent, "oxygen-sensor-1-thing": spare})
    assert morning.workplace.world.at(morning.unit, "oxygen-sensor-1") == spare


def test_a_sensor_without_its_number_is_refused_and_what_was_typed_is_kept(morning: Shop, reader: Visitor) -> None:
    sent = {
        "change": "sensor-replaced",
        "kept-position": "oxygen-sensor-1",
        "kept-answer-head": "no",
        "oxygen-sensor-1-thing": "new",
        "oxygen-sensor-1-batch": "B-12",
        "note": "in my own words",
        "person": morning.second,
    }
    before = len(changes_in(morning))
    refused = reader.post(f"{morning.at}/change", sent)
    assert refused.status == 422
    context = change_of(refused)
    assert context.saving is not None
    assert context.saving.note.value == "in my own words"
    assert context.saving.signing.person is not None
    assert context.saving.signing.person.value == morning.second
    fields = {one.name: one.value for one in context.saving.arrivals[0].fields}
    assert fields["oxygen-sensor-1-batch"] == "B-12"
    assert ("kept-answer-head", "no") in context.saving.kept
    assert context.falls is not None
    assert len(changes_in(morning)) == before


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"change": "no-such-change"}, 404),
        ({"change": "sensor-replaced", "kept-position": "oxygen-sensor-9"}, 404),
        ({"change": "sensor-replaced"}, 422),
        ({"change": "rough-ride", "person": "nobody"}, 422),
        ({"change": "rough-ride", "person": ""}, 422),
        ({"change": "rough-ride", "occurred_at": "2031-01-01T10:00"}, 422),
        ({"change": "rough-ride", "occurred_at": "soon"}, 422),
        ({"change": "sensors-swapped", "kept-position": "oxygen-sensor-1"}, 422),
        ({"change": "sensor-plug-cleaned", "kept-position": "oxygen-sensor-1", "kept-answer-opened": "perhaps"}, 422),
        ({"change": "analyser-failed", "kept-thing": "no-instrument"}, 422),
        ({"change": "part-added-or-left-off"}, 422),
        ({"change": "part-added-or-left-off", "configuration-ready": "none-of-ours"}, 422),
        ({"change": "part-added-or-left-off", "answer-now-1": "nonsense"}, 422),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_recorded(
    shop: Shop, visitor: Visitor, fields: dict[str, str], status: int
) -> None:
    add_instrument(shop.workplace, "Analyser A2", "analyser")
    before = shop.workplace.book().count
    answered = visitor.post(f"{shop.at}/change", {"person": shop.reader, **fields})
    assert answered.status == status
    assert shop.workplace.book().count == before


def test_two_sensors_swapped_need_both_and_change_places(morning: Shop, reader: Visitor) -> None:
    address = f"{morning.at}/change?change=sensors-swapped"
    one = change_of(reader.get(f"{address}&position=oxygen-sensor-1"))
    assert one.falls is None
    assert one.several
    assert "two" in one.needs
    both = change_of(reader.get(f"{address}&position=oxygen-sensor-1&position=oxygen-sensor-3"))
    assert both.falls is not None
    first = morning.workplace.world.at(morning.unit, "oxygen-sensor-1")
    fields = [("change", "sensors-swapped"), ("person", morning.reader)]
    fields += [("kept-position", "oxygen-sensor-1"), ("kept-position", "oxygen-sensor-3")]
    reader.post(f"{morning.at}/change", fields)
    assert morning.workplace.world.at(morning.unit, "oxygen-sensor-3") == first


def test_a_filled_cylinder_stays_and_holds_a_fill_of_its_own(morning: Shop, reader: Visitor) -> None:
    context = change_of(reader.get(f"{morning.at}/change?change=oxygen-changed"))
    assert context.falls is not None  # there is only one oxygen cylinder
    cylinder = morning.workplace.world.at(morning.unit, "cylinder-oxygen")
    assert cylinder is not None
    before = morning.workplace.world.content_of(cylinder)
    sent = {
        "change": "oxygen-changed",
        "kept-position": "cylinder-oxygen",
        "cylinder-oxygen-thing": "same",
        "cylinder-oxygen-fill": "oxygen",
        "cylinder-oxygen-fill-batch": "the quay's compressor",
        "person": morning.reader,
    }
    assert reader.post(f"{morning.at}/change", sent).template == "unit.html"
    world = morning.workplace.world
    assert world.at(morning.unit, "cylinder-oxygen") == cylinder
    fill = world.content_of(cylinder)
    assert fill is not None
    assert fill != before
    assert world.thing(fill).name == "oxygen"


def test_another_cylinder_comes_with_the_gas_that_is_on_record_for_it_unless_it_was_filled(
    morning: Shop, reader: Visitor
) -> None:
    sent = {
        "change": "diluent-changed",
        "kept-position": "cylinder-diluent",
        "cylinder-diluent-thing": "new",
        "cylinder-diluent-serial": "C-55",
        "cylinder-diluent-fill": "air",
        "person": morning.reader,
    }
    first = morning.workplace.world.at(morning.unit, "cylinder-diluent")
    assert first is not None
    its_gas = morning.workplace.world.content_of(first)
    reader.post(f"{morning.at}/change", sent)
    world = morning.workplace.world
    second = world.at(morning.unit, "cylinder-diluent")
    assert second is not None
    assert world.thing(second).serial == "C-55"
    reader.post(f"{morning.at}/change", {**sent, "cylinder-diluent-thing": first, "cylinder-diluent-serial": ""})
    assert morning.workplace.world.at(morning.unit, "cylinder-diluent") == first
    assert morning.workplace.world.content_of(first) == its_gas
    reader.post(f"{morning.at}/change", {**sent, "cylinder-diluent-thing": second, "cylinder-diluent-fresh": "yes"})
    assert morning.workplace.world.content_of(second) is not None
    again = {**sent, "cylinder-diluent-thing": first, "cylinder-diluent-fresh": "yes"}
    reader.post(f"{morning.at}/change", again)
    assert morning.workplace.world.content_of(first) != its_gas


def test_an_other_diver_is_chosen_from_the_people(morning: Shop, reader: Visitor) -> None:
    context = change_of(reader.get(f"{morning.at}/change?change=other-diver"))
    assert context.saving is not None
    (who,) = context.saving.arrivals[0].fields
    assert [name for _, name in who.choices] == ["Juno Example"]
    sent = {"change": "other-diver", "kept-position": "diver", "diver-thing": morning.second, "person": morning.reader}
    reader.post(f"{morning.at}/change", sent)
    assert morning.workplace.world.at(morning.unit, "diver") == morning.second


def test_a_late_change_keeps_both_times(morning: Shop, reader: Visitor) -> None:
    sent = {"change": "rough-ride", "person": morning.reader, "occurred_at": "2026-06-14T05:45"}
    reader.post(f"{morning.at}/change", sent)
    envelope = changes_in(morning)[-1].envelope
    assert envelope.occurred_at.at == "2026-06-14T05:45:00+02:00"
    assert envelope.recorded_at.at == morning.workplace.now().at


def test_a_unit_built_otherwise_takes_one_answer_more_and_gets_its_part(morning: Shop, reader: Visitor) -> None:
    address = f"{morning.at}/change?change=part-added-or-left-off"
    context = change_of(reader.get(address))
    assert context.saving is not None
    offered = {value for value, _ in context.saving.configuration[0].choices}
    wanted = next(one for one in sorted(offered) if one.startswith("bailout_valve="))
    sent = {"change": "part-added-or-left-off", "answer-now-1": wanted, "person": morning.reader}
    assert reader.post(f"{morning.at}/change", sent).template == "unit.html"
    configuration = morning.workplace.world.configuration(morning.unit)
    assert configuration is not None
    assert configuration.chosen("bailout_valve") == (wanted.partition("=")[2],)


def test_a_configuration_comes_as_a_file_and_a_wrong_one_names_entry_and_key(morning: Shop, reader: Visitor) -> None:
    other = ready_configurations()["electronic-two-controllers-five-sensors"]
    fields = [("change", "part-added-or-left-off"), ("person", morning.reader)]
    wrong = other.to_toml().replace("gas_principle", "gas_principal").encode()
    refused = reader.post(f"{morning.at}/change", fields, files={"configuration-file": ("own.toml", wrong)})
    assert refused.status == 422
    assert "own.toml" in change_of(refused).frame.problem
    assert "gas_principal" in change_of(refused).frame.problem
    both = [*fields, ("configuration-ready", other.name)]
    file = {"configuration-file": ("own.toml", other.to_toml().encode())}
    assert reader.post(f"{morning.at}/change", both, files=file).status == 422
    assert reader.post(f"{morning.at}/change", fields, files=file).status == 200
    configuration = morning.workplace.world.configuration(morning.unit)
    assert configuration is not None
    assert configuration.choices == other.choices


@pytest.mark.parametrize("configuration", sorted(ready_configurations()))
def test_every_change_of_every_ready_unit_has_its_page(configuration: str) -> None:
    shop = make_shop(configuration)
    visitor = Visitor(shop.app)
    for change in shop.workplace.catalogue.changes:
        answered = visitor.get(f"{shop.at}/change?change={change}")
        assert answered.status == 200, change
        context = change_of(answered)
        places = [place.value for place in context.places]
        if len(places) > 1 and context.saving is None:
            picked = "&".join(f"{context.place_name}={one}" for one in places[:2])
            assert change_of(visitor.get(f"{shop.at}/change?change={change}&{picked}")).saving is not None, change


def test_a_unit_that_nobody_configured_gets_its_configuration_here(shop: Shop, visitor: Visitor) -> None:
    bare = shop.workplace.writer().append("unit.thing-created", NewThing(name="Bare").created("unit")).id
    at = f"/unit/{bare[:12]}"
    context = change_of(visitor.get(f"{at}/change?change=part-added-or-left-off"))
    assert context.saving is not None
    assert [field.name for field in context.saving.configuration] == ["configuration-ready", "configuration-file"]
    sent = {"change": "part-added-or-left-off", "person": shop.reader, "configuration-ready": "hybrid-chest"}
    visitor.post(f"{at}/change", sent)
    configuration = shop.workplace.world.configuration(bare)
    assert configuration is not None
    assert configuration.name == "hybrid-chest"
    assert shop.workplace.world.at(bare, "head") is not None
