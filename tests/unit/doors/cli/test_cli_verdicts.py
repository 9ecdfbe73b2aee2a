"""Verdicts, reasons and what is outstanding, as the command line tells them, with exit codes."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.unit.doors.cli.conftest import Terminal

REQUIREMENT_KEYS = {
    "step",
    "step_title",
    "evidence_kind",
    "evidence_title",
    "about",
    "never_skipped",
    "two_person",
    "state",
    "code",
    "reason",
    "values",
    "reading",
    "findings",
    "until",
    "cause",
    "mend",
    "marks",
}


def test_a_ready_verdict_comes_with_its_word_first_and_until_when(ready_boat: Terminal) -> None:
    lines = ready_boat.ok("verdict", "Tern").splitlines()
    assert lines[0].startswith("ready: Tern, until 09:")
    assert "Pre-breathe" in lines[0]
    assert "Europe/Malta, UTC+02:00" in lines[1]
    assert lines[-1].endswith("It says nothing about the dive.")


def test_an_unproven_verdict_ends_with_three_and_names_what_is_missing(boat: Terminal) -> None:
    result = boat.run("verdict", "Tern")
    assert result.exit_code == 3
    assert result.stdout.startswith("unproven: Tern. ")
    assert "absent: C06 Oxygen against expected" not in result.stdout  # only the first reasons are told
    assert (
        "C06 Oxygen against expected, oxygen sensor 1: sensor S-101 [never skipped]"
        in boat.run("verdict", "Tern", "--all").stdout
    )


def test_a_reading_outside_its_limit_is_stop_and_ends_with_four(ready_boat: Terminal) -> None:
    read = "oxygen-sensor-2:oxygen_mv=45,1"
    ready_boat.ok("step", "record", "Tern", "C06", read, "--as", "Ilma", "--instrument", "Analyser 1")
    result = ready_boat.run("verdict", "Tern")
    assert result.exit_code == 4
    assert result.stdout.startswith(
        "stop: Tern. Oxygen against expected, oxygen sensor 2: sensor S-102. "
        "Read 45.1 mV, outside its limit and not yet mended."
    )
    because = result.stdout.partition("Because\n")[2].splitlines()
    assert because[0] == "  failed: C06 Oxygen against expected, oxygen sensor 2: sensor S-102 [never skipped]"
    assert "45.1 mV" in because[1]
    assert "limit within 2 mV of the expected" in because[2]
    assert "outside" in because[2]
    assert "origin common practice (expected against measured within 2 mV)" in because[2]


def test_exit_zero_ends_with_zero_whatever_the_verdict_is(boat: Terminal) -> None:
    assert boat.run("verdict", "Tern", "--exit-zero").exit_code == 0


def test_without_a_unit_all_are_told_and_the_worst_decides_the_exit_code(ready_boat: Terminal) -> None:
    ready_boat.ok("unit", "add", "Wren", "--configuration", "manual-button-side")
    result = ready_boat.run("verdict")
    assert result.exit_code == 3
    words = [line.partition(":")[0] for line in result.stdout.splitlines() if line[:1].islower()]
    assert words == ["ready", "unproven"]


def test_a_verdict_ends_by_itself(ready_boat: Terminal) -> None:
    assert ready_boat.run("verdict").exit_code == 0
    ready_boat.clock.advance(11)
    assert ready_boat.run("verdict").exit_code == 3


def test_the_verdict_in_json_has_every_number_with_limit_margin_and_origin(ready_boat: Terminal) -> None:
    (told,) = ready_boat.told("verdict", "Tern", "--all")["verdicts"]
    assert set(told) == {
        "unit", "at", "zone", "verdict", "sentence", "until", "ends_with", "code", "marks", "holds", "open_holds",
        "reasons", "requirements", "cautions",
    }  # fmt: skip
    assert (told["verdict"], told["zone"], told["reasons"]) == ("ready", "Europe/Malta", [])
    assert told["until"] > told["at"]
    assert [hold["hold"] for hold in told["holds"]] == ["H1", "H2", "H3", "H4", "H5", "H6", "H7"]
    assert all(set(one) == REQUIREMENT_KEYS for one in told["requirements"])
    oxygen = next(one for one in told["requirements"] if one["step"] == "C06")
    (finding,) = oxygen["findings"]
    assert finding["outcome"] == "inside"
    assert 0 <= float(finding["margin"]) <= 2
    assert finding["limit"] == {
        "limit": "C06.tolerance", "rule": "for the judge", "on": None, "of": None, "value": "2", "unit": "mV",
        "guard": None, "stricter_when": "lower", "origin": "common practice",
        "source": "expected against measured within 2 mV", "confirmed": True, "loosened": None,
    }  # fmt: skip
    assert oxygen["reading"]["readings"]["oxygen_mv"][0]["unit"] == "mV"
    assert oxygen["reading"]["read_by"] == "Ilma"


def test_the_whole_verdict_is_only_told_in_json_where_it_is_asked_for(ready_boat: Terminal) -> None:
    (told,) = ready_boat.told("verdict")["verdicts"]
    assert "requirements" not in told


def test_a_past_moment_is_read_twice_and_each_reading_is_labelled(ready_boat: Terminal) -> None:
    """A change declared late: the device did not know of it then."""
    then = ready_boat.clock()
    ready_boat.clock.advance(5)
    ready_boat.ok(
        "change", "record", "Tern", "sensor-replaced", "--position", "oxygen-sensor-1", "--serial", "S-104",
        "--at", then.plus(minutes=-1).at, "--as", "Toke",
    )  # fmt: skip
    result = ready_boat.run("verdict", "Tern", "--at", then.at)
    assert result.exit_code == 3  # that of hindsight
    as_known, hindsight = result.stdout.split("with hindsight:\n")
    assert as_known.startswith("as known on that device then:\nready: Tern")
    assert hindsight.startswith("unproven: Tern")
    told = ready_boat.told("verdict", "Tern", "--at", then.at, "--known-on", "cabin laptop", code=3)
    readings = told["replays"][0]["readings"]
    assert [one["label"] for one in readings] == ["as known on that device then", "with hindsight"]
    assert [one["verdict"]["verdict"] for one in readings] == ["ready", "unproven"]


def test_a_moment_before_the_unit_was_there_has_no_verdict(ready_boat: Terminal) -> None:
    result = ready_boat.run("verdict", "Tern", "--at", "2026-05-13T08:00")
    assert result.exit_code == 3
    assert result.stdout.count("Tern was not in what was known.") == 2


def test_a_device_that_learned_of_the_unit_later_gives_the_answer_that_there_is_first(
    ready_boat: Terminal, tmp_path: Path
) -> None:
    then = ready_boat.clock()
    ready_boat.clock.advance(20)
    ready_boat.ok("record", "export", str(tmp_path / "tern.jsonl"))
    phone = tmp_path / "phone.sqlite"
    ready_boat.ok("record", "merge", str(tmp_path / "tern.jsonl"), "--adopt", record=phone)
    ready_boat.ok("person", "add", "Juno", record=phone)
    result = ready_boat.run("verdict", "Tern", "--at", then.at, record=phone)
    first, _, rest = result.stdout.partition("\n")
    assert first.startswith("This device learned of Tern only after that moment.")
    hindsight, known = rest.split("as known on that device then:\n")
    assert hindsight.startswith("with hindsight:\nready: Tern")
    assert known.strip() == "Tern was not in what was known."
    assert result.exit_code == 0
    readings = ready_boat.told("verdict", "Tern", "--at", then.at, record=phone)["replays"][0]["readings"]
    assert [one["verdict"] is None for one in readings] == [True, False]


def test_a_moment_to_come_is_told_as_foreseen(ready_boat: Terminal) -> None:
    later = ready_boat.clock().plus(minutes=30).at
    told = ready_boat.told("verdict", "Tern", "--at", later, code=3)
    (reading,) = told["replays"][0]["readings"]
    assert reading["label"] == "if nothing is read or changed until then"
    assert reading["verdict"]["verdict"] == "unproven"


def test_another_device_is_named_by_name_or_the_known_ones_are_offered(boat: Terminal) -> None:
    line = boat.refused("verdict", "Tern", "--at", "07:00", "--known-on", "cabin laptob")
    assert line == "There is no device 'cabin laptob'. Did you mean cabin laptop?"
    assert "--at" in boat.refused("verdict", "Tern", "--known-on", "cabin laptop")


def test_outstanding_lists_steps_page_by_page_with_what_they_are_about(boat: Terminal) -> None:
    lines = boat.ok("outstanding", "Tern").splitlines()
    assert lines[0] == "cylinders-and-cleaning: Cylinders: in test and clean"
    assert any(
        line.startswith(
            "  C06 Oxygen against expected, oxygen sensor 1: sensor S-101 (oxygen-sensor-1) [never skipped]"
        )
        for line in lines
    )
    assert lines[-1] == f"{sum(line.startswith('  ') for line in lines)} outstanding."
    told = boat.told("outstanding", "Tern")["outstanding"]
    assert len(told) == int(lines[-1].split()[0])
    assert {"step", "title", "page", "about", "mends", "mend_first", "prepares", "never_skipped", "two_person"} == set(
        told[0]
    )


def test_nothing_is_outstanding_for_a_ready_unit_until_it_runs_out(ready_boat: Terminal) -> None:
    assert ready_boat.ok("outstanding", "Tern") == "Nothing is outstanding.\n"
    later = ready_boat.clock().plus(minutes=30).at
    assert "1 outstanding" in ready_boat.ok("outstanding", "Tern", "--at", later) or "B" in ready_boat.ok(
        "outstanding", "Tern", "--at", later
    )


def test_sensors_are_shown_by_serial_with_reading_expected_value_and_history(ready_boat: Terminal) -> None:
    text = ready_boat.ok("sensors", "Tern")
    assert text.count("current: oxygen-sensor-") == 3
    assert "sensor S-102" in text
    assert "in oxygen" in text
    assert "expected" in text
    row = ready_boat.told("sensors", "Tern")["sensors"][1]
    assert row["sensor"]["serial"] == "S-102"
    assert row["state"] == "current"
    assert row["check"]["difference_mv"] == pytest.approx(
        float(row["oxygen"]["readings"]["oxygen_mv"][0]["value"]) - row["check"]["expected_mv"]
    )
    assert len(row["factors"]) == 1


def test_history_is_told_newest_first_and_can_be_narrowed(ready_boat: Terminal) -> None:
    told = ready_boat.told("history", "Tern", "--family", "evidence", "--step", "C06", "--most", "2")["history"]
    assert [one["kind"] for one in told] == ["judgement.evidence-recorded"] * 2
    assert {one["title"] for one in told} == {"C06 Oxygen against expected"}
    newest = ready_boat.told("history", "--most", "3")["history"]
    assert [one["recorded_at"] for one in newest] == sorted((one["recorded_at"] for one in newest), reverse=True)
    assert ready_boat.ok("history", "--since", "23:59") == "Nothing fits.\n"
    by_toke = ready_boat.ok("history", "--person", "Toke", "--most", "1")
    assert "Toke" in by_toke or by_toke == "Nothing fits.\n"
