"""What can go wrong around a record on a phone: each has a behaviour and a message; nothing acknowledged is lost."""

from __future__ import annotations

import re
from pathlib import Path

from playwright.sync_api import BrowserContext, expect

from tests.browser.phones import PATIENT_MS, Shell, say, serving
from tests.browser.running import Running
from tests.phone.building import another_version, phone_folder

HOLDER = """
    onmessage = async ({ data }) => {
        const folder = await (await navigator.storage.getDirectory()).getDirectoryHandle("loopworthy-open");
        const file = await folder.getFileHandle(data);
        self.held = await file.createSyncAccessHandle();
        postMessage("held");
    };
"""
"""A script that is not ours and holds a file of the record open."""


ENGINE_HOLDS_ITS_LOCK = """
async () => {
    while (!(await navigator.locks.query()).held.some((one) => one.name.includes(" engine "))) {
        await new Promise((go) => setTimeout(go, 50));
    }
}
"""
"""Until then its end is noticed only after ten seconds, for there is nothing that it lets go."""


def test_a_second_tab_is_answered_by_the_first_and_takes_over_when_that_is_closed(
    visited: BrowserContext, phones_server: Running
) -> None:
    first = Shell.begun(visited, phones_server.address)
    first.add_person("Pim Example")
    second = Shell.opened(visited, phones_server.address, "open/people")
    expect(second.pages.locator("main")).to_contain_text("Pim Example", timeout=PATIENT_MS)
    expect(second.notice("follower")).to_have_text(say("pocket.follower"))
    assert second.page.workers == []

    first.page.close()
    expect(second.notice("taken-over")).to_have_text(say("pocket.taken_over"), timeout=PATIENT_MS)
    expect(second.notice("follower")).to_have_count(0)
    second.add_person("Juno Example")
    assert re.search("Pim Example.*Juno Example", second.people(), re.DOTALL)
    assert len(second.page.workers) == 1


def test_a_tab_put_to_sleep_is_named_within_seconds_and_closing_it_helps(
    visited: BrowserContext, phones_server: Running
) -> None:
    first = Shell.begun(visited, phones_server.address)
    first.add_person("Pim Example")
    second = Shell.opened(visited, phones_server.address, "open/people")
    second.settled()
    asleep = visited.new_cdp_session(first.page)  # as a frozen tab: there, holding its lock, and never coming to a line
    asleep.send("Debugger.enable")
    asleep.send("Debugger.pause")

    second.go("history")
    expect(second.pages.locator("main")).to_contain_text(say("pocket.leader_silent"), timeout=PATIENT_MS)
    first.page.close()
    expect(second.notice("taken-over")).to_be_visible(timeout=PATIENT_MS)
    second.pages.get_by_role("link", name=say("pocket.retry")).click()
    expect(second.pages.locator("h1")).to_have_text(say("history.title"), timeout=PATIENT_MS)


def test_a_worker_that_dies_is_started_anew_and_says_so(visited: BrowserContext, phones_server: Running) -> None:
    shell = Shell.begun(visited, phones_server.address)
    shell.add_person("Pim Example")
    for ends in ("self.close()", "setTimeout(() => { throw new Error('an end of our own making'); })"):
        (worker,) = shell.page.workers
        worker.evaluate(ends)
        expect(shell.notice("crashed")).to_have_text(say("pocket.crashed"), timeout=PATIENT_MS)
        assert "Pim Example" in shell.people()
        shell.page.locator('[data-notice="crashed"] [data-act="close"]').click()


def test_an_engine_that_keeps_dying_is_given_up_and_started_by_hand(
    visited: BrowserContext, phones_server: Running
) -> None:
    shell = Shell.begun(visited, phones_server.address)
    for _ in range(3):
        with shell.page.expect_event("worker", timeout=PATIENT_MS):
            shell.page.workers[0].evaluate("self.close()")
        shell.page.evaluate(ENGINE_HOLDS_ITS_LOCK)
    shell.page.workers[0].evaluate("self.close()")
    expect(shell.sheet("given-up")).to_contain_text(say("pocket.crashed_again"), timeout=PATIENT_MS)
    shell.act("retry").click()
    shell.settled()


