"""Rule 8 of the evidence model: evidence is no better than what it used, and than what it was read with."""

from __future__ import annotations

import msgspec
import pytest

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import DAY, SENSORS, Scene

ONE, TWO, THREE = SENSORS


def test_an_analysis_that_was_taken_back_takes_the_calibration_with_it() -> None:
    scene = Scene()
    done = scene.pad.morning()
    scene.pad.withdraw(done["gas"], at=31)
    standing = scene.standing("factor", 32, position=ONE)
    assert (standing.state, standing.code) == (State.VOID, "rests-on-withdrawn")
    assert scene.state("air", 32, position=ONE) is State.CURRENT


def test_an_analysis_proved_wrong_takes_the_calibration_with_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("analysis-wrong", at=31, position="cylinder-oxygen")
    assert scene.standing("gas", 32).code == "proved-wrong"
    assert scene.standing("factor", 32, position=ONE).code == "rests-on-unsound"


def test_a_failed_reading_takes_what_rests_on_it_with_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("air", at=31, position=TWO, mv="7.0")
    scene.pad.do("factor", at=32, position=TWO, factor="49")
    standing = scene.standing("factor", 33, position=TWO)
    assert standing.state is State.CURRENT  # the older one rests on the older air reading
    assert standing.item is not None
    assert standing.item.occurred_ms < scene.standing("air", 33, position=TWO).item.occurred_ms  # type: ignore[union-attr]
    assert scene.verdict(33).word is Word.STOP


def test_evidence_that_rests_on_a_failed_reading_never_counts() -> None:
    scene = Scene()
    scene.pad.do("check", at=0, off="0.2")
    scene.pad.do("gas", at=1, percent="98")
    scene.pad.do("barometer", at=2, ambient="1013", warmth="20")
    scene.pad.do("air", at=3, position=ONE, mv="7.0")
    scene.pad.do("factor", at=4, position=ONE, factor="49")
    assert scene.standing("factor", 5, position=ONE).code == "rests-on-failed"


def test_a_refilled_cylinder_leaves_the_calibration_as_it_was() -> None:
    """It rests on the gas that was used then."""
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("oxygen-changed", at=31, position="cylinder-oxygen")
    scene.pad.fill(scene.at("cylinder-oxygen"), at=31)
    assert scene.standing("gas", 32).code == "never-done"
    for position in SENSORS:
        assert scene.state("factor", 32, position=position) is State.CURRENT


def test_an_old_analysis_proved_wrong_after_the_refill_still_takes_the_calibration() -> None:
    scene = Scene()
    scene.pad.morning()
    cylinder = scene.at("cylinder-oxygen")
    old = scene.book().world.content_of(cylinder)
    assert old is not None
    scene.pad.change("oxygen-changed", at=31, position="cylinder-oxygen")
    scene.pad.fill(cylinder, at=31)
    scene.pad.change("analysis-wrong", old, at=33)
    assert scene.standing("factor", 34, position=ONE).code == "rests-on-unsound"


def test_evidence_that_names_what_is_not_on_record_does_not_count() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("air", at=31, position=ONE, mv="10", used=("9" * 64,))
    older = scene.standing("air", 32, position=ONE)
    assert older.state is State.CURRENT
    assert older.item is not None
    assert older.item.payload.used != ("9" * 64,)
    lonely = Scene()
    lonely.pad.do("air", at=0, position=ONE, mv="10", used=("9" * 64,))
    assert lonely.standing("air", 1, position=ONE).code == "rests-on-unknown"


class TestInstruments:
    def test_an_analyser_found_bad_takes_what_was_read_with_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        assert scene.standing("gas", 61).code == "proved-wrong"
        assert scene.standing("factor", 61, position=ONE).code == "rests-on-unsound"

    def test_what_was_read_before_its_last_good_check_stays(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("check", at=40, off="0.1")
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        assert scene.state("gas", 61) is State.CURRENT
        assert scene.state("factor", 61, position=ONE) is State.CURRENT

    def test_a_check_of_the_same_page_as_the_reading_is_no_later_check(self) -> None:
        scene = Scene()
        scene.pad.do("check", at=0, off="0.2")
        scene.pad.do("gas", at=0, percent="98")
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        assert scene.standing("gas", 61).code == "proved-wrong"

    def test_a_check_that_was_taken_back_protects_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        check = scene.pad.do("check", at=40, off="0.1")
        scene.pad.withdraw(check, at=41)
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        assert scene.standing("gas", 61).code == "proved-wrong"

    def test_a_check_outside_its_limit_finds_the_analyser_bad_without_a_word_more(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("check", at=40, off="3.0")
        assert scene.standing("gas", 41).code == "proved-wrong"

    def test_a_good_check_at_the_end_protects_from_a_bad_one_later(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("check", at=40, off="0.1")
        scene.pad.do("check", at=60, off="3.0")
        assert scene.state("gas", 61) is State.CURRENT

    def test_another_analyser_is_not_touched(self) -> None:
        scene = Scene()
        second = scene.pad.create("instrument", "A-2", at=-5, instrument="analyser")
        scene.pad.morning()
        scene.pad.change("analyser-bad", second, at=60)
        assert scene.state("gas", 61) is State.CURRENT

    def test_a_shared_analyser_takes_readings_of_every_unit(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        scene.pad.begin("dive-day", at=-9, unit=other)
        scene.pad.morning()
        scene.pad.morning(unit=other)
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        assert scene.standing("gas", 61).code == "proved-wrong"
        assert scene.standing("gas", 61, unit=other).code == "proved-wrong"

    def test_a_finding_on_a_device_that_had_not_heard_of_the_reading_takes_it(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        phone.change("analyser-bad", scene.analyser, at=0)
        scene.pad.morning(at=1)
        assert scene.standing("gas", 32).code == "proved-wrong"

    def test_a_repaired_analyser_serves_again(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("analyser-bad", scene.analyser, at=60)
        scene.pad.do("check", at=70, off="0.1")
        scene.pad.do("gas", at=71, percent="98")
        assert scene.state("gas", 72) is State.CURRENT


def test_an_end_check_days_later_still_reaches_back() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("analyser-bad", scene.analyser, at=5 * DAY)
    assert scene.standing("gas", 5 * DAY + 1).code == "proved-wrong"


@pytest.mark.parametrize("length", [3, 400])
def test_a_long_chain_of_readings_falls_with_its_first_link(length: int) -> None:
    scene = Scene()
    first = scene.pad.do("barometer", at=0, ambient="1013", warmth="20")
    last = first
    for number in range(length):
        last = scene.pad.do("air", at=1, position=ONE, mv="10", used=(last,)) if number < 3 else _chained(scene, last)
    assert scene.verdict(2).word is Word.UNPROVEN
    scene.pad.withdraw(first, at=3)
    assert scene.standing("air", 4, position=ONE).code in ("rests-on-withdrawn", "rests-on-unsound")


def _chained(scene: Scene, used: str) -> str:
    """One more reading on the one before, written without looking anything up."""
    template = scene.pad.chain[-1].payload
    sensor = scene.pad.chain[-1].envelope.subjects
    assert isinstance(template, msgspec.Struct)
    return scene.pad.write(msgspec.structs.replace(template, used=(used,)), *sensor, at=1)
