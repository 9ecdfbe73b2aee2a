"""The board and the page of a unit: verdict and reasons first, then the next step, then evidence by hold point."""

from __future__ import annotations

import re

from loopworthy.desk import days
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.walk import fit_out
from loopworthy.desk.entry import Typed
from loopworthy.desk.mending import record_repair
from loopworthy.desk.people import give_custody
from loopworthy.desk.steps import record_steps, work_page
from loopworthy.desk.units import create_unit
from loopworthy.doors.web.pages.board import Board
from loopworthy.doors.web.pages.unit import HoldShown, UnitPage
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Element, Visitor


def unit_of(visitor: Visitor, shop: Shop) -> UnitPage:
    context = visitor.get(shop.at).context
    assert isinstance(context, UnitPage)
    return context


def hold_of(context: UnitPage, identifier: str) -> HoldShown:
    return next(one for one in context.holds if one.id == identifier)


def in_order(document: Element, *classes: str) -> bool:
    """Whether elements of these classes stand on the page in this order."""
    seen = [one.get("class").split() for one in document.walk()]
    places = [next(place for place, names in enumerate(seen) if name in names) for name in classes]
    return places == sorted(places)


# --- the board ------------------------------------------------------------------------------------------------------


def test_the_board_tells_of_each_unit_verdict_next_step_and_holder(shop: Shop, visitor: Visitor) -> None:
    give_custody(shop.workplace, shop.unit, shop.second, typed_by=shop.reader)
    board = visitor.get("/").context
    assert isinstance(board, Board)
    (row,) = board.rows
    assert (row.name, row.word, row.who) == ("Grey Heron", Word.UNPROVEN, "Juno Example")
    assert row.next_text == "Cylinders: in test and clean"
    assert row.next_href == f"{shop.at}/do/cylinders-and-cleaning"
    assert row.until_iso == ""


def test_a_ready_unit_on_the_board_blanks_itself_when_its_time_ends() -> None:
    shop = make_shop()
    shop.walk()
    answered = Visitor(shop.app).get("/")
    (row,) = answered.context.rows
    assert row.word is Word.READY
    until = shop.workplace.verdict(shop.unit).until_ms
    assert until is not None
    (time,) = answered.document.all("time")
    assert time.get("data-until") == row.until_iso
    assert "data-until-blank" in time.attributes
    (refresh,) = answered.document.all("meta", **{"http-equiv": "refresh"})
    assert int(refresh.get("content")) == (until - shop.workplace.now().epoch_ms) // 1000
    shop.clock.advance(60)
    (row,) = Visitor(shop.app).get("/").context.rows
    assert row.word is Word.UNPROVEN


def test_an_empty_record_begins_with_people_then_with_units() -> None:
    from loopworthy.bootstrap import memory_workplace
    from loopworthy.desk.people import add_person
    from loopworthy.doors.web.app import create_app

    shop = make_shop()
    workplace = memory_workplace(clock=shop.clock)
    visitor = Visitor(create_app(workplace))
    assert visitor.get("/").document.all("a", class_="button", href="/people")
    add_person(workplace, "Pim Example")
    assert visitor.get("/").document.all("a", class_="button", href="/units/new")


# --- the verdict ----------------------------------------------------------------------------------------------------


def test_verdict_comes_first_then_the_next_step_then_the_evidence(shop: Shop, visitor: Visitor) -> None:
    shop.walk("cylinders-and-cleaning")
    answered = visitor.get(shop.at)
    assert in_order(answered.document, "verdict", "last-entry", "outstanding", "why-not", "hold-point")
    context = answered.context
    assert context.nexts[0].text == "What is in each cylinder"
    assert len(context.nexts) == 4
    assert context.never_read_count > 50
    assert sum(len(group.reasons) for group in context.never_read) == context.never_read_count


def test_a_ready_unit_says_until_when_and_by_what_it_ends() -> None:
    shop = make_shop()
    shop.walk()
    answered = Visitor(shop.app).get(shop.at)
    panel = answered.context.verdict
    assert panel.word is Word.READY
    assert panel.until_text
    assert panel.until_reason
    assert answered.context.groups == ()
    assert answered.context.nexts == ()
    assert "Nothing is outstanding." in answered.text
    document = answered.document
    bounded = [one for one in document.walk() if "data-verdict-bounded" in one.attributes]
    inside = {id(tag) for one in bounded for tag in one.all(class_="verdict-tag--ready")}
    assert len(inside) == 7
    assert inside == {id(tag) for tag in document.all(class_="verdict-tag--ready")}


