"""The phone's own part of joining and exchanging, with a browser's side that a test stands in for.

The true browser's side is tried by tests/browser/test_phone_exchange.py.
"""

from __future__ import annotations

import asyncio
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from loopworthy.bootstrap import system_clock
from loopworthy.doors.exchange import native
from loopworthy.doors.exchange.keys import Verifier
from loopworthy.doors.phone.entry import Entry
from loopworthy.doors.phone.outside import BrowserKeys
from loopworthy.record import offers
from loopworthy.record.signing import HeldKey, device_of, is_keyed
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.event import SeenHead
from tests.contract.exchange_world import HUB, HubPlace, make_hub

SETTINGS = json.dumps({"origin": HUB, "root": "/phone/open", "zone": "Europe/Malta"})


@dataclass
class Answer:
    status: int
    headers: str = "{}"
    why: str = ""
    body: Any = None


@dataclass
class Bytes:
    content: bytes

    def to_bytes(self) -> bytes:
        return self.content


class Browser:
    """A browser: keys that outlive a start of the program, and a network that may be cut."""

    def __init__(self, hub: HubPlace) -> None:
        self.hub = hub
        self.private: dict[str, Ed25519PrivateKey] = {}
        self.signed: dict[str, dict[str, object] | None] = {}
        self.gets_through: int | None = None
        self.flushed = 0
        self._spare = ""

    def start(self) -> Browser:
        """As at each start of the worker: a new spare key."""
        made = Ed25519PrivateKey.generate()
        self._spare = made.public_key().public_bytes_raw().hex()
        self.private[self._spare], self.signed[self._spare] = made, None
        return self

    def known(self) -> str:
        return json.dumps([{"publicKey": one, "signed": self.signed[one]} for one in self.private])

    def spare(self) -> str:
        return self._spare

    def use(self, public_key: str) -> None:
        assert public_key == self._spare
        self.start()

    async def sign(self, public_key: str, message: str) -> str:
        return self.private[public_key].sign(bytes.fromhex(message)).hex()

    async def remember(self, public_key: str, sequence: int, event: str) -> None:
        self.signed[public_key] = {"sequence": sequence, "event": event}

    async def verify(self, public_key: str, message: str, signature: str) -> bool:
        return await Verifier().verify(public_key, bytes.fromhex(message), bytes.fromhex(signature))

    async def post(self, address: str, headers: str, body: bytes, most: int) -> Answer:
        if self.gets_through is not None:
            if self.gets_through == 0:
                return Answer(status=0, why="Failed to fetch")
            self.gets_through -= 1
        transport = httpx.ASGITransport(app=self.hub.wire.app)
        found = await native.send(address, headers=json.loads(headers), body=body, most=most, transport=transport)
        return Answer(status=found.status, headers=json.dumps(dict(found.headers)), body=Bytes(found.body))

    async def written(self) -> None:
        self.flushed += 1


@pytest.fixture
def hub(tmp_path: Path) -> HubPlace:
    made = make_hub(tmp_path / "hub")
    # Joining needs the phone's clock, which is the computer's, to be near the hub's.
    made.place.clock.moment = system_clock("Europe/Malta")()
    return made


@pytest.fixture
def browser(hub: HubPlace) -> Browser:
    return Browser(hub)


def entry(browser: Browser, tmp_path: Path) -> Entry:
    """A start of the program on the phone."""
    folder, scratch = tmp_path / "record", tmp_path / "scratch"
    folder.mkdir(exist_ok=True)
    scratch.mkdir(exist_ok=True)
    return Entry(SETTINGS, browser.start(), folder=folder, scratch=scratch)


def joined(phone: Entry, code: str, address: str = HUB) -> dict[str, Any]:
    values = json.dumps({"address": address, "code": code, "device": "phone"})
    found = json.loads(asyncio.run(phone.join(values)))
    assert isinstance(found, dict)
    return found


def page(phone: Entry, method: str, target: str, body: bytes = b"") -> str:
    headers = [["content-type", "application/x-www-form-urlencoded"]]
    status, _, text = asyncio.run(phone.page(method, f"/phone/open/{target}", headers, body, True))
    assert status in (200, 303), text.decode()
    return text.decode()


