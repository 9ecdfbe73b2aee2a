"""Serving and the demonstration, each in a process of its own, as a person starts them."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest

from loopworthy.vocabulary.identity import short
from tests.unit.doors.cli.conftest import Terminal

PROGRAM = (sys.executable, "-c", "from loopworthy.doors.cli.main import main; main()")


@contextmanager
def started(*words: str, record: Path) -> Iterator[subprocess.Popen[str]]:
    """The program, started with these words; it is stopped at the end as Ctrl-C stops it.

    On a busy machine the first signal may come before the server listens for it; it is sent again, as a person would.
    """
    environment = os.environ | {"LOOPWORTHY_RECORD": str(record), "LOOPWORTHY_ZONE": "Europe/Malta"}
    process = subprocess.Popen(
        [*PROGRAM, *words],
        env=environment | {"PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield process
    finally:
        for patience in (10, 10, 20):
            process.send_signal(signal.SIGINT)
            with suppress(subprocess.TimeoutExpired):
                process.communicate(timeout=patience)
                break
        else:
            process.kill()
            process.communicate()


def test_serve_prints_its_address_and_each_verdict_and_answers_there(boat: Terminal) -> None:
    with started("serve", "--port", "0", record=boat.record) as process:
        assert process.stdout is not None
        first = process.stdout.readline()
        assert first.startswith("Serving http://127.0.0.1:")
        assert process.stdout.readline().startswith("unproven: Tern")
        address = first.split()[1]
        with urllib.request.urlopen(address, timeout=20) as answer:
            assert answer.status == 200
            assert b"Tern" in answer.read()
    assert process.returncode == 0  # stopped in the ordinary way


def test_a_damaged_record_is_served_as_one_page_that_names_the_first_bad_event(boat: Terminal) -> None:
    with closing(sqlite3.connect(boat.record)) as connection:
        connection.execute("DROP TRIGGER events_are_not_edited")
        identity, body = connection.execute("SELECT id, body FROM events WHERE position = 3").fetchone()
        broken = bytes([*body[:-9], body[-9] ^ 1, *body[-8:]])
        connection.execute("UPDATE events SET body = ? WHERE position = 3", (broken,))
        connection.commit()
    with started("serve", "--port", "0", record=boat.record) as process:
        assert process.stdout is not None
        address = process.stdout.readline().split()[1]
        line = process.stdout.readline()
        assert line.startswith("DAMAGED: Event 3 of chain ")
        assert f"({short(identity)}): its bytes no longer fit its hash" in line
        with pytest.raises(urllib.error.HTTPError) as answer:
            urllib.request.urlopen(address, timeout=20)
        assert answer.value.code == 503
        assert short(identity).encode() in answer.value.read()
    assert process.returncode == 0


def test_a_port_that_is_taken_is_named_and_ends_with_one(boat: Terminal) -> None:
    with started("serve", "--port", "0", record=boat.record) as process:
        assert process.stdout is not None
        port = process.stdout.readline().strip().rstrip("/").rpartition(":")[2]
        line = boat.refused("serve", "--port", port, code=1)
    assert f"port {port}" in line
    assert "in use" in line
    assert "--port" in line


def test_an_address_that_others_reach_is_said_to_be_one(boat: Terminal) -> None:
    with started("serve", "--port", "0", "--host", "0.0.0.0", record=boat.record) as process:
        assert process.stdout is not None
        process.stdout.readline()
        assert process.stdout.readline() == ("Whoever can reach this address can read the record and write to it.\n")


def test_the_demonstration_tells_one_verdict_of_each_word_and_says_that_it_is_invented(
    terminal: Terminal, tmp_path: Path
) -> None:
    folder = tmp_path / "rehearsal"
    lines = terminal.ok("demo", "--path", str(folder)).splitlines()
    assert lines[0] == f"Invented demo record in {folder}, no real unit."
    told = terminal.told("demo", "--path", str(folder))["verdicts"]
    assert sorted(one["verdict"] for one in told) == ["ready", "stop", "unproven"]
    assert not terminal.record.exists()
