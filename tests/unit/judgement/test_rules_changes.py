"""Rules 2, 4, 5 and 7 of the evidence model: what changes undo, and that nothing declared can rescue."""

from __future__ import annotations

import pytest

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import SENSORS, Scene

ONE, TWO, THREE = SENSORS


def replace_sensor(scene: Scene, position: str, *, at: float, old: str = "", head: str = "") -> str:
    """A new sensor in a position, declared as people declare it: the change first, then the part."""
    answers = {"head": head} if head else {}
    scene.pad.change("sensor-replaced", *([old] if old else []), at=at, position=position, answers=answers)
    thing = old or scene.pad.create("oxygen-sensor", at=at)
    scene.pad.fit(position, thing, at=at)
    return thing


def test_a_replaced_sensor_voids_what_it_must_and_nothing_else() -> None:
    scene = Scene()
    scene.pad.morning()
    before = scene.states(31)
    replace_sensor(scene, TWO, at=32, head="no")
    after = scene.states(33)
    changed = {key: after[key] for key in before if after[key] is not before[key]}
    assert changed == {
        ("air", TWO): State.ABSENT,
        ("factor", TWO): State.ABSENT,
        ("known", TWO): State.ABSENT,
        ("tight", ""): State.VOID,
    }


def test_fitting_the_old_sensor_again_restores_nothing() -> None:
    scene = Scene()
    scene.pad.morning()
    old = scene.at(TWO)
    replace_sensor(scene, TWO, at=32, head="no")
    replace_sensor(scene, TWO, at=34, old=old, head="no")
    assert scene.at(TWO) == old
    assert scene.state("air", 35, position=TWO) is State.VOID
    assert scene.state("factor", 35, position=TWO) is State.VOID
    assert scene.state("tight", 35) is State.VOID


def test_what_was_read_of_the_other_sensors_stays() -> None:
    scene = Scene()
    scene.pad.morning()
    replace_sensor(scene, TWO, at=32)
    for position in (ONE, THREE):
        assert scene.state("air", 33, position=position) is State.CURRENT
        assert scene.state("factor", 33, position=position) is State.CURRENT


def test_a_question_that_nobody_answered_counts_as_its_worst_answer() -> None:
    scene = Scene()
    scene.pad.morning()
    replace_sensor(scene, TWO, at=32)
    assert scene.state("place", 33) is State.RECHECK


@pytest.mark.parametrize(("answer", "state"), [("no", State.CURRENT), ("yes", State.RECHECK)])
def test_an_answer_decides_what_falls(answer: str, state: State) -> None:
    scene = Scene()
    scene.pad.morning()
    replace_sensor(scene, TWO, at=32, head=answer)
    assert scene.state("place", 33) is state


def test_an_answer_that_is_none_of_those_offered_counts_as_the_worst() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("valve-touched", at=31, answers={"which": "the blue one"})
    assert scene.state("valve", 32) is State.VOID


def test_evidence_read_after_a_change_counts() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=31)
    assert scene.state("tight", 32) is State.VOID
    scene.pad.do("tight", at=33, loss="3")
    assert scene.state("tight", 34) is State.CURRENT


def test_a_change_made_at_the_same_time_on_another_device_undoes() -> None:
    scene = Scene()
    phone = scene.device("phone")
    scene.pad.morning()
    phone.change("loop-opened", at=5)
    assert scene.state("tight", 31) is State.VOID


def test_evidence_of_a_device_that_knew_of_the_change_outlives_it() -> None:
    scene = Scene()
    phone = scene.device("phone")
    phone.change("loop-opened", at=5)
    scene.pad.meet(phone).morning(at=6)
    assert scene.state("tight", 37) is State.CURRENT


def test_a_change_declared_late_with_an_earlier_time_undoes_what_was_read_after_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=32, occurred=2)
    assert scene.state("tight", 33) is State.VOID


def test_evidence_typed_late_from_paper_does_not_outlive_a_change_since_it_was_read() -> None:
    scene = Scene()
    scene.pad.change("loop-opened", at=10)
    scene.pad.do("tight", at=20, occurred=5, loss="2")
    assert scene.state("tight", 21) is State.VOID


