"""A phone whose battery dies while it writes: the whole browser is killed, again and again, without a server anywhere.

Every event that was acknowledged is there afterwards, and the chain is whole; a record that was begun is never lost.
"""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random

from playwright.sync_api import Browser, BrowserContext, expect

from loopworthy.bootstrap import registry
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from tests.browser.conftest import QUIET_ARGUMENTS
from tests.browser.phones import PATIENT_MS, Shell, say, serving
from tests.phone.building import phone_folder

ROUNDS = 20
LONGEST_WRITING_S = 1.2

WRITE_ON = """
([address, mark]) => {
    window.acknowledged = [];
    (async () => {
        for (let number = 0; ; number += 1) {
            const name = `${mark}-${number}`;
            const body = new URLSearchParams({ name, serial: name, use: "analyser" });
            const answer = await fetch(address, { method: "POST", body, redirect: "manual" });
            if (answer.status !== 303 && answer.type !== "opaqueredirect") throw new Error(String(answer.status));
            console.log(`acknowledged ${name}`);
        }
    })();
}
"""
"""Sends one form after the other and says each time that it was acknowledged."""


@dataclass
class Phone:
    """A browser of its own, in a process group that can be killed as a whole."""

    process: subprocess.Popen[bytes]
    port: int

    def kill(self) -> None:
        """The battery dies."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()


@contextmanager
def switched_on(chromium: str, profile: Path) -> Iterator[Phone]:
    """Start the browser on what an earlier one left behind."""
    (profile / "DevToolsActivePort").unlink(missing_ok=True)
    process = subprocess.Popen(
        [
            chromium, "--headless=new", *QUIET_ARGUMENTS, "--remote-debugging-port=0", f"--user-data-dir={profile}",
            "--window-size=360,740", "about:blank",
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        start_new_session=True,
    )  # fmt: skip
    phone = Phone(process, 0)
    try:
        phone.port = _port(profile)
        yield phone
    finally:
        if process.poll() is None:
            phone.kill()


def _port(profile: Path) -> int:
    end = time.monotonic() + 30
    while time.monotonic() < end:
        try:
            return int((profile / "DevToolsActivePort").read_text().split("\n")[0])
        except (FileNotFoundError, ValueError):
            time.sleep(0.05)
    raise AssertionError("The browser did not start")


def listen(shell: Shell) -> list[str]:
    """Everything that its pages write to the console from now on."""
    heard: list[str] = []
    shell.page.on("console", lambda said: heard.append(said.text))
    return heard


def _context(browser: Browser) -> BrowserContext:
    return browser.contexts[0]


def test_killed_twenty_times_while_writing_it_has_everything_it_acknowledged(
    chromium: Browser, chromium_path: str, tmp_path: Path
) -> None:
    connect = chromium.browser_type.connect_over_cdp
    profile, chance = tmp_path / "profile", Random(5)
    with serving(phone_folder(), tmp_path) as server, switched_on(chromium_path, profile) as phone:
        Shell.begun(_context(connect(f"http://127.0.0.1:{phone.port}")), server.address)
        address = server.address
        phone.kill()

    acknowledged: list[str] = []
    for number in range(ROUNDS):
        with switched_on(chromium_path, profile) as phone:
            shell = Shell.opened(_context(connect(f"http://127.0.0.1:{phone.port}")), address, "open/instruments")
            expect(shell.pages.locator("h1")).to_have_text(say("instruments.title"), timeout=PATIENT_MS)
            text = shell.pages.locator("main").inner_text()
            assert [one for one in acknowledged if one not in text] == [], f"lost in round {number}"

            heard = listen(shell)
            shell.frame.evaluate(WRITE_ON, [f"{shell.address}open/instruments", f"r{number}"])
            until = time.monotonic() + chance.uniform(0.2, LONGEST_WRITING_S)
            while time.monotonic() < until:
                shell.page.wait_for_timeout(20)
            phone.kill()
            acknowledged += [one.removeprefix("acknowledged ") for one in heard if one.startswith("acknowledged ")]

    assert len(acknowledged) > ROUNDS
    with switched_on(chromium_path, profile) as phone:
        browser = connect(f"http://127.0.0.1:{phone.port}")
        shell = Shell.opened(_context(browser), address, "open/instruments")
        shell.settled()
        text = shell.pages.locator("main").inner_text()
        assert [one for one in acknowledged if one not in text] == []
        shell.pages.locator("[data-pocket]").click()
        with shell.page.expect_download() as download:
            shell.act("copy_button").click()
        download.value.save_as(tmp_path / "copy.sqlite")
    store = SqliteStore(tmp_path / "copy.sqlite", watch_place=False)
    report = verify(store, registry())
    assert report.unbroken
    assert report.events >= len(acknowledged) + 1
    store.close()
