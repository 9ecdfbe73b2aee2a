"""What a page does by itself: verdicts that end, holds that run, drafts that wait; on paper, and without scripts.

The record is that of the invented club, in which "Lantern" is ready for some minutes yet, "Thimble" is unproven and
"Kettle" is at stop.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, Route, expect

from loopworthy.bootstrap import catalogue_for, registry
from loopworthy.desk.demo.club import OPENS_AT, PEOPLE, ZONE
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.demo import demo_file
from loopworthy.judgement.standing import State
from loopworthy.record.record import Record
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.time import Moment
from tests.browser.hands import Hands, say
from tests.browser.running import Running

MINUTE_MS = 60_000


def home_of(unit: str, page: Page, demo: Running) -> str:
    """Where a unit's pages begin."""
    page.goto(f"{demo.address}/")
    return str(page.locator(".board__link", has_text=unit).evaluate("link => link.href"))


# --- a choice made early --------------------------------------------------------------------------------------------


def test_a_choice_made_before_the_scripts_came_is_answered_when_they_have(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    home = home_of("Lantern", page, demo)
    held: list[Route] = []
    page.route("**/*htmx*", lambda route: held.append(route))
    page.goto(f"{home}/change?change=sensor-replaced", wait_until="commit")
    page.locator('main label:has([name="position"])').first.tap()
    expect(page.locator('main [name="position"]').first).to_be_checked()
    expect(page.locator(".falls")).to_have_count(0)
    assert len(held) == 1
    held[0].continue_()
    expect(page.locator(".falls")).to_be_visible()


# --- a verdict ends -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("year", [2011, 2041])
def test_a_verdict_blanks_itself_at_its_end_on_a_phone_whose_clock_is_wrong(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page], year: int
) -> None:
    page = watch(phone.new_page())
    home = home_of("Lantern", page, demo)
    page.clock.install(time=datetime(year, 3, 1, tzinfo=UTC))
    page.goto(home)
    panel = page.locator("section.verdict")
    word, left = panel.locator(".verdict__word"), panel.locator(".verdict__left")
    expect(word).to_have_text(say("parts.verdict_ready"))
    minutes = int(left.inner_text().split()[0])
    assert 1 <= minutes <= 10

    page.clock.run_for((minutes - 1) * MINUTE_MS)
    expect(left).to_have_text(say("parts.until_left", minutes=1))
    expect(word).to_be_visible()
    page.clock.run_for(2 * MINUTE_MS)
    expect(panel.locator("[data-verdict-ended]")).to_be_visible()
    expect(panel.locator("[data-verdict-live]")).to_have_count(0)  # out of the page, not only out of sight
    assert not re.search(rf"\b{say('parts.verdict_ready')}\b", panel.text_content() or "")


