"""The morning of one unit, step by step, as a thumb types it: from a record in which nothing stands to "ready".

The pages may stand in a tab, or in the frame of a phone's shell. Names, serials and readings are invented.
"""

from __future__ import annotations

import re

from playwright.sync_api import Frame, Page, expect

from tests.browser.hands import Hands, say

READER, SECOND = "Pim Example", "Juno Example"
UNIT = "Grey Heron"
BUILT_AS = "electronic-back-three-sensors"
SENSORS = {f"oxygen-sensor-{number}": f"4F-220{number}" for number in (1, 2, 3)}

Pages = Page | Frame
"""A tab, or the frame of a phone's shell."""


def bring_people_in(page: Pages) -> None:
    page.get_by_role("link", name=say("board.add_person")).tap()
    add_people(page, READER, SECOND)
    expect(page.get_by_label(re.compile(f"^{READER}"))).to_be_checked()  # the first who came is who reads here


def add_people(page: Pages, *names: str) -> None:
    for name in names:
        page.get_by_label(say("people.name")).fill(name)
        page.get_by_role("button", name=say("people.add"), exact=True).click()
        expect(page.get_by_label(re.compile(f"^{name}"))).to_be_visible()


def choose_reader(page: Pages, name: str) -> None:
    page.locator("main label.choice", has_text=name).tap()
    with page.expect_navigation():
        page.get_by_role("button", name=say("people.choose")).tap()


def bring_the_unit_in(page: Pages, address: str) -> str:
    page.goto(address)
    page.get_by_role("link", name=say("board.new_unit")).tap()
    page.get_by_label(say("new_unit.name")).fill(UNIT)
    page.locator(f'label:has([name="configuration"][value="{BUILT_AS}"])').tap()
    page.get_by_role("button", name=say("new_unit.record")).tap()
    expect(page.locator("h1")).to_have_text(say("parts_page.set_up"))
    for group in page.locator("fieldset.group").all():
        position = group.get_attribute("id") or ""
        serial = group.locator(f'[name="{position}-serial"]')
        if serial.count():
            serial.fill(SENSORS.get(position, f"T-{position}"))
        else:
            group.locator("select").select_option(label=READER)
    page.get_by_role("button", name=say("parts_page.record"), exact=True).tap()
    expect(page.locator("h1")).to_have_text(say("parts_page.title"))
    at = re.search(r"/unit/\w+", page.url)
    assert at is not None
    return address + at.group()


def bring_the_analyser_in(page: Pages, address: str) -> None:
    page.goto(f"{address}/instruments")
    page.get_by_label(say("instruments.name")).fill("Analyser A1")
    page.get_by_label(say("instruments.use")).select_option("analyser")
    page.get_by_role("button", name=say("instruments.add")).tap()
    expect(page.locator("main .line__title")).to_have_text("Analyser A1")


def hold_the_limits_against_the_manual(page: Pages, home: str) -> None:
    page.goto(f"{home}/limits")
    for tick in page.locator("main form .ticks label.choice").all():
        tick.tap()
    page.locator('main [name="source"]').fill("Manual of the trial unit, first issue")
    page.get_by_role("button", name=say("owner_limits.confirm")).tap()
    expect(page.locator("main")).to_contain_text(say("owner_limits.all_confirmed"))


def begin_the_day(page: Pages, home: str) -> None:
    page.goto(f"{home}/day")
    page.get_by_label(say("day.name")).fill("Trial day")
    page.locator('main button[value="begin dive-day"]').tap()
    expect(page.locator(".verdict__word")).to_have_text(say("parts.verdict_unproven"))


# --- the morning ----------------------------------------------------------------------------------------------------


def walk_to_ready(hands: Hands, home: str) -> None:
    """From "do next" on, each page leads to the one after it."""
    page = hands.page
    page.goto(home)
    hands.go(page.locator(".outstanding__list--first a"))
    while "/do/" in page.url:
        assert len(hands.pages) < 30, hands.pages
        hands.do()
        assert page.locator("main .message--problem").count() == 0, page.locator("main").inner_text()
    expect(page.locator(".verdict__word")).to_have_text(say("parts.verdict_ready"))
    expect(page.locator(".verdict__until")).to_be_visible()
    # Sixteen pages hold everything from the bench to the last look, and none is asked for twice. Beside its values a
    # page takes its button, two touches for a second person, two for an instrument, and one for a fold.
    assert len(hands.pages) == len(set(hands.pages)) <= 17, hands.pages
    assert hands.values <= 260
    assert hands.taps - hands.values <= 3 * len(hands.pages), (hands.taps, hands.values)
