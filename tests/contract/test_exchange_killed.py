"""A true server and two true clients, each ended at random moments while they exchange; afterwards all of them agree.

Processes end as the kernel ends them (SIGKILL), without any chance to tidy up. Everything in the records is invented.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from random import Random

import pytest

from loopworthy.bootstrap import system_clock
from tests.contract.exchange_processes import ZONE, Server, Side, code_of, make_server

ROUNDS = 4


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    running = make_server(tmp_path / "hub")
    running.start()
    yield running
    running.end()


def test_whatever_is_ended_when_nothing_is_lost_and_all_agree_afterwards(server: Server, tmp_path: Path) -> None:
    chance = Random(secrets.randbits(32))
    sides = [Side(tmp_path / name, name) for name in ("laptop", "tablet")]
    for side in sides:
        side.folder.mkdir()
        side.run("exchange", "join", server.address, code_of(server), "--device-name", side.name)
    began = time.monotonic()
    sides[0].run("exchange", "with")
    usual_s = time.monotonic() - began
    for round_number in range(ROUNDS):
        for side in (*sides, server.side):
            side.note(round_number)
        running = [side.start("exchange", "with") for side in sides]
        ends = sorted((chance.uniform(0.3, 1.6) * usual_s, number) for number in range(3))
        began = time.monotonic()
        for after_s, which in ends[: chance.randint(1, 3)]:
            time.sleep(max(0.0, began + after_s - time.monotonic()))
            if which == 2:
                server.end()
                server.start()
            else:
                with suppress(ProcessLookupError):
                    running[which].kill()
        for process in running:
            process.communicate(timeout=60)
        assert [side.faults() for side in (*sides, server.side)] == [[], [], []], f"round {round_number}"
    for side in (*sides, *sides):
        side.run("exchange", "with")
    everybody = [*sides, server.side]
    acknowledged = set().union(*(side.acknowledged for side in everybody))
    for side in everybody:
        assert acknowledged <= side.identities(), side.name
        assert side.faults() == []
    now = system_clock(ZONE)()
    verdicts = [side.verdict(now) for side in everybody]
    assert verdicts[0] == verdicts[1] == verdicts[2]
    for side in everybody:
        assert side.run("record", "verify").startswith("unbroken")
