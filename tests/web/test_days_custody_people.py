"""Days that begin and end, hands that a unit goes through, and what is kept of people and instruments."""

from __future__ import annotations

import pytest

from loopworthy.desk.people import display_units
from loopworthy.desk.units import create_unit
from loopworthy.doors.web.pages.custody import Custody
from loopworthy.doors.web.pages.day import Days
from loopworthy.doors.web.pages.person import OneOfUs
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import short
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Visitor

# --- days -----------------------------------------------------------------------------------------------------------


def test_a_day_begins_with_one_button_and_ends_with_one(visitor: Visitor) -> None:
    shop = make_shop(day=False)
    visitor = Visitor(shop.app)
    context = visitor.get(f"{shop.at}/day").context
    assert isinstance(context, Days)
    assert [one.kind for one in context.stretches] == ["dive-day", "preparation", "assembly", "dive"]
    assert context.stretches[0].open_text == ""
    sent = {"act": "begin dive-day", "title": "At the quay", "person": shop.reader}
    answered = visitor.post(f"{shop.at}/day", sent)
    assert answered.template == "unit.html"
    assert answered.context.frame.notice
    now = shop.workplace.world.episode(shop.unit, "dive-day")
    assert now is not None
    assert now.title == "At the quay"
    assert "At the quay" in visitor.get(f"{shop.at}/day").context.stretches[0].open_text
    visitor.post(f"{shop.at}/day", {"act": "end dive-day", "person": shop.reader})
    assert shop.workplace.world.episode(shop.unit, "dive-day") is None
    assert visitor.get(f"{shop.at}/day").context.stretches[0].earlier


def test_a_day_can_begin_for_several_units_together(shop: Shop, visitor: Visitor) -> None:
    other = create_unit(shop.workplace, "Petrel", ready_configurations()["hybrid-chest"], typed_by=shop.reader)
    context = visitor.get(f"{shop.at}/day").context
    assert context.others == ((other, "Petrel"),)
    visitor.post(f"{shop.at}/day", {"act": "begin dive-day", "with": other, "person": shop.reader})
    assert shop.workplace.world.episode(other, "dive-day") is not None


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"act": "begin something"}, 422),
        ({"act": "stop dive-day"}, 422),
        ({"act": ""}, 422),
        ({"act": "end assembly"}, 403),
        ({"act": "begin dive-day", "person": ""}, 422),
        ({"act": "begin dive-day", "title": "x" * 300}, 422),
        ({"act": "begin dive-day", "occurred_at": "2040-01-01T00:00"}, 422),
    ],
)
def test_a_stretch_that_cannot_be_is_refused_and_its_title_is_kept(
    shop: Shop, visitor: Visitor, fields: dict[str, str], status: int
) -> None:
    before = shop.workplace.book().count
    answered = visitor.post(f"{shop.at}/day", {"title": "kept", "person": shop.reader, **fields})
    assert answered.status == status
    assert answered.context.name.value == fields.get("title", "kept")
    assert shop.workplace.book().count == before


# --- hand-over ------------------------------------------------------------------------------------------------------


def test_a_unit_is_handed_over_with_how_it_stands(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/custody").context
    assert isinstance(context, Custody)
    assert context.now == ""
    assert context.verdict.word is Word.UNPROVEN
    sent = {"to": shop.second, "note": "bag lies on deck", "person": shop.reader}
    after = visitor.post(f"{shop.at}/custody", sent).context
    assert after.now == "Juno Example has it since 05:30."
    assert after.earlier[0][0] == "05:30: Handed over to Juno Example. bag lies on deck"


def test_a_ready_verdict_beside_a_hand_over_blanks_itself_when_it_ends() -> None:
    shop = make_shop()
    shop.walk()
    answered = Visitor(shop.app).get(f"{shop.at}/custody")
    assert answered.context.verdict.word is Word.READY
    (panel,) = answered.document.all("section", class_="verdict")
    assert "data-verdict-bounded" in panel.attributes
    assert answered.context.frame.until_seconds is not None


@pytest.mark.parametrize("fields", [{"to": ""}, {"to": "nobody"}, {"to": "x" * 64}])
def test_nobody_gets_a_unit_without_being_named(shop: Shop, visitor: Visitor, fields: dict[str, str]) -> None:
    before = shop.workplace.book().count
    answered = visitor.post(f"{shop.at}/custody", {"note": "kept", "person": shop.reader, **fields})
    assert answered.status == 422
    assert answered.context.note.value == "kept"
    assert answered.context.to.error
    assert shop.workplace.book().count == before


# --- people and instruments -----------------------------------------------------------------------------------------


def test_each_person_chooses_how_numbers_are_shown(shop: Shop, visitor: Visitor) -> None:
    at = f"/person/{short(shop.reader)}"
    context = visitor.get(at).context
    assert isinstance(context, OneOfUs)
    assert ("Dives", "Grey Heron") in context.facts
    visitor.post(at, {"act": "units", "display_units": "us", "person": shop.reader})
    assert display_units(shop.workplace, shop.reader) == "us"
    assert display_units(shop.workplace, shop.second) == "metric"
    refused = visitor.post(at, {"act": "units", "display_units": "fathoms", "person": shop.reader})
    assert refused.status == 422
    assert display_units(shop.workplace, shop.reader) == "us"


def test_somebody_out_of_use_is_no_longer_offered_and_can_come_back(shop: Shop, visitor: Visitor) -> None:
    at = f"/person/{short(shop.second)}"
    visitor.post(at, {"act": "retire", "reason": "moved away", "person": shop.reader})
    offered = visitor.get(f"{shop.at}/custody").context.to.choices
    assert [name for _, name in offered] == ["Pim Example"]
    assert visitor.get(at).context.retired
    visitor.post(at, {"act": "return", "person": shop.reader})
    assert len(visitor.get(f"{shop.at}/custody").context.to.choices) == 2


def test_a_name_is_erased_only_with_a_reason_and_the_readings_stay(shop: Shop, visitor: Visitor) -> None:
    shop.walk("cylinders-and-cleaning")
    at = f"/person/{short(shop.second)}"
    refused = visitor.post(at, {"act": "erase", "person": shop.reader})
    assert refused.status == 422
    assert refused.context.reason.error
    items = len(shop.workplace.book().items)
    answered = visitor.post(at, {"act": "erase", "reason": "asked for it", "person": shop.reader})
    assert answered.context.name == "(erased)"
    assert len(shop.workplace.book().items) == items
    assert "Juno" not in visitor.get("/history").html


def test_an_instrument_tells_what_it_was_used_for(shop: Shop, visitor: Visitor) -> None:
    shop.walk("gas-analysis")
    context = visitor.get(f"/instrument/{short(shop.analyser)}").context
    facts = dict(context.facts)
    assert facts["Used as"] == "analyser"
    assert int(facts["Readings made with it"]) > 0
    assert not context.person
    assert visitor.post(f"/instrument/{short(shop.analyser)}", {"act": "erase", "person": shop.reader}).status == 422
    assert visitor.post(f"/instrument/{short(shop.analyser)}", {"act": "", "person": shop.reader}).status == 422
    assert visitor.get("/instrument/nothing").status == 404
    assert visitor.get("/person/nobody").status == 404
