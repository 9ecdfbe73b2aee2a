"""Taking out, being one thing, being built otherwise: seen before it is recorded, and recorded once it was seen."""

from __future__ import annotations

import pytest

from loopworthy.doors.web.in_thought import InThought
from loopworthy.unit.axes import axes
from loopworthy.unit.events import ConfigurationSet, PartRemoved, ThingsSame
from loopworthy.vocabulary.identity import short
from tests.web.conftest import Shop, make_shop
from tests.web.test_once import save_form
from tests.web.visitor import Answered, Form, Visitor


@pytest.fixture
def morning() -> Shop:
    """A unit whose sensors were read in air."""
    shop = make_shop()
    shop.walk("air")
    return shop


@pytest.fixture
def reader(morning: Shop) -> Visitor:
    """Somebody on the pages of that unit."""
    visitor = Visitor(morning.app)
    visitor.cookies["person"] = morning.reader
    return visitor


def shown(answered: Answered) -> InThought:
    assert isinstance(answered.context, InThought), answered.text
    return answered.context


def kinds(shop: Shop) -> list[object]:
    return [event.payload for event in shop.workplace.record.events()]


def query_of(form: Form) -> str:
    from urllib.parse import urlencode

    return f"{form.action}?{urlencode(form.pairs())}"


# --- taking out -----------------------------------------------------------------------------------------------------


def test_a_part_is_picked_then_what_falls_is_shown_then_it_is_recorded(morning: Shop, reader: Visitor) -> None:
    first = reader.get(f"{morning.at}/take-out")
    assert shown(first).needs
    assert not first.document.all("form", id="save")
    count = morning.workplace.record.store.count()
    second = reader.get(f"{morning.at}/take-out?position=oxygen-sensor-2&answer-head=no")
    (unit,) = shown(second).units
    assert any("oxygen sensor 2" in row.title.lower() for row in unit.fallen)
    assert morning.workplace.record.store.count() == count
    form = save_form(second)
    assert ("answer-head", "no") in form.pairs()
    answered = reader.send(form)
    assert answered.status == 200
    assert morning.workplace.world.at(morning.unit, "oxygen-sensor-2") is None
    assert sum(isinstance(one, PartRemoved) for one in kinds(morning)) == 1
    reader.send(form)
    assert sum(isinstance(one, PartRemoved) for one in kinds(morning)) == 1


def test_a_moment_before_the_part_was_there_is_asked_about(morning: Shop, reader: Visitor) -> None:
    form = save_form(reader.get(f"{morning.at}/take-out?position=oxygen-sensor-2"))
    refused = reader.send(form.fill(occurred_at="1999-01-01T10:00", note="said in words"))
    assert refused.status == 422
    again = save_form(refused)
    assert again.values["note"] == ["said in words"]
    again.values["occurred_at_confirmed"] = ["yes"]
    assert reader.send(again).status == 200


def test_a_position_page_leads_to_taking_out_and_to_being_another(morning: Shop, reader: Visitor) -> None:
    page = reader.get(f"{morning.at}/parts/oxygen-sensor-2")
    hrefs = [one.get("href") for one in page.document.all("a")]
    out = next(one for one in hrefs if "take-out" in one)
    same = next(one for one in hrefs if "things/same" in one)
    assert save_form(reader.get(out)).values["position"] == ["oxygen-sensor-2"]
    assert shown(reader.get(same)).pick[0].value == morning.workplace.world.at(morning.unit, "oxygen-sensor-2")


# --- two that are one -----------------------------------------------------------------------------------------------


def test_two_sensors_are_said_to_be_one_after_it_was_shown_what_that_changes(morning: Shop, reader: Visitor) -> None:
    world = morning.workplace.world
    one, other = (world.at(morning.unit, f"oxygen-sensor-{number}") for number in (1, 3))
    assert one is not None
    assert other is not None
    page = reader.get(f"/things/same?one={one}&other={other}")
    (unit,) = shown(page).units
    assert unit.fallen
    form = save_form(page)
    refused = reader.send(form)
    assert refused.status == 422  # nobody said how it is known
    answered = reader.send(save_form(refused).fill(note="same scratch on the case"))
    assert answered.status == 200
    assert ThingsSame(note="same scratch on the case") in kinds(morning)
    assert morning.workplace.world.is_same(one, other)


@pytest.mark.parametrize("pair", ["one=ONE&other=ONE", "one=ONE&other=READER", "one=zz", "other=zz", ""])
def test_what_cannot_be_one_thing_is_not_offered_for_recording(morning: Shop, reader: Visitor, pair: str) -> None:
    one = morning.workplace.world.at(morning.unit, "oxygen-sensor-1")
    address = pair.replace("ONE", str(one)).replace("READER", morning.reader)
    answered = reader.get(f"/things/same?{address}")
    assert answered.status in (200, 403, 422)
    assert not answered.document.all("form", id="save")


# --- built otherwise ------------------------------------------------------------------------------------------------


def test_every_answer_stands_on_one_page_as_it_is_now(morning: Shop, reader: Visitor) -> None:
    answered = reader.get(f"{morning.at}/configuration")
    form = Form(answered.document.all("form")[0])
    known = morning.workplace.world.configuration(morning.unit)
    assert known is not None
    for axis in axes().values():
        if axis.several:
            ticked = {one.id for one in axis.options if f"{axis.id}.{one.id}" in form.values}
            assert ticked == set(known.chosen(axis.id))
        else:
            assert form.values[axis.id] == list(known.chosen(axis.id))
    assert shown(reader.get(query_of(form))).needs  # sent as it stands, nothing is changed


def test_many_answers_are_changed_at_once_after_it_was_shown_what_follows(morning: Shop, reader: Visitor) -> None:
    form = Form(reader.get(f"{morning.at}/configuration").document.all("form")[0])
    form.set("oxygen_sensors", "2").set("title", "Two sensors, bench build")
    form.values["co2_sensor"] = ["fitted"]
    count = morning.workplace.record.store.count()
    page = reader.get(query_of(form))
    (unit,) = shown(page).units
    assert unit.gone
    assert unit.fallen or unit.asked_anew
    assert morning.workplace.record.store.count() == count
    assert reader.send(save_form(page)).status == 200
    set_now = [one for one in kinds(morning) if isinstance(one, ConfigurationSet)][-1]
    assert set_now.title == "Two sensors, bench build"
    assert (set_now.choices["oxygen_sensors"], set_now.choices["co2_sensor"]) == (("2",), ("fitted",))


def test_answers_that_contradict_each_other_are_refused_and_stay_on_the_page(morning: Shop, reader: Visitor) -> None:
    form = Form(reader.get(f"{morning.at}/configuration").document.all("form")[0])
    form.values["oxygen_sensors"] = ["0"]
    answered = reader.get(query_of(form))
    assert answered.status == 422
    assert not answered.document.all("form", id="save")
    assert Form(answered.document.all("form")[0]).values["oxygen_sensors"] == ["0"]


def test_all_three_pages_are_reached_from_the_pages_of_the_unit(morning: Shop, reader: Visitor) -> None:
    page = reader.get(f"{morning.at}/parts")
    hrefs = {one.get("href") for one in page.document.all("a")}
    assert {f"{morning.at}/take-out", f"{morning.at}/configuration"} <= hrefs
    assert f"{morning.at}/configuration" in {
        one.get("href") for one in reader.get(f"{morning.at}/more").document.all("a")
    }
    assert short(morning.unit) in morning.at