def test_ready_in_the_list_of_steps_is_bounded_as_well() -> None:
    shop = make_shop()
    shop.walk()
    document = Visitor(shop.app).get(f"{shop.at}/steps").document
    assert document.all("meta", **{"http-equiv": "refresh"})  # with scripts off the page reads itself again
    tags = document.all(class_="verdict-tag--ready")
    assert len(tags) == 7
    bounded = [one for one in document.walk() if "data-verdict-bounded" in one.attributes]
    assert {id(tag) for one in bounded for tag in one.all(class_="verdict-tag--ready")} == {id(tag) for tag in tags}


def test_what_fell_is_gathered_by_page_with_the_change_that_undid_it() -> None:
    shop = make_shop()
    shop.walk()
    shop.clock.advance(1)
    change = next(one for one in shop.workplace.catalogue.changes.values() if one.id == "head-opened")
    record_change(shop.workplace, shop.unit, Declared(change=change.id), person=shop.reader)
    context = unit_of(Visitor(shop.app), shop)
    assert context.verdict.word is Word.UNPROVEN
    leak = next(group for group in context.groups if group.title == "Held inward, held outward")
    assert "void" in leak.counts
    assert any(f"by: {change.title}" in one.text for one in leak.reasons)
    assert all(one.mend_href for one in leak.reasons)


def test_a_failed_reading_is_told_once_with_its_facts_and_its_way_on(shop: Shop, visitor: Visitor) -> None:
    shop.walk("air", read={("C01", ""): {"controller_hpa": "980"}})
    answered = visitor.get(shop.at)
    context = answered.context
    assert context.verdict.word is Word.STOP
    (reason,) = context.verdict.reasons
    assert reason.state is State.FAILED
    assert reason.reading == "980 hPa"
    assert reason.limit.startswith("within 10 hPa")
    assert reason.margin.endswith("hPa outside")
    assert reason.origin
    assert reason.mend_href.startswith(f"{shop.at}/repair?event=")
    assert (reason.text, reason.reading_name) == ("Ambient pressure, twice", "Controller reads")
    assert "by Pim Example; at stop since, until mended" in reason.since
    assert [link.text for link in answered.document.all("a", href=reason.mend_href)] == ["Mend and read again"]
    assert answered.text.count("980 hPa") == 1
    assert not answered.document.all(class_="outstanding__list--first")  # the one thing to do next is to mend
    assert "Do next" not in answered.text
    assert hold_of(context, "H3").is_open
    assert not hold_of(context, "H1").is_open


def test_without_a_dive_day_the_next_thing_is_to_begin_one() -> None:
    shop = make_shop(day=False)
    context = unit_of(Visitor(shop.app), shop)
    assert (context.nexts[0].text, context.nexts[0].href) == ("Begin the dive day", f"{shop.at}/day")
    assert context.day_title == ""


def test_unconfirmed_limits_lead_to_the_manual_and_not_to_doing_the_step_again() -> None:
    shop = make_shop(confirmed=False)
    shop.walk("gas-analysis")
    context = unit_of(Visitor(shop.app), shop)
    texts = [one.text for one in (*context.nexts, *context.nexts_later)]
    assert "Hold the limits against your manual" in texts
    assert "What is in each cylinder" not in texts


def test_a_unit_without_parts_leads_to_naming_them(shop: Shop, visitor: Visitor) -> None:
    configuration = ready_configurations()["electronic-back-three-sensors"]
    shop.unit = create_unit(shop.workplace, "Bare", configuration, typed_by=shop.reader)
    context = unit_of(visitor, shop)
    assert "Say which parts are fitted" in [one.text for one in context.nexts]


