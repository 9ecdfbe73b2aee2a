"""A hub and two phones, true processes all three, that record and exchange while they are killed at random.

Each writes as fast as it can, in range or out of it; a kill leaves no time to put anything away. When all are up
again and have exchanged until there is nothing left to say, every event that was acknowledged anywhere is on all three,
once; they tell the same verdicts, their chains are whole and their signatures genuine.

``LOOPWORTHY_KILLS`` asks for more rounds, ``LOOPWORTHY_SEED`` for other ones.
"""

from __future__ import annotations

import os
import secrets
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest
from playwright.sync_api import Browser, BrowserContext, Frame, Page, expect

from loopworthy.bootstrap import device_keys, open_workplace, system_clock
from loopworthy.desk import devices
from loopworthy.desk.demo.club import PEOPLE
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.demo import demo_file
from loopworthy.record.backup import restore
from loopworthy.vocabulary.identity import short
from tests.browser.batteries import Phone, context_of, listen, switched_on
from tests.browser.hands import Hands
from tests.browser.phones import PATIENT_MS, Shell, exchange_until_quiet, say, serving, verified
from tests.browser.running import Running
from tests.phone.building import phone_folder

ROUNDS = int(os.environ.get("LOOPWORTHY_KILLS", "3"))
SEED = int(os.environ.get("LOOPWORTHY_SEED", "7"))
LONGEST_WRITING_S = 1.5
PAUSE_MS = 50
"""Between two entries, so that a record stays small enough to be looked through on a page."""
HUB = "hub"
PHONES = ("north", "south")
PAGES_TO_READ = ("absorbent", "leak-tests", "readiness")

WRITE_AND_EXCHANGE = """
([root, mark, hub, pause]) => {
    const send = (at, fields) => fetch(`${root}${at}`, {
        method: "POST", body: new URLSearchParams(fields), redirect: "manual",
    });
    window.writing = mark;
    (async () => {
        for (let number = 0; window.writing === mark; number += 1) {
            const name = `${mark}-${number}`;
            const answer = await send("/instruments", { name, serial: name, use: "analyser" });
            if (answer.status !== 303 && answer.type !== "opaqueredirect") throw new Error(String(answer.status));
            console.log(`acknowledged ${name}`);
            await new Promise((go) => setTimeout(go, pause));
            if (hub && number % 4 === 3) await send("/record/exchange/now", { hub });
        }
    })().catch(() => {});  // whoever is killed, or whose server is, writes no more
}
"""
"""Records one instrument after the other, says each time that it was acknowledged, and exchanges now and then."""

STOP = "() => { window.writing = ''; }"


@dataclass
class Kept:
    """What somebody may rely on: instruments by name, and readings by the first digits of their events."""

    names: list[str] = field(default_factory=list)
    readings: list[str] = field(default_factory=list)


@dataclass
class Carried:
    """A phone of the test: its folder, and while it is switched on its browser and the tab with the program."""

    name: str
    profile: Path
    kept: Kept = field(default_factory=Kept)
    phone: Phone | None = None
    shell: Shell | None = None
    heard: list[str] = field(default_factory=list)
    _on: ExitStack = field(default_factory=ExitStack)

    def switch_on(self, chromium: Browser, chromium_path: str) -> BrowserContext:
        self.phone = self._on.enter_context(switched_on(chromium_path, self.profile))
        return context_of(self.phone, chromium)

    def open(self, context: BrowserContext, address: str, at: str = "") -> Shell:
        self.shell = Shell.opened(context, address, at)
        self.heard = listen(self.shell)
        return self.shell

    def kill(self) -> None:
        if self.phone is not None:
            self.phone.kill()
        self.phone = self.shell = None
        self._on.close()

    def tab(self) -> Shell:
        assert self.shell is not None
        return self.shell


@pytest.fixture
def carried(tmp_path: Path) -> Iterator[Mapping[str, Carried]]:
    """Two phones, switched off."""
    both = {name: Carried(name, tmp_path / name) for name in PHONES}
    yield both
    for one in both.values():
        one.kill()


