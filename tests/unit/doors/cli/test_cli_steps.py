"""Listing and recording steps on the command line: values as typed, all or nothing, odd ones asked about."""

from __future__ import annotations

import json
from pathlib import Path

from tests.unit.doors.cli.conftest import Terminal

AIR = ("oxygen-sensor-1:air_mv=10,4", "oxygen-sensor-1:change_mv=0,0")


def count(terminal: Terminal) -> int:
    return len(terminal.open().record.events())


def test_steps_are_listed_page_by_page_with_how_each_stands(boat: Terminal) -> None:
    text = boat.ok("step", "list", "Tern", "--page", "air")
    assert text.splitlines()[0] == "air: The day's air, and each sensor in it"
    assert "  absent: C03 Each sensor in air, oxygen sensor 1: sensor S-101 (oxygen-sensor-1)" in text
    pages = [one["page"] for one in boat.told("step", "list", "Tern")["pages"]]
    assert pages[0] == "cylinders-and-cleaning"
    assert len(pages) == len(set(pages)) > 10


def test_a_step_is_shown_with_units_limits_and_what_it_does_not_prove(boat: Terminal) -> None:
    for words in (("step", "show", "c06"), ("step", "show", "C06", "--unit", "Tern")):
        text = boat.ok(*words)
        assert text.startswith("C06 Oxygen against expected\n")
        assert "oxygen_mv: In oxygen (number; in mV; usually 35 to 70 mV)" in text
        assert "It does not prove: That it follows above 1 bar" in text
        assert "origin common practice (expected against measured within 2 mV" in text
    told = boat.told("step", "show", "C06")
    assert told["inputs"][0]["unit"] == "mV"
    assert told["limits"][0]["value"] == "2"


def test_a_reading_is_kept_as_typed_with_the_comma_made_a_point(boat: Terminal) -> None:
    text = boat.ok("step", "record", "Tern", "C02", "temperature_c=21,50", "humidity_percent=55", "--as", "Ilma")
    assert text.startswith("Recorded C02 Temperature and humidity (")
    (entry,) = boat.told("history", "--family", "evidence")["history"]
    payload = boat.told("record", "show", entry["event"])["envelope"]["payload"]
    assert payload["readings"]["temperature_c"] == [{"unit": "C", "value": "21.50"}]


def test_the_answer_tells_how_the_evidence_stands_and_the_verdict_of_the_unit(boat: Terminal) -> None:
    told = boat.told(
        "step", "record", "Tern", "C01", "controller_hpa=1008", "barometer_hpa=1009", "--as", "Ilma", code=0
    )
    (recorded,) = told["recorded"]
    assert told["verdict"] == "unproven"
    assert recorded["standings"][0]["state"] == "current"
    (finding,) = recorded["standings"][0]["findings"]
    assert (finding["margin"], finding["limit"]["value"], finding["limit"]["unit"]) == ("9", "10", "hPa")


def test_several_subjects_are_recorded_in_one_call(boat: Terminal) -> None:
    second = ("oxygen-sensor-2:air_mv=10.6", "oxygen-sensor-2:change_mv=0.0")
    told = boat.told("step", "record", "Tern", "C03", *AIR, *second, "--as", "Ilma")
    assert [one["about"]["position"] for one in told["recorded"]] == ["oxygen-sensor-1", "oxygen-sensor-2"]


def test_a_subject_is_named_by_position_or_by_serial(boat: Terminal) -> None:
    for about in ("oxygen-sensor-3", "S-103"):
        words = ("air_mv=10.4", "change_mv=0", "--about", about, "--as", "Ilma")
        told = boat.told("step", "record", "Tern", "C03", *words)
        assert told["recorded"][0]["about"]["position"] == "oxygen-sensor-3"


def test_an_odd_value_is_asked_about_and_taken_once_it_is_confirmed(boat: Terminal) -> None:
    before = count(boat)
    odd = ("air_mv=104", "change_mv=0", "--about", "oxygen-sensor-1", "--as", "Ilma")
    line = boat.refused("step", "record", "Tern", "C03", *odd)
    assert line == (
        "air_mv must be 8.5 to 14 mV as is usual, or confirmed, got air_mv='104'. Was 10.4 mV meant? "
        "Look again; if it does read so, add --confirm air_mv."
    )
    assert count(boat) == before
    boat.ok("step", "record", "Tern", "C03", *odd, "--confirm", "air_mv")
    assert count(boat) == before + 1


def test_one_wrong_subject_keeps_everything_from_being_recorded(boat: Terminal) -> None:
    before = count(boat)
    wrong = ("oxygen-sensor-2:air_mv=ten", "oxygen-sensor-2:change_mv=0")
    line = boat.refused("step", "record", "Tern", "C03", *AIR, *wrong, "--as", "Ilma")
    assert "air_mv must be one number such as 10.4 or 10,4, got air_mv='ten'" in line
    assert count(boat) == before


def test_without_a_name_there_is_no_evidence(boat: Terminal) -> None:
    line = boat.refused("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55")
    assert line == (
        "--as must be the name of the person who does this, got --as=''. Add --as NAME, or set LOOPWORTHY_PERSON."
    )


def test_a_two_person_step_asks_for_the_second_or_an_honest_single_handed(boat: Terminal) -> None:
    boat.ok("step", "record", "Tern", "D21", *d21(boat), "--about", "Analyser 1", "--as", "Ilma")
    words = ("step", "record", "Tern", "D02", *d02(boat), "--as", "Ilma", "--instrument", "Analyser 1")
    assert "single-handed" in boat.refused(*words)
    assert "somebody else than the reader" in boat.refused(*words, "--second", "Ilma")
    told = boat.told(*words, "--single-handed")
    assert "single-handed" in told["recorded"][0]["standings"][0]["marks"]
    told = boat.told(*words, "--second", "Toke")
    entry = boat.told("record", "show", told["recorded"][0]["event"])
    assert entry["envelope"]["payload"]["second"] == boat.open().person("Toke")


