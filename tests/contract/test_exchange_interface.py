"""The interface of an exchange: what a hub answers to devices that are admitted, to others, and to malice.

Nothing here comes from outside the project but the rules of HTTP: status codes as RFC 9110 and RFC 6585 mean them,
problems as RFC 9457, cross-origin requests as the Fetch standard.
"""

from __future__ import annotations

import secrets
import sqlite3
import zlib
from pathlib import Path

import msgspec
import pytest

from loopworthy.bootstrap import registry
from loopworthy.desk import devices
from loopworthy.desk.people import add_person
from loopworthy.doors.exchange import client
from loopworthy.doors.exchange.client import NotGrantedError, NotReachedError
from loopworthy.doors.exchange.forms import Joined, Joining, packed_knowledge
from loopworthy.doors.exchange.hubs import hub_at, joined_hubs
from loopworthy.record import offers
from loopworthy.record.admissions import CODE_LIFE_S, MOST_WRONG
from loopworthy.record.backup import backup
from loopworthy.record.events import DEVICE_ADMITTED, DEVICE_REVOKED, HEADS_RECEIVED, DeviceRevoked, HeadsReceived
from loopworthy.record.exchange import EndLine, EventLine, Header, export_lines, line_of
from loopworthy.record.offers import knowledge, knowledge_of_nothing, packed, unpacked
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import event_id
from tests.contract.exchange_world import HubPlace, Place, Wire, join, make_device, make_hub, wait_for


@pytest.fixture
def hub(tmp_path: Path) -> HubPlace:
    return make_hub(tmp_path / "hub")


@pytest.fixture
def phone(tmp_path: Path, hub: HubPlace) -> Place:
    return make_device(tmp_path / "phone", "phone", hub.place.clock)


def asked_to_join(code: str, name: str = "phone") -> bytes:
    return msgspec.json.encode(Joining(code=code, device_name=name))


def token_of(hub: HubPlace) -> str:
    answer = hub.ask("POST", "join", body=asked_to_join(hub.code()))
    return msgspec.json.decode(answer.content, type=Joined).token


def whole_of(hub: HubPlace) -> bytes:
    """The hub's own record as one chunk, so that pushing it changes nothing."""
    record = hub.workplace.record
    return packed(export_lines(record.store, exported_at=hub.workplace.now()))


# --- joining ----------------------------------------------------------------------------------------------------------


def test_a_code_admits_one_device_and_the_record_says_so(hub: HubPlace) -> None:
    code = hub.code()
    first = hub.ask("POST", "join", body=asked_to_join(code))
    assert first.status_code == 200
    joined = msgspec.json.decode(first.content, type=Joined)
    assert (joined.record, joined.title, joined.hub) == (hub.workplace.record.id, "Quarry week", "hub")
    admitted = hub.workplace.record.events_of_kind(DEVICE_ADMITTED)
    assert [one.envelope.typed_by for one in admitted] == [hub.person]
    assert joined.token.encode() not in admitted[0].body
    second = hub.ask("POST", "join", body=asked_to_join(code))
    assert hub.problem(second).code == "refused"
    assert second.status_code == 403


def test_a_code_may_be_typed_in_small_letters_without_the_dash_and_with_letters_that_look_alike(hub: HubPlace) -> None:
    for _ in range(20):
        typed = hub.code().replace("-", " ").replace("0", "o").replace("1", "l").lower()
        assert hub.ask("POST", "join", body=asked_to_join(typed)).status_code == 200


def test_a_code_ends_after_ten_minutes(hub: HubPlace) -> None:
    early, late = hub.code(), hub.code()
    hub.place.clock.advance((CODE_LIFE_S - 1) / 60)
    assert hub.ask("POST", "join", body=asked_to_join(early)).status_code == 200
    hub.place.clock.advance(2 / 60)
    assert hub.ask("POST", "join", body=asked_to_join(late)).status_code == 403


def test_a_few_wrong_codes_end_every_open_one(hub: HubPlace) -> None:
    code = hub.code()
    for guess in range(MOST_WRONG):
        assert hub.ask("POST", "join", body=asked_to_join(f"WRNG-000{guess}")).status_code == 403
    assert hub.ask("POST", "join", body=asked_to_join(code)).status_code == 403
    assert devices.devices(hub.workplace).wrong_codes == MOST_WRONG
    assert hub.ask("POST", "join", body=asked_to_join(hub.code())).status_code == 200
    assert devices.devices(hub.workplace).wrong_codes == 0


