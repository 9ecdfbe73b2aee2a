"""Exchanging on the command line: admit, join, exchange, list, revoke, with a hub that answers in the process."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from pathlib import Path

import httpx
import pytest

from loopworthy.bootstrap import device_keys, open_workplace
from loopworthy.doors.exchange import native
from loopworthy.doors.exchange.keys import Verifier
from loopworthy.doors.web.app import create_app
from tests.unit.doors.cli.conftest import Terminal

HUB = "http://hub.test"
TRUE_SEND = native.send


@pytest.fixture
def hub(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Terminal]:
    """A record that is served, with a person in it, and the wire to it."""
    terminal = Terminal(tmp_path / "hub.sqlite")
    terminal.ok("record", "begin", "--title", "Quarry week", "--device-name", "hub")
    terminal.ok("person", "add", "Pim Example")
    workplace = open_workplace(terminal.record, clock=terminal.clock, keys=device_keys())
    transport = httpx.ASGITransport(app=create_app(workplace, verifier=Verifier()))
    monkeypatch.setattr(native, "send", partial(TRUE_SEND, transport=transport))
    yield terminal
    workplace.record.store.close()


@pytest.fixture
def laptop(tmp_path: Path, hub: Terminal) -> Terminal:
    return Terminal(tmp_path / "laptop" / "record.sqlite", clock=hub.clock)


def code_of(hub: Terminal) -> str:
    return str(hub.told("exchange", "admit", "--as", "Pim Example")["code"])


def test_a_computer_without_a_record_joins_and_takes_it_over(hub: Terminal, laptop: Terminal) -> None:
    told = laptop.told("exchange", "join", HUB, code_of(hub), "--device-name", "laptop")
    assert (told["title"], told["hub"]) == ("Quarry week", HUB)
    assert told["sent"] == 1  # that its chain is open
    assert laptop.told("person", "list")["people"][0]["name"] == "Pim Example"
    assert [one["name"] for one in laptop.told("exchange", "devices")["writers"]] == ["laptop", "hub"]
    assert [one["name"] for one in hub.told("exchange", "devices")["writers"]] == ["hub", "laptop"]
    assert laptop.told("record", "verify")["unbroken"]


def test_what_the_hub_shows_as_a_code_for_a_camera_is_enough(hub: Terminal, laptop: Terminal) -> None:
    shown = f"{HUB}/exchange/?code={code_of(hub)}"
    assert laptop.told("exchange", "join", shown)["hub"] == HUB


def test_what_is_recorded_on_either_side_is_on_both_after_an_exchange(hub: Terminal, laptop: Terminal) -> None:
    laptop.ok("exchange", "join", HUB, code_of(hub), "--device-name", "laptop")
    laptop.ok("person", "add", "Juno Example")
    hub.ok("person", "add", "Remy Example")
    assert laptop.told("exchange", "hubs")["hubs"][0]["not_exchanged"] == 1
    lines = laptop.ok("exchange", "with").splitlines()
    assert lines[0].startswith(f"Exchanged with {HUB}: ")
    assert "  The clocks of both agree." in lines
    names = [{one["name"] for one in side.told("person", "list")["people"]} for side in (hub, laptop)]
    assert names[0] == names[1] == {"Pim Example", "Juno Example", "Remy Example"}
    assert laptop.told("exchange", "hubs")["hubs"][0]["not_exchanged"] == 0


def test_a_revoked_computer_is_told_so_and_exchanges_no_more(hub: Terminal, laptop: Terminal) -> None:
    laptop.ok("exchange", "join", HUB, code_of(hub), "--device-name", "laptop")
    hub.ok("exchange", "revoke", "laptop", "--reason", "left on the pier", "--as", "Pim Example")
    assert "not admitted any more" in laptop.refused("exchange", "with")
    devices = hub.told("exchange", "devices")["admitted"]
    assert [(one["name"], one["by"], one["revoked"] is not None) for one in devices] == [
        ("laptop", "Pim Example", True)
    ]
    assert "Not admitted any more since" in hub.ok("exchange", "devices")


def test_a_wrong_code_is_refused_and_leaves_nothing_behind(hub: Terminal, laptop: Terminal) -> None:
    assert "admits nobody" in laptop.refused("exchange", "join", HUB, "WRNG-0000")
    code_of(hub)
    laptop.refused("exchange", "join", HUB, "WRNG-0001")
    assert "1 wrong codes" in hub.ok("exchange", "devices")
    assert "the code that the hub shows" in laptop.refused("exchange", "join", HUB)
    laptop.ok("exchange", "join", HUB, code_of(hub))


def test_a_hub_that_keeps_another_record_is_not_joined(hub: Terminal, laptop: Terminal) -> None:
    laptop.record.parent.mkdir()
    laptop.ok("record", "begin", "--title", "Another")
    assert "one that keeps record" in laptop.refused("exchange", "join", HUB, code_of(hub))
    assert laptop.told("exchange", "hubs")["hubs"] == []


def test_a_hub_out_of_range_is_told_with_the_way_on(
    hub: Terminal, laptop: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    laptop.ok("exchange", "join", HUB, code_of(hub))

    def out_of_range(request: httpx.Request) -> httpx.Response:
        raise httpx.ConnectError("no route", request=request)

    monkeypatch.setattr(native, "send", partial(TRUE_SEND, transport=httpx.MockTransport(out_of_range)))
    line = laptop.refused("exchange", "with", code=1)
    assert line == f"The hub at {HUB} was not reached: no route. Go on working; exchange again when it is in range."
    assert laptop.told("exchange", "hubs")["hubs"][0]["problem"].endswith("no route")


def test_whoever_answers_but_is_no_hub_is_told_from_one(
    hub: Terminal, laptop: Terminal, monkeypatch: pytest.MonkeyPatch
) -> None:
    laptop.ok("exchange", "join", HUB, code_of(hub))
    for status in (200, 302, 404, 500):
        answer = httpx.MockTransport(
            lambda _, status=status: httpx.Response(status, text="<html>Welcome aboard</html>")
        )
        monkeypatch.setattr(native, "send", partial(TRUE_SEND, transport=answer))
        assert laptop.run("exchange", "with").exit_code in (1, 2)
    assert laptop.told("record", "verify")["unbroken"]


def test_a_hub_is_left(hub: Terminal, laptop: Terminal) -> None:
    laptop.ok("exchange", "join", HUB, code_of(hub))
    laptop.ok("exchange", "leave", HUB)
    assert "hub that this device has joined" in laptop.refused("exchange", "with")


def test_nobody_admits_without_a_name(hub: Terminal) -> None:
    assert "the name of the person" in hub.refused("exchange", "admit")
