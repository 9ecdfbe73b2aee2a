"""The record on a phone, without a browser: begun, opened, copied, taken in, refused."""

from __future__ import annotations

import asyncio
import json
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import pytest

from loopworthy.bootstrap import open_workplace, system_clock
from loopworthy.doors.phone.bridge import Answered
from loopworthy.doors.phone.entry import Entry
from loopworthy.doors.phone.pocket import CHOSEN, PLACES, Pocket
from loopworthy.record import level
from loopworthy.record.sqlite import Journal, SqliteStore
from loopworthy.vocabulary.errors import DamagedError, RecordError, StoreError

FORM = [("content-type", "application/x-www-form-urlencoded")]


@pytest.fixture
def make(tmp_path: Path) -> Callable[..., Pocket]:
    """A phone's folder as it is found at a start."""
    (tmp_path / "record").mkdir()
    (tmp_path / "scratch").mkdir()

    def made(zone: str = "Europe/Malta") -> Pocket:
        return Pocket(
            tmp_path / "record",
            tmp_path / "scratch",
            origin="https://phone.example",
            root="/phone/open",
            zone_name=zone,
        )

    return made


def send(pocket: Pocket, method: str, path: str, fields: dict[str, str] | None = None, *, own: bool = True) -> Answered:
    """One request of the shell."""
    body = urlencode(fields or {}).encode()
    return asyncio.run(pocket.answer(method, f"/phone/open{path}", FORM if fields else [], body, own=own))


def test_nothing_is_there_until_a_record_is_begun(make: Callable[..., Pocket]) -> None:
    pocket = make()
    assert pocket.open() is None
    begun = pocket.begin("Boat", "Phone of Pim")
    assert (begun.title, begun.events, begun.invented, begun.zone) == ("Boat", 1, False, "Europe/Malta")
    assert make().open() == begun
    with pytest.raises(RecordError, match="already"):
        make().begin("Another", "Phone")


def test_a_file_made_by_a_phone_that_died_before_its_record_was_begun_is_no_record(
    make: Callable[..., Pocket], tmp_path: Path
) -> None:
    SqliteStore(tmp_path / "record" / PLACES[0], watch_place=False).close()
    assert make().open() is None
    assert make().begin("Boat", "Phone").events == 1


def test_an_unknown_zone_counts_as_universal_time(make: Callable[..., Pocket]) -> None:
    assert make(zone="Nowhere/Atoll").begin("Boat", "Phone").zone == "UTC"


def test_pages_begin_with_the_folders_address_and_who_reads_is_remembered(make: Callable[..., Pocket]) -> None:
    pocket = make()
    pocket.begin("Boat", "Phone")
    added = send(pocket, "POST", "/people", {"name": "Pim Example", "display_units": "metric"})
    assert added.status == 303
    page = send(pocket, "GET", "/people").body.decode()
    assert 'href="/phone/open/' in page
    assert 'href="/people' not in page
    assert "data-pocket" in page
    person = page.partition('name="person" value="')[2].partition('"')[0]
    chosen = send(pocket, "POST", "/people/me", {"person": person})
    assert chosen.status == 303
    assert not [name for name, _ in chosen.headers if name == "set-cookie"]

    later = make()
    later.open()
    assert "checked" in send(later, "GET", "/people").body.decode()


def test_what_comes_from_another_site_is_refused(make: Callable[..., Pocket]) -> None:
    pocket = make()
    pocket.begin("Boat", "Phone")
    sent = {"name": "Nobody", "display_units": "metric"}
    assert send(pocket, "POST", "/people", sent, own=False).status == 403
    assert pocket.facts().events == 1