def test_without_room_nothing_is_acknowledged_that_is_not_stored(
    visited: BrowserContext, phones_server: Running
) -> None:
    shell = Shell.begun(visited, phones_server.address)
    shell.add_person("Pim Example")
    session = visited.new_cdp_session(shell.page)
    usage = session.send("Storage.getUsageAndQuota", {"origin": phones_server.address})["usage"]
    session.send("Storage.overrideQuotaForOrigin", {"origin": phones_server.address, "quotaSize": usage + 40_000})

    acknowledged = []
    for number in range(200):
        name = f"Example {number} {'x' * 50}"
        status = shell.post_person(name)
        if status != 200:
            break
        acknowledged.append(name)
    assert status == 503
    shell.go("people")
    shell.pages.locator('input[name="name"]').fill("One Too Many")
    shell.pages.locator('form:has(input[name="name"]) button[type="submit"]').click()
    expect(shell.pages.locator("main")).to_contain_text("the disk is full")

    shell.reload()
    text = shell.people()
    assert [name for name in acknowledged if name not in text] == []
    assert name not in text
    assert "One Too Many" not in text
    session.send("Storage.overrideQuotaForOrigin", {"origin": phones_server.address})
    shell.add_person("Juno Example")
    assert shell.check_record() == say("record.unbroken", events=len(acknowledged) + 3)


def test_files_held_open_elsewhere_are_an_error_and_never_an_empty_record(
    visited: BrowserContext, phones_server: Running
) -> None:
    first = Shell.begun(visited, phones_server.address)
    first.add_person("Pim Example")
    first.page.close()
    other = visited.new_page()
    visited.route("**/holder.js", lambda route: route.fulfill(content_type="text/javascript", body=HOLDER))
    other.goto(f"{phones_server.address}/healthz")
    other.evaluate(
        """() => new Promise((go) => {
            window.holder = new Worker("/holder.js");
            window.holder.onmessage = go;
            window.holder.postMessage("a.sqlite");
        })"""
    )

    shell = Shell.opened(visited, phones_server.address)
    expect(shell.sheet("locked")).to_contain_text(say("pocket.locked"), timeout=PATIENT_MS)
    other.close()
    shell.act("retry").click()
    shell.settled()
    assert "Pim Example" in shell.people()


def test_a_browser_without_files_keeps_the_record_in_its_database_and_says_so(
    phone: BrowserContext, tmp_path: Path
) -> None:
    without = {"files.js": ("export function filesAreOffered() {", "export function filesAreOffered() { return false;")}
    folder = another_version(phone_folder(), tmp_path / "without", "000000000001", without)
    with serving(folder, tmp_path) as server:
        shell = Shell.begun(phone, server.address)
        shell.add_person("Pim Example")
        shell.pages.locator("[data-pocket]").click()
        expect(shell.sheet("phone")).to_contain_text(say("pocket.store_database"))
        shell.page.close()
        again = Shell.opened(phone, server.address, "open/people")
        expect(again.pages.locator("main")).to_contain_text("Pim Example", timeout=PATIENT_MS)


def test_files_that_a_browser_no_longer_offers_are_an_error_and_never_an_empty_record(
    phone: BrowserContext, tmp_path: Path
) -> None:
    without = {"files.js": ("export function filesAreOffered() {", "export function filesAreOffered() { return false;")}
    later = another_version(phone_folder(), tmp_path / "later", "000000000002", without)
    place = tmp_path / "served"
    place.symlink_to(phone_folder())
    with serving(place, tmp_path) as server:
        shell = Shell.begun(phone, server.address)
        place.unlink()
        place.symlink_to(later)
        shell.page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.update())")
        shell.act("update_now").click(timeout=PATIENT_MS)
        expect(shell.sheet("gone")).to_contain_text(say("pocket.store_gone"), timeout=PATIENT_MS)


def test_a_new_version_is_offered_and_waits_for_what_is_being_typed(phone: BrowserContext, tmp_path: Path) -> None:
    later = another_version(phone_folder(), tmp_path / "later", "000000000003")
    place = tmp_path / "served"
    place.symlink_to(phone_folder())
    with serving(place, tmp_path) as server:
        shell = Shell.begun(phone, server.address)
        shell.go("people")
        shell.pages.locator('input[name="name"]').fill("Half a na")
        place.unlink()
        place.symlink_to(later)
        shell.page.evaluate("navigator.serviceWorker.getRegistration().then((one) => one.update())")
        expect(shell.notice("update")).to_have_text(say("pocket.update_ready"), timeout=PATIENT_MS)
        shell.act("update_now").click()
        expect(shell.notice("update")).to_have_text(say("pocket.update_waits"))
        expect(shell.pages.locator('input[name="name"]')).to_have_value("Half a na")
        before = shell.page.locator("html").get_attribute("data-version")

        shell.pages.locator('input[name="name"]').fill("Half a name no more")
        shell.pages.locator('form:has(input[name="name"]) button[type="submit"]').click()
        expect(shell.notice("updated")).to_have_text(say("pocket.update_done"), timeout=PATIENT_MS)
        assert before != "000000000003"
        assert shell.page.locator("html").get_attribute("data-version") == "000000000003"
        shell.settled()
        assert "Half a name no more" in shell.people()
