"""The record on the command line: begun, verified, carried by export and merge, copied, and compared with sheets."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.unit.doors.cli.conftest import Terminal

VALUE = b'"value":"'


def test_a_record_is_begun_once(terminal: Terminal) -> None:
    told = terminal.told("record", "begin", "--title", "Season", "--invented")
    assert (told["title"], told["invented"]) == ("Season", True)
    assert "a file that is not there yet" in terminal.refused("record", "begin")


def test_without_a_record_the_next_step_is_named(terminal: Terminal) -> None:
    for words in (("verdict",), ("record", "verify"), ("record", "export"), ("history",)):
        assert "loopworthy record begin" in terminal.refused(*words)
    assert not terminal.record.exists()


def test_an_untouched_record_verifies_and_says_no_more_than_that(ready_boat: Terminal) -> None:
    text = ready_boat.ok("record", "verify")
    assert text.startswith("unbroken: ")
    assert text.endswith("An unbroken chain is unaltered since it was witnessed, and no more can be said.\n")
    assert "chain of cabin laptop" in text
    assert "witnessed by nobody yet" in text


def test_a_record_begun_here_is_signed_and_its_signatures_are_checked(terminal: Terminal, tmp_path: Path) -> None:
    terminal.ok("record", "begin", "--title", "Trial")
    (chain,) = terminal.told("record", "verify")["chains"]
    assert (chain["keyed"], chain["signed_sequence"]) == (True, chain["head_sequence"])
    assert "signed up to event 1" in terminal.ok("record", "verify")
    with closing(sqlite3.connect(terminal.record)) as database, database:
        database.execute("UPDATE signed_heads SET signature = ?", ("0" * 128,))
    told = terminal.told("record", "verify", code=5)
    assert told["unbroken"] is True
    assert len(told["false_signatures"]) == 1


def test_what_one_computer_signed_is_taken_by_another_and_what_it_saw_is_recorded(
    terminal: Terminal, tmp_path: Path
) -> None:
    export, elsewhere = tmp_path / "trial.jsonl", tmp_path / "elsewhere.sqlite"
    terminal.ok("record", "begin", "--title", "Trial")
    terminal.ok("person", "add", "Ilma")
    terminal.ok("record", "export", str(export))
    told = terminal.told("record", "merge", str(export), "--adopt", record=elsewhere)
    assert (told["taken"], told["not_vouched"], told["refused"]) == (2, [], [])
    chains = terminal.told("record", "verify", record=elsewhere)["chains"]
    assert sorted(one["events"] for one in chains) == [2, 2]
    assert all(one["keyed"] and one["signed_sequence"] == one["head_sequence"] for one in chains)
    cut = tmp_path / "without-signatures.jsonl"
    cut.write_text("".join(line for line in export.read_text().splitlines(True) if not line.startswith('{"head"')))
    told = terminal.told("record", "merge", str(cut), "--adopt", record=tmp_path / "third.sqlite", code=5)
    assert (told["taken"], len(told["not_vouched"])) == (0, 2)


def test_one_flipped_byte_is_found_and_nothing_is_concluded_from_the_record(ready_boat: Terminal) -> None:
    before = ready_boat.open().record.events()
    with closing(sqlite3.connect(ready_boat.record)) as database:
        database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    body = ready_boat.record.read_bytes()
    place = body.index(VALUE) + len(VALUE)  # one digit of one reading
    ready_boat.record.write_bytes(body[:place] + bytes([body[place] ^ 1]) + body[place + 1 :])
    result = ready_boat.run("record", "verify")
    assert result.exit_code == 5
    assert result.stdout.startswith("not unbroken")
    assert "its bytes no longer fit its hash" in result.stdout
    told = ready_boat.told("record", "verify", code=5)
    assert told["unbroken"] is False
    assert told["faults"][0]["event"] in {one.id for one in before}
    line = ready_boat.refused("verdict", code=5)
    assert "is damaged" in line
    assert "backup" in line


def test_an_exported_record_gives_the_same_verdict_elsewhere_and_merging_twice_changes_nothing(
    ready_boat: Terminal, tmp_path: Path
) -> None:
    export, elsewhere = tmp_path / "trial.jsonl", tmp_path / "elsewhere.sqlite"
    assert " lines in " in ready_boat.ok("record", "export", str(export))
    assert "Add --adopt" in ready_boat.run("record", "merge", str(export), record=elsewhere).stderr
    assert not elsewhere.exists()
    first = ready_boat.told("record", "merge", str(export), "--adopt", record=elsewhere)
    assert first["whole"] is True
    assert first["taken"] == len(ready_boat.open().record.events())
    second = ready_boat.told("record", "merge", str(export), record=elsewhere)
    assert (second["taken"], second["already_here"]) == (0, first["taken"])
    here, there = ready_boat.told("verdict", "--all"), ready_boat.told("verdict", "--all", record=elsewhere)
    assert here == there
    assert ready_boat.run("record", "verify", record=elsewhere).exit_code == 0


def test_two_devices_exchange_what_each_has_written(ready_boat: Terminal, tmp_path: Path) -> None:
    phone = tmp_path / "phone.sqlite"
    ready_boat.ok("record", "merge", str(ready_boat.record), "--adopt", record=phone)
    words = ("change", "record", "Tern", "sensor-replaced", "--position", "oxygen-sensor-1", "--as", "Toke")
    ready_boat.ok(*words, "--serial", "S-150", record=phone)
    ready_boat.clock.advance(1)
    assert ready_boat.run("verdict").exit_code == 0
    assert ready_boat.told("record", "merge", str(phone))["taken"] > 0
    assert ready_boat.run("verdict").exit_code == 3  # a change made elsewhere voids here
    names = {one["device"] for one in ready_boat.told("record", "heads")["heads"]}
    assert len(names) == 2


def test_an_export_goes_to_standard_output_and_comes_in_from_standard_input(boat: Terminal, tmp_path: Path) -> None:
    lines = boat.ok("record", "export")
    assert json.loads(lines.splitlines()[0])["format"] == "loopworthy-record"
    other = tmp_path / "other.sqlite"
    assert "events taken" in boat.ok("record", "merge", "-", "--adopt", stdin=lines, record=other)


def test_an_export_cut_short_is_taken_as_far_as_it_goes_and_said_to_be_cut(boat: Terminal, tmp_path: Path) -> None:
    cut = tmp_path / "cut.jsonl"
    cut.write_text("".join(boat.ok("record", "export").splitlines(keepends=True)[:-1]), encoding="utf-8")
    other = tmp_path / "other.sqlite"
    result = boat.run("record", "merge", str(cut), "--adopt", record=other)
    assert result.exit_code == 5
    assert "The file was cut short" in result.stdout


def test_a_file_that_is_no_export_leaves_nothing_behind(boat: Terminal, tmp_path: Path) -> None:
    wrong, other = tmp_path / "notes.txt", tmp_path / "other.sqlite"
    wrong.write_text("not a record", encoding="utf-8")
    result = boat.run("record", "merge", str(wrong), "--adopt", record=other)
    assert result.exit_code == 2
    assert "an exported record" in result.stderr
    assert sorted(one.name for one in tmp_path.iterdir() if one.name.startswith("other")) == []
    assert "that is there" in boat.refused("record", "merge", str(tmp_path / "none.jsonl"))


def test_an_export_never_overwrites_a_file(boat: Terminal, tmp_path: Path) -> None:
    there = tmp_path / "there.jsonl"
    there.write_text("mine", encoding="utf-8")
    assert "a file that does not exist yet" in boat.refused("record", "export", str(there))
    assert there.read_text(encoding="utf-8") == "mine"


def test_a_backup_opens_as_a_new_device_with_the_same_verdict(ready_boat: Terminal, tmp_path: Path) -> None:
    copy, again = tmp_path / "copy.sqlite", tmp_path / "again.sqlite"
    text = ready_boat.ok("record", "backup", str(copy))
    (head,) = ready_boat.told("record", "heads")["heads"]
    assert head["fingerprint"] in text
    assert ready_boat.told("verdict")["verdicts"] == ready_boat.told("verdict", record=copy)["verdicts"]
    assert "a file that does not exist yet" in ready_boat.refused("record", "backup", str(copy))
    assert "It writes as a new device." in ready_boat.ok("record", "restore", str(copy), str(again))
    words = ("step", "record", "Tern", "C02", "temperature_c=21", "humidity_percent=55", "--as", "Ilma")
    ready_boat.ok(*words, record=again)
    devices = {one["device"] for one in ready_boat.told("record", "heads", record=again)["heads"]}
    assert len(devices) == 2


def test_a_fingerprint_from_a_sheet_is_found_witnessed_or_missed(boat: Terminal) -> None:
    (head,) = boat.told("record", "heads")["heads"]
    assert head["own"] is True
    assert boat.run("record", "verify", "--sheet", head["fingerprint"]).exit_code == 0
    assert "found, event" in boat.ok("record", "verify", "--sheet", head["fingerprint"])
    result = boat.run("record", "verify", "--sheet", "0000 1111 2222 3333")
    assert result.exit_code == 5
    assert "not in this record" in result.stdout
    boat.ok("record", "witness", *head["fingerprint"].split(), "--as", "Toke")
    chain = boat.told("record", "verify")["chains"][0]
    assert chain["witnessed_sequence"] == head["sequence"]
    assert "16 hexadecimal digits" in boat.refused("record", "witness", "12ab", "--as", "Toke")


def test_an_event_is_shown_as_it_is_stored_with_what_rests_on_it(ready_boat: Terminal) -> None:
    entry = ready_boat.told("history", "--step", "C01")["history"][0]
    told = ready_boat.told("record", "show", entry["event"][:8])
    assert told["envelope"]["kind"] == "judgement.evidence-recorded"
    assert told["rests_on_it"]
    assert "rests on it: C06" in ready_boat.ok("record", "show", entry["event"])


@pytest.mark.parametrize("name", ["", "abc", "zz"])
def test_an_identity_that_is_none_is_refused(boat: Terminal, name: str) -> None:
    assert "4 to 64 hexadecimal digits" in boat.refused("record", "show", name)
