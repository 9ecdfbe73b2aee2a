"""Whatever is recorded where, wherever an exchange is cut: afterwards hub and devices hold the same, nothing lost."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import count
from random import Random

import httpx
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette

from loopworthy.bootstrap import catalogue_for, registry
from loopworthy.desk import devices
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.people import add_person
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange import client, native
from loopworthy.doors.exchange.client import Means, NotReachedError, Reply
from loopworthy.doors.exchange.hub import Hub
from loopworthy.doors.exchange.hubs import JoinedHub
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.time import Moment
from tests.world.people import Checker, PocketKeys

HUB = "http://hub.test"
KINDS = registry()


@dataclass
class Cut:
    """A wire that lets some requests through, and loses either the next request or only its answer."""

    app: Starlette
    left: int | None = None
    after: bool = False

    async def __call__(self, address: str, *, headers: Mapping[str, str], body: bytes, most: int) -> Reply:
        lost = self.left == 0
        if self.left is not None:
            self.left -= 1
        if lost and not self.after:
            raise NotReachedError(address, "lost on the way")
        transport = httpx.ASGITransport(app=self.app)
        answer = await native.send(address, headers=headers, body=body, most=most, transport=transport)
        if lost:
            raise NotReachedError(address, "the answer was lost")
        return answer


@dataclass
class Device:
    """A device that took the hub's record over."""

    workplace: Workplace
    joined: JoinedHub

    def exchange(self, wire: Cut, clock: WalkingClock) -> None:
        means = Means(send=wire, verifier=Checker(), clock=clock)
        asyncio.run(client.exchange(self.workplace.record, self.joined, means=means))


def device(name: str, hub: Workplace, app: Starlette, clock: WalkingClock, person: str, seed: int) -> Device:
    means = Means(send=Cut(app), verifier=Checker(), clock=clock)
    code = devices.make_code(hub, person=person, token=secrets.token_bytes).code
    store = MemoryStore()
    joined = asyncio.run(client.join(HUB, code, device_name=name, means=means))
    asyncio.run(client.take_over(store, KINDS, joined, means=means))
    keys = PocketKeys(Random(seed), at_once=seed % 2 == 0)
    record = Record(store, KINDS, device_name=name, token=Random(seed).randbytes, keys=keys)
    return Device(Workplace(record, catalogue_for(), clock), joined)


STEP = st.one_of(
    st.tuples(st.just("note"), st.integers(0, 2), st.integers(1, 4)),
    st.tuples(st.just("exchange"), st.integers(1, 2), st.just(0)),
    st.tuples(st.just("cut"), st.integers(1, 2), st.integers(0, 7)),
    st.tuples(st.just("wait"), st.just(0), st.integers(0, 90)),
)


@settings(max_examples=100)
@given(st.lists(STEP, max_size=14), st.integers(0, 1000))
def test_hub_and_devices_agree_whatever_was_cut(steps: list[tuple[str, int, int]], seed: int) -> None:
    clock = WalkingClock(Moment(at="2026-06-14T05:30:00+02:00", zone="Europe/Malta"))
    keys = PocketKeys(Random(seed), at_once=True)
    record = Record.begin(
        MemoryStore(),
        KINDS,
        title="Quarry week",
        device_name="hub",
        now=clock(),
        token=Random(seed).randbytes,
        keys=keys,
    )
    hub = Workplace(record, catalogue_for(), clock)
    person = add_person(hub, "Pim Example")
    app = Starlette(routes=Hub(hub, verifier=Checker()).routes())
    sides = [
        device(one, hub, app, clock, person, seed + 5000 * n) for n, one in enumerate(("phone", "laptop"), start=1)
    ]
    everybody = [hub, *(side.workplace for side in sides)]
    acknowledged, numbers = {one.id for one in record.events()}, count(1)
    for what, who, much in steps:
        if what == "note":
            for _ in range(much):
                add_person(everybody[who], f"Example {next(numbers)}")
            acknowledged |= {one.id for one in everybody[who].record.events()}
        elif what == "wait":
            clock.advance(much)
        else:
            wire = Cut(app, left=much // 2, after=bool(much % 2)) if what == "cut" else Cut(app)
            try:
                sides[who - 1].exchange(wire, clock)
            except (NotReachedError, InputError):
                assert what == "cut"
            assert all(verify(one.record.store, KINDS).unbroken for one in everybody)
    for _ in range(2):
        for side in sides:
            side.exchange(Cut(app), clock)
    held = [{one.id for one in side.record.events()} for side in everybody]
    assert all(acknowledged <= one for one in held)
    names = [{side.record.words(text.digest) for text in side.record.store.texts()} for side in everybody]
    assert names[0] == names[1] == names[2]
    # What is left over is only what each noted about the last exchange itself, on its own chain.
    for one in held:
        assert {hub.record.get(event).envelope.kind for event in one & held[0] - acknowledged} <= {
            "record.chain-opened",
            "record.heads-received",
        }
    assert not any(side.record.store.waiting() for side in everybody)
    assert not any(side.record.fork_reports() for side in everybody)