def test_a_copy_taken_in_writes_as_a_new_device_and_the_record_before_can_be_gone_back_to(
    make: Callable[..., Pocket], tmp_path: Path
) -> None:
    pocket = make()
    pocket.begin("Boat", "Phone")
    send(pocket, "POST", "/people", {"name": "Pim Example", "display_units": "metric"})
    copy = tmp_path / "copy.sqlite"
    copy.write_bytes(pocket.copy().read_bytes())
    send(pocket, "POST", "/people", {"name": "Juno Example", "display_units": "metric"})

    taken = pocket.take_in(copy)
    assert (taken.events, taken.earlier) == (2, True)
    assert (tmp_path / "record" / CHOSEN).read_bytes() == b"1"
    send(pocket, "POST", "/people", {"name": "Gil Example", "display_units": "metric"})
    assert pocket.facts().events == 4  # two of before, a chain of its own, and the entry

    gone_back = make()
    gone_back.open()
    assert gone_back.go_back().events == 3
    assert "Juno Example" in send(gone_back, "GET", "/people").body.decode()


def test_a_damaged_copy_is_refused_and_nothing_is_replaced(make: Callable[..., Pocket], tmp_path: Path) -> None:
    pocket = make()
    pocket.begin("Boat", "Phone")
    copy = tmp_path / "copy.sqlite"
    body = pocket.copy().read_bytes()
    copy.write_bytes(body.replace(b'"Phone"', b'"Phony"'))
    assert copy.read_bytes() != body
    with pytest.raises(DamagedError, match="damaged"):
        pocket.take_in(copy)
    assert not (tmp_path / "record" / PLACES[1]).exists()
    assert make().open() is not None


def test_a_record_that_a_newer_program_wrote_is_refused_and_not_touched(
    make: Callable[..., Pocket], tmp_path: Path
) -> None:
    make().begin("Boat", "Phone")
    path = tmp_path / "record" / PLACES[0]
    store = SqliteStore(path, journal=Journal.TRUNCATE, watch_place=False)
    store.put_setting("written-at-level", str(level.LEVEL + 1))
    store.close()
    before = path.read_bytes()
    with pytest.raises(StoreError, match="newer program"):
        make().open()
    assert path.read_bytes() == before


def test_an_older_mark_is_raised_and_an_unreadable_one_refused(tmp_path: Path) -> None:
    workplace = open_workplace(tmp_path / "r.sqlite", clock=system_clock("UTC"), create=True)
    store = workplace.record.store
    assert level.level_of(store) == level.LEVEL
    level.take_up(store, level=level.LEVEL + 1)
    assert level.level_of(store) == level.LEVEL + 1
    store.put_setting("written-at-level", "seven")
    with pytest.raises(StoreError, match="newer program"):
        level.take_up(store)
    store.close()


def test_the_browser_is_answered_in_json_whatever_happens(tmp_path: Path) -> None:
    settings = json.dumps({"origin": "https://phone.example", "root": "/phone/open", "zone": "UTC"})
    entry = Entry(settings, folder=tmp_path, scratch=tmp_path)
    assert json.loads(entry.ask("open")) == {"answer": None}
    refused = json.loads(entry.ask("begin", json.dumps({"title": " ", "device": "Phone"})))
    assert refused["error"]["message"]
    begun = json.loads(entry.ask("begin", json.dumps({"title": "Boat", "device": "Phone"})))
    assert begun["answer"]["title"] == "Boat"
    assert "must be one of" in json.loads(entry.ask("fly"))["error"]["message"]
    status, headers, body = asyncio.run(entry.page("GET", "/phone/open/", [["accept", "text/html"]], b"", True))
    assert status == 200
    assert ["content-type", "text/html; charset=utf-8"] in headers
    assert b"<main" in body


def test_an_invented_club_can_be_looked_at_and_nothing_of_it_is_kept(
    make: Callable[..., Pocket], tmp_path: Path
) -> None:
    pocket = make()
    shown = pocket.rehearse()
    assert shown.invented
    assert send(pocket, "GET", "/").status == 200
    with pytest.raises(StoreError, match="in memory only"):
        pocket.copy()
    assert list((tmp_path / "record").iterdir()) == []
