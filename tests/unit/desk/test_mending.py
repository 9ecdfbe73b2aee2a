"""Repairs, holds, waivers, withdrawals: said by the right person, for the right thing, and never more."""

from __future__ import annotations

import pytest

from loopworthy.desk import changes, mending, steps
from loopworthy.desk.changes import Declared
from loopworthy.judgement.standing import State
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate


def open_a_hold(bench: Bench) -> str:
    events = changes.record_change(
        bench.workplace, bench.unit, Declared(change="flooded", note="water in the loop"), person=bench.reader
    )
    return events[0].id


def test_a_hold_is_released_by_somebody_else_only(bench: Bench) -> None:
    hold = open_a_hold(bench)
    words = {"cause": "torn mouthpiece", "repair": "new mouthpiece", "test": "both leak tests held"}
    with pytest.raises(RefusedError, match="second person"):
        mending.release_hold(bench.workplace, bench.unit, hold, **words, person=bench.reader)
    mending.release_hold(bench.workplace, bench.unit, hold, **words, person=bench.second)
    assert bench.workplace.verdict(bench.unit).open_holds == ()


def test_a_release_without_a_test_is_no_release(bench: Bench) -> None:
    hold = open_a_hold(bench)
    with pytest.raises(InputError, match="test"):
        mending.release_hold(bench.workplace, bench.unit, hold, cause="c", repair="r", test=" ", person=bench.second)


def test_a_failed_reading_is_mended_by_name_and_then_read_again(bench: Bench) -> None:
    failed = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("7.1")], read_by=bench.reader,
    )[-1]  # fmt: skip
    assert bench.workplace.verdict(bench.unit).word.value == "stop"
    bench.clock.forward(minutes=5)
    mending.record_repair(
        bench.workplace, bench.unit, (failed.id,), cause="corroded plug", done="plug cleaned", person=bench.reader
    )
    assert bench.workplace.verdict(bench.unit).word.value == "unproven"
    bench.clock.forward(minutes=5)
    steps.record_steps(bench.workplace, bench.unit, air("10.2"), read_by=bench.reader)
    standing = next(
        one.standing
        for one in bench.workplace.verdict(bench.unit).requirements()
        if one.step.id == "C03" and one.subject.position == "oxygen-sensor-1"
    )
    assert standing.state is State.CURRENT


def test_one_repair_mends_what_failed_again_for_the_same_cause(bench: Bench) -> None:
    failed = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("7.1")], read_by=bench.reader,
    )[-1]  # fmt: skip
    bench.clock.forward(minutes=5)
    steps.record_steps(bench.workplace, bench.unit, air("7.2"), read_by=bench.reader)
    mending.record_repair(
        bench.workplace, bench.unit, (failed.id,), cause="corroded plug", done="plug cleaned", person=bench.reader
    )
    assert bench.workplace.verdict(bench.unit).word.value == "unproven"


def test_a_repair_written_down_late_does_not_mend_what_failed_after_it(bench: Bench) -> None:
    failed = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("7.1")], read_by=bench.reader,
    )[-1]  # fmt: skip
    repaired = bench.clock.forward(minutes=5)
    bench.clock.forward(minutes=5)
    steps.record_steps(bench.workplace, bench.unit, air("7.2"), read_by=bench.reader)
    mending.record_repair(
        bench.workplace,
        bench.unit,
        (failed.id,),
        cause="corroded plug",
        done="plug cleaned",
        person=bench.reader,
        occurred_at=repaired,
    )
    assert bench.workplace.verdict(bench.unit).word.value == "stop"


def test_reading_again_until_it_passes_does_not_mend(bench: Bench) -> None:
    steps.record_steps(bench.workplace, bench.unit, [*climate(bench), *air("7.1")], read_by=bench.reader)
    bench.clock.forward(minutes=2)
    steps.record_steps(bench.workplace, bench.unit, air("10.2"), read_by=bench.reader)
    assert bench.workplace.verdict(bench.unit).word.value == "stop"


def test_a_repair_of_something_that_is_no_reading_is_refused(bench: Bench) -> None:
    with pytest.raises(UnknownNameError, match="reading"):
        mending.record_repair(bench.workplace, bench.unit, ("0" * 64,), cause="c", done="d", person=bench.reader)


def test_a_never_skipped_step_cannot_be_waived(bench: Bench) -> None:
    with pytest.raises(RefusedError, match="never skipped"):
        mending.give_waiver(
            bench.workplace,
            bench.unit,
            "D02",
            "cylinder-oxygen",
            reason="late",
            hearer=bench.second,
            person=bench.reader,
        )


def test_a_waiver_is_heard_by_somebody_else_and_shown(bench: Bench) -> None:
    step = next(
        one.step
        for one in bench.workplace.verdict(bench.unit).requirements()
        if not one.step.never_skipped and one.subject.key == bench.unit
    )
    with pytest.raises(RefusedError, match="somebody else"):
        mending.give_waiver(
            bench.workplace, bench.unit, step.id, bench.unit, reason="r", hearer=bench.reader, person=bench.reader
        )
    mending.give_waiver(
        bench.workplace,
        bench.unit,
        step.id,
        bench.unit,
        reason="meter left ashore",
        hearer=bench.second,
        person=bench.reader,
    )
    found = next(one for one in bench.workplace.verdict(bench.unit).requirements() if one.step.id == step.id)
    assert found.standing.state is State.WAIVED
    assert found.standing.values["reason"] == "meter left ashore"


def test_a_withdrawn_reading_stays_readable_and_does_not_count(bench: Bench) -> None:
    event = steps.record_steps(bench.workplace, bench.unit, climate(bench), read_by=bench.reader)[0]
    mending.withdraw(bench.workplace, event.id, reason="typed on the wrong unit", person=bench.reader)
    assert bench.workplace.record.get(event.id).body == event.body
    found = next(one for one in bench.workplace.verdict(bench.unit).requirements() if one.step.id == "C01")
    assert found.standing.state is State.ABSENT
    with pytest.raises(RefusedError, match="already"):
        mending.withdraw(bench.workplace, event.id, reason="again", person=bench.reader)
    with pytest.raises(InputError, match="reason"):
        mending.withdraw(bench.workplace, event.id, reason=" ", person=bench.reader)


def test_nobody_passes_a_hold_that_is_not_ready(bench: Bench) -> None:
    with pytest.raises(RefusedError, match="unproven"):
        mending.pass_hold(bench.workplace, bench.unit, "H3", person=bench.reader)