def d21(boat: Terminal) -> list[str]:
    """Usual values for the analyser's check, from the catalogue itself."""
    return usual(boat, "D21")


def d02(boat: Terminal) -> list[str]:
    """Usual values for the analysis of the oxygen."""
    return usual(boat, "D02")


def usual(boat: Terminal, step_id: str) -> list[str]:
    entries = []
    for one in boat.open().catalogue.step(step_id).inputs:
        if not one.required:
            continue
        if one.kind.value == "tick":
            entries.append(one.name)
        elif one.choices:
            entries.append(f"{one.name}={one.choices[0]}")
        elif one.kind.value in ("date", "time", "text", "list"):
            entries.append(f"{one.name}={({'date': '2026-05-13', 'time': '06:50'}).get(one.kind.value, 'trial')}")
        elif one.usual_low:
            entries.append(f"{one.name}={one.usual_high or one.usual_low}")
        else:
            entries.append(f"{one.name}=1")
    return entries


def test_an_input_that_the_step_does_not_have_is_answered_with_the_nearest(boat: Terminal) -> None:
    line = boat.refused("step", "record", "Tern", "C02", "temprature_c=21", "--as", "Ilma")
    assert line == "There is no input of step C02 'temprature_c'. Did you mean temperature_c?"
    assert "Did you mean oxygen-sensor-1?" in boat.refused(
        "step", "record", "Tern", "C03", "air_mv=10.4", "--about", "oxygen-sensr-1", "--as", "Ilma"
    )


def test_a_reading_in_us_units_stays_as_it_was_read(boat: Terminal) -> None:
    words = ("step", "record", "Tern", "C02", "temperature_c=70", "humidity_percent=55", "--as", "Ilma")
    told = boat.told(*words, "--in-unit", "temperature_c=F", "--resolution", "temperature_c=1")
    reading = told["recorded"][0]["standings"][0]["reading"]["readings"]["temperature_c"]
    assert reading == [{"value": "70", "unit": "F", "resolution": "1"}]
    assert "one of C, F" in boat.refused(*words, "--in-unit", "temperature_c=psi")


def test_a_pressure_trace_is_read_from_a_file(boat: Terminal, tmp_path: Path) -> None:
    file = tmp_path / "held.txt"
    file.write_text("s mbar\n" + "\n".join(f"{second} {-80 + second * 0.01:.1f}" for second in range(0, 121, 10)))
    told = boat.told("step", "record", "Tern", "L02", f"trace=@{file}", "--single-handed", "--as", "Ilma")
    event = told["recorded"][0]["event"]
    trace = boat.told("record", "show", event)["envelope"]["payload"]["traces"]["trace"]
    assert trace["columns"] == ["s", "mbar"]
    assert trace["rows"][1] == ["10", "-79.9"]
    assert "a file that can be read" in boat.refused("step", "record", "Tern", "L02", "trace=@none.txt", "--as", "Ilma")


def test_what_was_read_together_is_recorded_together_from_json(boat: Terminal) -> None:
    entries = [
        {"step": "C01", "fields": {"controller_hpa": "1008", "barometer_hpa": "1009"}},
        {"step": "C02", "fields": {"temperature_c": "22", "humidity_percent": "55"}},
        {"step": "C03", "about": "oxygen-sensor-1", "fields": {"air_mv": "10.4", "change_mv": "0.0"}},
    ]
    result = boat.run(
        "step", "record-together", "Tern", "--as", "Ilma", "--json", stdin=json.dumps({"entries": entries})
    )
    assert result.exit_code == 0, result.output
    recorded = json.loads(result.stdout)["recorded"]
    assert [one["step"] for one in recorded] == ["C01", "C02", "C03"]
    air = boat.told("record", "show", recorded[2]["event"])["envelope"]["payload"]
    assert air["used"] == [recorded[0]["event"], recorded[1]["event"]]  # found among what was typed with it


def test_one_wrong_entry_of_a_file_keeps_all_of_it_out(boat: Terminal) -> None:
    before = count(boat)
    entries = [
        {"step": "C01", "fields": {"controller_hpa": "1008", "barometer_hpa": "1009"}},
        {"step": "C02", "fields": {"temperature_c": "22"}},
    ]
    line = boat.refused("step", "record-together", "Tern", "--as", "Ilma", stdin=json.dumps({"entries": entries}))
    assert line.startswith("humidity_percent must be filled in")
    assert count(boat) == before
    line = boat.refused("step", "record-together", "Tern", "--as", "Ilma", stdin='{"entries": [{"stepp": "C01"}]}')
    assert "entries must be JSON" in line


def test_a_late_entry_keeps_both_times(boat: Terminal) -> None:
    boat.clock.advance(30)
    words = ("temperature_c=21", "humidity_percent=55", "--as", "Ilma", "--typed-by", "Toke", "--at", "07:05")
    event = boat.told("step", "record", "Tern", "C02", *words)["recorded"][0]["event"]
    envelope = boat.told("record", "show", event)["envelope"]
    assert envelope["occurred_at"]["at"] == "2026-05-14T07:05:00+02:00"
    assert envelope["recorded_at"]["at"] == "2026-05-14T07:30:00+02:00"
    assert "not later than now" in boat.refused(
        "step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55", "--as", "Ilma", "--at", "09:00"
    )
