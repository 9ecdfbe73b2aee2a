"""A real Chromium for the browser tests, on a phone and on a desk, and the invented club on a server of its own.

Where no Chromium can be had the tests fail and say what to do; nothing is skipped.
"""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from loopworthy.doors.demo import open_demo
from tests.browser.phones import PATIENT_MS, Shell, serving
from tests.browser.running import Running
from tests.browser.watching import watched
from tests.phone.building import phone_folder

FINDER = Path(__file__).parents[2] / "scripts" / "ensure-chromium"

QUIET_ARGUMENTS = (
    "--no-sandbox",  # CI and containers run as root, where the sandbox cannot start
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """The Chromium that LOOPWORTHY_CHROMIUM names, or the one installed here."""
    found = subprocess.run([str(FINDER), "--find"], capture_output=True, text=True, check=False)
    if found.returncode != 0:
        pytest.fail(found.stderr.strip(), pytrace=False)
    return found.stdout.strip()


@pytest.fixture(scope="session")
def chromium(chromium_path: str) -> Iterator[Browser]:
    """One browser for all tests; each test opens its own context in it."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path, args=list(QUIET_ARGUMENTS))
        yield browser
        browser.close()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[BrowserContext]:
    """A small phone held upright and used with a thumb: 360 x 740, touch."""
    context = small_phone(chromium)
    yield context
    context.close()


def small_phone(chromium: Browser) -> BrowserContext:
    """A phone on which nothing is yet."""
    return chromium.new_context(
        viewport={"width": 360, "height": 740},
        device_scale_factor=2,
        has_touch=True,
        is_mobile=True,
        locale="en-GB",
        timezone_id="UTC",
    )


@pytest.fixture
def desktop(chromium: Browser) -> Iterator[BrowserContext]:
    """A screen at a desk, with mouse and keyboard: 1280 x 800."""
    context = chromium.new_context(viewport={"width": 1280, "height": 800}, locale="en-GB", timezone_id="UTC")
    yield context
    context.close()


@pytest.fixture
def watch() -> Iterator[Callable[[Page], Page]]:
    """Makes a page tell what it complains of; the test fails at its end if there was anything."""
    complaints: list[str] = []
    yield lambda page: watched(page, complaints)
    assert complaints == []


# --- a phone that has the program on it ------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def phones_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A server that hands out the phone's folder to `visited`, and runs for as long as the tests do."""
    with serving(phone_folder(), tmp_path_factory.mktemp("phones")) as running:
        yield running


@pytest.fixture(scope="session")
def visited_once(chromium: Browser, phones_server: Running) -> Iterator[BrowserContext]:
    """A phone after its first visit, shared by all tests that are about what comes later."""
    context = small_phone(chromium)
    shell = Shell.opened(context, phones_server.address)
    expect(shell.act("begin")).to_be_visible(timeout=PATIENT_MS)
    shell.page.close()
    yield context
    context.close()


@pytest.fixture
def visited(visited_once: BrowserContext, phones_server: Running) -> Iterator[BrowserContext]:
    """A phone with the program on it and no record: what an earlier test left is gone, but for the program itself."""
    page = visited_once.new_page()
    kinds = "file_systems,indexeddb,local_storage"
    asked = {"origin": phones_server.address, "storageTypes": kinds}
    visited_once.new_cdp_session(page).send("Storage.clearDataForOrigin", asked)
    page.close()
    yield visited_once
    for left in visited_once.pages:
        left.close()
    visited_once.unroute_all()
    visited_once.set_offline(False)


# --- the invented club ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the invented club's record, told once."""
    folder = tmp_path_factory.mktemp("club")
    open_demo(folder).record.store.close()
    return folder


@pytest.fixture
def demo(club: Path, tmp_path: Path) -> Iterator[Running]:
    """A server on a copy of the club's record, which must not complain. Its clock begins at the story's moment."""
    shutil.copytree(club, tmp_path / "club")
    said = tmp_path / "server.txt"
    with Running("demo", "--path", str(tmp_path / "club"), "--serve", said=said) as running:
        yield running
    assert said.read_text() == ""
