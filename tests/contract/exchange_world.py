"""A hub and devices that exchange in process, over the true HTTP interface and a wire that a test may cut.

Everything in it is invented.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Coroutine
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import httpx
import msgspec

from loopworthy.bootstrap import open_workplace, registry
from loopworthy.desk import devices
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.people import add_person
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange import client, native
from loopworthy.doors.exchange.client import Means, Outcome, Reply
from loopworthy.doors.exchange.forms import ADDRESS, Problem
from loopworthy.doors.exchange.hubs import JoinedHub, hub_at, keep_hub
from loopworthy.doors.exchange.keys import KeyFolder, Verifier
from loopworthy.doors.exchange.running import exchange_once
from loopworthy.doors.web.app import create_app
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from loopworthy.vocabulary.time import Moment

HUB = "http://hub.test"
MORNING = Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta")

_Answer = TypeVar("_Answer")


def wait_for(answer: Coroutine[Any, Any, _Answer]) -> _Answer:
    """The result of a coroutine, in an event loop of its own."""
    return asyncio.run(answer)


@dataclass
class Wire:
    """Between a device and the hub's application; cuts what a test wants cut.

    Attributes
    ----------
    app : ASGI application
    cut_request, cut_answer : int or None
        After how many bytes the next request, or answer, ends.
    breaks_after : int or None
        So many requests get through; the next ones reach nobody.
    answers_lost : bool
        Whether what is answered never arrives, though the hub has done what was asked.
    """

    app: Any
    cut_request: int | None = None
    cut_answer: int | None = None
    breaks_after: int | None = None
    answers_lost: bool = False
    requests: list[str] = field(default_factory=list)

    async def __call__(self, address: str, *, headers: Any, body: bytes, most: int) -> Reply:
        if self.breaks_after is not None:
            if self.breaks_after == 0:
                raise client.NotReachedError(address, "out of range")
            self.breaks_after -= 1
        self.requests.append(address.partition(ADDRESS)[2])
        if self.cut_request is not None:
            body, self.cut_request = body[: self.cut_request], None
        answer = await native.send(
            address, headers=headers, body=body, most=most, transport=httpx.ASGITransport(app=self.app)
        )
        if self.answers_lost:
            raise client.NotReachedError(address, "the answer was lost")
        if self.cut_answer is not None:
            answer, self.cut_answer = (
                Reply(status=answer.status, headers=answer.headers, body=answer.body[: self.cut_answer]),
                None,
            )
        return answer


@dataclass
class Place:
    """A computer with a record file, keys of its own and a clock."""

    folder: Path
    clock: WalkingClock
    name: str

    @property
    def path(self) -> Path:
        return self.folder / "record.sqlite"

    @property
    def keys(self) -> KeyFolder:
        return KeyFolder(self.folder / "keys")

    def open(self, *, title: str = "") -> Workplace:
        """The record, opened anew as after a start of the program."""
        return open_workplace(
            self.path, clock=self.clock, device_name=self.name, keys=self.keys, title=title, create=bool(title)
        )

    def means(self, wire: Wire) -> Means:
        return Means(send=wire, verifier=Verifier(), clock=self.clock)

    def exchange(self, wire: Wire) -> Outcome:
        """Exchange with the only hub that was joined."""
        workplace = self.open()
        try:
            hub = hub_at(workplace.record.store, "")
            return wait_for(exchange_once(workplace.record, hub, self.means(wire)))[1]
        finally:
            workplace.record.store.close()

    def note(self, *names: str) -> None:
        """Record something: that there are people of these names."""
        workplace = self.open()
        for name in names:
            add_person(workplace, name)
        workplace.record.store.close()

    def identities(self) -> set[str]:
        store = SqliteStore(self.path)
        try:
            return {one.id for one in store.events()}
        finally:
            store.close()

    def is_whole(self) -> bool:
        """Whether every byte of the record is as it should be."""
        store = SqliteStore(self.path)
        try:
            report = verify(store, registry())
            return report.unbroken and not report.forks
        finally:
            store.close()


@dataclass
class HubPlace:
    """The hub, running."""

    place: Place
    workplace: Workplace
    person: str
    wire: Wire

    def code(self) -> str:
        return devices.make_code(self.workplace, person=self.person, token=secrets.token_bytes).code

    def ask(
        self, method: str, path: str, *, body: bytes = b"", token: str = "", headers: dict[str, str] | None = None
    ) -> httpx.Response:
        """One request, as any program might send it."""

        async def asked() -> httpx.Response:
            shown = {"Authorization": f"Bearer {token}"} if token else {}
            async with httpx.AsyncClient(transport=httpx.ASGITransport(app=self.wire.app)) as asking:
                return await asking.request(
                    method, f"{HUB}{ADDRESS}{path}", content=body, headers={**shown, **(headers or {})}
                )

        return wait_for(asked())

    def problem(self, answer: httpx.Response) -> Problem:
        """What a refused request was told."""
        assert answer.headers["content-type"] == "application/problem+json", answer.content
        found = msgspec.json.decode(answer.content, type=Problem)
        assert found.status == answer.status_code
        return found


def make_hub(folder: Path) -> HubPlace:
    """A hub on an invented morning, with a person in its record."""
    folder.mkdir(parents=True, exist_ok=True)
    place = Place(folder=folder, clock=WalkingClock(MORNING), name="hub")
    workplace = place.open(title="Quarry week")
    person = add_person(workplace, "Pim Example")
    verifier = Verifier()
    return HubPlace(place, workplace, person, Wire(create_app(workplace, verifier=verifier)))


def make_device(folder: Path, name: str, clock: WalkingClock) -> Place:
    """A device without a record."""
    folder.mkdir(parents=True, exist_ok=True)
    return Place(folder=folder, clock=clock, name=name)


def join(hub: HubPlace, device: Place, *, wire: Wire | None = None) -> JoinedHub:
    """Admit a device that has no record yet, and let it take the hub's over."""
    used = wire or hub.wire
    store = SqliteStore(device.path)
    try:
        joined = wait_for(client.join(HUB, hub.code(), device_name=device.name, means=device.means(used)))
        keep_hub(store, joined)
        wait_for(client.take_over(store, registry(), joined, means=device.means(used)))
    finally:
        store.close()
    return joined