def test_killed_at_random_while_they_record_and_exchange_all_three_have_everything_in_the_end(
    chromium: Browser, chromium_path: str, desktop: BrowserContext, club: Path, carried: Mapping[str, Carried],
    tmp_path: Path,
) -> None:  # fmt: skip
    restore(demo_file(club), tmp_path / "server.sqlite")
    chance, at_hub = Random(SEED), Kept()
    with serving(phone_folder(), tmp_path) as hub:
        desk = desktop.new_page()
        desk_heard: list[str] = []
        desk.on("console", lambda said: desk_heard.append(said.text))
        for one in carried.values():
            shell = one.open(one.switch_on(chromium, chromium_path), hub.address)
            shell.join(hub.address, code(tmp_path / "server.sqlite"), one.name)

        killed = Counter[str]()
        turns = chance.sample([HUB, *PHONES], 3)
        for number in range(ROUNDS):
            turn = turns[number % 3]
            in_range = up(hub) if turn == HUB or chance.random() < 0.75 else down(hub)
            for one in carried.values():
                everything_is_there(one, chromium, chromium_path, hub.address)
                if chance.random() < 0.5:
                    read_something(one, tmp_path / "server.sqlite", chance)
                start_writing(one.tab().frame, f"{one.tab().address}open", f"{one.name}{number}", hub.address)
            if in_range:
                desk.goto(f"{hub.address}/instruments")
                start_writing(desk, hub.address, f"{HUB}{number}", "")

            others = [one for one in (*PHONES, *([HUB] if in_range else [])) if one != turn]
            for victim in (turn, *chance.sample(others, chance.choice((0, 0, 1)))):
                go_on(desk, chance.uniform(0.3, LONGEST_WRITING_S))
                if victim == HUB:
                    down(hub)
                else:
                    carried[victim].kill()
                killed[victim] += 1
            go_on(desk, chance.uniform(0.1, 0.5))
            for one in carried.values():
                if one.shell is not None:
                    one.shell.frame.evaluate(STOP)
                one.kept.names += acknowledged(one.heard)
                one.heard.clear()
            if hub.is_up:
                desk.evaluate(STOP)
            at_hub.names += acknowledged(desk_heard)
            desk_heard.clear()

        up(hub)
        for one in carried.values():
            everything_is_there(one, chromium, chromium_path, hub.address)
        exchange_until_quiet([one.tab() for one in carried.values()], tmp_path / "server.sqlite")
        the_boards_agree(desk, carried, hub.address)
        copies = {HUB: tmp_path / "server.sqlite"}
        for one in carried.values():
            copies[one.name] = tmp_path / f"copy-{one.name}.sqlite"
            one.tab().save_copy(copies[one.name])
        all_are_whole_and_the_same(copies)
        nothing_is_lost_and_nothing_doubled(copies, carried, at_hub)
    assert killed.total() >= ROUNDS


# --- hub and phones ---------------------------------------------------------------------------------------------------


def up(hub: Running) -> bool:
    if not hub.is_up:
        hub.start()
    return True


def down(hub: Running) -> bool:
    hub.kill()
    return False


@contextmanager
def opened(record: Path) -> Iterator[Workplace]:
    workplace = open_workplace(record, clock=system_clock("UTC"), keys=device_keys(), watch_place=False)
    try:
        yield workplace
    finally:
        workplace.record.store.close()


def code(record: Path) -> str:
    with opened(record) as workplace:
        return devices.make_code(workplace, person=workplace.person(PEOPLE[0]), token=secrets.token_bytes).code


def everything_is_there(one: Carried, chromium: Browser, chromium_path: str, address: str) -> None:
    """Switch a phone on that was killed, with the hub in range or not; it shows all that it acknowledged."""
    if one.shell is None:
        one.open(one.switch_on(chromium, chromium_path), address, "open/instruments")
    else:
        one.shell.go("instruments")
    expect(one.tab().pages.locator("h1")).to_have_text(say("instruments.title"), timeout=PATIENT_MS)
    text = set(one.tab().pages.locator("main").inner_text().split())
    assert [name for name in one.kept.names if name not in text] == [], f"lost on {one.name}"


