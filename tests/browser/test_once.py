"""In a real browser: a double tap, going back and sending again, also after the server was started anew."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page, expect

from tests.browser.looking import UNFOLD, axe_problems, thumb_problems, width_problems
from tests.browser.running import Running

NOTE = "carried down the steps"


def open_form(page: Page, demo: Running) -> None:
    page.goto(f"{demo.address}/")
    href = page.get_by_role("link", name="Thimble", exact=True).first.get_attribute("href")
    page.goto(f"{demo.address}{href}/change?change=moved")


def fill(page: Page) -> None:
    page.locator("#save [name=note]").fill(NOTE)
    person = page.locator("#save [name=person]")
    person.select_option(index=1)


def times_recorded(page: Page, demo: Running) -> int:
    page.goto(f"{demo.address}/history")
    return page.get_by_text(NOTE).count()


def test_a_double_tap_records_once(phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]) -> None:
    page = watch(phone.new_page())
    open_form(page, demo)
    fill(page)
    page.evaluate("const form = document.querySelector('#save'); form.requestSubmit(); form.requestSubmit()")
    page.wait_for_load_state()
    page.locator("h1").first.wait_for()
    assert times_recorded(page, demo) == 1


def test_going_back_and_sending_again_shows_what_was_recorded_also_after_a_restart(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    open_form(page, demo)
    fill(page)
    page.locator("#save button[type=submit]").click()
    page.wait_for_url("**/unit/**done=**")
    demo.stop()
    demo.start()
    page.go_back()
    page.locator("#save").wait_for()
    fill(page)
    page.locator("#save button[type=submit]").click()
    expect(page.get_by_role("heading", name="Recorded already")).to_be_visible()
    expect(page.get_by_text(NOTE)).to_be_visible()
    problems = width_problems(page) + thumb_problems(page)
    page.evaluate(UNFOLD)
    assert problems + axe_problems(page) == []
    assert times_recorded(page, demo) == 1


def test_two_tabs_each_record_what_is_sent_from_them(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    tabs = [watch(phone.new_page()) for _ in range(2)]
    for tab in tabs:
        open_form(tab, demo)
        fill(tab)
    for tab in tabs:
        tab.locator("#save button[type=submit]").click()
        tab.wait_for_url("**/unit/**done=**")
    assert times_recorded(tabs[0], demo) == 2


def test_a_page_that_leads_back_to_itself_can_be_sent_again_and_again(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/instruments")
    for name in ("Scale one", "Scale two", "Scale three"):
        page.locator("main form [name=name]").fill(name)
        page.locator("main form [name=use]").select_option(index=1)
        page.locator("main form button[type=submit]").click()
        expect(page.get_by_role("link", name=name)).to_be_visible()
    page.reload()
    page.locator("main form [name=name]").fill("Scale four")
    page.locator("main form [name=use]").select_option(index=1)
    page.locator("main form button[type=submit]").click()
    expect(page.get_by_role("link", name="Scale four")).to_be_visible()