def test_a_verdict_among_others_ends_as_well(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    page.clock.install()
    page.goto(f"{demo.address}/")
    row = page.locator(".board__row", has_text="Lantern")
    tag = row.locator(".verdict-tag")
    expect(tag).to_have_text(say("parts.verdict_ready"))
    page.clock.run_for(11 * MINUTE_MS)
    expect(row.locator("[data-verdict-ended]")).to_be_visible()
    expect(tag).to_have_count(0)
    expect(page.locator(".board__row", has_text="Kettle").locator(".verdict-tag")).to_be_visible()


def test_a_phone_that_slept_shows_no_verdict_before_it_looked_at_its_time(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    home = home_of("Lantern", page, demo)
    page.clock.install()
    page.goto(home)
    live = page.locator("section.verdict > [data-verdict-live]").first
    expect(live).to_be_visible()
    page.evaluate("window.dispatchEvent(new Event('pagehide'))")
    expect(live).to_be_hidden()
    page.evaluate("window.dispatchEvent(new Event('pageshow'))")
    expect(live).to_be_visible()
    # Asleep: no timer fires, and half an hour later the screen goes on.
    page.evaluate("window.dispatchEvent(new Event('pagehide'))")
    page.clock.pause_at(datetime.now(tz=UTC).replace(year=2099))
    page.evaluate("window.dispatchEvent(new Event('pageshow'))")
    expect(page.locator("section.verdict [data-verdict-ended]")).to_be_visible()
    expect(live).to_have_count(0)


# --- a hold ---------------------------------------------------------------------------------------------------------


@pytest.fixture
def hold(phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]) -> Locator:
    """The first hold on the page of the pressure tests, on a phone whose time a test moves on."""
    page = watch(phone.new_page())
    home = home_of("Thimble", page, demo)
    page.clock.install()
    page.goto(f"{home}/do/leak-tests")
    return page.locator("[data-hold]").first


def sent(hold: Locator, name: str) -> str:
    """What the form would send of a hold."""
    return hold.locator(f"[data-hold-{name}]").input_value()


def seconds_left(hold: Locator) -> int:
    return int(hold.locator("[data-hold-number]").inner_text().split()[0])


def test_a_hold_counts_down_and_goes_on_through_a_reload(hold: Locator) -> None:
    page = hold.page
    hold.locator("[data-hold-start]").tap()
    page.clock.run_for(20_000)
    assert seconds_left(hold) in (39, 40, 41)  # it looks four times a second
    page.reload()
    page.clock.run_for(1000)
    assert 30 <= seconds_left(hold) <= 39
    page.clock.run_for(60_000)
    expect(hold.locator("[data-hold-says]")).to_have_text(say("parts.hold_done"))
    held = datetime.fromisoformat(sent(hold, "ended")) - datetime.fromisoformat(sent(hold, "started"))
    assert 60 <= held.total_seconds() <= 62


def test_an_attempt_that_was_given_up_is_kept(hold: Locator) -> None:
    hold.locator("[data-hold-start]").tap()
    hold.page.clock.run_for(20_000)
    hold.locator("[data-hold-stop]").tap()
    begun, _, left = sent(hold, "given-up").partition("/")
    assert 19 <= (datetime.fromisoformat(left) - datetime.fromisoformat(begun)).total_seconds() <= 22
    assert sent(hold, "started") == ""
    hold.locator("[data-hold-start]").tap()
    assert sent(hold, "started") != ""
    assert sent(hold, "given-up") != ""


# --- what is typed --------------------------------------------------------------------------------------------------


@pytest.fixture
def air(phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]) -> Locator:
    """The field for a sensor in air, of which 8.5 to 14 mV is usual."""
    page = watch(phone.new_page())
    home = home_of("Thimble", page, demo)
    page.clock.install()
    page.goto(f"{home}/do/air")
    return page.locator(".field:has([name$='|air_mv'])").first


def type_into(field: Locator, text: str) -> Locator:
    """Type, and go on to the next field; returns the question about what was typed."""
    field.locator(".field__input").fill(text)
    field.locator(".field__input").blur()
    return field.locator("[data-odd-query]")


def test_an_odd_value_is_asked_about_at_once_and_a_comma_is_none(air: Locator) -> None:
    expect(type_into(air, "104")).to_contain_text("10.4")
    expect(type_into(air, "10,4")).to_be_hidden()
    expect(type_into(air, "1,04")).to_contain_text("10.4")
    expect(type_into(air, "10.4")).to_be_hidden()
    question = type_into(air, "5")
    expect(question).to_be_visible()
    question.locator("label").tap()
    expect(question.get_by_role("checkbox")).to_be_checked()
    expect(type_into(air, "6").get_by_role("checkbox")).not_to_be_checked()  # a confirmation belongs to one value


def test_the_question_about_an_odd_value_has_the_whole_width_of_its_row(air: Locator) -> None:
    question = type_into(air, "104")
    asked, row = question.bounding_box(), air.locator("xpath=..").bounding_box()
    assert asked is not None
    assert row is not None
    assert asked["width"] >= 0.98 * row["width"] > 260


def test_going_back_to_a_refused_form_opens_it_with_what_was_typed(air: Locator) -> None:
    page = air.page
    there = page.url
    type_into(air, "104")
    page.evaluate("document.querySelector('form[data-draft]').noValidate = true")
    air.locator(".field__input").press("Enter")
    expect(page.get_by_role("alert")).to_be_visible()
    page.goto(there.partition("/do/")[0])
    # A browser that had to send the form again would show an error of its own.
    with page.expect_response(there) as answered:
        page.evaluate("history.back()")
    assert (answered.value.request.method, answered.value.status) == ("GET", 200)
    expect(air.locator(".field__input")).to_have_value("104")
    expect(page.locator("[data-draft-note]")).to_be_visible()


def test_what_was_typed_is_found_again_with_how_long_one_was_away(air: Locator) -> None:
    page = air.page
    there, note = page.url, page.locator("[data-draft-note]")
    expect(note).to_be_hidden()
    type_into(air, "10.9")
    page.goto(there.partition("/do/")[0])
    page.clock.fast_forward(14 * MINUTE_MS)
    page.goto(there)
    expect(air.locator(".field__input")).to_have_value("10.9")
    expect(note).to_contain_text("14 min")
    page.goto(there.partition("/do/")[0])
    page.clock.fast_forward(140 * MINUTE_MS)
    page.goto(there)
    expect(air.locator(".field__input")).to_have_value("")  # a reading typed long ago is not a reading of now
    expect(note).to_be_visible()


