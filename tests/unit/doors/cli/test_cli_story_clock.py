"""The command line and the pages on one rehearsal: both go by the clock of its story, so nothing is set apart."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopworthy.bootstrap import clock_for, open_workplace
from loopworthy.desk.demo.club import OPENS_AT, ZONE
from loopworthy.doors.demo import demo_file, open_demo
from loopworthy.doors.web.app import create_app
from loopworthy.judgement.verdict import Word
from loopworthy.record import story_clock
from loopworthy.record.backup import backup
from loopworthy.record.memory import MemoryStore
from loopworthy.record.sqlite import SqliteStore
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.time import Moment
from tests.unit.doors.cli.conftest import Terminal
from tests.web.visitor import Visitor

OPENS = Moment(at=OPENS_AT, zone=ZONE)
YEARS_LATER = Moment(at="2031-02-03T09:00:00+01:00", zone=ZONE)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("club")


class Seconds:
    """A count that the test moves."""

    def __init__(self) -> None:
        self.value = 1_000_000.0

    def __call__(self) -> float:
        return self.value


def test_an_act_on_the_command_line_and_a_page_after_it_set_nothing_apart(folder: Path) -> None:
    served = open_demo(folder)
    pages = Visitor(create_app(served))
    assert pages.get("/").status == 200
    terminal = Terminal(demo_file(folder))
    terminal.clock.moment = YEARS_LATER  # the computer's own clock
    before, unit = served.record.store.count(), served.unit("Lantern")
    terminal.ok("--as", "Juno Example", "change", "record", "Lantern", "loop-opened")
    store = served.record.store
    assert store.count() > before
    assert pages.get(f"/unit/{short(unit)}").status == 200
    assert (store.departures(), list(store.waiting())) == (0, [])
    assert served.verdict(unit).word is Word.UNPROVEN
    newest = max(one.envelope.recorded_at.epoch_ms for one in served.record.events())
    assert 0 <= served.now().epoch_ms - newest < 5 * 60_000


def test_every_opening_of_a_rehearsal_reads_the_same_clock(folder: Path) -> None:
    first = open_demo(folder)
    second = open_workplace(demo_file(folder), clock=lambda: YEARS_LATER)
    assert abs(second.now().epoch_ms - first.now().epoch_ms) < 60_000
    third = open_demo(folder)  # begins it anew, for the others too
    assert abs(first.now().epoch_ms - third.now().epoch_ms) < 60_000


def test_a_record_that_is_no_rehearsal_goes_by_the_clock_given() -> None:
    clock = clock_for(MemoryStore(), lambda: YEARS_LATER)
    assert clock() == YEARS_LATER


def test_a_rehearsal_that_nobody_looked_at_for_days_begins_its_clock_anew() -> None:
    store, seconds = MemoryStore(), Seconds()
    begun = story_clock.begin(store, OPENS, seconds=seconds)
    seconds.value += 3600
    assert begun() == OPENS.plus(minutes=60)
    assert story_clock.clock_of(store, lambda: YEARS_LATER, seconds=seconds)() == OPENS.plus(minutes=60)
    seconds.value += 3 * 24 * 3600
    assert story_clock.clock_of(store, lambda: YEARS_LATER, seconds=seconds)() == OPENS
    assert begun() == OPENS


def test_a_computer_set_back_does_not_set_the_story_back_before_its_beginning() -> None:
    store, seconds = MemoryStore(), Seconds()
    begun = story_clock.begin(store, OPENS, seconds=seconds)
    seconds.value -= 5000
    assert begun() == OPENS
    assert story_clock.clock_of(store, lambda: YEARS_LATER, seconds=seconds)() == OPENS


def test_a_copy_of_a_rehearsal_goes_by_the_clock_of_its_own_device(folder: Path, tmp_path: Path) -> None:
    served = open_demo(folder)
    store = served.record.store
    assert isinstance(store, SqliteStore)
    backup(store, tmp_path / "copy.sqlite")
    copied = open_workplace(tmp_path / "copy.sqlite", clock=lambda: YEARS_LATER)
    assert copied.now() == YEARS_LATER
