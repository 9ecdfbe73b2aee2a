"""A record that was damaged before the server started is served as one page, at every address; nothing is written."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from loopworthy.bootstrap import open_workplace
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.people import add_person
from loopworthy.desk.record_care import check_record
from loopworthy.doors.texts import Texts
from loopworthy.doors.web.damaged import MOST_FAULTS, create_damaged_app, damage
from loopworthy.vocabulary.errors import DamagedError
from loopworthy.vocabulary.identity import short
from tests.web.conftest import MORNING
from tests.web.visitor import Visitor


def written(path: Path, people: int) -> None:
    """A record with so many people in it."""
    workplace = open_workplace(
        path, clock=WalkingClock(MORNING), create=True, title="Harbour", device_name="deck phone"
    )
    for number in range(people):
        add_person(workplace, f"Example {number}")
    workplace.record.store.close()


def flip(path: Path, *places: int) -> list[str]:
    """One bit of these events is no longer what it was; their identities."""
    with closing(sqlite3.connect(path)) as connection:
        for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            connection.execute(f'DROP TRIGGER "{name}"')
        hit = []
        for place in places:
            identity, body = connection.execute("SELECT id, body FROM events WHERE position = ?", (place,)).fetchone()
            broken = bytes([*body[:40], body[40] ^ 1, *body[41:]])
            connection.execute("UPDATE events SET body = ? WHERE position = ?", (broken, place))
            hit.append(identity)
        connection.commit()
    return hit


def visitor_of(path: Path) -> Visitor:
    """Somebody who visits what is served of that record."""
    workplace = open_workplace(path, clock=WalkingClock(MORNING))
    with pytest.raises(DamagedError) as caught:
        workplace.book()
    report = check_record(workplace)
    return Visitor(create_damaged_app(str(path), caught.value, report, clock=WalkingClock(MORNING)))


def test_every_address_names_the_first_bad_event_and_what_is_still_readable(tmp_path: Path) -> None:
    path = tmp_path / "harbour.sqlite"
    written(path, 6)
    (bad,) = flip(path, 4)
    visitor = visitor_of(path)
    for address in ("/", "/unit/0123456789ab/do/air", "/record", "/phone/anything"):
        answered = visitor.get(address)
        assert answered.status == 503, address
        text = answered.text
        assert "Event 4 of chain" in text
        assert f"({short(bad)}): its bytes no longer fit its hash" in text
        assert "6 of 7 entries are as they were written" in text
        assert "deck phone: 6 entries, up to entry 7" in text
        for command in ("record verify", "record restore", "--leave-out-damaged"):
            assert command in text
        assert str(path) in text
    assert not answered.document.all("form")
    assert "default-src 'none'" in answered.headers["content-security-policy"]


def test_nothing_is_written_whatever_is_sent(tmp_path: Path) -> None:
    path = tmp_path / "harbour.sqlite"
    written(path, 3)
    flip(path, 2)
    visitor = visitor_of(path)
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    answered = visitor.post("/people/new", {"name": "Ilma Example"})
    assert answered.status == 503
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before


def test_health_is_told_in_one_line(tmp_path: Path) -> None:
    path = tmp_path / "harbour.sqlite"
    written(path, 3)
    (bad,) = flip(path, 2)
    answered = visitor_of(path).get("/healthz")
    assert answered.status == 503
    assert short(bad) in answered.html


def test_of_very_much_damage_the_first_is_told_and_the_rest_counted(tmp_path: Path) -> None:
    path = tmp_path / "harbour.sqlite"
    written(path, 30)
    flip(path, *range(2, 28, 2))
    text = visitor_of(path).get("/").text
    assert "Event 2 of chain" in text
    assert "more are not shown" in text
    assert text.count("no longer fit its hash") <= MOST_FAULTS + 1


def test_a_file_that_cannot_be_opened_says_what_the_store_said() -> None:
    error = DamagedError("Cannot open harbour.sqlite: the file is damaged")
    told = damage(Texts.load("en"), "harbour.sqlite", error, None, now=MORNING)
    assert told.first == error.message
    assert (told.readable, told.chains) == ("", ())


def test_a_damaged_page_of_the_file_is_told_as_damage(tmp_path: Path) -> None:
    path = tmp_path / "harbour.sqlite"
    written(path, 100)
    whole = path.read_bytes()
    path.write_bytes(whole[:4096] + b"\xff" * (len(whole) - 4096))
    with pytest.raises(DamagedError, match="the file is damaged"):
        open_workplace(path, clock=WalkingClock(MORNING)).book()