def test_a_sensor_outside_says_what_was_expected_and_how_well_that_is_known() -> None:
    shop = make_shop()
    shop.walk("oxygen", read={("C06", "oxygen-sensor-2"): {"oxygen_mv": "44.0"}})
    reasons = unit_of(Visitor(shop.app), shop).verdict.reasons
    title = "Oxygen against expected, oxygen sensor 2: sensor 4F-2202"
    reason = next(one for one in reasons if one.text == title)
    assert reason.reading == "44.0 mV"
    assert reason.expected.endswith(" mV")
    assert reason.margin.endswith(" mV outside")
    assert reason.uncertainty.endswith(" mV")
    assert reason.limit == "within 2 mV of the expected"
    assert reason.origin


def test_at_stop_only_what_failed_lies_open_in_its_hold_and_the_rest_beneath_folds() -> None:
    shop = make_shop()
    shop.walk()
    shop.clock.advance(10)
    read_again(shop, "C01", controller_hpa="980", barometer_hpa="1013")
    answered = Visitor(shop.app).get(shop.at)
    hold = hold_of(answered.context, "H3")
    assert [row.state for row in hold.rows_open] == [State.FAILED]
    assert sum(len(group.rows) for group in hold.rows_folded) == len(hold.rows) - 1 > 10
    (opened,) = [one for one in answered.document.all("details") if "open" in one.attributes]
    folds = opened.all("details")
    assert len(folds) == len(hold.rows_folded)
    outside = [line for line in opened.all("li") if not any(line in fold.all("li") for fold in folds)]
    assert len(outside) == 1


# --- the headline: the newest act after which something still has to be read --------------------------------------


def sentence(shop: Shop) -> str:
    return unit_of(Visitor(shop.app), shop).verdict.sentence


def declare(shop: Shop, change: str) -> str:
    """Declare a change ten minutes on; its title."""
    shop.clock.advance(10)
    record_change(shop.workplace, shop.unit, Declared(change=change), person=shop.reader)
    return shop.workplace.catalogue.changes[change].title


def mend(shop: Shop) -> None:
    """Mend what was read outside its limit, ten minutes on."""
    shop.clock.advance(10)
    failed = {
        one.standing.cause for one in shop.workplace.verdict(shop.unit).reasons() if one.standing.state is State.FAILED
    }
    record_repair(shop.workplace, shop.unit, tuple(failed), cause="opening blocked", done="cleared", person=shop.reader)


def read_again(shop: Shop, step: str, **fields: str) -> None:
    shop.clock.advance(10)
    page = work_page(shop.workplace, shop.unit, shop.workplace.catalogue.step(step).page)
    about = next(one.about for one in page.entries if one.step.id == step)
    record_steps(shop.workplace, shop.unit, [Typed(step=step, about=about, fields=fields)], read_by=shop.reader)


def test_what_was_mended_and_not_read_since_goes_before_older_changes() -> None:
    shop = make_shop()
    shop.walk()
    title = declare(shop, "head-opened")
    assert sentence(shop).startswith(f"{title}, ")
    read_again(shop, "C01", controller_hpa="980", barometer_hpa="1013")
    assert "outside its limit and not yet mended" in sentence(shop)
    mend(shop)
    told = sentence(shop)
    assert told.startswith("Mended ")
    assert " and not read since: Ambient pressure, twice. " in told
    assert title not in told
    board = Visitor(shop.app).get("/").context
    assert board.rows[0].sentence.startswith("Mended ")


def test_once_it_is_read_again_the_change_before_it_is_named_again() -> None:
    shop = make_shop()
    shop.walk()
    title = declare(shop, "head-opened")
    read_again(shop, "C01", controller_hpa="980", barometer_hpa="1013")
    mend(shop)
    read_again(shop, "C01", controller_hpa="1013", barometer_hpa="1013")
    assert sentence(shop).startswith(f"{title}, ")


def test_a_change_after_the_mending_is_named_for_it_is_the_newest_act() -> None:
    shop = make_shop()
    shop.walk()
    read_again(shop, "C01", controller_hpa="980", barometer_hpa="1013")
    mend(shop)
    title = declare(shop, "head-opened")
    assert sentence(shop).startswith(f"{title}, ")


def test_a_change_that_made_one_reading_due_is_named_like_one_that_undid_something() -> None:
    shop = make_shop()
    shop.walk()
    assert sentence(shop).startswith("Each requirement")
    title = declare(shop, "temperature-changed")
    assert sentence(shop).startswith(f"{title}, ")