# --- recording --------------------------------------------------------------------------------------------------------


def read_something(one: Carried, record: Path, chance: Random) -> None:
    """Type a page of a unit's morning into a phone; the page after it names the events that it became.

    What counts already asks for nothing, and a page that came back with a question was not recorded: then another one.
    """
    shell = one.tab()
    with opened(record) as workplace:
        pages = [(unit, page) for unit in workplace.world.units() for page in PAGES_TO_READ]
        for unit, page in chance.sample(pages, len(pages)):
            shell.go(f"unit/{short(unit)}/do/{page}")
            if not shell.frame.locator('main [name="read_by"]').is_visible():
                continue
            Hands(shell.frame, workplace, unit, *PEOPLE, chance=chance, touch=False).do()
            _, _, done = shell.frame.url.partition("?done=")
            if done:
                one.kept.readings += done.split(",")
                break
    shell.go("instruments")


def start_writing(pages: Page | Frame, root: str, mark: str, hub: str) -> None:
    pages.evaluate(WRITE_AND_EXCHANGE, [root, mark, hub, PAUSE_MS])


def go_on(page: Page, seconds: float) -> None:
    """Let all of them go on, and hear what they say."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        page.wait_for_timeout(20)


def acknowledged(heard: list[str]) -> list[str]:
    return [said.removeprefix("acknowledged ") for said in heard if said.startswith("acknowledged ")]


# --- in the end -------------------------------------------------------------------------------------------------------


def the_boards_agree(desk: Page, carried: Mapping[str, Carried], address: str) -> None:
    """Name and word of every unit, as the pages show them."""
    desk.goto(address)
    there = [row.split("\n")[:2] for row in desk.locator(".board__row").all_inner_texts()]
    assert len(there) == 3
    for one in carried.values():
        one.tab().go("")
        assert [row.split("\n")[:2] for row in one.tab().pages.locator(".board__row").all_inner_texts()] == there


def all_are_whole_and_the_same(copies: Mapping[str, Path]) -> None:
    """Checked by this computer's own program, every byte and every signature."""
    told = {name: verified(path) for name, path in copies.items()}
    chains = {name: {one["device"]: (one["events"], one["head"]) for one in it["chains"]} for name, it in told.items()}
    assert chains[HUB] == chains["north"] == chains["south"]
    for it in told.values():
        signed = {one["device_name"]: one["signed_sequence"] for one in it["chains"] if one["keyed"]}
        assert {*PHONES} <= signed.keys(), signed
        assert all(signed[name] for name in PHONES), signed

    moment = system_clock("UTC")()
    verdicts = []
    for path in copies.values():
        workplace = open_workplace(path, clock=lambda: moment, watch_place=False)
        verdicts.append([workplace.verdict(unit) for unit in sorted(workplace.world.units())])
        workplace.record.store.close()
    assert verdicts[0] == verdicts[1] == verdicts[2]


def nothing_is_lost_and_nothing_doubled(
    copies: Mapping[str, Path], carried: Mapping[str, Carried], at_hub: Kept
) -> None:
    promised = [*at_hub.names, *(name for one in carried.values() for name in one.kept.names)]
    readings = {event for one in carried.values() for event in one.kept.readings}
    assert len(promised) > ROUNDS
    assert len(set(promised)) == len(promised)
    assert readings
    for place, path in copies.items():
        with opened(path) as workplace:
            here = Counter(one.serial for one in workplace.world.things.values() if one.kind == "instrument")
            assert [name for name in promised if here[name] != 1] == [], f"lost or doubled on {place}"
            read = {short(one.id) for one in workplace.record.events_of_kind("judgement.evidence-recorded")}
            assert readings <= read, f"lost on {place}"
