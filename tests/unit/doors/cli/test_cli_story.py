"""Little stories told only on the command line: a record begun, a unit brought in, read, changed, mended."""

from __future__ import annotations

from tests.unit.doors.cli.conftest import CONFIGURATION, SERIALS, Terminal, morning


def test_from_an_empty_folder_to_ready_and_on_to_what_a_change_asks_for(terminal: Terminal) -> None:
    run = terminal.ok
    assert "Begun “Season”" in run("record", "begin", "--title", "Season", "--device-name", "cabin laptop")
    run("person", "add", "Ilma")
    run("person", "add", "Toke", "--display-units", "us", "--as", "Ilma")
    run("instrument", "add", "Analyser 1", "--use", "analyser", "--serial", "A-1", "--as", "Ilma")
    made = run("unit", "add", "Tern", "--configuration", CONFIGURATION, "--serial", "T-1", "--as", "Ilma")
    assert "Empty positions: diver, oxygen-sensor-1" in made
    run("unit", "fit", "Tern", "diver", "--name", "Ilma", "--as", "Ilma")
    for position, serial in SERIALS.items():
        last = run("unit", "fit", "Tern", position, "--serial", serial, "--made-on", "2026-01-10", "--as", "Ilma")
    assert last.endswith("Empty positions: none\n")
    run("unit", "give", "Tern", "Ilma", "--as", "Toke")
    run("day", "begin", "Tern", "--title", "Thursday", "--as", "Ilma")
    shown = run("unit", "show", "Tern")
    assert "with Ilma" in shown
    assert "oxygen-sensor-2: sensor S-102" in shown
    assert "made 2026-01-10" in shown
    run("limit", "confirm", "Tern", "--unconfirmed", "--source", "Manual, third edition", "--as", "Ilma")
    morning(terminal.open(), terminal.clock)
    assert run("verdict", "Tern").startswith("ready: Tern, until ")
    told = terminal.told(
        "change", "record", "Tern", "sensor-replaced", "--position", "oxygen-sensor-2", "--serial", "S-117",
        "--answer", "head=no", "--as", "Ilma",
    )  # fmt: skip
    assert told["verdict"] == "unproven"
    assert {one["step"] for one in told["outstanding"]} >= {"C03", "C06", "C08", "L02"}
    new = [one for one in told["outstanding"] if one["step"] == "C06"]
    assert [one["about"]["position"] for one in new] == ["oxygen-sensor-2"]
    assert terminal.run("verdict", "Tern").exit_code == 3
    assert terminal.run("record", "verify").exit_code == 0


def test_a_failed_reading_stays_stop_until_a_repair_names_it_and_a_later_one_is_inside(ready_boat: Terminal) -> None:
    good = next(
        one["reading"]["readings"]["oxygen_mv"][0]["value"]
        for one in ready_boat.told("verdict", "--all")["verdicts"][0]["requirements"]
        if one["step"] == "C06" and one["about"]["position"] == "oxygen-sensor-2"
    )
    oxygen = (
        "step",
        "record",
        "Tern",
        "C06",
        "--about",
        "oxygen-sensor-2",
        "--instrument",
        "Analyser 1",
        "--as",
        "Ilma",
    )
    ready_boat.clock.advance(0.5)
    ready_boat.ok(*oxygen, "oxygen_mv=45.1")
    ready_boat.clock.advance(0.5)
    ready_boat.ok(*oxygen, f"oxygen_mv={good}")
    assert ready_boat.run("verdict").exit_code == 4  # no retry until it fits
    line = ready_boat.refused("mend", "repair", "Tern", "--cause", "wet plug", "--done", "dried", "--as", "Ilma")
    assert "the failed readings that it mends" in line
    ready_boat.ok("mend", "repair", "Tern", "--failed", "--cause", "wet plug", "--done", "dried it", "--as", "Ilma")
    assert ready_boat.run("verdict").exit_code == 3
    ready_boat.clock.advance(0.5)
    ready_boat.ok(*oxygen, f"oxygen_mv={good}")
    told = ready_boat.told("verdict", "--all", code=ready_boat.run("verdict").exit_code)
    oxygen_state = [
        one["state"]
        for one in told["verdicts"][0]["requirements"]
        if one["step"] == "C06" and one["about"]["position"] == "oxygen-sensor-2"
    ]
    assert oxygen_state == ["current"]


