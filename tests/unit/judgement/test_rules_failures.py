"""Rule 10 of the evidence model: a failed reading stays decisive until a repair names it and a later one passes."""

from __future__ import annotations

import pytest

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import SENSORS, Scene

ONE, TWO, THREE = SENSORS


def failed_scene() -> tuple[Scene, str]:
    """A morning in which the loop leaked at the second test."""
    scene = Scene()
    scene.pad.morning()
    return scene, scene.pad.do("tight", at=32, loss="14")


def test_a_reading_outside_its_limit_stops_the_unit() -> None:
    scene, failed = failed_scene()
    verdict = scene.verdict(33)
    assert verdict.word is Word.STOP
    standing = scene.standing("tight", 33)
    assert (standing.state, standing.cause) == (State.FAILED, failed)


def test_trying_again_until_it_passes_does_not_help() -> None:
    scene, failed = failed_scene()
    scene.pad.do("tight", at=34, loss="1")
    scene.pad.do("tight", at=35, loss="1")
    assert scene.standing("tight", 36).cause == failed
    assert scene.verdict(36).word is Word.STOP


def test_a_repair_alone_is_not_enough() -> None:
    scene, failed = failed_scene()
    scene.pad.repair(failed, at=34)
    standing = scene.standing("tight", 35)
    assert (standing.state, standing.code) == (State.VOID, "mended-needs-reading")
    assert scene.verdict(35).word is Word.UNPROVEN


def test_a_repair_and_a_later_reading_that_passes_mend_it() -> None:
    scene, failed = failed_scene()
    scene.pad.repair(failed, at=34)
    scene.pad.do("tight", at=36, loss="1")
    assert scene.state("tight", 37) is State.CURRENT


def test_a_reading_from_before_the_repair_does_not_count_afterwards() -> None:
    scene, failed = failed_scene()
    scene.pad.do("tight", at=33, loss="1")
    scene.pad.repair(failed, at=34)
    assert scene.state("tight", 35) is State.VOID


def test_a_reading_typed_after_the_repair_but_read_before_it_does_not_count() -> None:
    scene, failed = failed_scene()
    scene.pad.repair(failed, at=34)
    scene.pad.do("tight", at=36, occurred=33, loss="1")
    assert scene.state("tight", 37) is State.VOID


def test_a_reading_on_a_device_that_did_not_know_of_the_repair_does_not_count() -> None:
    scene, failed = failed_scene()
    phone = scene.device("phone")
    scene.pad.repair(failed, at=34)
    phone.do("tight", at=36, loss="1")
    assert scene.state("tight", 37) is State.VOID


def test_a_repair_of_another_reading_does_not_mend_this_one() -> None:
    scene, failed = failed_scene()
    other = scene.pad.do("air", at=33, position=ONE, mv="7")
    scene.pad.repair(other, at=34)
    scene.pad.do("tight", at=36, loss="1")
    assert scene.standing("tight", 37).cause == failed


def test_a_repair_claimed_for_before_the_failure_does_not_mend_it() -> None:
    scene, failed = failed_scene()
    scene.pad.repair(failed, at=34, occurred=20)
    scene.pad.do("tight", at=36, loss="1")
    assert scene.standing("tight", 37).cause == failed


def test_a_repair_that_was_taken_back_mends_nothing() -> None:
    scene, failed = failed_scene()
    repair = scene.pad.repair(failed, at=34)
    scene.pad.do("tight", at=36, loss="1")
    scene.pad.withdraw(repair, at=37)
    assert scene.standing("tight", 38).cause == failed
    assert scene.verdict(38).word is Word.STOP


def test_a_second_failure_needs_a_repair_of_its_own() -> None:
    scene, failed = failed_scene()
    scene.pad.repair(failed, at=34)
    again = scene.pad.do("tight", at=36, loss="12")
    scene.pad.do("tight", at=37, loss="1")
    assert scene.standing("tight", 38).cause == again


def test_a_failed_reading_that_was_taken_back_needs_a_new_reading() -> None:
    scene, failed = failed_scene()
    scene.pad.do("tight", at=33, loss="1")
    scene.pad.withdraw(failed, at=34)
    standing = scene.standing("tight", 35)
    assert (standing.state, standing.code) == (State.VOID, "failed-reading-withdrawn")
    scene.pad.do("tight", at=36, loss="1")
    assert scene.state("tight", 37) is State.CURRENT


def test_a_failed_reading_that_rested_on_a_wrong_one_needs_a_new_reading_not_a_repair() -> None:
    scene = Scene()
    done = scene.pad.morning()
    scene.pad.do("factor", at=31, position=ONE, factor="75")
    assert scene.verdict(32).word is Word.STOP
    scene.pad.withdraw(done["gas"], at=33)
    standing = scene.standing("factor", 34, position=ONE)
    assert (standing.state, standing.code) == (State.VOID, "failed-reading-disproved")


def test_a_failed_reading_stays_decisive_on_the_next_day_and_after_it_would_have_expired() -> None:
    scene, failed = failed_scene()
    scene.pad.begin("dive-day", at=24 * 60)
    scene.pad.do("tight", at=24 * 60 + 5, loss="1")
    assert scene.standing("tight", 24 * 60 + 6).cause == failed


def test_a_failed_reading_claimed_for_later_than_now_counts_at_once() -> None:
    scene = Scene()
    phone = scene.device("phone")
    scene.pad.morning()
    phone.do("tight", at=31 + 120, loss="14")
    assert scene.verdict(32).word is Word.STOP


def test_what_failed_of_a_part_stays_with_the_part() -> None:
    scene = Scene()
    scene.pad.morning()
    bad = scene.at(TWO)
    scene.pad.do("air", at=31, position=TWO, mv="7")
    scene.pad.change("sensor-replaced", at=32, position=TWO)
    new = scene.pad.create("oxygen-sensor", at=32)
    scene.pad.fit(TWO, new, at=32)
    assert scene.verdict(33).word is Word.UNPROVEN
    scene.pad.change("sensor-replaced", bad, at=34, position=TWO)
    scene.pad.fit(TWO, bad, at=34)
    assert scene.verdict(35).word is Word.STOP


def test_a_reading_that_no_hold_asks_for_stops_the_unit_as_well() -> None:
    """A known gas read after a dive, on a page that is asked for only then."""
    scene = Scene()
    scene.pad.morning()
    failed = scene.pad.do("again", at=31, position=TWO, po2="0.40")
    verdict = scene.verdict(32)
    assert verdict.word is Word.STOP
    assert [one.standing.cause for one in verdict.reasons()] == [failed]
    scene.pad.repair(failed, at=33)
    scene.pad.do("again", at=34, position=TWO, po2="0.21")
    assert scene.verdict(35).word is Word.READY


def test_an_honest_no_to_a_tick_is_a_failure() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("weight", at=31, done="no")
    assert scene.state("weight", 32) is State.FAILED
    assert scene.verdict(32).word is Word.STOP


@pytest.mark.parametrize("loss", ["10", "10.0"])
def test_a_reading_at_its_limit_is_inside_and_near(loss: str) -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("tight", at=31, loss=loss)
    assert scene.standing("tight", 32).code == "near-needs-second"
    scene.pad.do("tight", at=33, loss=loss)
    standing = scene.standing("tight", 34)
    assert standing.state is State.CURRENT
    assert standing.marks == ("near limit",)


def test_a_reading_just_outside_its_limit_is_outside() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("tight", at=31, loss="10.0001")
    assert scene.state("tight", 32) is State.FAILED
