"""The same form sent twice records once: double taps, going back, a server started anew, two tabs, two programs."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loopworthy import bootstrap
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.people import add_person
from loopworthy.desk.units import create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.asked import PERSON_COOKIE
from loopworthy.doors.web.pages.recorded import RecordedBefore
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import short
from tests.web.conftest import MORNING, Shop
from tests.web.visitor import Answered, Form, Visitor

TEMPLATES = Path("src/loopworthy/doors/web/templates")


def flooded(shop: Shop, visitor: Visitor) -> Form:
    return save_form(visitor.get(f"{shop.at}/change?change=flooded")).fill(note="looked at the valve")


def save_form(answered: Answered) -> Form:
    return Form(answered.document.all("form", id="save")[0])


def changes_in(workplace: Workplace) -> int:
    return len(workplace.record.events_of_kind("unit.change-made"))


def before_of(answered: Answered) -> RecordedBefore:
    assert isinstance(answered.context, RecordedBefore), answered.text
    return answered.context


@pytest.mark.parametrize("template", sorted(TEMPLATES.rglob("*.html")), ids=lambda path: path.name)
def test_every_form_that_is_sent_has_a_name_of_its_own(template: Path) -> None:
    source = template.read_text(encoding="utf-8")
    forms = re.findall(r'<form (?=[^\n]*method="post")[^\n]*?">\s*(.*)', source)
    for following in forms:
        assert following.startswith("{{ act("), following
    names = re.findall(r"\{\{ act\(([^)]*)\) \}\}", source)
    assert len(set(names)) == len(names) == len(re.findall(r'method="post"', source))


def test_a_double_tap_records_once_and_the_second_answer_shows_what_was_recorded(shop: Shop, visitor: Visitor) -> None:
    form = flooded(shop, visitor)
    before = changes_in(shop.workplace)
    first, second = visitor.send(form), visitor.send(form)
    assert changes_in(shop.workplace) == before + 1
    assert first.status == second.status == 200
    told = before_of(second)
    assert [row.told.detail for row in told.rows] == ["looked at the valve"]
    assert told.on_href == shop.at
    assert told.rows[0].href in second.html


def test_a_form_drawn_anew_records_anew(shop: Shop, visitor: Visitor) -> None:
    before = changes_in(shop.workplace)
    visitor.send(flooded(shop, visitor))
    visitor.send(flooded(shop, visitor))
    assert changes_in(shop.workplace) == before + 2


def test_two_tabs_on_one_page_do_not_stand_in_each_others_way(shop: Shop, visitor: Visitor) -> None:
    one, other = flooded(shop, visitor), flooded(shop, visitor)
    assert one.values["once"] != other.values["once"]
    before = changes_in(shop.workplace)
    for form in (one, other, one, other):
        visitor.send(form)
    assert changes_in(shop.workplace) == before + 2


def test_a_refused_form_keeps_its_name_until_it_has_recorded_something(shop: Shop, visitor: Visitor) -> None:
    form = visitor.get("/people").document.all("form")[1]
    empty = Form(form)
    refused = visitor.send(empty.fill(name=" "))
    assert refused.status == 422
    again = next(
        one for one in map(Form, refused.document.all("form")) if one.values["once"][0] == empty.values["once"][0]
    )
    assert "name" in again.names()
    count = len(shop.workplace.world.of_kind("person"))
    visitor.send(again.fill(name="Third Example"))
    before_of(visitor.send(empty.fill(name="Fourth Example")))
    assert len(shop.workplace.world.of_kind("person")) == count + 1


@pytest.mark.parametrize("act", ["x", "change:zz", "change:" + "0" * 31, "c" * 300, "change:" + "0" * 32 + "\n1"])
def test_a_name_that_no_form_was_drawn_with_is_refused(shop: Shop, visitor: Visitor, act: str) -> None:
    form = flooded(shop, visitor)
    form.values["once"] = [act]
    before = changes_in(shop.workplace)
    assert visitor.send(form).status == 422
    assert changes_in(shop.workplace) == before


def test_an_act_that_recorded_nothing_has_no_page(shop: Shop, visitor: Visitor) -> None:
    assert visitor.get("/recorded/change:" + "0" * 32).status == 404


# --- across programs ------------------------------------------------------------------------------------------------


def open_file(path: Path) -> Workplace:
    return bootstrap.open_workplace(path, clock=lambda: MORNING, title="Trial", create=True)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "record.db"
    workplace = open_file(path)
    reader = add_person(workplace, "Pim Example")
    create_unit(workplace, "Grey Heron", ready_configurations()["electronic-back-three-sensors"], typed_by=reader)
    workplace.record.store.close()
    return path


def visitor_of(workplace: Workplace) -> tuple[Visitor, str]:
    visitor = Visitor(create_app(workplace))
    visitor.cookies[PERSON_COOKIE] = workplace.person("Pim Example")
    return visitor, f"/unit/{short(workplace.unit('Grey Heron'))}"


def test_a_page_sent_again_after_a_restart_records_once(file: Path) -> None:
    workplace = open_file(file)
    visitor, at = visitor_of(workplace)
    form = save_form(visitor.get(f"{at}/change?change=flooded"))
    visitor.send(form)
    workplace.record.store.close()
    anew = open_file(file)
    visitor, _ = visitor_of(anew)
    before_of(visitor.send(form))
    assert changes_in(anew) == 1


def test_two_servers_on_one_file_that_were_sent_the_same_form_record_once(file: Path) -> None:
    one, other = open_file(file), open_file(file)
    visitor, at = visitor_of(one)
    elsewhere, _ = visitor_of(other)
    unit = one.unit("Grey Heron")
    form = save_form(visitor.get(f"{at}/change?change=flooded"))

    raced: list[tuple[str, ...]] = []
    real = other.record.events_of_act

    def asked_too_early(act: str) -> tuple[str, ...]:
        """The other server has looked; only then does the first one record."""
        if not raced:
            raced.append(real(act))
            with one.record.acting(act):
                record_change(one, unit, Declared(change="flooded"), person=one.person("Pim Example"))
            return raced[0]
        return real(act)

    other.record.events_of_act = asked_too_early  # type: ignore[method-assign]
    before_of(elsewhere.send(form))
    assert raced == [()]
    assert changes_in(one) == changes_in(other) == 1


def test_the_same_reading_taken_twice_on_two_forms_stands_twice(shop: Shop, visitor: Visitor) -> None:
    """Near a limit a second reading of the same value is wanted; it must not be taken for a double tap."""
    before = len(shop.workplace.record.events_of_kind("judgement.evidence-recorded"))
    for _ in range(2):
        form = visitor.get(f"{shop.at}/do/air?step=C01").form()
        visitor.send(form.fill(controller_hpa="1008", barometer_hpa="1008"))
    assert len(shop.workplace.record.events_of_kind("judgement.evidence-recorded")) == before + 2
