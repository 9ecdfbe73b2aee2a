"""A phone whose battery dies while it writes: the whole browser is killed, again and again, without a server anywhere.

Every event that was acknowledged is there afterwards, and the chain is whole; a record that was begun is never lost.
"""

from __future__ import annotations

import time
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

from playwright.sync_api import Browser, expect

from tests.browser.batteries import Phone, context_of, listen, switched_on
from tests.browser.phones import PATIENT_MS, Shell, say, serving, verified
from tests.phone.building import phone_folder

KILLS = 20
LONGEST_WRITING_S = 0.8

WRITE_ON = """
([address, mark]) => {
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
class Written:
    """A phone between two of its ends: its folder, and what it acknowledged."""

    profile: Path
    names: list[str] = field(default_factory=list)

    def opened(self, on: ExitStack, chromium: Browser, chromium_path: str, address: str) -> tuple[Phone, Shell]:
        """Switch it on; it begins to start."""
        phone = on.enter_context(switched_on(chromium_path, self.profile))
        return phone, Shell.opened(context_of(phone, chromium), address, "open/instruments")

    def all_is_there(self, shell: Shell) -> None:
        """It shows everything that it acknowledged."""
        expect(shell.pages.locator("h1")).to_have_text(say("instruments.title"), timeout=PATIENT_MS)
        shown = set(shell.pages.locator("main").inner_text().split())
        assert [one for one in self.names if one not in shown] == []


def test_killed_twenty_times_while_writing_it_has_everything_it_acknowledged(
    chromium: Browser, chromium_path: str, tmp_path: Path
) -> None:
    chance, both = Random(5), [Written(tmp_path / name) for name in ("one", "other")]  # side by side, to save time
    with serving(phone_folder(), tmp_path) as server:
        address = server.address
        for written in both:
            with switched_on(chromium_path, written.profile) as phone:
                Shell.begun(context_of(phone, chromium), address)
                phone.kill()

    for number in range(KILLS // len(both)):
        with ExitStack() as on:
            opened = [written.opened(on, chromium, chromium_path, address) for written in both]
            heard = []
            for written, (_, shell) in zip(both, opened, strict=True):
                written.all_is_there(shell)
                heard.append(listen(shell))
                shell.frame.evaluate(WRITE_ON, [f"{shell.address}open/instruments", f"r{number}"])
            for phone, shell in opened:
                until = time.monotonic() + chance.uniform(0.2, LONGEST_WRITING_S)
                while time.monotonic() < until:
                    shell.page.wait_for_timeout(20)
                phone.kill()
        for written, said in zip(both, heard, strict=True):
            written.names += [one.removeprefix("acknowledged ") for one in said if one.startswith("acknowledged ")]

    for written in both:
        assert len(written.names) > KILLS
        with ExitStack() as on:
            _, shell = written.opened(on, chromium, chromium_path, address)
            written.all_is_there(shell)
            shell.save_copy(tmp_path / "copy.sqlite")
        assert verified(tmp_path / "copy.sqlite")["events"] >= len(written.names) + 1