def test_wrong_used_and_old_codes_are_told_the_same(hub: HubPlace) -> None:
    used = hub.code()
    hub.ask("POST", "join", body=asked_to_join(used))
    old = hub.code()
    hub.place.clock.advance(CODE_LIFE_S / 60)
    answers = {hub.ask("POST", "join", body=asked_to_join(one)).content for one in (used, old, "NEVER123", "")}
    assert len(answers) == 1


def test_only_a_person_makes_a_code(hub: HubPlace) -> None:
    with pytest.raises(InputError, match="the person who admits"):
        devices.make_code(hub.workplace, person="", token=secrets.token_bytes)
    assert hub.ask("POST", "code").status_code == 404


def test_whoever_joins_sends_something_small_that_can_be_understood(hub: HubPlace) -> None:
    assert hub.ask("POST", "join", body=b"{").status_code == 400
    assert hub.ask("POST", "join", body=b"[" * 5000).status_code == 413
    assert hub.ask("POST", "join", body=asked_to_join(hub.code(), name="")).status_code == 400
    other = msgspec.json.encode(Joining(code=hub.code(), device_name="phone", versions=(99,)))
    answer = hub.ask("POST", "join", body=other)
    assert (answer.status_code, answer.headers["upgrade"]) == (426, "loopworthy-exchange/1")


def test_neither_code_nor_token_can_be_read_from_the_store_its_copies_or_exports(hub: HubPlace, tmp_path: Path) -> None:
    open_code, token = hub.code(), token_of(hub)
    store = hub.workplace.record.store
    assert isinstance(store, SqliteStore)
    exported = b"".join(export_lines(store, exported_at=hub.workplace.now()))
    copy = tmp_path / "copy.sqlite"
    backup(store, copy)
    with sqlite3.connect(hub.place.path) as looking:
        looking.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        kept = "".join(str(row) for row in looking.execute("SELECT * FROM settings"))
    looking.close()
    for secret in (token, open_code, open_code.replace("-", "")):
        assert secret not in kept
        assert secret.encode() not in exported
        assert secret.encode() not in copy.read_bytes()
    digest = next(iter(devices.devices(hub.workplace).admitted)).token_hash
    assert digest in kept  # what is looked for is what is kept
    assert digest.encode() not in exported
    assert digest.encode() not in copy.read_bytes()


# --- who may exchange -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["knowledge", "pull", "push"])
def test_nobody_exchanges_without_a_token(hub: HubPlace, path: str) -> None:
    token = token_of(hub)
    for headers in (
        {},
        {"Authorization": "Bearer "},
        {"Authorization": f"Basic {token}"},
        {"Cookie": f"token={token}"},
    ):
        answer = hub.ask("POST", path, body=whole_of(hub), headers=headers)
        assert (answer.status_code, hub.problem(answer).code) == (401, "not-admitted")
        assert answer.headers["www-authenticate"].startswith("Bearer")
    wrong = hub.ask("POST", path, body=whole_of(hub), token=token[:-1] + ("A" if token[-1] != "A" else "B"))
    assert wrong.status_code == 401
    assert hub.workplace.record.id.encode() not in wrong.content


@pytest.mark.parametrize("path", ["knowledge", "pull", "push"])
def test_a_revoked_device_can_neither_push_nor_pull(hub: HubPlace, path: str) -> None:
    token = token_of(hub)
    theirs = knowledge(hub.workplace.record.store, now=hub.workplace.now())
    body = whole_of(hub) if path == "push" else packed_knowledge(theirs)
    assert hub.ask("POST", path, body=body, token=token).status_code == 200
    devices.revoke(hub.workplace, "phone", person=hub.person, reason="left on the pier")
    answer = hub.ask("POST", path, body=body, token=token)
    assert (answer.status_code, hub.problem(answer).code) == (403, "refused")
    assert len(hub.workplace.record.events_of_kind(DEVICE_REVOKED)) == 1


def test_a_device_that_was_revoked_on_another_device_is_revoked_at_the_hub_when_that_exchanges(
    hub: HubPlace, phone: Place, tmp_path: Path
) -> None:
    lost = token_of(hub)
    admission = devices.devices(hub.workplace).admitted[0].id
    join(hub, phone)
    workplace = phone.open()
    workplace.writer().append(DEVICE_REVOKED, DeviceRevoked(admission=admission, reason="lost at sea"))
    workplace.record.store.close()
    body = packed_knowledge(knowledge(hub.workplace.record.store, now=hub.workplace.now()))
    assert hub.ask("POST", "knowledge", body=body, token=lost).status_code == 200
    phone.exchange(hub.wire)
    assert hub.ask("POST", "knowledge", body=body, token=lost).status_code == 403
    assert devices.devices(hub.workplace).admitted[-1].revoked is not None


