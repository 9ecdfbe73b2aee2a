"""A long record is told from a short book: the same verdicts, made anew when it is of no use, never needed."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopworthy import bootstrap
from loopworthy.desk import mending
from loopworthy.desk.workplace import SHORT_BOOK, Workplace
from loopworthy.doors.demo import demo_file, open_demo
from loopworthy.record.store import Snapshot
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-06-14T11:01:00+02:00", zone="Europe/Malta")


@pytest.fixture(scope="module")
def club(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The file of the invented club: some four thousand events."""
    folder = tmp_path_factory.mktemp("club")
    open_demo(folder).record.store.close()
    return demo_file(folder)


def opened(path: Path, *, short: bool, owner: dict[str, str] | None = None, now: Moment = NOW) -> Workplace:
    workplace = bootstrap.open_workplace(path, clock=lambda: now, owner_files=owner, short=short)
    workplace.clock = lambda: now  # a rehearsal would go by its own, which runs on
    return workplace


def test_a_long_record_keeps_a_short_book_and_tells_the_same_verdicts_from_it(club: Path) -> None:
    full = opened(club, short=False)
    verdicts = [full.verdict(unit) for unit in full.world.units()]
    tasks = [full.outstanding(unit) for unit in full.world.units()]
    assert full.record.store.snapshot(SHORT_BOOK) is not None
    quick = opened(club, short=True)
    assert [quick.verdict(unit) for unit in quick.world.units()] == verdicts
    assert [quick.outstanding(unit) for unit in quick.world.units()] == tasks
    assert len(quick.book().items) < len(full.book().items)  # it did not read the whole record


def test_a_short_book_goes_on_with_what_is_recorded_after_it(club: Path) -> None:
    full = opened(club, short=False)
    full.book()
    unit = full.unit("Kettle")
    person = full.world.of_kind("person")[0].id
    reading = max((one for one in full.book().items.values() if one.unit == unit), key=lambda one: one.order)
    mending.withdraw(full, reading.event, reason="tried", person=person)
    quick = opened(club, short=True)
    assert quick.verdict(unit) == opened(club, short=False).verdict(unit)


@pytest.mark.parametrize("body", [b"", b"not a book", b"\x91\xc0"])
def test_a_short_book_that_cannot_be_read_is_made_anew(club: Path, body: bytes) -> None:
    full = opened(club, short=False)
    wanted = [full.verdict(unit) for unit in full.world.units()]
    full.record.store.put_snapshot(SHORT_BOOK, Snapshot(through=10**9, body=body))
    quick = opened(club, short=True)
    assert [quick.verdict(unit) for unit in quick.world.units()] == wanted
    full.record.store.drop_snapshots()
    assert [opened(club, short=True).verdict(unit) for unit in quick.world.units()] == wanted


def test_a_short_book_of_another_catalogue_is_not_used(club: Path) -> None:
    opened(club, short=False).book()
    owner = {"own.toml": '[tighten."C06.tolerance"]\nvalue = "0.1"\nsource = "rule of the house"\n'}
    stricter, wanted = (opened(club, short=short, owner=owner) for short in (True, False))
    unit = wanted.unit("Lantern")
    assert wanted.verdict(unit).word.value != "ready"  # by the stricter limit
    assert stricter.verdict(unit) == wanted.verdict(unit)


def test_a_clock_that_is_behind_the_short_book_reads_the_whole_record(club: Path) -> None:
    opened(club, short=False).book()
    behind = Moment(at="2026-06-01T09:00:00+02:00", zone="Europe/Malta")
    quick, full = (opened(club, short=short, now=behind) for short in (True, False))
    assert [quick.verdict(one) for one in quick.world.units()] == [full.verdict(one) for one in full.world.units()]


def test_a_short_record_needs_no_short_book(tmp_path: Path) -> None:
    path = tmp_path / "new.sqlite"
    young = bootstrap.open_workplace(path, clock=lambda: NOW, create=True)
    young.book()
    assert young.record.store.snapshot(SHORT_BOOK) is None
