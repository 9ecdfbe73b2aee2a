"""Taking out, being one thing, being built otherwise on the command line: looked at before, recorded when meant."""

from __future__ import annotations

from tests.unit.doors.cli.conftest import Terminal

TAKEN = ("part", "take-out", "Tern", "oxygen-sensor-2", "--answer", "head=no")
SAME = ("part", "same", "S-101", "S-103")
BUILT = ("unit", "configure", "Tern", "oxygen_sensors=2")


def test_a_preview_tells_and_records_nothing(boat: Terminal) -> None:
    before = boat.record.read_bytes()
    for words in (TAKEN, BUILT, SAME):
        assert boat.ok(*words, "--preview").endswith("Nothing was recorded.\n")
        (unit,) = boat.told(*words, "--preview")["units"]
        assert unit["unit"] == "Tern"
        assert (unit["before"], unit["after"]) == ("unproven", "unproven")
    assert boat.record.read_bytes() == before


def test_a_part_is_taken_out_once(boat: Terminal) -> None:
    assert "Nothing is recorded in its place" in boat.ok(*TAKEN, "--as", "Ilma")
    assert "oxygen-sensor-2" in boat.refused(*TAKEN, "--as", "Ilma")
    told = boat.ok("history", "Tern", "--most", "3")
    assert "oxygen sensor 2" in told.lower()


def test_several_answers_are_changed_at_once_and_one_that_is_none_is_refused(boat: Terminal) -> None:
    assert "built so" in boat.ok(*BUILT, "co2_sensor=fitted", "--title", "Two sensors", "--as", "Ilma")
    assert "oxygen_sensors" in boat.refused("unit", "configure", "Tern", "oxygen_sensors=many", "--as", "Ilma")
    assert "=" in boat.refused("unit", "configure", "Tern", "many", "--as", "Ilma")


def test_two_are_one_when_somebody_says_how_it_is_known(boat: Terminal) -> None:
    assert "note" in boat.refused(*SAME, "--as", "Ilma")
    told = boat.told(*SAME, "--note", "same scratch", "--as", "Ilma")
    assert told["recorded"][0]["kind"] == "unit.things-same"
    assert "one thing already" in boat.refused(*SAME, "--note", "again", "--as", "Ilma")
