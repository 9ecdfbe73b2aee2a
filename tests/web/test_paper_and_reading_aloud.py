"""Sheets carry what they were made from and no verdict; the final check is read aloud line by line and never ticked."""

from __future__ import annotations

import re

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.record_care import heads
from loopworthy.desk.units import create_unit
from loopworthy.doors.web.pages.read_aloud import Aloud
from loopworthy.doors.web.pages.sheet import Checklist, SensorSheet, css_string
from loopworthy.judgement.standing import State
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import short
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Visitor

# --- reading aloud --------------------------------------------------------------------------------------------------


def test_what_is_never_skipped_is_read_first_and_each_line_leads_to_the_next(shop: Shop, visitor: Visitor) -> None:
    address, seen = f"{shop.at}/read-aloud", []
    while True:
        answered = visitor.get(address)
        context = answered.context
        assert isinstance(context, Aloud)
        if context.line is None:
            break
        seen.append(context.line)
        assert context.line.number == len(seen)
        address = context.next_href
    assert len(seen) == context.count
    asked = {one.step.id for one in shop.workplace.verdict(shop.unit).requirements() if one.step.page == "final-check"}
    assert {line.id for line in seen} >= asked
    marks = [line.never_skipped for line in seen]
    assert any(marks)
    assert marks == sorted(marks, reverse=True)
    assert context.next_href == ""
    assert context.entry_href == f"{shop.at}/do/final-check"
    assert answered.document.all("a", href=context.entry_href)


def test_nothing_can_be_typed_or_ticked_while_it_is_read(shop: Shop, visitor: Visitor) -> None:
    document = visitor.get(f"{shop.at}/read-aloud?line=2").document
    main = document.all("main")[0]
    for tag in ("form", "input", "select", "textarea"):
        assert main.all(tag) == []


def test_open_items_of_the_morning_are_read_out_with_their_reason_and_no_others() -> None:
    shop = make_shop()
    shop.walk("settings-and-lists")
    visitor = Visitor(shop.app)
    first = visitor.get(f"{shop.at}/read-aloud").context.line
    assert (first.id, first.open_items, first.nothing_open) == ("F01", (), True)
    record_change(shop.workplace, shop.unit, Declared(change="loop-opened"), person=shop.reader)
    first = visitor.get(f"{shop.at}/read-aloud").context.line
    (item, *_) = first.open_items
    assert item.state is State.VOID
    assert item.why.startswith("Undone by: Hose, mouthpiece, counterlung or drain opened")
    assert {"Negative test", "Positive test"} <= {title for one in first.open_items for title in one.titles}
    told = [title for one in first.open_items for title in one.titles]
    assert not any(title.startswith("Oxygen by hand") for title in told)  # that is read further down


def test_a_line_names_what_it_is_done_to_and_what_is_said_aloud() -> None:
    shop = make_shop("electronic-deep-expedition")
    visitor = Visitor(shop.app)
    context = visitor.get(f"{shop.at}/read-aloud").context
    lines = [visitor.get(f"{shop.at}/read-aloud?line={number}").context.line for number in range(1, context.count + 1)]
    bailout = next(line for line in lines if line.id == "F04")
    assert len(bailout.about) > 1
    assert bailout.read == ("Gauge (bar)",)
    assert bailout.two_person


@pytest.mark.parametrize(("query", "status"), [("line=0", 422), ("line=99", 422), ("line=two", 422), ("page=x", 404)])
def test_a_line_that_is_none_is_not_here(shop: Shop, visitor: Visitor, query: str, status: int) -> None:
    assert visitor.get(f"{shop.at}/read-aloud?{query}").status == status


# --- the list for paper ---------------------------------------------------------------------------------------------


