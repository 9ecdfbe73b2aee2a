"""A phone joins a running hub, prepares without a network, exchanges, and both tell the same; with a true browser."""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import BrowserContext, Page, expect

from loopworthy.bootstrap import device_keys, open_workplace, registry, system_clock
from loopworthy.desk import devices
from loopworthy.desk.demo.club import PEOPLE
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.demo import demo_file
from loopworthy.record.backup import restore
from loopworthy.record.signing import is_keyed
from loopworthy.record.verify import verify
from loopworthy.vocabulary.identity import short
from tests.browser.hands import Hands
from tests.browser.looking import axe_problems, thumb_problems, width_problems
from tests.browser.phones import PATIENT_MS, Shell, exchange_until_quiet, say, serving
from tests.browser.running import Running
from tests.phone.building import phone_folder


@pytest.fixture
def hub(club: Path, tmp_path: Path) -> Iterator[Running]:
    """A server with the invented club's record, which also hands out the phone's folder."""
    restore(demo_file(club), tmp_path / "server.sqlite")
    with serving(phone_folder(), tmp_path) as running:
        yield running


def beside(tmp_path: Path) -> Workplace:
    """The hub's record, open beside the server."""
    return open_workplace(tmp_path / "server.sqlite", clock=system_clock("UTC"), keys=device_keys())


def code_at(workplace: Workplace) -> str:
    person = workplace.person(PEOPLE[0])
    return devices.make_code(workplace, person=person, token=secrets.token_bytes).code


def looked_at(page: Page) -> None:
    """Nothing is too wide, too small or gravely hard to use."""
    assert width_problems(page) + thumb_problems(page) + axe_problems(page) == []


def test_a_phone_joins_a_hub_prepares_offline_and_both_tell_the_same_afterwards(
    phone: BrowserContext, desktop: BrowserContext, hub: Running, tmp_path: Path
) -> None:
    workplace = beside(tmp_path)
    shell = Shell.opened(phone, hub.address)
    shell.act("join").click()
    expect(shell.sheet("join")).to_be_visible()
    looked_at(shell.page)
    shell.page.locator("#address").fill(hub.address)
    shell.page.locator("#code").fill("WRNG-0000")
    shell.act("join_button").click()
    expect(shell.sheet("join")).to_contain_text("admits nobody", timeout=PATIENT_MS)
    shell.page.locator("#code").fill(code_at(workplace))
    shell.page.locator("#device").fill("phone of the test")
    shell.act("join_button").click()
    expect(shell.pages.locator(".board__row")).to_have_count(3, timeout=PATIENT_MS)

    phone.set_offline(True)
    unit = workplace.unit("Thimble")
    shell.go(f"unit/{short(unit)}/do/absorbent")
    hands = Hands(shell.frame, workplace, unit, *PEOPLE)
    hands.do()
    assert hands.values >= 1
    shell.reload()
    shell.go("record/exchange")
    expect(shell.pages.get_by_text(say("exchange.nothing_new"))).to_have_count(0)
    shell.pages.get_by_role("button", name=say("exchange.now")).click()
    expect(shell.pages.locator(".falls__hold")).to_contain_text("was not reached", timeout=PATIENT_MS)
    phone.set_offline(False)

    exchange_until_quiet([shell], tmp_path / "server.sqlite")
    shell.go("record/exchange")
    looked_at(shell.page)
    arrived = [
        one
        for one in workplace.record.events_of_kind("judgement.evidence-recorded")
        if one.envelope.device != workplace.record.device and is_keyed(one.envelope.device)
    ]
    assert arrived, "what the phone recorded, signed by its own key"
    board = desktop.new_page()
    board.goto(hub.address)
    there = [row.split("\n") for row in board.locator(".board__row").all_inner_texts()]
    shell.go("")
    here = [row.split("\n") for row in shell.pages.locator(".board__row").all_inner_texts()]
    assert [row[:2] for row in here] == [row[:2] for row in there]
    board.goto(f"{hub.address}/record/devices")
    expect(board.locator("main")).to_contain_text("phone of the test")
    looked_at(board)
    assert shell.check_record() == say("record.unbroken", events=workplace.record.store.count())
    assert verify(workplace.record.store, registry()).unbroken
    workplace.record.store.close()


def test_what_the_hub_shows_for_a_camera_leads_into_joining(
    phone: BrowserContext, hub: Running, tmp_path: Path
) -> None:
    workplace = beside(tmp_path)
    code = code_at(workplace).replace("-", "")
    workplace.record.store.close()
    page = phone.new_page()
    page.set_default_timeout(PATIENT_MS)
    page.goto(f"{hub.address}/exchange/?code={code}")
    shell = Shell(page, f"{hub.address}/phone/")
    expect(shell.sheet("join")).to_be_visible(timeout=PATIENT_MS)
    assert shell.page.locator("#address").input_value() == hub.address
    assert shell.page.locator("#code").input_value() == code
    shell.act("join_button").click()
    expect(shell.pages.locator(".board__row")).to_have_count(3, timeout=PATIENT_MS)
    # the phone's chain is opened under its key at once, and sent with the first exchange, which the board begins
    shell.go("record/exchange")
    expect(shell.pages.get_by_text(say("exchange.never"))).to_have_count(0, timeout=PATIENT_MS)
