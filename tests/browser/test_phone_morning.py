"""The whole morning of one unit on a phone that has no network, from nothing to "ready", and then a hub that knows it.

The server is dead from the moment at which the phone has joined until the last page was sent; what the hub tells
afterwards rests on nothing but what came with the exchange.
"""

from __future__ import annotations

import re
import secrets
from pathlib import Path

from playwright.sync_api import BrowserContext, expect

from loopworthy.bootstrap import device_keys, open_workplace, system_clock
from loopworthy.desk import devices
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.verdict import Word
from loopworthy.record.signing import is_keyed
from tests.browser.hands import Hands
from tests.browser.morning import (
    READER,
    SECOND,
    UNIT,
    Pages,
    add_people,
    begin_the_day,
    bring_the_analyser_in,
    bring_the_unit_in,
    choose_reader,
    hold_the_limits_against_the_manual,
    walk_to_ready,
)
from tests.browser.phones import Shell, exchange_until_quiet, say, serving, verified
from tests.phone.building import phone_folder


def opened(path: Path) -> Workplace:
    """A record file, open in this process."""
    return open_workplace(path, clock=system_clock("UTC"), watch_place=False)


def test_a_morning_without_a_network_goes_from_nothing_to_ready_and_the_hub_tells_the_same(
    phone: BrowserContext, desktop: BrowserContext, tmp_path: Path
) -> None:
    record = tmp_path / "server.sqlite"
    with serving(phone_folder(), tmp_path) as hub:
        shell = Shell.opened(phone, hub.address)
        shell.join(hub.address, code_of_a_hub_with_one_person(hub.address, record, desktop), "phone of the morning")
        hub.kill()

        pages, root = shell.frame, f"{shell.address}open"
        pages.goto(f"{root}/people")
        add_people(pages, SECOND)
        choose_reader(pages, READER)
        home = bring_the_unit_in(pages, root)
        bring_the_analyser_in(pages, root)
        hold_the_limits_against_the_manual(pages, home)
        begin_the_day(pages, home)

        # what is fitted where, so that the hands know what to type; the verdict is the phone's own
        shell.save_copy(tmp_path / "fitted.sqlite")
        fitted = opened(tmp_path / "fitted.sqlite")
        (unit,) = fitted.world.units()
        walk_to_ready(Hands(pages, fitted, unit, READER, SECOND), home)
        fitted.record.store.close()
        shell.reload()
        pages = shell.frame

        hub.start()
        before = verdict(pages, home)
        exchange_until_quiet([shell], record)
        here = verdict(pages, home)
        board = desktop.new_page()
        there = verdict(board, home.replace(root, hub.address))
        assert here == there == before
        assert here[0] == say("parts.verdict_ready")
        assert re.search(r"\d\d:\d\d", here[1]), here

        workplace = opened(record)
        told = workplace.verdict(unit)
        assert told.word is Word.READY
        assert workplace.name(unit) == UNIT
        (writer,) = {
            one.envelope.device for one in workplace.record.events_of_kind("judgement.evidence-recorded")
        }  # every reading of the morning, from one chain
        assert writer != workplace.record.device
        assert is_keyed(writer)
        assert shell.check_record() == say("record.unbroken", events=workplace.record.store.count())
        assert verified(record)["events"] == workplace.record.store.count()
        workplace.record.store.close()
        expect(board.locator(".verdict__word")).to_have_text(say("parts.verdict_ready"))


def code_of_a_hub_with_one_person(address: str, record: Path, desktop: BrowserContext) -> str:
    """Name the first person at the hub, and let that person admit the phone."""
    page = desktop.new_page()
    page.goto(f"{address}/people")
    add_people(page, READER)
    page.close()
    workplace = open_workplace(record, clock=system_clock("UTC"), keys=device_keys(), watch_place=False)
    try:
        return devices.make_code(workplace, person=workplace.person(READER), token=secrets.token_bytes).code
    finally:
        workplace.record.store.close()


def verdict(pages: Pages, home: str) -> tuple[str, str]:
    """The verdict's word, and until when it holds and why, without the minutes that are left."""
    pages.goto(home)
    expect(pages.locator(".verdict__word")).to_be_visible()
    until = pages.locator(".verdict__until").evaluate(
        """one => {
            const told = one.cloneNode(true);
            told.querySelector("time").remove();
            return told.textContent.trim();
        }"""
    )
    return pages.locator(".verdict__word").inner_text(), str(until)
