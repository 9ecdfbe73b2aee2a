"""Bringing a unit in, naming what is fitted, writing labels down, and where each position leads."""

from __future__ import annotations

import pytest

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk.people import add_person
from loopworthy.desk.units import empty_positions
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.pages.new_unit import NewUnit
from loopworthy.doors.web.pages.parts import OnePosition, Parts
from loopworthy.doors.web.pages.set_up import SetUp
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId, short
from loopworthy.vocabulary.reading import Reading
from tests.web.conftest import Shop
from tests.web.visitor import Answered, Visitor

THREE = "electronic-back-three-sensors"


@pytest.fixture
def bare(shop: Shop, visitor: Visitor) -> ThingId:
    """A second unit, brought in through its page, of which nothing is named yet."""
    visitor.post("/units/new", {"name": "Petrel", "configuration": THREE, "person": shop.reader})
    return shop.workplace.unit("Petrel")


def set_up_of(answered: Answered) -> SetUp:
    assert isinstance(answered.context, SetUp)
    return answered.context


# --- a new unit -----------------------------------------------------------------------------------------------------


def test_a_new_unit_says_of_each_ready_configuration_what_it_brings(visitor: Visitor) -> None:
    context = visitor.get("/units/new").context
    assert isinstance(context, NewUnit)
    assert [one.name for one in context.ready] == list(ready_configurations())
    three = next(one for one in context.ready if one.name == THREE)
    assert three.told.startswith("3 × oxygen sensor, 3 × cylinder;")
    assert three.href == f"/catalogue/configurations/{THREE}"


def test_a_new_unit_leads_on_to_naming_what_is_fitted(shop: Shop, visitor: Visitor) -> None:
    sent = {"name": "Petrel", "serial": "P-9", "configuration": THREE, "person": shop.reader}
    answered = visitor.post("/units/new", sent)
    assert answered.template == "set_up.html"
    unit = shop.workplace.unit("Petrel")
    assert shop.workplace.world.thing(unit).serial == "P-9"
    assert [one.position for one in set_up_of(answered).namings] == list(empty_positions(shop.workplace, unit))


def test_a_unit_comes_from_ones_own_file(shop: Shop, visitor: Visitor) -> None:
    toml = ready_configurations()["hybrid-chest"].to_toml().replace('name = "hybrid-chest"', 'name = "our-own"')
    fields = [("name", "Petrel"), ("configuration", "own"), ("person", shop.reader)]
    answered = visitor.post("/units/new", fields, files={"file": ("own.toml", toml.encode())})
    assert answered.template == "set_up.html"
    configuration = shop.workplace.world.configuration(shop.workplace.unit("Petrel"))
    assert configuration is not None
    assert configuration.name == "our-own"


@pytest.mark.parametrize(
    ("fields", "file", "problem"),
    [
        ({"name": "", "configuration": THREE}, b"", "name"),
        ({"name": "Grey Heron", "configuration": THREE}, b"", "no other unit"),
        ({"name": "Petrel"}, b"", "configuration"),
        ({"name": "Petrel", "configuration": "of-a-maker"}, b"", "of-a-maker"),
        ({"name": "Petrel", "configuration": "own"}, b"", "file"),
        ({"name": "Petrel", "configuration": "own"}, b"not [toml", "toml"),
        ({"name": "Petrel", "configuration": "own"}, b"\xff\xfe", "UTF-8"),
        ({"name": "Petrel", "configuration": THREE}, b"name = 'x'", "own.toml"),
        ({"name": "Petrel", "configuration": THREE, "person": ""}, b"", "person"),
    ],
)
def test_a_unit_that_cannot_be_is_refused_with_its_reason_and_what_was_typed_is_kept(
    shop: Shop, visitor: Visitor, fields: dict[str, str], file: bytes, problem: str
) -> None:
    before = shop.workplace.book().count
    files = {"file": ("own.toml", file)} if file else None
    answered = visitor.post("/units/new", list({"person": shop.reader, **fields}.items()), files=files)
    assert answered.status == 422
    context = answered.context
    assert isinstance(context, NewUnit)
    assert problem in context.frame.problem
    assert (context.name.value or "") == fields["name"]
    assert context.chosen == fields.get("configuration", "")
    assert shop.workplace.book().count == before


def test_a_record_without_people_asks_for_a_person_first(shop: Shop) -> None:
    visitor = Visitor(create_app(memory_workplace(clock=shop.clock)))
    answered = visitor.get("/units/new")
    assert answered.context.signing.person is None
    assert answered.document.all("a", href="/people?back=%2Funits%2Fnew")
    assert not answered.document.all("button", type="submit")


# --- naming what is fitted ------------------------------------------------------------------------------------------


def test_what_has_a_serial_number_comes_first_and_cylinders_ask_for_their_size(
    shop: Shop, visitor: Visitor, bare: ThingId
) -> None:
    context = set_up_of(visitor.get(f"/unit/{short(bare)}/set-up"))
    names = {one.position: [field.name for field in one.fields] for one in context.namings}
    assert names["oxygen-sensor-1"] == [
        "oxygen-sensor-1-serial",
        "oxygen-sensor-1-batch",
        "oxygen-sensor-1-made-on",
        "oxygen-sensor-1-opened-on",
    ]
    assert "cylinder-oxygen-volume" in names["cylinder-oxygen"]
    assert names["diver"] == ["diver-thing"]


