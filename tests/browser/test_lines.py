"""At the end of a line on a narrow phone no number leaves its unit and no serial is broken."""

from __future__ import annotations

import pytest
from playwright.sync_api import BrowserContext

from tests.browser.running import Running

BROKEN = """() => [...document.querySelectorAll(".whole")].filter(one => {
    const lines = new Set([...one.getClientRects()].map(rect => Math.round(rect.top)));
    const beyond = one.getBoundingClientRect().right > window.innerWidth && !one.closest(".scroll, .unseen");
    return lines.size > 1 || beyond;
}).map(one => one.textContent)"""


@pytest.mark.parametrize("media", ["screen", "print"])
def test_a_number_stays_with_its_unit_and_a_serial_in_one_piece(
    phone: BrowserContext, demo: Running, media: str
) -> None:
    page = phone.new_page()
    page.goto(f"{demo.address}/")
    home = str(page.locator(".board__link", has_text="Kettle").evaluate("link => link.href"))
    page.emulate_media(media="print" if media == "print" else "screen")
    kept = 0
    for place in ("", "/sensors", "/sheet", "/sheet/sensors", "/history", "/do/oxygen"):
        page.goto(f"{home}{place}")
        kept += page.locator(".whole").count()
        assert page.evaluate(BROKEN) == [], place
    assert kept > 100
