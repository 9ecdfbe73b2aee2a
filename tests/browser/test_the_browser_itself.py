"""The two screens that the other browser tests count on are as wide as they say and are touched as they say."""

from __future__ import annotations

from urllib.parse import quote

from playwright.sync_api import BrowserContext, Page

PROBE = """<!doctype html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>probe</title></head>
<body><button onclick="this.dataset.by = event.pointerType">press</button></body></html>"""


def open_probe(context: BrowserContext) -> Page:
    page = context.new_page()
    page.goto("data:text/html;charset=utf-8," + quote(PROBE))
    return page


def test_a_phone_lays_a_page_out_in_360_pixels(phone: BrowserContext) -> None:
    page = open_probe(phone)
    assert page.evaluate("[innerWidth, innerHeight]") == [360, 740]
    assert page.evaluate("document.documentElement.scrollWidth") == 360


def test_a_phone_is_pressed_with_a_finger(phone: BrowserContext) -> None:
    page = open_probe(phone)
    page.locator("button").tap()
    assert page.locator("button").get_attribute("data-by") == "touch"
    assert page.evaluate("matchMedia('(pointer: coarse)').matches") is True


def test_a_desk_screen_is_wide_and_has_a_mouse(desktop: BrowserContext) -> None:
    page = open_probe(desktop)
    page.locator("button").click()
    assert page.locator("button").get_attribute("data-by") == "mouse"
    assert page.evaluate("innerWidth") == 1280
