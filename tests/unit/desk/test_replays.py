"""The state at a past time is told twice, and a passing that the record does not bear out is found."""

from __future__ import annotations

import pytest

from loopworthy.desk import changes, replays, steps
from loopworthy.desk.changes import Declared
from loopworthy.judgement.engine import ENGINE
from loopworthy.judgement.events import HoldPassed
from loopworthy.judgement.replay import AS_KNOWN, HINDSIGHT, replay
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate


def test_a_change_declared_late_is_in_hindsight_but_was_not_known_then(bench: Bench) -> None:
    steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    happened = bench.clock.forward(minutes=10)
    asked = bench.clock.forward(minutes=10)
    bench.clock.forward(minutes=30)
    knocked = Declared(change="sensor-knocked", positions=("oxygen-sensor-1",))
    changes.record_change(bench.workplace, bench.unit, knocked, person=bench.reader, occurred_at=happened)
    then, now = replays.past_states(bench.workplace, bench.unit, asked)
    assert (then.label, now.label) == (AS_KNOWN, HINDSIGHT)
    assert then.replay is not None
    assert now.replay is not None
    assert then.replay.events == now.replay.events - 1
    assert not any(entry.change == "sensor-knocked" for entry in then.replay.book.changes.entries.values())
    assert any(entry.change == "sensor-knocked" for entry in now.replay.book.changes.entries.values())


def test_two_readings_of_the_same_events_are_folded_once_and_judged_as_if_each_were(bench: Bench) -> None:
    steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    asked = bench.clock.forward(minutes=10)
    then, now = replays.past_states(bench.workplace, bench.unit, asked)
    assert then.replay is not None
    assert now.replay is not None
    assert now.replay.book is then.replay.book
    events, catalogue = bench.workplace.record.events(), bench.workplace.catalogue
    assert now.replay.verdict == replay(events, catalogue, bench.unit, asked, device=None).verdict
    bench.clock.forward(minutes=30)
    late = Declared(change="sensor-knocked", positions=("oxygen-sensor-1",))
    changes.record_change(bench.workplace, bench.unit, late, person=bench.reader, occurred_at=asked.plus(minutes=-5))
    then, now = replays.past_states(bench.workplace, bench.unit, asked)
    assert then.replay is not None
    assert now.replay is not None
    assert now.replay.book is not then.replay.book


def test_before_the_unit_was_there_nothing_is_known_of_it(bench: Bench) -> None:
    then, now = replays.past_states(bench.workplace, bench.unit, bench.workplace.now().plus(minutes=-600))
    assert (then.replay, now.replay) == (None, None)


def test_the_future_and_an_unknown_device_are_refused(bench: Bench) -> None:
    with pytest.raises(InputError, match="not later than now"):
        replays.past_states(bench.workplace, bench.unit, bench.workplace.now().plus(minutes=5))
    with pytest.raises(UnknownNameError, match="device"):
        replays.past_states(bench.workplace, bench.unit, bench.workplace.now(), device="ab" * 16)


def test_the_devices_of_a_record_have_their_names(bench: Bench) -> None:
    (only,) = replays.devices(bench.workplace)
    assert only.name == "memory"
    assert only.id == bench.workplace.record.device


def test_a_passing_on_a_verdict_that_the_record_does_not_give_is_found_when_asked(bench: Bench) -> None:
    passed = HoldPassed(
        unit=bench.unit, hold="H1", verdict="ready", catalogue=bench.workplace.catalogue.digest, engine=ENGINE
    )
    bench.workplace.writer().append("judgement.hold-passed", passed, subjects=(bench.unit,), read_by=bench.reader)
    (unasked,) = replays.passings(bench.workplace, bench.unit, check=False)
    assert not unasked.checked
    assert unasked.disagreement is None
    (asked,) = replays.passings(bench.workplace, bench.unit, check=True)
    assert asked.disagreement is not None
    assert (asked.disagreement.said, asked.disagreement.found) == ("ready", "unproven")
