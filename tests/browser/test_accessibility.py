"""Every kind of page, on a phone of 360 px, in sun and at dusk: nothing too wide, too small, or barring anybody."""

from __future__ import annotations

from collections.abc import Callable

from playwright.sync_api import BrowserContext, Page

from tests.browser.crawl import crawl, doors, kind_of
from tests.browser.hands import say
from tests.browser.looking import UNFOLD, axe_problems, thumb_problems, width_problems
from tests.browser.running import Running

NO_PAGE_OF_THEIR_OWN = frozenset(
    {
        "/unit/{unit}/next",
        "/record/code",
        "/catalogue/configurations/{configuration}.toml",
        "/record/file",
        "/unit/{unit}/sheet/running.css",
    }
)
"""Two lead on to another page, two are files, one is a sheet's style."""
NOT_ON_THE_STORYS_DAY = frozenset({"/unit/{unit}/release/{event}", "/recorded/{act}"})
"""Nothing is held or was sent twice on that day; the tests of holds and of once see to that."""

NAMES = "links => links.map(link => ({ name: link.textContent, href: link.href }))"

Problems = dict[str, str]
"""What is wrong, and on which page it was seen first."""


def look(page: Page, where: str, found: Problems) -> None:
    """Look at a page as it stands, with its folds closed and open, in sun and at dusk."""
    problems = width_problems(page) + thumb_problems(page)
    page.evaluate(UNFOLD)
    problems += width_problems(page) + thumb_problems(page) + axe_problems(page)
    page.evaluate("document.documentElement.dataset.shade = 'dusk'")
    problems += axe_problems(page, "color-contrast", "color-contrast-enhanced")
    page.evaluate("delete document.documentElement.dataset.shade")
    for one in problems:
        found.setdefault(one, where)


def units(board: Page) -> dict[str, str]:
    """The units on the board, with where each is found."""
    return {str(one["name"]): str(one["href"]) for one in board.locator(".board__link").evaluate_all(NAMES)}


def test_every_page_can_be_read_and_touched_by_everybody(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    found: Problems = {}
    board = f"{demo.address}/"
    page.goto(board)
    addresses = crawl(board, *(f"{unit}/set-up" for unit in units(page).values()))
    for address in addresses:
        page.goto(address)
        look(page, address.removeprefix(demo.address), found)
    assert found == {}
    assert doors().keys() - {kind_of(one)[0] for one in addresses} == (NO_PAGE_OF_THEIR_OWN | NOT_ON_THE_STORYS_DAY)


def test_a_page_that_asks_back_can_be_read_and_touched_by_everybody(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    found: Problems = {}
    page.goto(f"{demo.address}/")
    home = units(page)["Thimble"]

    # A typed value that is odd, found again after the page was left, and what the server says when it is sent so.
    page.goto(f"{home}/do/air")
    page.locator('[name$="|air_mv"]').first.fill("104")
    page.locator('[name$="|air_mv"]').first.blur()
    page.reload()
    page.locator("[data-draft-note]").wait_for()
    page.locator("[data-odd-query]:not([hidden])").first.wait_for()
    look(page, "an odd value in a draft", found)
    with page.expect_navigation():
        page.get_by_role("button", name=say("work.record")).tap()
    page.locator(".message--problem").wait_for()
    look(page, "a form that was refused", found)

    # A hold that runs, and one that was held.
    page.clock.install()
    page.goto(f"{home}/do/leak-tests")
    page.locator("[data-hold-start]:visible").first.tap()
    page.clock.run_for(2000)
    look(page, "a hold that runs", found)
    page.clock.run_for(70_000)
    page.locator("[data-hold-again]:visible").first.wait_for()
    look(page, "a hold that was held", found)
    assert found == {}


def test_a_verdict_that_has_ended_can_be_read_and_touched_by_everybody(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    found: Problems = {}
    page.clock.install()
    page.goto(f"{demo.address}/")
    home = units(page)["Lantern"]
    for address in (f"{demo.address}/", home):
        page.goto(address)
        page.clock.fast_forward("12:00:00")
        page.locator("[data-verdict-ended]:visible").first.wait_for()
        look(page, f"ended: {address}", found)
    assert found == {}


def test_a_unit_on_hold_and_its_release_can_be_read_and_touched_by_everybody(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    found: Problems = {}
    page.goto(f"{demo.address}/")
    home = units(page)["Lantern"]
    page.goto(f"{home}/change")
    page.goto(str(page.locator("a.entry:has(.mark)").first.evaluate("one => one.href")))
    look(page, "a change that opens a hold", found)
    page.locator('#save [name="person"]').select_option(index=1)
    with page.expect_navigation():
        page.locator("#save button[type=submit]").tap()
    look(page, "a unit on hold", found)
    release = page.locator('a[href*="/release/"]').first
    with page.expect_navigation():
        release.tap()
    look(page, "releasing a hold", found)
    assert found == {}
