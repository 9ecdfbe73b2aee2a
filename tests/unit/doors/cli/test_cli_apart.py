"""Entries beside the record at the command line: said with each verdict and with what is outstanding, and listed."""

from __future__ import annotations

import secrets
from pathlib import Path

import pytest

from loopworthy import bootstrap
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.workplace import Workplace
from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from tests.unit.doors.cli.conftest import Terminal


@pytest.fixture
def ahead(ready_boat: Terminal, tmp_path: Path) -> Terminal:
    """A ready unit, and a change of it that came from a device whose clock is three days ahead."""
    here = ready_boat.open()
    clock, store, known = WalkingClock(here.now()), MemoryStore(), bootstrap.registry()
    merge(store, known, export_lines(here.record.store, exported_at=here.now()), now=here.now(), adopt=True)
    clock.advance(3 * 24 * 60)
    other = Workplace(Record(store, known, device_name="wet tablet", token=secrets.token_bytes), here.catalogue, clock)
    record_change(other, other.unit("Tern"), Declared(change="loop-opened"), person=other.person("Ilma"))
    file = tmp_path / "tablet.jsonl"
    file.write_bytes(b"".join(export_lines(store, exported_at=clock())))
    here.record.store.close()
    ready_boat.ok("record", "merge", str(file))
    return ready_boat


def test_a_verdict_and_what_is_outstanding_say_it(ahead: Terminal) -> None:
    for words in (("verdict", "Tern"), ("outstanding", "Tern")):
        told = ahead.ok(*words)
        assert "caution: One entry of wet tablet about this unit, set apart: its clock is more than a day ahead" in told
        assert "loopworthy record apart" in told
    assert "[1 entry set apart may undo this]" in ahead.ok("unit", "list")


def test_programs_are_told_it_with_device_count_and_reason(ahead: Terminal) -> None:
    (told,) = ahead.told("verdict", "Tern")["verdicts"]
    assert told["verdict"] == "ready"
    (caution,) = told["cautions"]
    assert (caution["device_name"], caution["entries"], caution["why"], caution["names_unit"]) == (
        "wet tablet", 1, "clock ahead", True,
    )  # fmt: skip
    assert ahead.told("outstanding", "Tern")["cautions"] == told["cautions"]


def test_a_past_verdict_says_what_lies_beside_the_record_now(ahead: Terminal) -> None:
    answer = ahead.told("verdict", "Tern", "--at", "07:30", "--exit-zero")
    hindsight = answer["replays"][0]["readings"][-1]["verdict"]
    assert [one["device_name"] for one in hindsight["cautions"]] == ["wet tablet"]


def test_all_of_them_are_listed(ahead: Terminal) -> None:
    told = ahead.told("record", "apart")["apart"]
    kinds = [one["kind"] for one in told]
    assert "unit.change-made" in kinds
    assert all(one["why"] == "clock ahead" and one["clock_ahead_ms"] > 2 * 86_400_000 for one in told)
    lines = ahead.ok("record", "apart")
    assert lines.count("wet tablet, entry") == len(told)
    assert "3 days later than now by this device's clock" in lines


def test_where_there_is_none_one_line_says_so(boat: Terminal) -> None:
    assert boat.ok("record", "apart") == "No entries lie beside the record.\n"
    assert boat.told("verdict", "Tern", code=3)["verdicts"][0]["cautions"] == []