def test_a_change_told_of_another_unit_is_not_why_a_new_one_is_unproven() -> None:
    shop = make_shop()
    shop.walk()
    shop.clock.advance(10)
    record_change(shop.workplace, shop.unit, Declared(change="dive-made"), person=shop.reader)
    shop.clock.advance(10)
    configuration = ready_configurations()["electronic-back-three-sensors"]
    other = create_unit(shop.workplace, "New One", configuration, typed_by=shop.reader)
    fit_out(shop.workplace, other, {"diver": shop.reader}, typed_by=shop.reader)
    days.begin(shop.workplace, (other,), "dive-day", typed_by=shop.reader)
    reasons = shop.workplace.verdict(other).reasons()
    assert any(one.standing.code == "undone-by-change" for one in reasons)  # what was read of the diver
    shop.unit = other
    assert re.fullmatch(r"\d+ requirements have no evidence that counts\.", sentence(shop))


# --- evidence by hold point -----------------------------------------------------------------------------------------


def test_each_hold_point_counts_its_evidence_and_lists_it(shop: Shop, visitor: Visitor) -> None:
    shop.walk("gas-analysis")
    context = unit_of(visitor, shop)
    first = hold_of(context, "H1")
    assert first.word is Word.READY
    assert first.until_iso
    assert first.counts == f"{len(first.rows)} current"
    row = next(one for one in first.rows if one.title.startswith("Oxygen analysed"))
    assert (row.state, row.by, row.instrument) == (State.CURRENT, "Pim Example, with Juno Example", "Analyser A1")
    assert row.href.startswith(f"{shop.at}/evidence/")
    later = hold_of(context, "H4")
    assert later.word is Word.UNPROVEN
    assert later.go_on_href == ""


def test_leaving_out_is_offered_only_for_what_may_be_left_out(shop: Shop, visitor: Visitor) -> None:
    rows = [row for hold in unit_of(visitor, shop).holds for row in hold.rows]
    offered = {row.title for row in rows if row.leave_out_href}
    assert "Temperature and humidity" in offered
    assert "Negative test" not in offered
    assert all(row.state in (State.ABSENT, State.EXPIRED) for row in rows if row.leave_out_href)


def test_somebody_goes_on_from_a_hold_that_is_ready(shop: Shop, visitor: Visitor) -> None:
    shop.walk("gas-analysis")
    href = hold_of(unit_of(visitor, shop), "H1").go_on_href
    answered = visitor.send(visitor.get(shop.at).form(href))
    assert answered.context.frame.notice == ("Recorded that you go on from here.",)
    assert hold_of(answered.context, "H1").gone_on.endswith(", Pim Example")
    refused = visitor.post(f"{shop.at}/go-on/H4", {"read_by": shop.reader})
    assert refused.status == 403
    assert "Unit tight is unproven" in refused.context.message


def test_nobody_goes_on_without_a_name(shop: Shop) -> None:
    shop.walk("gas-analysis")
    answered = Visitor(shop.app).post(f"{shop.at}/go-on/H1", {})
    assert answered.status == 422
    assert "Choose your name" in answered.context.next_step


def test_the_page_of_a_unit_stays_light_on_a_boat(shop: Shop) -> None:
    shop.walk("high-pressure")
    answered = Visitor(shop.app).get(shop.at, headers={"accept-encoding": "gzip"})
    assert answered.headers["content-encoding"] == "gzip"
    assert int(answered.headers["content-length"]) < 25_000


# --- places of a unit -----------------------------------------------------------------------------------------------


def test_a_unit_has_five_places_and_without_sensors_four(shop: Shop, visitor: Visitor) -> None:
    labels = [label for label, _, _ in visitor.get(shop.at).context.frame.nav]
    assert labels == ["Verdict", "Steps", "Sensors", "I changed something", "More"]
    bare = make_shop("pure-oxygen-chest")
    assert "Sensors" not in [label for label, _, _ in Visitor(bare.app).get(bare.at).context.frame.nav]


def test_everything_else_is_one_tap_from_more(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get(f"{shop.at}/more").context
    for _, entries in context.groups:
        for text, href, means in entries:
            assert text
            assert means
            assert visitor.get(href).status == 200, href
