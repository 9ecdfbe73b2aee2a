"""A hub that is served, and computers that exchange with it, each a process of its own that a test may end.

Everything in the records is invented.
"""

from __future__ import annotations

import os
import secrets
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

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
NOTES = 150
"""People that a side adds at once, so that there is something to be cut."""


@dataclass
class Side:
    """A computer: its record, the folder of its keys, and every event that was acknowledged on it."""

    folder: Path
    name: str
    acknowledged: set[str] = field(default_factory=set)
    more: dict[str, str] = field(default_factory=dict)
    """Further variables of its environment."""

    @property
    def record(self) -> Path:
        return self.folder / "record.sqlite"

    @property
    def environment(self) -> dict[str, str]:
        return (
            os.environ | {STATE_VARIABLE: str(self.folder / "state"), "LOOPWORTHY_ZONE": ZONE, "TZ": ZONE} | self.more
        )

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
    """The hub, served; started again on the same port when it was ended.

    Attributes
    ----------
    words : tuple of str
        What else stands behind ``serve``: certificate and key.
    """

    side: Side
    port: int
    words: tuple[str, ...] = ()
    process: subprocess.Popen[bytes] | None = None

    @property
    def address(self) -> str:
        return f"{'https' if self.words else 'http'}://127.0.0.1:{self.port}"

    def start(self) -> None:
        self.process = self.side.start("serve", "--port", str(self.port), *self.words)
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


def make_server(folder: Path, *words: str) -> Server:
    """A hub with a unit on a dive day; not started yet."""
    hub = Side(folder, "hub")
    hub.folder.mkdir()
    with hub.open(title="Trial") as workplace:
        reader = people.add_person(workplace, "Ilma")
        configuration = ready_configurations()["electronic-back-three-sensors"]
        unit = units.create_unit(workplace, "Tern", configuration, typed_by=reader)
        days.begin(workplace, (unit,), "dive-day", title="Thursday", typed_by=reader)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    return Server(hub, port, words)


def code_of(server: Server) -> str:
    """A code that was made at the hub."""
    with server.side.open() as workplace:
        person = workplace.person("Ilma")
        return devices.make_code(workplace, person=person, token=secrets.token_bytes).code
