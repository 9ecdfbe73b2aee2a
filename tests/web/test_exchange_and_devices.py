"""Pages for exchanging with a hub and for letting devices in: code, joining, exchanging, letting in no more."""

from __future__ import annotations

import asyncio
import re
import secrets
from collections.abc import Mapping
from dataclasses import dataclass

import httpx
import numpy as np
import pytest
import zxingcpp

from loopworthy.bootstrap import catalogue_for, registry
from loopworthy.desk import devices
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange import client, native
from loopworthy.doors.exchange.client import Means, NotReachedError, Reply
from loopworthy.doors.exchange.hubs import joined_hubs, keep_hub
from loopworthy.doors.exchange.keys import Verifier
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.asked import PERSON_COOKIE
from loopworthy.doors.web.pages.devices import Devices
from loopworthy.doors.web.pages.exchange import Exchange
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from tests.web.conftest import Shop
from tests.web.visitor import Answered, Visitor

HUB = "http://loop.test"


@dataclass
class Sent:
    """The wire between a device and the hub in this process; may be out of range, or slow."""

    hub: Shop
    out_of_range: bool = False
    slow_s: float = 0.0

    def __post_init__(self) -> None:
        self.app = create_app(self.hub.workplace, verifier=Verifier())

    async def __call__(self, address: str, *, headers: Mapping[str, str], body: bytes, most: int) -> Reply:
        if self.out_of_range:
            raise NotReachedError(address, "no route")
        await asyncio.sleep(self.slow_s)
        return await native.send(
            address, headers=headers, body=body, most=most, transport=httpx.ASGITransport(app=self.app)
        )


@dataclass
class Phone:
    """A device that took the hub's record over, and somebody on its pages."""

    workplace: Workplace
    visitor: Visitor
    sent: Sent


@pytest.fixture
def hub(shop: Shop) -> Visitor:
    """Somebody at the hub's own pages."""
    visitor = Visitor(create_app(shop.workplace, verifier=Verifier()))
    visitor.cookies[PERSON_COOKIE] = shop.reader
    return visitor


@pytest.fixture
def phone(shop: Shop) -> Phone:
    sent = Sent(shop)
    means = Means(send=sent, verifier=Verifier(), clock=shop.clock)
    store = MemoryStore()
    code = devices.make_code(shop.workplace, person=shop.reader, token=secrets.token_bytes).code

    async def take_over() -> None:
        joined = await client.join(HUB, code, device_name="phone", means=means)
        keep_hub(store, joined)
        await client.take_over(store, registry(), joined, means=means)

    asyncio.run(take_over())
    record = Record(store, registry(), device_name="phone", token=secrets.token_bytes)
    workplace = Workplace(record, catalogue_for(), shop.clock)
    return Phone(workplace, Visitor(create_app(workplace, verifier=Verifier(), means=means)), sent)


def at_devices(answered: Answered) -> Devices:
    assert isinstance(answered.context, Devices)
    return answered.context


def at_exchange(answered: Answered) -> Exchange:
    assert isinstance(answered.context, Exchange)
    return answered.context


def make_code(hub: Visitor) -> Answered:
    return hub.send(hub.get("/record/devices").form("/record/devices"))


def test_a_person_at_the_hub_makes_a_code_and_a_camera_reads_it(hub: Visitor, shop: Shop) -> None:
    page = hub.get("/record/devices")
    assert at_devices(page).made is None
    assert at_devices(page).address.value == HUB
    made = at_devices(make_code(hub)).made
    assert made is not None
    assert re.fullmatch(r"[0-9A-Z]{4}-[0-9A-Z]{4}", made.code)
    assert made.listened  # plain http: the page says what that means
    drawn = np.full((made.drawn.modules, made.drawn.modules), 255, dtype=np.uint8)
    for x, y, length in re.findall(r"M(\d+) (\d+)\.5h(\d+)", made.drawn.path):
        drawn[int(y), int(x) : int(x) + int(length)] = 0
    found = zxingcpp.read_barcode(np.kron(drawn, np.ones((6, 6), dtype=np.uint8)))
    assert found is not None
    assert found.text == f"{HUB}/exchange/?code={made.code.replace('-', '')}"
    assert made.code not in hub.get("/record/devices").html  # shown once
    assert at_devices(hub.get("/record/devices")).open_codes == 1


