"""Opening the rehearsal: one file, made once; a clock that begins at the story's moment and runs on."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loopworthy.desk.demo.club import OPENS_AT, ZONE
from loopworthy.desk.entry import Typed
from loopworthy.desk.steps import record_steps
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.demo import demo_file, memory_demo, open_demo
from loopworthy.judgement.verdict import Word
from loopworthy.record.sqlite import SqliteStore
from loopworthy.record.verify import verify
from loopworthy.vocabulary.errors import StoreError
from loopworthy.vocabulary.time import Moment

OPENS = Moment(at=OPENS_AT, zone=ZONE)


class Seconds:
    """A count that the test moves."""

    def __init__(self) -> None:
        self.value = 1000.0

    def __call__(self) -> float:
        return self.value


def close(workplace: Workplace) -> None:
    store = workplace.record.store
    assert isinstance(store, SqliteStore)
    store.close()


def words(workplace: Workplace) -> dict[str, Word]:
    return {workplace.name(unit): workplace.verdict(unit).word for unit in workplace.world.units()}


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A directory with the rehearsal in it, as a first opening leaves it."""
    directory = tmp_path_factory.mktemp("rehearsal") / "of" / "the club"
    close(open_demo(directory))
    return directory


def test_it_opens_with_one_ready_one_unproven_and_one_at_stop(kept: Path) -> None:
    workplace = open_demo(kept, seconds=Seconds())
    assert words(workplace) == {"Lantern": Word.READY, "Thimble": Word.UNPROVEN, "Kettle": Word.STOP}
    assert workplace.record.invented
    assert workplace.now() == OPENS
    assert workplace.now().zone == "Europe/Malta"
    close(workplace)


def test_opening_twice_gives_the_same_record_and_begins_the_clock_anew(kept: Path) -> None:
    seconds = Seconds()
    first = open_demo(kept, seconds=seconds)
    seconds.value += 300.0
    assert first.now().epoch_ms == OPENS.epoch_ms + 300_000
    heads = first.record.heads()
    identity = first.record.id
    close(first)
    again = open_demo(kept, seconds=seconds)
    assert (again.record.id, again.record.heads()) == (identity, heads)
    assert again.now() == OPENS
    assert words(again)["Lantern"] is Word.READY
    close(again)


def test_the_ready_unit_does_not_stay_ready(kept: Path) -> None:
    seconds = Seconds()
    workplace = open_demo(kept, seconds=seconds)
    seconds.value += 600.0
    assert words(workplace)["Lantern"] is Word.UNPROVEN
    close(workplace)


def test_nothing_but_the_file_is_left_in_the_directory(kept: Path) -> None:
    name = demo_file(kept).name
    assert {one.name for one in kept.iterdir()} <= {name, f"{name}-wal", f"{name}-shm"}


def test_the_file_verifies_and_goes_on_as_a_device_of_its_own(kept: Path, tmp_path: Path) -> None:
    shutil.copy(demo_file(kept), demo_file(tmp_path))
    seconds = Seconds()
    workplace = open_demo(tmp_path, seconds=seconds)
    seconds.value += 60.0
    unit = workplace.unit("Kettle")
    typed = Typed(step="C01", about=unit, fields={"controller_hpa": "1012", "barometer_hpa": "1012"})
    record_steps(workplace, unit, [typed], read_by=workplace.person("Pim Example"))
    report = verify(workplace.record.store, workplace.record.registry)
    assert report.unbroken
    assert len(report.chains) == 2
    close(workplace)


def test_after_going_on_time_does_not_run_backwards_and_afresh_begins_again(kept: Path, tmp_path: Path) -> None:
    shutil.copy(demo_file(kept), demo_file(tmp_path))
    seconds = Seconds()
    workplace = open_demo(tmp_path, seconds=seconds)
    count, identity = len(workplace.record.events()), workplace.record.id
    seconds.value += 120.0
    unit = workplace.unit("Kettle")
    typed = Typed(step="C01", about=unit, fields={"controller_hpa": "1012", "barometer_hpa": "1012"})
    record_steps(workplace, unit, [typed], read_by=workplace.person("Pim Example"))
    close(workplace)
    again = open_demo(tmp_path, seconds=seconds)
    assert again.now().epoch_ms == OPENS.epoch_ms + 121_000
    assert len(again.record.events()) == count + 2  # the reading, and the opening of this device's chain
    close(again)
    afresh = open_demo(tmp_path, afresh=True, seconds=seconds)
    assert afresh.record.id != identity
    assert len(afresh.record.events()) == count
    assert afresh.now() == OPENS
    close(afresh)


def test_a_place_that_cannot_be_written_is_said_with_what_to_do(tmp_path: Path) -> None:
    blocked = tmp_path / "a file"
    blocked.write_text("not a directory")
    with pytest.raises(StoreError, match="directory"):
        open_demo(blocked / "rehearsal")
    assert blocked.read_text() == "not a directory"


def test_the_rehearsal_in_memory_says_the_same() -> None:
    workplace = memory_demo(seconds=Seconds())
    assert workplace.now() == OPENS
    assert words(workplace) == {"Lantern": Word.READY, "Thimble": Word.UNPROVEN, "Kettle": Word.STOP}
