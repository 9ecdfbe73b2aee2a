"""Sheets as a printer takes them: how many, what stands at their foot, and that a box stays beside its words."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import BrowserContext, Page

from tests.browser.running import Running

MOST_SHEETS = 10
"""A whole day's list of the unit of the story that most people have: electronic, on the back, three sensors."""

MOST_OPEN = 3
"""What is still open of it on a morning on which it is ready."""


def sheets_of(page: Page, address: str) -> int:
    """How many A4 sheets a page takes when it is printed."""
    page.goto(address)
    paper = page.pdf(format="A4", prefer_css_page_size=True)
    return len(re.findall(rb"/Type\s*/Page\b", paper))


def home_of(page: Page, demo: Running, unit: str) -> str:
    page.goto(f"{demo.address}/")
    return str(page.locator(".board__link", has_text=unit).evaluate("link => link.href"))


def test_a_days_list_takes_few_sheets_and_what_is_open_fewer(desktop: BrowserContext, demo: Running) -> None:
    page = desktop.new_page()
    home = home_of(page, demo, "Lantern")
    whole = sheets_of(page, f"{home}/sheet")
    assert 4 <= whole <= MOST_SHEETS
    assert sheets_of(page, f"{home}/sheet?open=yes") <= MOST_OPEN < whole


def test_every_sheet_says_at_its_foot_what_it_belongs_to(desktop: BrowserContext, demo: Running) -> None:
    page = desktop.new_page()
    page.goto(f"{home_of(page, demo, 'Lantern')}/sheet")
    foot = page.evaluate(
        """() => [...document.styleSheets].filter(one => one.href.includes("running.css"))
            .map(one => one.cssRules[0].cssRules[0].style.content)"""
    )
    assert len(foot) == 1
    head = page.locator(".sheet-head").inner_text()
    fingerprint = re.search(r"\b[0-9a-f]{4}( [0-9a-f]{4}){3}\b", head)
    assert fingerprint is not None
    assert fingerprint[0] in foot[0]
    assert foot[0].startswith('"Lantern, INV-L-1 · Revision ')


@pytest.mark.parametrize("media", ["screen", "print"])
def test_a_box_to_tick_stands_in_the_line_of_its_words(phone: BrowserContext, demo: Running, media: str) -> None:
    page = phone.new_page()
    page.goto(f"{home_of(page, demo, 'Lantern')}/sheet")
    page.emulate_media(media="print" if media == "print" else "screen")
    apart = page.evaluate(
        """() => [...document.querySelectorAll(".writing__box")].filter(box => {
            const words = document.createRange();
            words.selectNodeContents(box.nextElementSibling);
            const first = words.getClientRects()[0], own = box.getBoundingClientRect();
            return own.bottom < first.top || own.top > first.bottom || own.right > first.left + 1;
        }).map(box => box.nextElementSibling.textContent)"""
    )
    assert page.locator(".writing__box").count() > 50
    assert apart == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
