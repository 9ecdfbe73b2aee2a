"""A phone that has the program on it: its shell, the pages in the shell's frame, and what goes wrong around both."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

from playwright.sync_api import BrowserContext, Frame, FrameLocator, Locator, Page, expect

from loopworthy.bootstrap import open_workplace, system_clock
from loopworthy.doors.phone.served import FOLDER_VARIABLE
from loopworthy.doors.texts import Texts
from loopworthy.record.sqlite import SqliteStore
from tests.browser.running import ROOT, Running

say = Texts.load().say
PATIENT_MS = 30_000
"""For the engine to stand up on a busy machine."""


@contextmanager
def serving(folder: Path, place: Path) -> Iterator[Running]:
    """A server that hands out a built folder, beside an empty record of its own."""
    record = place / "server.sqlite"
    if not record.exists():
        workplace = open_workplace(record, clock=system_clock("UTC"), title="Server", create=True)
        workplace.record.store.close()
    served = {FOLDER_VARIABLE: str(folder)}
    told = ("--zone", "UTC", "--record", str(record), "serve")
    with Running(*told, said=place / "server.txt", environment=served) as running:
        yield running


@dataclass
class Shell:
    """One tab of the program on a phone.

    Attributes
    ----------
    page : Page
    address : str
        Of the folder, with a slash at its end.
    """

    page: Page
    address: str

    @classmethod
    def opened(cls, context: BrowserContext, server: str, at: str = "") -> Shell:
        """A new tab at the folder's address, or at one below it."""
        page = context.new_page()
        page.set_default_timeout(PATIENT_MS)
        shell = cls(page, f"{server}/phone/")
        page.goto(shell.address + at)
        return shell

    @classmethod
    def begun(cls, context: BrowserContext, server: str) -> Shell:
        """A first visit, with a record begun by what is proposed."""
        shell = cls.opened(context, server)
        expect(shell.page.locator('[data-act="begin"], .grave')).to_be_visible(timeout=PATIENT_MS)
        assert shell.page.locator("#panel").get_attribute("data-sheet") == "begin", shell.page.inner_text("#panel")
        shell.act("begin").click()
        shell.settled()
        return shell

    @property
    def pages(self) -> FrameLocator:
        """The pages of the program."""
        return self.page.frame_locator("#pages")

    @property
    def frame(self) -> Frame:
        """The frame with the pages, as a frame."""
        element = self.page.locator("#pages").element_handle()
        found = element.content_frame()
        assert found is not None
        return found

    def join(self, hub: str, code: str, device: str) -> None:
        """Take over the record of a hub, from the first page on; returns when its board is there."""
        self.act("join").click()
        self.page.locator("#address").fill(hub)
        self.page.locator("#code").fill(code)
        self.page.locator("#device").fill(device)
        self.act("join_button").click()
        self.settled()

    def exchange(self) -> None:
        """Press the button of the page; returns when the exchange is over and nothing is left to be sent."""
        self.go("record/exchange")
        # The page may have said so before: it is marked, to be told from the one that follows.
        self.frame.evaluate("document.documentElement.dataset.stillHere = ''")
        self.pages.get_by_role("button", name=say("exchange.now")).click()
        expect(self.pages.locator("html:not([data-still-here]) h1")).to_be_visible(timeout=PATIENT_MS)
        expect(self.pages.get_by_text(say("exchange.nothing_new"))).to_be_visible(timeout=PATIENT_MS)
        expect(self.pages.get_by_text(say("exchange.running"))).to_have_count(0, timeout=PATIENT_MS)

    def save_copy(self, target: Path) -> str:
        """Save a copy of the record with the shell's button, and go back to the page; the name that it was given."""
        self.pages.locator("[data-pocket]").click()
        with self.page.expect_download() as download:
            self.act("copy_button").click()
        download.value.save_as(target)
        self.page.locator('#panel [data-act="close"]').click()
        return download.value.suggested_filename

    def act(self, name: str) -> Locator:
        """A button of the shell."""
        return self.page.locator(f'[data-act="{name}"]')

    def notice(self, name: str) -> Locator:
        """A notice in the strip."""
        return self.page.locator(f'[data-notice="{name}"] p')

    def sheet(self, name: str) -> Locator:
        """A sheet of the shell, in front of the pages."""
        return self.page.locator(f'#panel[data-sheet="{name}"]')

    def go(self, at: str) -> None:
        """Lead the frame to an address of the program."""
        self.frame.goto(f"{self.address}open/{at}", timeout=PATIENT_MS)

    def reload(self) -> None:
        """Load the tab anew, engine and all; returns when a page is there."""
        self.page.reload()
        self.settled()

    def settled(self) -> None:
        """Returns when a page of the program is there."""
        expect(self.pages.locator("h1").first).to_be_visible(timeout=PATIENT_MS)

    def add_person(self, name: str) -> None:
        """Add somebody by hand; returns when the page that follows is there."""
        self.go("people")
        self.pages.locator('input[name="name"]').fill(name)
        self.pages.locator('form:has(input[name="name"]) button[type="submit"]').click()
        expect(self.pages.locator("main").get_by_text(name).first).to_be_visible(timeout=PATIENT_MS)

    def people(self) -> str:
        """What the page of the people says."""
        self.go("people")
        return self.pages.locator("main").inner_text()

    def post_person(self, name: str) -> int:
        """Send the form from a script of the page, as fast as it goes; the status of the answer."""
        return cast(
            int,
            self.frame.evaluate(
                """async ([address, name]) => {
                    const body = new URLSearchParams({ name, display_units: "metric" });
                    return (await fetch(address, { method: "POST", body })).status;
                }""",
                [f"{self.address}open/people", name],
            ),
        )

    def check_record(self) -> str:
        """What checking every byte of the record says."""
        self.go("record?check=yes")
        return self.pages.locator("#checked + p").inner_text()


def exchange_until_quiet(shells: Sequence[Shell], record: Path) -> None:
    """Exchange in turn until a whole turn leaves the hub's record with what it had.

    What a side records about an exchange travels with the next one, so one alone does not make both records equal.
    """
    counts: list[int] = []
    while len(counts) < 2 or counts[-1] != counts[-2]:
        assert len(counts) < 6, f"never quiet: {counts}"
        for shell in shells:
            shell.exchange()
        store = SqliteStore(record, read_only=True, watch_place=False)
        counts.append(store.count())
        store.close()


def verified(record: Path) -> dict[str, Any]:
    """What ``record verify`` tells of a record file in which it finds nothing amiss, signatures included."""
    path = [str(ROOT / "src"), *filter(None, [os.environ.get("PYTHONPATH")])]
    done = subprocess.run(
        [sys.executable, "-m", "loopworthy", "--json", "--record", str(record), "record", "verify"],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(path)},
    )
    assert done.returncode == 0, done.stdout + done.stderr
    told = cast(dict[str, Any], json.loads(done.stdout))
    wrong = [told[name] for name in ("faults", "damage", "false_signatures", "forks", "unreadable") if told[name]]
    assert (wrong, told["waiting"]) == ([], 0)
    return told
