"""The owner's limits, single things, instruments, configurations and the catalogue on the command line."""

from __future__ import annotations

from pathlib import Path

from tests.unit.doors.cli.conftest import CONFIGURATION, Terminal


def test_limits_are_listed_with_value_unit_origin_and_whether_they_were_confirmed(boat: Terminal) -> None:
    text = boat.ok("limit", "list", "Tern")
    assert "C06.tolerance: within 2 mV of the expected; origin common practice" in text
    open_ones = {one["limit"] for one in boat.told("limit", "list", "Tern", "--unconfirmed")["limits"]}
    assert "C06.tolerance" in open_ones
    boat.ok("limit", "confirm", "Tern", "C06.tolerance", "--source", "Manual, page 41", "--as", "Ilma")
    left = {one["limit"] for one in boat.told("limit", "list", "Tern", "--unconfirmed")["limits"]}
    assert open_ones - left == {"C06.tolerance"}
    boat.ok("limit", "confirm", "Tern", "--unconfirmed", "--source", "Manual", "--as", "Ilma")
    assert boat.ok("limit", "list", "Tern", "--unconfirmed") == "No limit.\n"


def test_a_stricter_limit_is_set_and_a_looser_one_needs_its_reason(boat: Terminal) -> None:
    source = ("--source", "Manual, page 41", "--as", "Ilma")
    told = boat.told("limit", "set", "Tern", "C06.tolerance", "1,5", *source)
    assert (told["limit"]["value"], told["limit"]["origin"]) == ("1.5", "set by owner")
    line = boat.refused("limit", "set", "Tern", "C06.tolerance", "3", *source)
    assert "3 is looser than 1.5 mV" in line
    told = boat.told("limit", "set", "Tern", "C06.tolerance", "3", *source, "--reason", "display shows whole mV")
    assert told["limit"]["loosened"] == "display shows whole mV"
    assert "Did you mean C06.tolerance?" in boat.refused("limit", "set", "Tern", "C06.tolerence", "1", *source)
    assert "one or more limits" in boat.refused("limit", "confirm", "Tern", *source)


def test_an_exchange_is_not_said_by_fitting(boat: Terminal) -> None:
    line = boat.refused("unit", "fit", "Tern", "oxygen-sensor-1", "--serial", "S-200")
    assert "holds sensor S-101 already" in line


def test_one_serial_is_one_thing_until_somebody_says_otherwise(boat: Terminal) -> None:
    boat.ok("unit", "add", "Wren", "--configuration", CONFIGURATION)
    line = boat.refused("unit", "fit", "Wren", "oxygen-sensor-1", "--serial", "s-101")
    assert "one that no oxygen-sensor in this record has" in line
    assert "--known" in line
    boat.ok("unit", "fit", "Wren", "oxygen-sensor-1", "--known", "S-101")
    assert boat.told("part", "show", "S-101")["places"][-1]["holder"] == "Wren"
    assert "Did you mean oxygen-sensor-2?" in boat.refused("unit", "fit", "Wren", "oxygen-sensr-2", "--serial", "S-9")
    assert "the name of the diver" in boat.refused("unit", "fit", "Wren", "diver")


def test_what_a_label_says_is_written_down_later_without_anything_falling(ready_boat: Terminal) -> None:
    told = ready_boat.told("part", "describe", "S-102", "--batch", "B-7", "--opened-on", "2026-02-01", "--as", "Ilma")
    assert (told["thing"]["serial"], told["thing"]["batch"]) == ("S-102", "B-7")
    assert ready_boat.run("verdict").exit_code == 0
    assert "otherwise than it is already" in ready_boat.refused("part", "describe", "S-102", "--batch", "B-7")
    assert "opened_on" in ready_boat.refused("part", "describe", "S-102", "--opened-on", "1.2.2026")
    text = ready_boat.ok("part", "show", "S-102")
    assert "batch B-7" in text
    assert "mV/bar" in text


def test_a_thing_or_a_person_is_taken_out_of_use_and_brought_back(boat: Terminal) -> None:
    assert ", out of use" in boat.ok("part", "retire", "Analyser 1", "--reason", "dropped", "--as", "Ilma")
    assert ", out of use" not in boat.ok("part", "retire", "A-1", "--back", "--reason", "repaired", "--as", "Ilma")
    assert ", out of use" in boat.ok("part", "retire", "Toke", "--reason", "left the club", "--as", "Ilma")


def test_an_instrument_that_no_step_asks_for_is_said_to_be_one(boat: Terminal) -> None:
    assert "No step asks for an instrument used as “anemometer”" in boat.ok(
        "instrument", "add", "Wind 1", "--use", "anemometer"
    )
    listed = boat.told("instrument", "list")["instruments"]
    assert [(one["name"], one["use"]) for one in listed] == [("Analyser 1", "analyser"), ("Wind 1", "anemometer")]


def test_a_ready_configuration_is_written_as_a_file_and_comes_back_from_it(boat: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(boat.ok("unit", "configurations", CONFIGURATION), encoding="utf-8")
    told = boat.told("unit", "add", "Wren", "--configuration", str(file))
    ready = {one["name"]: one for one in boat.told("unit", "configurations")["configurations"]}
    assert told["unit"]["configuration"]["revision"] == ready[CONFIGURATION]["revision"]
    file.write_text(file.read_text(encoding="utf-8").replace("electronic", "elektronic"), encoding="utf-8")
    assert "mine.toml" in boat.refused("unit", "add", "Robin", "--configuration", str(file))
    assert f"Did you mean {CONFIGURATION}?" in boat.refused(
        "unit", "add", "Robin", "--configuration", "electronic-back-three-sensor"
    )


def test_the_catalogue_is_shown_whole_or_by_entry(boat: Terminal) -> None:
    text = boat.ok("catalogue", "show")
    assert "H3 Unit calibrated: EV26" in text
    known = boat.open().catalogue
    told = boat.told("catalogue", "show")
    assert told["steps"] == len(known.steps)
    assert boat.told("catalogue", "show", "ev28")["made_by"] == [one.id for one in known.steps_making["EV28"]]
    assert boat.ok("catalogue", "show", "C06").startswith("C06 Oxygen against expected")
    assert "C03 Each sensor in air" in boat.ok("catalogue", "show", "air")
    assert "EV26" in boat.ok("catalogue", "show", "H3")
    assert boat.told("catalogue", "show", "sensor-replaced")["questions"][0]["worst"] == "yes"
    assert "Did you mean sensor-replaced?" in boat.refused("catalogue", "show", "sensor-replaced2")


def test_an_owners_file_is_checked_for_what_it_adds_and_tightens(boat: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text('[tighten."C06.tolerance"]\nvalue = "1.5"\nsource = "Manual, page 41"\n', encoding="utf-8")
    told = boat.told("catalogue", "check", str(file))
    (row,) = told["tightened"]
    assert row == {
        "limit": "C06.tolerance", "value": "1.5", "before": "2", "unit": "mV", "source": "Manual, page 41",
    }  # fmt: skip
    assert "tightens C06.tolerance from 2 to 1.5 mV" in boat.ok("catalogue", "check", str(file))
    listed = boat.told("limit", "list", "Tern", "--owner-file", str(file))["limits"]
    assert next(one["value"] for one in listed if one["limit"] == "C06.tolerance") == "1.5"
    file.write_text('[tighten."C06.tolerance"]\nvalue = "3"\n', encoding="utf-8")
    line = boat.refused("catalogue", "check", str(file))
    assert line.startswith("mine.toml: C06.tolerance: value: '3' is looser than 2 mV.")