def test_nobody_makes_a_code_without_a_name_or_for_an_address_that_is_none(hub: Visitor) -> None:
    hub.cookies.clear()
    refused = hub.send(hub.get("/record/devices").form("/record/devices"))
    assert (refused.status, at_devices(refused).made) == (422, None)
    wrong = hub.get("/record/devices").form("/record/devices").fill(address="ftp://elsewhere")
    wrong.set("person", at_devices(refused).signing.person.choices[0][0])  # type: ignore[union-attr]
    assert hub.send(wrong).status == 422
    assert at_devices(hub.get("/record/devices")).open_codes == 0


def test_a_device_is_listed_with_who_let_it_in_and_when_it_exchanged(hub: Visitor, phone: Phone) -> None:
    phone.visitor.send(phone.visitor.get("/record/exchange").form("/record/exchange/now"))
    shown = at_devices(hub.get("/record/devices"))
    assert [one.name for one in shown.writers] == ["memory", "phone"]
    assert [one.own for one in shown.writers] == [True, False]
    only = shown.admitted[0]
    assert (only.name, only.revoked) == ("phone", "")
    assert "Pim Example" in only.admitted
    assert only.last.startswith("Last exchange")
    assert only.writes_as == f"Writes as {shown.writers[1].device}."
    assert "agree" in only.offset


def test_entries_go_both_ways_and_the_verdict_is_the_same_on_both(shop: Shop, phone: Phone) -> None:
    shop.walk()
    page = phone.visitor.get("/record/exchange")
    assert at_exchange(page).hubs[0].last == "Nothing was exchanged with it yet."
    after = at_exchange(phone.visitor.send(page.form("/record/exchange/now")))
    assert not after.running
    assert after.hubs[0].not_exchanged == "Everything here is there as well."
    assert re.match(r"Last exchange .*: 1 sent, [1-9]\d* taken\.", after.hubs[0].last)
    assert after.hubs[0].problem == ""
    here, there = phone.workplace.verdict(shop.unit), shop.workplace.verdict(shop.unit)
    assert (here.word, here.until_ms) == (there.word, there.until_ms)
    phone.visitor.post("/people", [("name", "Juno Two")])
    assert "entr" in at_exchange(phone.visitor.get("/record/exchange")).hubs[0].not_exchanged


def test_a_device_that_was_let_in_no_more_is_told_so_on_its_page(hub: Visitor, phone: Phone, shop: Shop) -> None:
    form = hub.get("/record/devices").form("/record/devices/revoke")
    listed = at_devices(hub.send(form.fill(reason="left on the pier")))
    assert listed.admitted[0].revoked.startswith("Not let in any more since")
    assert listed.admitted[0].reason is None
    refused = at_exchange(phone.visitor.send(phone.visitor.get("/record/exchange").form("/record/exchange/now")))
    assert "not admitted any more" in refused.hubs[0].problem
    assert "new code" in refused.hubs[0].problem_step
    told = hub.get("/history?family=record")
    assert "The device phone is not admitted any more" in told.text


def test_revoking_asks_for_a_reason_and_stays_open(hub: Visitor, phone: Phone) -> None:
    refused = hub.send(hub.get("/record/devices").form("/record/devices/revoke").fill(reason=" "))
    assert refused.status == 422
    only = at_devices(refused).admitted[0]
    assert only.reason is not None
    assert only.reason.error
    assert only.revoked == ""


def test_a_hub_out_of_range_leaves_everything_as_it_was_and_says_what_to_do(phone: Phone) -> None:
    phone.sent.out_of_range = True
    before = phone.workplace.record.store.count()
    shown = at_exchange(phone.visitor.send(phone.visitor.get("/record/exchange").form("/record/exchange/now")))
    assert "was not reached: no route" in shown.hubs[0].problem
    assert "exchange again" in shown.hubs[0].problem_step
    assert phone.workplace.record.store.count() >= before


