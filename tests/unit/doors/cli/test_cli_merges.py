"""What merges changed, told on the command line and as JSON."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.unit.doors.cli.conftest import Terminal


@pytest.fixture
def merged_boat(ready_boat: Terminal, tmp_path: Path) -> Terminal:
    """A boat that is ready, and took in that a sensor was changed on a phone meanwhile."""
    phone = tmp_path / "phone.sqlite"
    ready_boat.ok("record", "merge", str(ready_boat.record), "--adopt", record=phone)
    ready_boat.clock.advance(0.5)
    change = ("change", "record", "Tern", "sensor-replaced", "--position", "oxygen-sensor-1", "--as", "Toke")
    ready_boat.ok(*change, "--serial", "S-150", record=phone)
    ready_boat.clock.advance(0.5)
    assert ready_boat.run("hold", "pass", "Tern", "H7", "--as", "Ilma").exit_code == 0
    ready_boat.ok("record", "merge", str(phone))
    return ready_boat


def test_a_record_without_merges_says_so(ready_boat: Terminal) -> None:
    assert ready_boat.ok("merges") == "Nothing has come in from another device yet.\n"
    assert ready_boat.told("merges") == {"merges": []}


def test_the_list_names_each_merge_and_what_it_is_asked_for_by(merged_boat: Terminal) -> None:
    (line,) = merged_boat.ok("merges").splitlines()
    assert "This device took in" in line
    (one,) = merged_boat.told("merges")["merges"]
    assert (one["own"], one["first"], one["looked_at"]) == (True, False, False)
    assert line.startswith(one["merge"][:12])


def test_one_merge_tells_what_fell_by_whose_action_and_who_went_on_without_knowing(merged_boat: Terminal) -> None:
    (one,) = merged_boat.told("merges")["merges"]
    text = merged_boat.ok("merges", one["merge"])
    assert "Tern: ready before, unproven with what came in." in text
    assert "Ilma went on from “Entry evidence complete”" in text
    assert "Oxygen sensor replaced (Toke, " in text
    (unit,) = merged_boat.told("merges", one["merge"])["units"]
    assert (unit["before"]["verdict"], unit["after"]["verdict"]) == ("ready", "unproven")
    (passed,) = unit["holds_passed_without_knowing"]
    assert (passed["hold"], passed["said"], passed["found"]) == ("H7", "ready", "unproven")
    assert set(passed["unknown"]) <= set(unit["came_in"])
    fallen = {piece["cause"] for piece in unit["evidence"] if piece["after"] == "void"}
    assert passed["unknown"][0] in fallen


def test_what_is_no_merge_is_refused(merged_boat: Terminal) -> None:
    assert "merge" in merged_boat.refused("merges", "nonsense")
