"""The program on a phone that has no network: first visit, reload, deep links, readings that stay, copies."""

from __future__ import annotations

import re
from pathlib import Path
from typing import cast

import pytest
from playwright.sync_api import BrowserContext, expect

from loopworthy.bootstrap import open_workplace, registry, system_clock
from loopworthy.desk.demo.club import PEOPLE
from loopworthy.doors.demo import demo_file
from loopworthy.record import level
from loopworthy.record.backup import backup
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from loopworthy.vocabulary.identity import short
from tests.browser.hands import Hands
from tests.browser.looking import axe_problems, thumb_problems, width_problems
from tests.browser.phones import PATIENT_MS, Shell, say, serving
from tests.browser.running import Running
from tests.phone.building import phone_folder


def test_opened_once_it_goes_on_without_a_server(phone: BrowserContext, tmp_path: Path) -> None:
    with serving(phone_folder(), tmp_path) as server:
        shell = Shell.begun(phone, server.address)
        shell.add_person("Pim Example")
        server.kill()

        shell.reload()
        expect(shell.pages.locator("main").get_by_text("Pim Example").first).to_be_visible(timeout=PATIENT_MS)
        # the address bar and the title follow the page when that has loaded, a moment after it can be read
        expect(shell.page).to_have_url(f"{shell.address}open/people", timeout=PATIENT_MS)
        expect(shell.page).to_have_title(re.compile(f"^{re.escape(say('people.title'))}"), timeout=PATIENT_MS)

        # an address from a sheet or a message, in a tab of its own, while the record is in no tab
        shell.page.close()
        deep = Shell.opened(phone, server.address, "open/history?family=record")
        expect(deep.pages.locator("h1")).to_have_text(say("history.title"), timeout=PATIENT_MS)
        expect(deep.page).to_have_url(f"{deep.address}open/history?family=record", timeout=PATIENT_MS)
        assert deep.check_record() == say("record.unbroken", events=2)


def test_a_deep_link_on_a_first_visit_leads_to_its_page_when_the_record_is_begun(
    phone: BrowserContext, phones_server: Running
) -> None:
    shell = Shell.opened(phone, phones_server.address, "open/people")
    shell.act("begin").click()
    expect(shell.pages.locator("h1")).to_have_text(say("people.title"), timeout=PATIENT_MS)


def test_a_page_of_another_site_records_nothing(visited: BrowserContext, phones_server: Running) -> None:
    shell = Shell.begun(visited, phones_server.address)
    status = shell.frame.evaluate(
        """async (address) => {
            const body = new URLSearchParams({ name: "Nobody Asked", display_units: "metric" });
            return (await fetch(address, { method: "POST", body, referrerPolicy: "no-referrer" })).status;
        }""",
        f"{shell.address}open/people",
    )
    assert status == 403
    assert "Nobody Asked" not in shell.people()


def test_a_copy_brought_in_tells_the_same_and_readings_typed_into_it_stay(
    visited: BrowserContext, phones_server: Running, club: Path, tmp_path: Path
) -> None:
    copy = tmp_path / "copy.sqlite"
    original = SqliteStore(demo_file(club), watch_place=False)
    events = original.count()
    backup(original, copy)
    original.close()

    shell = Shell.opened(visited, phones_server.address)
    with shell.page.expect_file_chooser() as chooser:
        shell.act("begin_from_copy").click()
    chooser.value.set_files(copy)
    expect(shell.sheet("restore")).to_contain_text(str(events))
    shell.act("restore_yes").click()
    expect(shell.pages.locator(".board__row")).to_have_count(3, timeout=PATIENT_MS)

    workplace = open_workplace(copy, clock=system_clock("UTC"), watch_place=False)
    for unit in workplace.world.units():
        row = shell.pages.locator(".board__row", has_text=workplace.name(unit))
        expect(row).to_contain_text(say(f"parts.verdict_{workplace.verdict(unit).word.value}"))

    unit = workplace.unit("Thimble")
    shell.go(f"unit/{short(unit)}/do/absorbent")
    hands = Hands(shell.frame, workplace, unit, *PEOPLE)
    hands.do()
    assert hands.values >= 1
    shell.reload()
    shell.go(f"unit/{short(unit)}/history")
    expect(shell.pages.locator("main")).to_contain_text(PEOPLE[0])

    name = shell.save_copy(tmp_path / "after.sqlite")
    assert re.fullmatch(r"[a-z-]+-\d{4}-\d\d-\d\d-\d{4}\.sqlite", name)
    expect(shell.notice("copy")).to_have_text(say("pocket.copy_saved", name=name))
    after = SqliteStore(tmp_path / "after.sqlite", watch_place=False)
    report = verify(after, registry())
    assert report.unbroken
    assert report.events > events
    after.close()
    workplace.record.store.close()


