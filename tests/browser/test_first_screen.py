"""What the first screen of a phone has to show: at stop what failed and the way on; eight units with their reasons.

Sizes are those of a small phone held upright, 360 x 740, and of a screen at a desk, 1280 x 800.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from loopworthy.desk import days
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.walk import fit_out
from loopworthy.desk.entry import Typed
from loopworthy.desk.people import give_custody
from loopworthy.desk.steps import record_steps, work_page
from loopworthy.desk.units import create_unit
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.demo import open_demo
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from tests.browser.hands import say
from tests.browser.running import Running

ENDS_OF_ROWS = "rows => rows.map(row => row.getBoundingClientRect().bottom + window.scrollY)"
CUT_OFF = "texts => texts.filter(one => one.scrollWidth > one.clientWidth + 1).map(one => one.textContent)"


def bring_in(workplace: Workplace, name: str, holder: ThingId, *, day: bool = True) -> ThingId:
    """A further invented unit, of which nothing has been read."""
    configuration = ready_configurations()["electronic-back-three-sensors"]
    unit = create_unit(workplace, name, configuration, typed_by=holder)
    fit_out(workplace, unit, {"diver": holder}, typed_by=holder)
    give_custody(workplace, unit, holder, typed_by=holder)
    if day:
        days.begin(workplace, (unit,), "dive-day", typed_by=holder)
    return unit


def read_pressure(workplace: Workplace, unit: ThingId, controller_hpa: str, reader: ThingId) -> None:
    page = work_page(workplace, unit, workplace.catalogue.step("C01").page)
    about = next(one.about for one in page.entries if one.step.id == "C01")
    fields = {"controller_hpa": controller_hpa, "barometer_hpa": "1013"}
    record_steps(workplace, unit, [Typed(step="C01", about=about, fields=fields)], read_by=reader)


@pytest.fixture(scope="session")
def eight_units(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The invented club with five more units: without a day, fresh, at stop, on hold, and with a change since."""
    folder = tmp_path_factory.mktemp("eight")
    workplace = open_demo(folder)
    people = [one.id for one in workplace.world.of_kind("person")]
    bring_in(workplace, "Sparrow", people[0], day=False)
    bring_in(workplace, "Bramble", people[1])
    read_pressure(workplace, bring_in(workplace, "Anvil", people[0]), "980", people[0])
    held = bring_in(workplace, "Bellows", people[1])
    record_change(workplace, held, Declared(change="fault-written-down", note="whistles"), person=people[1])
    changed = bring_in(workplace, "Marlinspike", people[0])
    read_pressure(workplace, changed, "1013", people[0])
    record_change(workplace, changed, Declared(change="head-opened"), person=people[0])
    workplace.record.store.close()
    return folder


@pytest.fixture
def eight(eight_units: Path, tmp_path: Path) -> Iterator[Running]:
    """A server on the record of eight units."""
    said = tmp_path / "server.txt"
    with Running("demo", "--path", str(eight_units), "--serve", said=said) as running:
        yield running
    assert said.read_text() == ""


def test_at_stop_what_failed_and_the_way_on_are_on_the_first_screen(
    phone: BrowserContext, demo: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    page.goto(f"{demo.address}/")
    page.locator(".board__link", has_text="Kettle").tap()
    panel = page.locator("section.verdict--stop")
    mend = panel.get_by_role("link", name=say("shown.mend_failed"))
    foot = page.locator(".unit-nav").bounding_box()
    button = mend.bounding_box()
    assert foot is not None
    assert button is not None
    assert button["height"] >= 48
    assert button["y"] + button["height"] <= foot["y"]
    for name in ("reading", "expected", "limit", "margin", "origin"):
        expect(panel.locator("dt").get_by_text(say(f"parts.{name}"), exact=True)).to_be_in_viewport()
    expect(page.get_by_role("link", name=say("shown.mend_failed"))).to_have_count(1)
    assert page.evaluate("document.documentElement.scrollHeight") < 6 * 740
    mend.tap()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    assert "/repair?event=" in page.url


def test_eight_units_are_on_one_screen_of_a_phone_with_reason_and_next_step_in_full(
    phone: BrowserContext, eight: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(phone.new_page())
    page.goto(f"{eight.address}/")
    rows = page.locator(".board__row")
    expect(rows).to_have_count(8)
    ends = rows.evaluate_all(ENDS_OF_ROWS)
    assert ends[-1] <= 740
    for row in rows.all():
        box = row.bounding_box()
        assert box is not None
        assert box["height"] >= 48
        if row.locator(".verdict-tag").inner_text() != say("parts.verdict_ready"):
            expect(row.locator(".board__sentence")).to_be_visible()
            expect(row.locator(".board__next-text")).to_be_visible()
    assert page.locator(".board__told, .board__told p").evaluate_all(CUT_OFF) == []
    expect(page.locator(".board__row", has_text="Kettle").locator(".board__next-text")).to_contain_text("INV-S-105")


def test_eight_units_are_on_one_screen_at_a_desk_and_each_has_the_next_step_as_a_target_of_its_own(
    desktop: BrowserContext, eight: Running, watch: Callable[[Page], Page]
) -> None:
    page = watch(desktop.new_page())
    page.goto(f"{eight.address}/")
    expect(page.locator(".board__row")).to_have_count(8)
    expect(page.locator(".board__row .todo:visible")).to_have_count(7)  # "Lantern" is ready
    ends = page.locator(".board__row").evaluate_all(ENDS_OF_ROWS)
    assert ends[-1] <= 800
    assert page.evaluate("document.documentElement.scrollWidth") <= 1280