def test_the_list_carries_configuration_revision_and_the_fingerprint_of_the_head(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/sheet").context
    assert isinstance(context, Checklist)
    (head,) = heads(shop.workplace)
    configuration = shop.workplace.world.configuration(shop.unit)
    assert configuration is not None
    assert context.head.heads == ((f"memory, entry {head.sequence}", head.fingerprint),)
    assert configuration.revision in context.head.configuration
    assert shop.workplace.catalogue.revision in context.head.revision
    assert context.head.made == "2026-06-14 05:30, Europe/Malta, UTC+02:00"
    assert (context.head.unit, context.head.serial) == ("Grey Heron", "T-1")


def test_every_step_that_the_unit_is_asked_for_stands_on_the_list_with_its_limits(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/sheet")
    lines = {line.id: line for page in answered.context.pages for line in page.lines}
    asked = {one.step.id for one in shop.workplace.verdict(shop.unit).requirements()}
    assert asked <= set(lines)
    air = lines["C03"]
    assert [subject.split(":")[0] for subject in air.subjects] == [f"oxygen sensor {number}" for number in (1, 2, 3)]
    assert any(limit.startswith("Limit: ") for limit in air.limits)
    assert [blank.unit for blank in air.blanks][:1] == ["mV"]
    assert lines["F01"].never_skipped
    assert lines["F01"].two_person


def test_no_verdict_and_no_word_of_one_is_on_the_list() -> None:
    shop = make_shop()
    shop.walk()
    answered = Visitor(shop.app).get(f"{shop.at}/sheet")
    assert not [one for one in answered.document.walk() if "data-verdict" in one.attributes]
    assert not answered.document.all(class_="verdict")
    assert any(line.current for page in answered.context.pages for line in page.lines)


def test_the_list_names_what_is_open_and_counts_what_was_never_read(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/sheet").context
    assert context.open_items == ()
    requirements = {one.key[1:] for one in shop.workplace.verdict(shop.unit).requirements()}
    assert context.never_done == len(requirements)


def test_one_page_of_the_list_can_be_had_alone(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/sheet?page=air").context
    assert [page.title for page in context.pages] == ["The day's air, and each sensor in it"]
    assert visitor.get(f"{shop.at}/sheet?page=nothing").status == 404


def test_what_counts_can_be_left_out_and_the_sheet_says_so() -> None:
    shop = make_shop()
    shop.walk("bench")
    visitor = Visitor(shop.app)
    whole = visitor.get(f"{shop.at}/sheet").context
    answered = visitor.get(whole.other_href)
    short_list = answered.context
    counted = [line for page in whole.pages for line in page.lines if line.current]
    assert counted
    assert short_list.left_out == len(counted)
    assert not [line for page in short_list.pages for line in page.lines if line.current]
    assert f"{len(counted)} steps that counted when it was made are left out" in answered.text
    assert visitor.get(short_list.other_href).context.pages == whole.pages


def test_the_foot_of_a_sheet_keeps_the_heads_that_it_was_made_from(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/sheet")
    assert answered.document.all("link", href=answered.context.running_href, media="print")
    (head,) = heads(shop.workplace)
    shop.walk("bench")
    foot = visitor.get(answered.context.running_href)
    assert foot.headers["content-type"].startswith("text/css")
    assert css_string(head.fingerprint)[1:-1] in foot.html
    assert heads(shop.workplace)[0].fingerprint not in foot.html
    assert visitor.get(f"{shop.at}/sheet/running.css?heads=0123456789ab").status == 404


@pytest.mark.parametrize("name", ['"; } body { display: none } "', "a\\b\nc", "*/ <style>"])
def test_no_name_breaks_out_of_the_style_at_the_foot(name: str) -> None:
    told = css_string(name)
    assert re.fullmatch(r'"(?:[\w ]|\\[0-9a-f]+ )*"', told)


def test_paper_has_a_style_of_its_own_and_its_button_needs_scripts(visitor: Visitor, shop: Shop) -> None:
    document = visitor.get(f"{shop.at}/sheet").document
    sheets = [one.get("href") for one in document.all("link", rel="stylesheet")]
    assert any("css/sheet.css" in href for href in sheets)
    (button,) = [one for one in document.all("button") if "data-print" in one.attributes]
    assert "hidden" in button.attributes


@pytest.mark.parametrize("configuration", sorted(ready_configurations()))
def test_every_ready_configuration_has_its_sheets_and_its_reading_aloud(configuration: str) -> None:
    shop = make_shop(configuration)
    visitor = Visitor(shop.app)
    assert visitor.get(f"{shop.at}/sheet").status == 200
    assert visitor.get(f"{shop.at}/sheet/sensors").status == 200
    count = visitor.get(f"{shop.at}/read-aloud").context.count
    assert count > 5
    assert visitor.get(f"{shop.at}/read-aloud?line={count + 1}").context.line is None


def test_a_unit_that_nobody_configured_has_no_list(shop: Shop, visitor: Visitor) -> None:
    from loopworthy.desk.units import NewThing

    created = NewThing(name="Bare").created("unit")
    bare = shop.workplace.writer().append("unit.thing-created", created).id
    assert visitor.get(f"/unit/{short(bare)}/sheet").status == 403
    assert visitor.get(f"/unit/{short(bare)}/read-aloud").status == 404
    assert visitor.get(f"/unit/{short(bare)}/parts").status == 200


# --- the sensor chart for paper -------------------------------------------------------------------------------------


def test_the_sensor_sheet_has_a_row_for_each_sensor_with_limit_and_origin() -> None:
    shop = make_shop()
    shop.walk("oxygen")
    answered = Visitor(shop.app).get(f"{shop.at}/sheet/sensors")
    context = answered.context
    assert isinstance(context, SensorSheet)
    assert [row.serial for row in context.rows] == [f"sensor 4F-220{number}" for number in (1, 2, 3)]
    assert all(row.expected and row.oxygen and row.margin for row in context.rows)
    assert context.rows[0].origin in answered.text
    assert heads(shop.workplace)[0].fingerprint in answered.text


def test_a_unit_without_sensors_says_so(shop: Shop, visitor: Visitor) -> None:
    configuration = ready_configurations()["pure-oxygen-chest"]
    unit = create_unit(shop.workplace, "Tern", configuration, typed_by=shop.reader)
    answered = visitor.get(f"/unit/{short(unit)}/sheet/sensors")
    assert answered.context.rows == ()
    assert visitor.get(f"/unit/{short(unit)}/sheet").context.sensors_href == ""


def test_lines_of_any_page_can_be_read_aloud(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/read-aloud?page=last-look").context
    assert context.entry_href == f"{shop.at}/do/last-look"