# --- sun and dusk ---------------------------------------------------------------------------------------------------


def test_dusk_is_chosen_once_and_kept(phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]) -> None:
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/")
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    sun = page.evaluate(ground)
    page.get_by_text(say("parts.shade_dusk"), exact=True).tap()
    dusk = page.evaluate(ground)
    assert dusk != sun
    page.reload()
    assert page.evaluate(ground) == dusk
    expect(page.get_by_label(say("parts.shade_dusk"), exact=True)).to_be_checked()
    page.get_by_text(say("parts.shade_sun"), exact=True).tap()
    page.emulate_media(color_scheme="dark")  # a choice goes before the phone's
    assert page.evaluate(ground) == sun


# --- paper ----------------------------------------------------------------------------------------------------------


def test_a_verdict_is_printed_only_with_its_end(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    page.emulate_media(media="print")
    for unit, bounded in (("Lantern", True), ("Thimble", False), ("Kettle", False)):
        page.goto(home_of(unit, page, demo))
        panel = page.locator("section.verdict")
        expect(panel.locator(".verdict__word")).to_be_visible(visible=bounded)
        expect(panel.locator(".verdict__paper")).to_be_visible(visible=not bounded)
        if bounded:
            expect(panel.locator(".verdict__until strong")).to_be_visible()


# --- without scripts ------------------------------------------------------------------------------------------------


@pytest.fixture
def plain(chromium: Browser) -> Iterator[BrowserContext]:
    """A phone on which scripts are off."""
    context = chromium.new_context(
        viewport={"width": 360, "height": 740}, has_touch=True, is_mobile=True, java_script_enabled=False
    )
    yield context
    context.close()


@pytest.fixture
def workplace(demo: Running, tmp_path: Path) -> Iterator[Workplace]:
    """The club's record, open beside the server."""
    with closing(SqliteStore(demo_file(tmp_path / "club"))) as store:
        opened = Record(store, registry(), device_name="a test", token=secrets.token_bytes)
        yield Workplace(opened, catalogue_for(), lambda: Moment(at=OPENS_AT, zone=ZONE).plus(minutes=3))


def test_with_scripts_off_a_page_asks_back_and_is_recorded(
    plain: BrowserContext, demo: Running, watch: Callable[[Page], Page], workplace: Workplace
) -> None:
    page = watch(plain.new_page())
    home = home_of("Thimble", page, demo)
    unit = workplace.unit("Thimble")
    hands = Hands(page, workplace, unit, *PEOPLE)

    page.goto(f"{home}/do/air")
    before = len(workplace.book().items)
    hands.do({"C03": {"air_mv": "104"}})
    asked = page.locator(".field:has([data-odd-query]:visible)")
    expect(asked.first).to_contain_text("10.4")
    expect(asked.first.locator(".field__input")).to_have_value("104")  # what was typed stands there still
    assert len(workplace.book().items) == before
    for field in asked.all():
        field.locator(".field__input").fill("10,7")
    hands.go(page.get_by_role("button", name=say("work.record")))
    expect(page.locator(".message--notice")).to_contain_text("10.7 mV")

    item = max(workplace.book().items.values(), key=lambda one: (one.step == "C03", one.recorded_ms))
    assert (item.unit, item.payload.readings["air_mv"][0].value) == (unit, "10.7")
    found = [one.standing.state for one in workplace.verdict(unit).requirements() if one.step.id == "C03"]
    assert found
    assert set(found) == {State.CURRENT}


def test_with_scripts_off_a_hold_is_timed_by_a_watch(
    plain: BrowserContext, demo: Running, watch: Callable[[Page], Page], workplace: Workplace
) -> None:
    page = watch(plain.new_page())
    home = home_of("Thimble", page, demo)
    unit = workplace.unit("Thimble")
    hands = Hands(page, workplace, unit, *PEOPLE)

    page.goto(f"{home}/do/leak-tests")
    hold = page.locator("[data-hold]").first
    expect(hold.locator("[data-hold-start]")).to_be_hidden()
    expect(hold.locator("noscript p")).to_have_text(say("parts.hold_by_watch", seconds=60))
    hold.get_by_label(say("parts.hold_started_at")).fill("10:59:58")
    hold.get_by_label(say("parts.hold_ended_at")).fill("11:01:01")
    hands.do({"L02": {"hold_s": ""}})
    item = max(workplace.book().items.values(), key=lambda one: (one.step == "L02", one.recorded_ms))
    assert (item.unit, item.payload.readings["hold_s"][0].value) == (unit, "63")
    assert "10:59:58" in item.payload.note