def test_a_fault_blocks_until_a_second_person_releases_it(ready_boat: Terminal) -> None:
    changes = ready_boat.open().catalogue.changes.values()
    fault = next(one for one in changes if one.hold and not one.freezes and not one.part and not one.does)
    ready_boat.ok("change", "record", "Tern", fault.id, "--note", "it clicked", "--as", "Ilma")
    result = ready_boat.run("verdict", "Tern")
    assert result.exit_code == 4
    assert "open hold" in result.stdout
    assert fault.hold in result.stdout
    words = ("--cause", "loose screw", "--repair", "tightened", "--test", "cycled ten times")
    assert "second person" in ready_boat.refused("mend", "release", "Tern", *words, "--as", "Ilma")
    ready_boat.ok("mend", "release", "Tern", *words, "--as", "Toke")
    assert ready_boat.run("verdict", "Tern").exit_code != 4


def test_a_hold_point_is_gone_on_from_only_when_it_is_ready(ready_boat: Terminal) -> None:
    assert "Recorded: Tern goes on from H3" in ready_boat.ok("hold", "pass", "Tern", "h3", "--as", "Ilma")
    listed = ready_boat.told("hold", "list", "Tern")
    assert [one["hold"] for one in listed["passings"]] == ["H3"]
    assert listed["passings"][0]["passed_by"] == "Ilma"
    assert listed["disagreements"] == []
    ready_boat.ok(
        "change",
        "record",
        "Tern",
        "sensor-replaced",
        "--position",
        "oxygen-sensor-1",
        "--serial",
        "S-120",
        "--as",
        "Ilma",
    )
    line = ready_boat.refused("hold", "pass", "Tern", "H3", "--as", "Ilma")
    assert "is unproven. Do what is outstanding first." in line


def test_a_waiver_is_heard_by_somebody_and_shown_wherever_it_counts(boat: Terminal) -> None:
    waivable = next(
        one
        for one in boat.told("verdict", code=3)["verdicts"][0]["reasons"]
        if not one["never_skipped"] and one["state"] == "absent" and one["about"]["position"] is None
    )
    words = ("mend", "waive", "Tern", waivable["step"], "--reason", "no wind today", "--as", "Ilma")
    assert "heard by somebody else" in boat.refused(*words, "--heard-by", "Ilma")
    boat.ok(*words, "--heard-by", "Toke")
    told = boat.told("verdict", "--all", code=3)["verdicts"][0]
    state = next(one for one in told["requirements"] if one["step"] == waivable["step"])
    assert (state["state"], state["marks"]) == ("waived", ["waived"])
    assert "never skipped" in boat.refused(
        "mend",
        "waive",
        "Tern",
        "C06",
        "--about",
        "oxygen-sensor-1",
        "--reason",
        "x",
        "--heard-by",
        "Toke",
        "--as",
        "Ilma",
    )


def test_an_event_taken_back_stays_readable_and_revives_nothing(boat: Terminal) -> None:
    words = ("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55", "--as", "Ilma")
    event = boat.told(*words)["recorded"][0]["event"]
    boat.ok("mend", "withdraw", event[:10], "--reason", "read on the wrong day", "--as", "Ilma")
    (entry,) = boat.told("history", "--family", "evidence")["history"]
    assert entry["withdrawn"] == "read on the wrong day"
    assert "withdrawn already" in boat.refused("mend", "withdraw", event, "--reason", "again", "--as", "Ilma")


def test_a_person_can_be_forgotten_while_what_they_did_stays(boat: Terminal) -> None:
    boat.ok("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55", "--as", "Toke")
    boat.ok("person", "erase", "Toke", "--reason", "asked for it", "--as", "Ilma")
    names = [one["name"] for one in boat.told("person", "list")["people"]]
    assert names == ["Ilma", "(erased)"]
    (entry,) = boat.told("history", "--family", "evidence")["history"]
    assert entry["read_by"] == "(erased)"
    assert b"Toke" not in boat.record.read_bytes()


def test_a_day_and_an_assembly_begin_and_end(boat: Terminal) -> None:
    assert boat.ok("day", "end", "Tern", "--as", "Ilma") == "Ended: dive-day of Tern.\n"
    assert "No dive-day is open" in boat.refused("day", "end", "Tern", "--as", "Ilma")
    assert boat.ok("assembly", "begin", "Tern") == "Begun: assembly of Tern.\n"
    assert boat.ok("assembly", "end", "Tern") == "Ended: assembly of Tern.\n"


def test_a_reader_who_thinks_in_feet_sees_both_units(boat: Terminal) -> None:
    boat.ok("person", "add", "Juno", "--display-units", "us")
    words = ("step", "record", "Tern", "C02", "temperature_c=20", "humidity_percent=55")
    assert "20 °C (68 °F)" in boat.ok(*words, "--as", "Juno")
    assert "°F" not in boat.ok(*words, "--as", "Ilma")