def test_all_that_was_typed_is_named_at_once_and_the_rest_stays_to_be_named(
    shop: Shop, visitor: Visitor, bare: ThingId
) -> None:
    at = f"/unit/{short(bare)}"
    sent = {
        "oxygen-sensor-1-serial": "P-1",
        "oxygen-sensor-1-batch": "B-1",
        "oxygen-sensor-1-made-on": "2026-01-02",
        "oxygen-sensor-1-opened-on": "2026-03-04",
        "cylinder-oxygen-serial": "C-1",
        "cylinder-oxygen-volume": "2,0",
        "diver-thing": shop.second,
        "person": shop.reader,
    }
    answered = visitor.post(f"{at}/set-up", sent)
    left = [one.position for one in set_up_of(answered).namings]
    assert "oxygen-sensor-1" not in left
    assert "oxygen-sensor-2" in left
    world = shop.workplace.world
    sensor, cylinder = world.at(bare, "oxygen-sensor-1"), world.at(bare, "cylinder-oxygen")
    assert sensor is not None
    assert cylinder is not None
    assert (world.thing(sensor).serial, world.thing(sensor).opened_on) == ("P-1", "2026-03-04")
    assert world.thing(cylinder).attributes["volume"] == Reading(value="2.0", unit="L")
    assert world.content_of(cylinder) is not None
    assert world.at(bare, "diver") == shop.second


@pytest.mark.parametrize(
    ("fields", "status", "problem"),
    [
        ({}, 422, "at least one part"),
        ({"oxygen-sensor-1-batch": "B-1"}, 422, "oxygen sensor 1"),
        ({"oxygen-sensor-1-serial": "P-1", "oxygen-sensor-1-made-on": "yesterday"}, 422, "“yesterday” must be a date"),
        ({"cylinder-oxygen-serial": "C-1", "cylinder-oxygen-volume": "two"}, 422, "“two” must be one number"),
        ({"oxygen-sensor-1-serial": "P-1", "oxygen-sensor-2-thing": "0" * 64}, 404, "thing"),
    ],
)
def test_one_label_that_cannot_be_right_names_nothing_and_keeps_what_was_typed(
    shop: Shop, visitor: Visitor, bare: ThingId, fields: dict[str, str], status: int, problem: str
) -> None:
    before = shop.workplace.book().count
    answered = visitor.post(f"/unit/{short(bare)}/set-up", {"person": shop.reader, **fields})
    assert answered.status == status
    context = set_up_of(answered)
    assert problem in context.frame.problem
    typed = {field.name: field.value for one in context.namings for field in one.fields}
    assert {name: typed.get(name, value) for name, value in fields.items()} == fields
    assert shop.workplace.book().count == before


# --- positions ------------------------------------------------------------------------------------------------------


def test_unnamed_positions_stand_first_and_each_row_can_be_linked_to(
    shop: Shop, visitor: Visitor, bare: ThingId
) -> None:
    answered = visitor.get(f"/unit/{short(bare)}/parts")
    context = answered.context
    assert isinstance(context, Parts)
    assert [one.id for one in context.unnamed] == list(empty_positions(shop.workplace, bare))
    anchors = {one.get("id") for one in answered.document.walk()}
    assert {one.id for one in shop.workplace.world.positions(bare)} <= anchors
    assert answered.document.all("a", href=f"/unit/{short(bare)}/set-up")


def test_a_position_tells_what_is_in_it_and_leads_to_what_can_happen_to_it(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/parts/oxygen-sensor-2").context
    assert isinstance(context, OnePosition)
    assert ("Serial number", "4F-2202") in context.facts
    assert ("Oxygen sensor replaced", f"{shop.at}/change?change=sensor-replaced&positions=oxygen-sensor-2") in (
        context.exchanges
    )
    assert [stay.name for stay in context.stays] == ["sensor 4F-2202"]
    picked = visitor.get(context.exchanges[0][1]).context
    assert [place.value for place in picked.places if place.picked] == ["oxygen-sensor-2"]


def test_what_a_label_says_is_written_down_without_taking_evidence_away(shop: Shop, visitor: Visitor) -> None:
    shop.walk("air")
    before = [one.standing.state for one in shop.workplace.verdict(shop.unit).requirements()]
    sent = {"serial": "4F-2202", "batch": "B-2", "made-on": "2026-01-01", "person": shop.reader}
    answered = visitor.post(f"{shop.at}/parts/oxygen-sensor-2", sent)
    assert ("Batch", "B-2") in answered.context.facts
    assert [one.standing.state for one in shop.workplace.verdict(shop.unit).requirements()] == before
    again = visitor.post(f"{shop.at}/parts/oxygen-sensor-2", sent)
    assert again.status == 422
    assert {field.name: field.value for field in again.context.fields}["batch"] == "B-2"


def test_a_date_that_is_none_is_refused_at_a_position(shop: Shop, visitor: Visitor) -> None:
    sent = {"serial": "4F-2202", "made-on": "2026-02-31", "person": shop.reader}
    answered = visitor.post(f"{shop.at}/parts/oxygen-sensor-2", sent)
    assert answered.status == 422
    assert "“2026-02-31” must be a date" in answered.context.frame.problem


def test_a_position_that_the_unit_does_not_have_is_not_here(shop: Shop, visitor: Visitor) -> None:
    assert visitor.get(f"{shop.at}/parts/oxygen-sensor-9").status == 404
    assert visitor.get("/unit/no-such-unit/parts").status == 404


def test_a_person_has_no_label_to_write_down(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/parts/diver").context
    assert context.fields == ()
    assert visitor.post(f"{shop.at}/parts/diver", {"serial": "X", "person": shop.reader}).status == 422


def test_somebody_who_joins_later_can_be_named_as_the_diver(shop: Shop, visitor: Visitor, bare: ThingId) -> None:
    later = add_person(shop.workplace, "Late Example")
    context = set_up_of(visitor.get(f"/unit/{short(bare)}/set-up"))
    diver = next(one for one in context.namings if one.position == "diver")
    assert later in [value for value, _ in diver.fields[0].choices]