def test_a_token_opens_no_other_record(hub: HubPlace, tmp_path: Path) -> None:
    other = make_hub(tmp_path / "other")
    token, foreign = token_of(hub), token_of(other)
    body = packed_knowledge(knowledge(other.workplace.record.store, now=other.workplace.now()))
    assert hub.ask("POST", "knowledge", body=body, token=foreign).status_code == 401
    for path, sent in (("knowledge", body), ("pull", body), ("push", whole_of(other))):
        answer = hub.ask("POST", path, body=sent, token=token)
        assert (answer.status_code, hub.problem(answer).code) == (409, "other-record")
    count = hub.workplace.record.store.count()
    assert hub.workplace.record.store.count() == count


def test_a_hub_tells_anybody_only_that_it_is_one(hub: HubPlace) -> None:
    answer = hub.ask("GET", "")
    assert answer.json() == {"format": "loopworthy-exchange", "versions": [1]}
    for method, path, status in (("GET", "push", 405), ("POST", "", 405), ("GET", "nothing", 404), ("PUT", "x", 404)):
        refused = hub.ask(method, path)
        assert refused.status_code == status
        hub.problem(refused)
    assert hub.ask("GET", "push").headers["allow"] == "POST"


def test_a_program_opened_from_elsewhere_may_ask_and_a_page_from_elsewhere_may_not(hub: HubPlace) -> None:
    foreign = {"Origin": "https://phones.example", "Sec-Fetch-Site": "cross-site"}
    before = {"Access-Control-Request-Method": "POST", "Access-Control-Request-Headers": "authorization"}
    preflight = hub.ask(
        "OPTIONS", "push", headers={**foreign, **before, "Access-Control-Request-Private-Network": "true"}
    )
    assert preflight.status_code == 204
    assert preflight.headers["access-control-allow-origin"] == "*"
    assert "authorization" in preflight.headers["access-control-allow-headers"]
    assert preflight.headers["access-control-allow-private-network"] == "true"
    assert "access-control-allow-credentials" not in preflight.headers
    answer = hub.ask("POST", "push", body=whole_of(hub), token=token_of(hub), headers=foreign)
    assert (answer.status_code, answer.headers["access-control-allow-origin"]) == (200, "*")
    assert hub.ask("POST", "../people", body=b"name=Mallory", headers=foreign).status_code in (403, 404)
    assert hub.ask("POST", "../record/devices", body=b"", headers=foreign).status_code == 403


# --- what is sent -----------------------------------------------------------------------------------------------------


