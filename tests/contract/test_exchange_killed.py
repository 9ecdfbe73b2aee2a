"""A true server and two true clients, each ended at random moments while they exchange; afterwards all of them agree.

Processes end as the kernel ends them (SIGKILL), without any chance to tidy up. Everything in the records is invented.
"""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from loopworthy.bootstrap import open_workplace, registry, system_clock
from loopworthy.desk import days, devices, people, units
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.keys import STATE_VARIABLE, KeyFolder
from loopworthy.judgement.verdict import Verdict
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.time import Moment

ZONE = "Europe/Malta"
ROUNDS = 6
NOTES = 150
"""People that each side adds in a round, so that there is something to be cut."""


@dataclass
class Side:
    """A computer: its record, the folder of its keys, and every event that was acknowledged on it."""

    folder: Path
    name: str
    acknowledged: set[str] = field(default_factory=set)

    @property
    def record(self) -> Path:
        return self.folder / "record.sqlite"

    @property
    def environment(self) -> dict[str, str]:
        return os.environ | {STATE_VARIABLE: str(self.folder / "state"), "LOOPWORTHY_ZONE": ZONE, "TZ": ZONE}

    def start(self, *words: str) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            [sys.executable, "-m", "loopworthy", "--record", str(self.record), *words],
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
        )

    def run(self, *words: str) -> str:
        process = self.start(*words)
        out, err = process.communicate(timeout=60)
        assert process.returncode == 0, err.decode()
        return out.decode()

    @contextmanager
    def open(self, *, title: str = "") -> Iterator[Workplace]:
        workplace = open_workplace(
            self.record,
            clock=system_clock(ZONE),
            title=title,
            device_name=self.name,
            create=bool(title),
            keys=KeyFolder(self.folder / "state" / "keys"),
        )
        try:
            yield workplace
        finally:
            self.acknowledged |= {one.id for one in workplace.record.store.events()}
            workplace.record.store.close()

    def note(self, round_number: int) -> None:
        """Add people, and open the loop."""
        with self.open() as workplace:
            with workplace.record.store.transaction():
                for number in range(NOTES):
                    people.add_person(workplace, f"{self.name} {round_number} {number}")
            unit = workplace.unit("Tern")
            reader = workplace.person("Ilma")
            record_change(workplace, unit, Declared(change="loop-opened"), person=reader)

    def identities(self) -> set[str]:
        store = SqliteStore(self.record)
        try:
            return {one.id for one in store.events()}
        finally:
            store.close()

    def faults(self) -> list[str]:
        store = SqliteStore(self.record)
        try:
            report = verify(store, registry())
            return [*map(str, report.faults), *report.damage, *map(str, report.forks)]
        finally:
            store.close()

    def verdict(self, at: Moment) -> Verdict:
        with self.open() as workplace:
            return workplace.verdict(workplace.unit("Tern"), at)


@dataclass
class Server:
    """The hub, served; started again on the same port when it was ended."""

    side: Side
    port: int
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        self.process = self.side.start("serve", "--port", str(self.port))
        assert self.process.stdout is not None
        first = self.process.stdout.readline()
        if not first.startswith(b"Serving"):
            _, told = self.process.communicate(timeout=5)
            raise AssertionError(told.decode())

    def end(self) -> None:
        if self.process is not None:
            self.process.kill()
            self.process.communicate()
            self.process = None


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    hub = Side(tmp_path / "hub", "hub")
    hub.folder.mkdir()
    with hub.open(title="Trial") as workplace:
        reader = people.add_person(workplace, "Ilma")
        configuration = ready_configurations()["electronic-back-three-sensors"]
        unit = units.create_unit(workplace, "Tern", configuration, typed_by=reader)
        days.begin(workplace, (unit,), "dive-day", title="Thursday", typed_by=reader)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    running = Server(hub, port)
    running.start()
    yield running
    running.end()


def code_of(server: Server) -> str:
    with server.side.open() as workplace:
        person = workplace.person("Ilma")
        return devices.make_code(workplace, person=person, token=secrets.token_bytes).code


def test_whatever_is_ended_when_nothing_is_lost_and_all_agree_afterwards(server: Server, tmp_path: Path) -> None:
    chance = Random(secrets.randbits(32))
    sides = [Side(tmp_path / name, name) for name in ("laptop", "tablet")]
    for side in sides:
        side.folder.mkdir()
        side.run("exchange", "join", server.address, code_of(server), "--device-name", side.name)
    began = time.monotonic()
    sides[0].run("exchange", "with")
    usual_s = time.monotonic() - began
    for round_number in range(ROUNDS):
        for side in (*sides, server.side):
            side.note(round_number)
        running = [side.start("exchange", "with") for side in sides]
        ends = sorted((chance.uniform(0.3, 1.6) * usual_s, number) for number in range(3))
        began = time.monotonic()
        for after_s, which in ends[: chance.randint(1, 3)]:
            time.sleep(max(0.0, began + after_s - time.monotonic()))
            if which == 2:
                server.end()
                server.start()
            else:
                with suppress(ProcessLookupError):
                    running[which].kill()
        for process in running:
            process.communicate(timeout=60)
        assert [side.faults() for side in (*sides, server.side)] == [[], [], []], f"round {round_number}"
    for side in (*sides, *sides):
        side.run("exchange", "with")
    everybody = [*sides, server.side]
    acknowledged = set().union(*(side.acknowledged for side in everybody))
    for side in everybody:
        assert acknowledged <= side.identities(), side.name
        assert side.faults() == []
    now = system_clock(ZONE)()
    verdicts = [side.verdict(now) for side in everybody]
    assert verdicts[0] == verdicts[1] == verdicts[2]
    for side in everybody:
        assert side.run("record", "verify").startswith("unbroken")