def test_a_slow_exchange_is_shown_under_way_and_no_page_waits_for_it(
    phone: Phone, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("loopworthy.doors.web.pages.exchange.WAIT_S", 0.01)
    phone.sent.slow_s = 0.2
    app, address = (
        phone.visitor._app,
        phone.visitor.get("/record/exchange").form("/record/exchange/now").values["hub"][0],
    )

    async def morning() -> tuple[str, str, str]:
        transport = httpx.ASGITransport(app=app)
        async with httpx.AsyncClient(transport=transport, base_url=HUB) as asking:
            sent = await asking.post("/record/exchange/now", data={"hub": address})
            assert sent.status_code == 303
            meanwhile = await asking.get("/record/exchange")
            board = await asking.get("/")
            assert board.status_code == 200
            await app.state.site.exchanging.wait(10)  # type: ignore[attr-defined]
            return meanwhile.text, board.text, (await asking.get("/record/exchange")).text

    meanwhile, _, after = asyncio.run(morning())
    assert "An exchange is under way." in meanwhile
    assert 'http-equiv="refresh"' in meanwhile
    assert "An exchange is under way." not in after
    assert "Everything here is there as well." in after


def test_a_hub_is_joined_by_what_its_code_says_or_by_hand(hub: Visitor, phone: Phone) -> None:
    phone.visitor.send(phone.visitor.get("/record/exchange").form("/record/exchange/leave"))
    assert at_exchange(phone.visitor.get("/record/exchange")).hubs == ()
    made = at_devices(make_code(hub)).made
    assert made is not None
    form = phone.visitor.get("/record/exchange").form("/record/exchange/join")
    joined = at_exchange(
        phone.visitor.send(form.fill(address=f"{HUB}/exchange/?code={made.code}", device_name="phone again"))
    )
    assert [one.title for one in joined.hubs] == ["memory"]
    second = at_devices(make_code(hub)).made
    assert second is not None
    form = phone.visitor.get("/record/exchange").form("/record/exchange/join")
    phone.visitor.send(form.fill(address=HUB, code=second.code.lower(), device_name="phone once more"))
    assert [one.name for one in devices.devices(phone.sent.hub.workplace).admitted] == [
        "phone once more",
        "phone again",
        "phone",
    ]
    assert len(joined_hubs(phone.workplace.record.store)) == 1


@pytest.mark.parametrize(
    ("address", "code", "status", "told"),
    [
        ("", "K7QM3XPA", 422, "the address of a hub"),
        ("ftp://hub", "K7QM3XPA", 422, "the address of a hub"),
        (HUB, "", 422, "the code that the hub shows"),
        (HUB, "WRNG0000", 400, "admits nobody"),
    ],
)
def test_joining_is_refused_in_words(phone: Phone, address: str, code: str, status: int, told: str) -> None:
    form = phone.visitor.get("/record/exchange").form("/record/exchange/join")
    refused = phone.visitor.send(form.fill(address=address, code=code, device_name="phone"))
    assert refused.status == status
    assert told in refused.text
    assert refused.form("/record/exchange/join").values["address"] == [address]


def test_where_nothing_can_be_exchanged_the_page_says_so(shop: Shop) -> None:
    visitor = Visitor(create_app(shop.workplace))
    page = visitor.get("/record/exchange")
    assert not at_exchange(page).possible
    assert "Here nothing can be exchanged" in page.text
    assert visitor.post("/record/exchange/now", [("hub", "")]).status == 409


def test_pages_lead_to_exchange_and_devices(hub: Visitor) -> None:
    assert hub.get("/record").document.all("a", href="/record/exchange")
    assert hub.get("/record/carry").document.all("a", href="/record/exchange")
    assert hub.get("/record/exchange").document.all("a", href="/record/devices")