def test_a_body_larger_than_the_limit_is_not_read(hub: HubPlace, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loopworthy.doors.exchange.hub.LARGEST_PACKED", 1000)
    token = token_of(hub)
    for path in ("knowledge", "pull", "push"):
        answer = hub.ask("POST", path, body=secrets.token_bytes(1001), token=token)
        assert (answer.status_code, hub.problem(answer).code) == (413, "too-large")


@pytest.mark.parametrize("path", ["knowledge", "pull", "push"])
def test_a_small_body_that_unpacks_to_something_vast_is_refused_before_it_is_unpacked(hub: HubPlace, path: str) -> None:
    packing = zlib.compressobj(9)
    bomb = b"".join(packing.compress(bytes(1024 * 1024)) for _ in range(200)) + packing.flush()
    assert len(bomb) < 300_000
    answer = hub.ask("POST", path, body=bomb, token=token_of(hub))
    assert (answer.status_code, hub.problem(answer).code) == (413, "too-large")


def test_what_is_no_chunk_is_refused_in_words_and_changes_nothing(hub: HubPlace) -> None:
    token, count = token_of(hub), hub.workplace.record.store.count()
    whole = whole_of(hub)
    for body in (b"", b"nonsense", whole[: len(whole) // 2], zlib.compress(b"{}\n"), zlib.compress(b"\xff\xfe")):
        answer = hub.ask("POST", "push", body=body, token=token)
        assert answer.status_code == 400, body
        assert hub.problem(answer).title
    lines = [b"x" * 3_000_000 + b"\n" if number == 1 else line for number, line in enumerate(unpacked(whole))]
    assert hub.ask("POST", "push", body=packed(lines), token=token).status_code == 413
    assert hub.workplace.record.store.count() == count


def test_an_altered_event_is_told_and_not_taken(hub: HubPlace, phone: Place) -> None:
    joined = join(hub, phone)
    phone.exchange(hub.wire)
    phone.note("Juno Example")
    workplace = phone.open()
    lines = list(export_lines(workplace.record.store, exported_at=phone.clock()))
    workplace.record.store.close()
    altered = [line.replace(b"person", b"nobody") for line in lines]
    assert altered != lines
    before = hub.place.identities()
    answer = hub.ask("POST", "push", body=packed(altered), token=joined.token)
    assert answer.status_code == 200
    assert answer.json()["taken"] == 0
    assert any("hash of its bytes" in one["why"] for one in answer.json()["refused"])
    assert hub.place.identities() == before
    assert hub.place.is_whole()


def test_a_chunk_that_is_sent_again_is_taken_once(hub: HubPlace, phone: Place) -> None:
    joined = join(hub, phone)
    phone.exchange(hub.wire)
    phone.note("Juno Example")
    workplace = phone.open()
    body = packed(export_lines(workplace.record.store, exported_at=phone.clock()))
    workplace.record.store.close()
    first = hub.ask("POST", "push?last=yes", body=body, token=joined.token).json()
    after = hub.place.identities()
    second = hub.ask("POST", "push?last=yes", body=body, token=joined.token).json()
    assert first["taken"] > 0
    assert second["taken"] == 0
    assert hub.place.identities() == after


def test_an_admitted_device_cannot_continue_the_chain_of_another(hub: HubPlace, phone: Place) -> None:
    joined = join(hub, phone)
    own = hub.workplace.record
    last = own.get(own.heads()[own.device].event)
    envelope = msgspec.json.decode(last.body)
    forged = msgspec.json.encode(
        {**envelope, "sequence": envelope["sequence"] + 1, "previous": last.id}, order="sorted"
    )
    header = Header(format="loopworthy-record", version=2, record=own.id, exported_at=hub.workplace.now(), heads={})
    lines = [line_of(header), line_of(EventLine(event=event_id(forged), body=forged.decode()))]
    lines.append(line_of(EndLine(lines=2)))
    before = hub.place.identities()
    hub.ask("POST", "push?last=yes", body=packed(lines), token=joined.token)
    assert hub.place.identities() == before
    assert own.device == envelope["device"]  # nor does the hub take itself for a copy


# --- exchanging -------------------------------------------------------------------------------------------------------


def test_a_device_without_a_record_takes_the_hubs_over_and_writes_as_a_new_device(hub: HubPlace, phone: Place) -> None:
    join(hub, phone)
    assert phone.identities() == hub.place.identities()
    workplace = phone.open()
    assert workplace.record.title == "Quarry week"
    assert workplace.record.device == ""
    add_person(workplace, "Juno Example")
    assert workplace.record.device not in ("", hub.workplace.record.device)
    assert len(workplace.record.device) == 32  # that of a key
    workplace.record.store.close()
    outcome = phone.exchange(hub.wire)
    assert outcome.sent > 0
    assert phone.identities() >= hub.place.identities()
    assert phone.is_whole()
    assert hub.place.is_whole()


def test_both_sides_record_what_they_received_and_how_the_clocks_differ(hub: HubPlace, phone: Place) -> None:
    join(hub, phone)
    phone.clock = type(phone.clock)(hub.place.clock().plus(seconds=95))
    phone.note("Juno Example")
    outcome = phone.exchange(hub.wire)
    assert outcome.offset_ms == pytest.approx(-95_000, abs=5)
    workplace = phone.open()
    own = workplace.record.device
    workplace.record.store.close()
    there = [one.payload for one in hub.workplace.record.events_of_kind(HEADS_RECEIVED)]
    assert any(isinstance(one, HeadsReceived) and {head.device for head in one.heads} == {own} for one in there)
    shown = next(one for one in devices.devices(hub.workplace).writers if one.device == own)
    assert shown.offset_ms == pytest.approx(95_000, abs=5)
    admitted = devices.devices(hub.workplace).admitted[0]
    assert (admitted.device, admitted.last is not None) == (own, True)
    here = phone.open()
    told = [one.payload for one in here.record.events_of_kind(HEADS_RECEIVED)]
    here.record.store.close()
    assert [one.offsets[0].offset_ms for one in told if isinstance(one, HeadsReceived)][-1] == outcome.offset_ms


def test_when_nothing_is_new_nothing_is_written(hub: HubPlace, phone: Place) -> None:
    join(hub, phone)
    phone.note("Juno Example")
    phone.exchange(hub.wire)
    phone.exchange(hub.wire)
    before = (phone.identities(), hub.place.identities())
    for _ in range(3):
        outcome = phone.exchange(hub.wire)
        assert (outcome.sent, outcome.taken) == (0, 0)
    assert (phone.identities(), hub.place.identities()) == before


def test_an_exchange_that_was_cut_anywhere_goes_on_and_leaves_both_sides_whole(hub: HubPlace, phone: Place) -> None:
    join(hub, phone)
    for number in range(6):
        add_person(hub.workplace, f"Hub {number}")
        phone.note(f"Phone {number}")
    acknowledged = phone.identities() | hub.place.identities()
    for wire in (
        Wire(hub.wire.app, breaks_after=0),
        Wire(hub.wire.app, breaks_after=1),
        Wire(hub.wire.app, breaks_after=2),
        Wire(hub.wire.app, cut_answer=40),
        Wire(hub.wire.app, answers_lost=True),
    ):
        with pytest.raises((NotReachedError, InputError)):
            phone.exchange(wire)
        assert phone.is_whole()
        assert hub.place.is_whole()
    phone.exchange(hub.wire)
    phone.exchange(hub.wire)
    assert phone.identities() >= acknowledged
    assert hub.place.identities() >= acknowledged


@pytest.mark.parametrize("share", [0.0, 0.2, 0.5, 0.9, 0.999])
def test_a_push_that_ends_at_any_byte_changes_nothing(hub: HubPlace, phone: Place, share: float) -> None:
    joined = join(hub, phone)
    phone.note("Juno Example")
    workplace = phone.open()
    body = packed(export_lines(workplace.record.store, exported_at=phone.clock()))
    workplace.record.store.close()
    before = hub.place.identities()
    answer = hub.ask("POST", "push", body=body[: int(len(body) * share)], token=joined.token)
    assert answer.status_code == 400
    assert hub.place.identities() == before
    phone.exchange(hub.wire)
    assert hub.place.identities() >= phone.identities() - {hub_own(phone)}


def hub_own(phone: Place) -> str:
    """The phone's own note that it received something, which it sends next time."""
    workplace = phone.open()
    try:
        return workplace.record.heads()[workplace.record.device].event
    finally:
        workplace.record.store.close()


def test_taking_over_goes_on_where_it_was_cut(hub: HubPlace, phone: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(30):
        add_person(hub.workplace, f"Hub {number}")
    true = offers.chunk
    monkeypatch.setattr(
        "loopworthy.doors.exchange.hub.chunk",
        lambda *given, **named: true(*given, **named, size=offers.Size(items=7)),
    )
    wire = Wire(hub.wire.app, breaks_after=4)
    with pytest.raises(NotReachedError):
        join(hub, phone, wire=wire)
    store = SqliteStore(phone.path)
    part = store.count() + len(store.waiting())  # their device has signed for the last of them, which is still to come
    assert 0 < part < len(hub.place.identities())
    joined = hub_at(store, "")
    hub.wire.requests.clear()
    wait_for(client.take_over(store, registry(), joined, means=phone.means(hub.wire)))
    store.close()
    assert phone.identities() == hub.place.identities()
    pulls = [one for one in hub.wire.requests if one.startswith("pull")]
    missing = len(hub.place.identities()) - part + len(hub.workplace.record.store.texts())
    assert len(pulls) == -(-missing // 7)  # only the rest was asked for


def test_what_a_hub_says_is_not_believed(hub: HubPlace, phone: Place, tmp_path: Path) -> None:
    join(hub, phone)
    other = make_hub(tmp_path / "other")
    with pytest.raises((NotGrantedError, NotReachedError)):
        phone.exchange(Wire(other.wire.app))
    before = phone.identities()

    async def liar(address: str, *, headers: object, body: bytes, most: int) -> client.Reply:
        what = packed_knowledge(knowledge_of_nothing(other.workplace.record.id, now=phone.clock()))
        return client.Reply(status=200, headers={}, body=what)

    workplace = phone.open()
    joined = joined_hubs(workplace.record.store)[0]
    means = client.Means(send=liar, verifier=phone.means(hub.wire).verifier, clock=phone.clock)
    with pytest.raises(InputError, match="as the hub said before"):
        wait_for(client.exchange(workplace.record, joined, means=means))
    workplace.record.store.close()
    assert phone.identities() >= before
    assert phone.is_whole()


def test_two_devices_meet_at_the_hub_and_all_three_agree(hub: HubPlace, phone: Place, tmp_path: Path) -> None:
    laptop = make_device(tmp_path / "laptop", "laptop", hub.place.clock)
    join(hub, phone)
    join(hub, laptop)
    phone.note("On the phone")
    laptop.note("On the laptop")
    for device in (phone, laptop, phone, laptop, phone, laptop):
        device.exchange(hub.wire)
    assert phone.identities() == laptop.identities() == hub.place.identities()