def test_a_change_and_a_reading_of_one_moment_are_told_apart_by_their_order() -> None:
    scene = Scene()
    scene.pad.change("loop-opened", at=10)
    scene.pad.do("tight", at=10, loss="2")
    assert scene.state("tight", 10) is State.CURRENT
    scene.pad.change("loop-opened", at=10)
    assert scene.state("tight", 10) is State.VOID


def test_a_change_claimed_for_later_than_now_counts_at_once() -> None:
    """The clock of the phone is two hours ahead; what it saw has happened by now."""
    scene = Scene()
    phone = scene.device("phone")
    scene.pad.morning()
    phone.change("loop-opened", at=31 + 120)
    assert scene.state("tight", 32) is State.VOID


def test_evidence_that_claims_to_be_read_later_than_it_was_typed_lives_no_longer_for_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("valve", at=31, occurred=90)
    assert scene.state("valve", 41) is State.CURRENT
    assert scene.state("valve", 42) is State.EXPIRED


def test_an_exchanged_part_takes_what_is_on_its_gas_side() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("oxygen-changed", at=31, position="cylinder-oxygen")
    assert scene.state("service", 32, position="regulator-oxygen") is State.RECHECK


def test_the_gas_side_is_found_from_the_thing_where_nobody_named_the_position() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("oxygen-changed", scene.at("cylinder-oxygen"), at=31)
    assert scene.state("service", 32, position="regulator-oxygen") is State.RECHECK
    assert scene.state("gas", 32) is State.VOID


def test_a_change_for_the_whole_record_takes_evidence_of_every_unit() -> None:
    scene = Scene()
    other = scene.new_unit("Plover", at=-10)
    scene.pad.morning()
    scene.pad.change("list-revised", at=31, unit=other)
    assert scene.state("weight", 32) is State.VOID


def test_a_change_of_another_unit_takes_nothing_here() -> None:
    scene = Scene()
    other = scene.new_unit("Plover", at=-10)
    scene.pad.morning()
    scene.pad.change("loop-opened", at=31, unit=other)
    assert scene.verdict(32).word is Word.READY


def test_a_bad_meter_voids_what_was_read_with_it() -> None:
    scene = Scene()
    scene.pad.morning()
    meter = scene.pad.create("instrument", at=32, instrument="meter")
    scene.pad.do("air", at=33, position=ONE, mv="10.3", instruments=(meter,))
    scene.pad.do("air", at=33, position=TWO, mv="10.3")
    scene.pad.change("meter-bad", meter, at=35)
    bad = scene.standing("air", 36, position=ONE)
    assert scene.state("air", 36, position=TWO) is State.CURRENT
    # what was read earlier with another meter has not fallen, and counts again
    assert bad.state is State.CURRENT
    assert bad.item is not None
    assert bad.item.payload.readings["mv"][0].value == "10.2"


def test_a_change_that_this_version_does_not_know_leaves_nothing_proven() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("hull-repainted", at=31)
    standing = scene.standing("weight", 32)
    assert (standing.state, standing.code) == (State.CANNOT_TELL, "change-not-understood")
    scene.pad.do("weight", at=33)
    assert scene.state("weight", 34) is State.CURRENT


def test_an_event_of_a_later_version_counts_against_what_it_names() -> None:
    scene = Scene()
    scene.pad.morning()
    sensor = scene.at(TWO)
    scene.pad.write(None, sensor, at=31, kind="unit.change-made", version=9)
    assert scene.standing("air", 32, position=TWO).code == "change-not-understood"
    assert scene.state("air", 32, position=ONE) is State.CURRENT


def test_a_withdrawal_of_a_later_version_counts_against_everything() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.write(None, at=31, kind="record.event-withdrawn", version=9)
    assert scene.verdict(32).word is Word.UNPROVEN
    assert {one.code for one in (scene.standing("air", 32), scene.standing("weight", 32))} == {"change-not-understood"}


def test_an_event_that_means_nothing_to_evidence_is_only_counted() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.write(None, scene.unit, at=31, kind="plan.sketched", version=3)
    assert scene.verdict(32).word is Word.READY
