"""A phone whose battery dies while it writes: the whole browser is killed, again and again, without a server anywhere.

Every event that was acknowledged is there afterwards, and the chain is whole; a record that was begun is never lost.
"""

from __future__ import annotations

import time
from pathlib import Path
from random import Random

from playwright.sync_api import Browser, expect

from tests.browser.batteries import context_of, listen, switched_on
from tests.browser.phones import PATIENT_MS, Shell, say, serving, verified
from tests.phone.building import phone_folder

ROUNDS = 20
LONGEST_WRITING_S = 0.8

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


def test_killed_twenty_times_while_writing_it_has_everything_it_acknowledged(
    chromium: Browser, chromium_path: str, tmp_path: Path
) -> None:
    profile, chance = tmp_path / "profile", Random(5)
    with serving(phone_folder(), tmp_path) as server, switched_on(chromium_path, profile) as phone:
        Shell.begun(context_of(phone, chromium), server.address)
        address = server.address
        phone.kill()

    acknowledged: list[str] = []
    for number in range(ROUNDS):
        with switched_on(chromium_path, profile) as phone:
            shell = Shell.opened(context_of(phone, chromium), address, "open/instruments")
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
        shell = Shell.opened(context_of(phone, chromium), address, "open/instruments")
        shell.settled()
        text = shell.pages.locator("main").inner_text()
        assert [one for one in acknowledged if one not in text] == []
        shell.save_copy(tmp_path / "copy.sqlite")
    assert verified(tmp_path / "copy.sqlite")["events"] >= len(acknowledged) + 1
