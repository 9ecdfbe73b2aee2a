"""Rules 9 and 13 of the evidence model: re-checks, and that taking something back revives nothing."""

from __future__ import annotations

from loopworthy.judgement.standing import State, View
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import SENSORS, Scene, minute

ONE, TWO, THREE = SENSORS


class TestRechecks:
    def test_a_dive_makes_a_recheck_due_and_names_the_step(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        standing = scene.standing("factor", 41, position=ONE)
        assert (standing.state, standing.mend, standing.code) == (State.RECHECK, "known", "recheck-after-change")

    def test_one_later_reading_of_the_same_sensor_clears_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        scene.pad.do("known", at=45, position=ONE, po2="0.21")
        assert scene.state("factor", 46, position=ONE) is State.CURRENT
        assert scene.state("factor", 46, position=TWO) is State.RECHECK

    def test_a_reading_from_before_the_change_clears_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("known", at=39, position=ONE, po2="0.21")
        scene.pad.change("dive-made", at=40)
        assert scene.state("factor", 41, position=ONE) is State.RECHECK

    def test_a_reading_on_a_device_that_did_not_know_of_the_change_clears_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        phone = scene.device("phone")
        scene.pad.change("dive-made", at=40)
        phone.do("known", at=45, position=ONE, po2="0.21")
        assert scene.state("factor", 46, position=ONE) is State.RECHECK

    def test_a_failed_reading_clears_nothing_nor_does_one_after_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        scene.pad.do("known", at=45, position=ONE, po2="0.30")
        scene.pad.do("known", at=46, position=ONE, po2="0.21")
        assert scene.state("factor", 47, position=ONE) is State.RECHECK

    def test_a_reading_that_was_taken_back_clears_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        known = scene.pad.do("known", at=45, position=ONE, po2="0.21")
        scene.pad.withdraw(known, at=46)
        assert scene.state("factor", 47, position=ONE) is State.RECHECK

    def test_a_reading_near_its_limit_clears_only_with_a_second_one(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        scene.pad.do("known", at=45, position=ONE, po2="0.24")
        assert scene.state("factor", 46, position=ONE) is State.RECHECK
        scene.pad.do("known", at=47, position=ONE, po2="0.24")
        assert scene.state("factor", 48, position=ONE) is State.CURRENT

    def test_a_reading_that_was_undone_itself_clears_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        scene.pad.do("known", at=45, position=ONE, po2="0.21")
        scene.pad.change("dive-made", at=50)
        assert scene.state("factor", 51, position=ONE) is State.RECHECK

    def test_a_recheck_for_the_whole_unit_needs_every_subject(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("sensor-replaced", at=32, position=TWO)
        thing = scene.pad.create("oxygen-sensor", at=32)
        scene.pad.fit(TWO, thing, at=32)
        assert scene.state("place", 33) is State.RECHECK
        scene.pad.do("place", at=34)
        assert scene.state("place", 35) is State.CURRENT

    def test_the_same_step_again_clears_a_leak_test_after_a_dive(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        assert scene.state("tight", 41) is State.RECHECK
        scene.pad.do("tight", at=45, loss="2")
        assert scene.state("tight", 46) is State.CURRENT

    def test_ready_lasts_no_longer_than_the_recheck_that_it_stands_on(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("temperature-changed", at=40)
        scene.pad.do("air", at=50, position=ONE, mv="10.1")
        standing = scene.standing("air", 51, position=ONE)
        assert standing.until_ms == minute(50 + 24 * 60).epoch_ms


class TestWithdrawals:
    def test_a_change_that_was_taken_back_leaves_a_recheck_due(self) -> None:
        scene = Scene()
        scene.pad.morning()
        change = scene.pad.change("loop-opened", at=31)
        scene.pad.withdraw(change, at=32)
        standing = scene.standing("tight", 33)
        assert (standing.state, standing.code, standing.mend) == (State.RECHECK, "change-withdrawn", "tight")
        scene.pad.do("tight", at=34, loss="1")
        assert scene.state("tight", 35) is State.CURRENT

    def test_a_reading_that_was_taken_back_needs_a_new_one_and_the_older_does_not_step_in(self) -> None:
        scene = Scene()
        scene.pad.morning()
        second = scene.pad.do("weight", at=31)
        scene.pad.withdraw(second, at=32)
        standing = scene.standing("weight", 33)
        assert (standing.state, standing.code) == (State.ABSENT, "reading-withdrawn")

    def test_taking_back_an_older_reading_leaves_the_newer_one(self) -> None:
        scene = Scene()
        done = scene.pad.morning()
        scene.pad.do("weight", at=31)
        scene.pad.withdraw(done["weight"], at=32)
        assert scene.state("weight", 33) is State.CURRENT

    def test_a_withdrawal_that_was_taken_back_does_not_bring_the_reading_back(self) -> None:
        scene = Scene()
        done = scene.pad.morning()
        withdrawal = scene.pad.withdraw(done["weight"], at=32)
        scene.pad.withdraw(withdrawal, at=33)
        assert scene.state("weight", 34) is State.ABSENT

    def test_a_finding_that_was_taken_back_leaves_doubt_until_it_is_read_again(self) -> None:
        scene = Scene()
        scene.pad.morning()
        finding = scene.pad.change("analyser-bad", scene.analyser, at=40)
        scene.pad.withdraw(finding, at=41)
        assert scene.standing("gas", 42).code == "change-withdrawn"
        assert scene.state("factor", 42, position=ONE) is State.RECHECK
        scene.pad.do("check", at=43, off="0.1")
        scene.pad.do("gas", at=44, percent="98")
        assert scene.state("gas", 45) is State.CURRENT
        assert scene.state("factor", 45, position=ONE) is State.CURRENT

    def test_doubt_about_a_gas_that_is_gone_is_cleared_by_calibrating_anew(self) -> None:
        scene = Scene()
        scene.pad.morning()
        finding = scene.pad.change("analyser-bad", scene.analyser, at=40)
        scene.pad.withdraw(finding, at=41)
        scene.pad.change("oxygen-changed", at=42, position="cylinder-oxygen")
        scene.pad.fill(scene.at("cylinder-oxygen"), at=42)
        scene.pad.do("check", at=43, off="0.1")
        scene.pad.do("gas", at=44, percent="98")
        standing = scene.standing("factor", 45, position=ONE)
        assert (standing.state, standing.mend) == (State.RECHECK, "factor")
        scene.pad.do("factor", at=46, position=ONE, factor="49")
        assert scene.state("factor", 47, position=ONE) is State.CURRENT

    def test_a_failed_check_of_an_instrument_that_was_taken_back_leaves_doubt(self) -> None:
        scene = Scene()
        scene.pad.morning()
        check = scene.pad.do("check", at=40, off="4")
        scene.pad.withdraw(check, at=41)
        assert scene.state("gas", 42) is State.RECHECK

    def test_a_dive_that_was_taken_back_revives_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.waive("weight", at=31)
        dive = scene.pad.change("dive-made", at=40)
        scene.pad.withdraw(dive, at=41)
        assert scene.state("known", 42, position=ONE) is State.EXPIRED
        assert scene.state("tight", 42) is State.RECHECK
        assert scene.verdict(42).holds[-1].hold.id == "H8"

    def test_every_kind_of_event_that_can_be_taken_back_makes_nothing_ready(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("loop-opened", at=31)
        failed = scene.pad.do("air", at=31, position=TWO, mv="6")
        scene.pad.repair(failed, at=32)
        hold = scene.pad.change("fault", at=32)
        scene.pad.release(hold, at=33)
        scene.pad.set_limit("known.high", "0.20", at=33)
        for event in [one for one in scene.events if one.envelope.recorded_at.epoch_ms >= minute(0).epoch_ms]:
            trial = scene.copy()
            trial.pad.withdraw(event.id, at=34)
            assert trial.verdict(35).word is not Word.READY, event.envelope.kind

    def test_for_a_past_moment_a_later_withdrawal_does_not_count_unless_with_hindsight(self) -> None:
        scene = Scene()
        done = scene.pad.morning()
        scene.pad.withdraw(done["weight"], at=60)
        assert scene.state("weight", 31, view=View.THEN) is State.CURRENT
        assert scene.state("weight", 31, view=View.HINDSIGHT) is State.ABSENT
        assert scene.state("weight", 31, view=View.LIVE) is State.ABSENT

    def test_for_a_past_moment_a_later_change_does_not_count(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("loop-opened", at=60)
        assert scene.state("tight", 31, view=View.THEN) is State.CURRENT
        assert scene.state("tight", 31, view=View.HINDSIGHT) is State.CURRENT
        assert scene.state("tight", 61) is State.VOID
