"""Changes on the command line: looked at before, recorded with what came in, unanswered questions named."""

from __future__ import annotations

import pytest

from tests.unit.doors.cli.conftest import Terminal

REPLACED = ("Tern", "sensor-replaced", "--position", "oxygen-sensor-2")


def test_changes_are_listed_in_groups_and_for_a_unit_with_positions(boat: Terminal) -> None:
    text = boat.ok("change", "list")
    assert "sensors\n  sensor-replaced: Oxygen sensor replaced\n" in text
    assert "sensor-replaced: Oxygen sensor replaced (oxygen-sensor-1, oxygen-sensor-2, oxygen-sensor-3)" in boat.ok(
        "change", "list", "--unit", "Tern"
    )
    every = {one["change"] for one in boat.told("change", "list")["changes"]}
    assert every == set(boat.open().catalogue.changes)


def test_a_change_is_shown_with_questions_effects_and_what_it_keeps(boat: Terminal) -> None:
    text = boat.ok("change", "show", "sensor-replaced")
    assert "head: Did the head come off the canister? (yes, no; unanswered counts as yes)" in text
    assert "void EV28, of the subject" in text
    assert "It keeps: Age, linearity and response of the other sensors." in text


def test_a_preview_records_nothing_and_names_the_answer_that_counts_as_the_worst(ready_boat: Terminal) -> None:
    before = len(ready_boat.open().record.events())
    text = ready_boat.ok("change", "preview", *REPLACED)
    assert "void: C06 Oxygen against expected, oxygen sensor 2: sensor S-102" in text
    assert "Not answered, so the worst counts: Did the head come off the canister? head=yes" in text
    assert "Not answered" not in ready_boat.ok("change", "preview", *REPLACED, "--answer", "head=no")
    assert len(ready_boat.open().record.events()) == before
    told = ready_boat.told("change", "preview", *REPLACED)
    assert told["unanswered"] == ["head"]
    assert {one["effect"] for one in told["falls"]} >= {"void"}


def test_what_was_previewed_is_what_falls(ready_boat: Terminal) -> None:
    foreseen = ready_boat.told("change", "preview", *REPLACED, "--answer", "head=no")["falls"]
    ready_boat.ok("change", "record", *REPLACED, "--answer", "head=no", "--serial", "S-110", "--as", "Ilma")
    reasons = ready_boat.told("verdict", code=3)["verdicts"][0]["reasons"]
    fallen = {(one["step"], one["evidence_kind"], one["about"]["position"]) for one in reasons}
    assert {(one["step"], one["evidence_kind"], one["about"]["position"]) for one in foreseen} <= fallen


def test_the_thing_that_came_in_is_new_or_a_known_one_named_as_such(ready_boat: Terminal) -> None:
    line = ready_boat.refused("change", "record", *REPLACED, "--as", "Ilma")
    assert "arrivals must be with the thing that is there now" in line
    ready_boat.ok("change", "record", *REPLACED, "--serial", "S-110", "--as", "Ilma")
    old = ready_boat.open().world.of_kind("oxygen-sensor")[1]
    assert old.serial == "S-102"
    line = ready_boat.refused("change", "record", *REPLACED, "--serial", "S-102", "--as", "Ilma")
    assert f"If it is that one, give --known oxygen-sensor-2={old.id[:12]}" in line
    ready_boat.ok("change", "record", *REPLACED, "--known", "S-102", "--as", "Ilma")
    places = ready_boat.told("part", "show", "S-102")["places"]
    assert [one["position"] for one in places] == ["oxygen-sensor-2", "oxygen-sensor-2"]
    assert places[0]["to"] is not None
    assert places[1]["to"] is None


def test_absorbent_comes_with_its_batch(ready_boat: Terminal) -> None:
    ready_boat.ok(
        "change", "record", "Tern", "absorbent-changed", "--position", "canister-1", "--fill-batch", "L-22",
        "--answer", "head=no", "--as", "Ilma",
    )  # fmt: skip
    positions = {one["position"]: one for one in ready_boat.told("unit", "positions", "Tern")["positions"]}
    assert positions["canister-1"]["content"]["batch"] == "L-22"


def test_an_instrument_found_bad_takes_with_it_what_was_read_on_it_since_its_last_good_check(
    ready_boat: Terminal,
) -> None:
    assert "the instrument that was found bad" in ready_boat.refused(
        "change", "record", "Tern", "analyser-failed", "--as", "Ilma"
    )
    ready_boat.clock.advance(1)
    words = ("step", "record", "Tern", "D02", "oxygen_percent=99.5", "labelled", "--instrument", "A-1", "--as", "Ilma")
    event = ready_boat.told(*words, "--second", "Toke")["recorded"][0]["event"]
    told = ready_boat.told("change", "preview", "Tern", "analyser-failed", "--thing", "Analyser 1")
    foreseen = {one["event"] for one in told["proved_wrong"]}
    ready_boat.ok("change", "record", "Tern", "analyser-failed", "--thing", "A-1", "--as", "Ilma")
    reasons = ready_boat.told("verdict", code=3)["verdicts"][0]["reasons"]
    proved = [one["reading"]["event"] for one in reasons if one["code"] == "proved-wrong"]
    assert event in proved
    assert set(proved) <= foreseen


def test_wrong_words_are_answered_with_the_right_ones(boat: Terminal) -> None:
    assert "Did you mean sensor-replaced?" in boat.refused("change", "show", "sensor-replacd")
    assert "Did you mean oxygen-sensor-2?" in boat.refused(
        "change", "preview", "Tern", "sensor-replaced", "--position", "oxygen-sensor2"
    )
    assert "head must be one of yes, no, got head='perhaps'" in boat.refused(
        "change", "preview", *REPLACED, "--answer", "head=perhaps"
    )
    assert "There is no question of sensor-replaced 'hed'. Did you mean head?" in boat.refused(
        "change", "preview", *REPLACED, "--answer", "hed=no"
    )
    assert "of the form name=value" in boat.refused("change", "preview", *REPLACED, "--answer", "head")
    assert "of the form POSITION=VALUE" in boat.refused(
        "change", "record", "Tern", "sensor-plug-cleaned", "--position", "oxygen-sensor-1", "--position",
        "oxygen-sensor-2", "--serial", "S-9", "--as", "Ilma",
    )  # fmt: skip


@pytest.mark.parametrize(
    "words",
    [
        ("change", "record", "Tern", "moved"),
        ("day", "begin", "Tern"),
        ("assembly", "begin", "Tern"),
        ("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55"),
    ],
    ids=lambda words: words[0],
)
def test_a_moment_long_ago_is_asked_about_and_recorded_when_confirmed(boat: Terminal, words: tuple[str, ...]) -> None:
    late = (*words, "--at", "1999-05-14T08:40", "--as", "Ilma")
    assert "add --confirm-time" in boat.refused(*late)
    boat.ok(*late, "--confirm-time")
    assert "1999" in boat.ok("history", "Tern")