def test_a_phone_joins_writes_under_its_own_key_and_exchanges(hub: HubPlace, browser: Browser, tmp_path: Path) -> None:
    phone = entry(browser, tmp_path)
    assert json.loads(phone.ask("open"))["answer"] is None
    facts = joined(phone, hub.code())["answer"]
    assert facts["title"] == "Quarry week"
    page(phone, "POST", "people", b"name=Juno+Example&display_units=metric")
    page(phone, "POST", "record/exchange/now", f"hub={HUB}".encode())
    assert "Everything here is there as well." in page(phone, "GET", "record/exchange")
    there = {one.envelope.device for one in hub.workplace.record.events()}
    (own,) = there - {hub.workplace.record.device}
    assert is_keyed(own)
    assert browser.flushed > 0
    assert any(self_signed is not None for self_signed in browser.signed.values())

    again = entry(browser, tmp_path)  # the phone was off: same key, same device
    assert json.loads(again.ask("open"))["answer"]["title"] == "Quarry week"
    page(again, "POST", "people", b"name=Remy+Example&display_units=metric")
    page(again, "POST", "record/exchange/now", f"hub={HUB}".encode())
    assert {one.envelope.device for one in hub.workplace.record.events()} == there


def test_joining_that_was_cut_shows_no_half_record_and_goes_on_without_a_new_code(
    hub: HubPlace, browser: Browser, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    true = offers.chunk
    monkeypatch.setattr(
        "loopworthy.doors.exchange.hub.chunk",
        lambda *given, **named: true(*given, **named, size=offers.Size(items=1)),
    )
    phone, code = entry(browser, tmp_path), hub.code()
    # It ends after it was admitted; then after it heard what the hub has; then after a first part of it.
    for gets_through in (1, 1, 2):
        browser.gets_through = gets_through
        assert "was not reached: Failed to fetch" in joined(phone, code)["error"]["message"]
        phone, code = entry(browser, tmp_path), ""
        assert json.loads(phone.ask("open"))["answer"] is None
    begun = json.loads(phone.ask("begin", json.dumps({"title": "Own", "device": "phone"})))
    assert "being taken over" in begun["error"]["message"]
    browser.gets_through = None
    assert joined(phone, "")["answer"]["title"] == "Quarry week"


def test_a_phone_with_a_record_joins_from_its_page_only(hub: HubPlace, browser: Browser, tmp_path: Path) -> None:
    phone = entry(browser, tmp_path)
    json.loads(phone.ask("begin", json.dumps({"title": "Own", "device": "phone"})))
    assert "already" in joined(phone, hub.code())["error"]["message"]


@pytest.mark.parametrize(("address", "code", "told"), [("ftp://x", "K7QM3XPA", "address"), (HUB, "", "code")])
def test_joining_is_refused_in_words(
    hub: HubPlace, browser: Browser, tmp_path: Path, address: str, code: str, told: str
) -> None:
    phone = entry(browser, tmp_path)
    assert told in joined(phone, code, address)["error"]["message"]
    assert json.loads(phone.ask("open"))["answer"] is None


def test_a_copy_brought_in_holds_no_token(hub: HubPlace, browser: Browser, tmp_path: Path) -> None:
    phone = entry(browser, tmp_path)
    joined(phone, hub.code())
    copy = Path(json.loads(phone.ask("copy"))["answer"])
    store = SqliteStore(copy, watch_place=False)
    assert store.setting("joined-hubs") == ""
    store.close()


def test_a_browser_without_a_spare_key_leaves_the_chain_unsigned(hub: HubPlace, browser: Browser) -> None:
    browser.start()
    keys = BrowserKeys(browser, lambda: "r")
    first = keys.fresh("r")
    assert first
    browser._spare = ""
    assert keys.fresh("r") == ""


def test_a_head_that_left_is_remembered_and_an_older_one_is_not(browser: Browser) -> None:
    browser.start()
    keys = BrowserKeys(browser, lambda: "r")
    public_key = keys.fresh("r")
    asyncio.run(keys.remember(public_key, SeenHead(sequence=3, event="b" * 64)))
    asyncio.run(keys.remember(public_key, SeenHead(sequence=2, event="a" * 64)))
    assert browser.signed[public_key] == {"sequence": 3, "event": "b" * 64}
    again = BrowserKeys(browser, lambda: "r").held(device_of("r", public_key))
    assert again == HeldKey(public_key=public_key, signed=SeenHead(sequence=3, event="b" * 64))
