"""Browsers that are processes of their own, each with a folder of its own: phones whose battery can die."""

from __future__ import annotations

import os
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext

from tests.browser.conftest import QUIET_ARGUMENTS
from tests.browser.phones import Shell


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


def context_of(phone: Phone, by: Browser) -> BrowserContext:
    """The one context of its browser, reached by the driver that drives another browser."""
    return by.browser_type.connect_over_cdp(f"http://127.0.0.1:{phone.port}").contexts[0]


def listen(shell: Shell) -> list[str]:
    """Everything that its pages write to the console from now on."""
    heard: list[str] = []
    shell.page.on("console", lambda said: heard.append(said.text))
    return heard