def test_a_copy_that_a_newer_program_wrote_is_refused_and_nothing_is_replaced(
    visited: BrowserContext, phones_server: Running, tmp_path: Path
) -> None:
    newer = open_workplace(tmp_path / "newer.sqlite", clock=system_clock("UTC"), title="Newer", create=True)
    newer.record.store.put_setting("written-at-level", str(level.LEVEL + 1))
    backup(cast(SqliteStore, newer.record.store), tmp_path / "copy.sqlite")
    newer.record.store.close()

    shell = Shell.begun(visited, phones_server.address)
    shell.add_person("Pim Example")
    shell.pages.locator("[data-pocket]").click()
    with shell.page.expect_file_chooser() as chooser:
        shell.act("restore_button").click()
    chooser.value.set_files(tmp_path / "copy.sqlite")
    expect(shell.sheet("restore")).to_contain_text("newer program")
    shell.act("close").click()
    assert "Pim Example" in shell.people()


def test_an_old_copy_is_reminded_of_and_put_off_for_a_day(visited: BrowserContext, phones_server: Running) -> None:
    shell = Shell.begun(visited, phones_server.address)
    for number in range(30):
        assert shell.post_person(f"Example {number}") == 200
    shell.go("people")
    expect(shell.notice("copy-old")).to_contain_text(say("pocket.copy_none", events="").split(" entries")[1])
    with shell.page.expect_download():
        shell.act("copy_now").click()
    expect(shell.notice("copy-old")).to_have_count(0)

    shell.page.evaluate(
        """() => {
            const last = JSON.parse(localStorage.getItem("loopworthy-copied"));
            localStorage.setItem("loopworthy-copied", JSON.stringify({ ...last, at: last.at - 9 * 86400000 }));
        }"""
    )
    shell.add_person("Juno Example")
    expect(shell.notice("copy-old")).to_contain_text(say("pocket.when_days", days=9))
    shell.page.locator('[data-notice="copy-old"] [data-act="copy_later"]').click()
    shell.go("people")
    expect(shell.pages.locator("h1")).to_be_visible()
    expect(shell.notice("copy-old")).to_have_count(0)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_shells_own_sheets_can_be_read_and_touched(
    visited: BrowserContext, phones_server: Running, scheme: str
) -> None:
    shell = Shell.opened(visited, phones_server.address)
    shell.page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
    expect(shell.act("begin")).to_be_visible(timeout=PATIENT_MS)
    looked_at(shell)
    shell.act("begin").click()
    shell.pages.locator("[data-pocket]").click()
    expect(shell.sheet("phone")).to_contain_text(say("pocket.store_files"))
    expect(shell.sheet("phone")).to_contain_text(re.compile("has (not )?promised"))
    looked_at(shell)


def looked_at(shell: Shell) -> None:
    """Nothing is too wide, too small or gravely hard to use."""
    assert width_problems(shell.page) + thumb_problems(shell.page) + axe_problems(shell.page) == []


def test_an_invented_club_is_shown_without_beginning_a_record(visited: BrowserContext, phones_server: Running) -> None:
    shell = Shell.opened(visited, phones_server.address)
    shell.act("rehearse").click()
    expect(shell.pages.locator(".board__row")).to_have_count(3, timeout=2 * PATIENT_MS)
    expect(shell.notice("club")).to_have_text(say("pocket.rehearsal"))
    expect(shell.page).to_have_url(f"{shell.address}club/", timeout=PATIENT_MS)
    shell.act("leave").click()
    expect(shell.act("begin")).to_be_visible(timeout=PATIENT_MS)
