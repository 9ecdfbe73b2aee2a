"""Rules 11 and 12 of the evidence model: waivers, single-handed work, and holds that a second person lifts."""

from __future__ import annotations

import pytest

from loopworthy.judgement.standing import COUNTING, State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import DAY, SENSORS, Scene
from tests.unit.judgement.small_catalogue import catalogue_with

ONE, TWO, THREE = SENSORS


def without_weight() -> Scene:
    """A morning in which the weights were never tried."""
    scene = Scene()
    pad = scene.pad
    pad.morning()
    scene.events = [one for one in scene.events if getattr(one.payload, "step", "") != "weight"]
    return scene


class TestWaivers:
    def test_a_waiver_covers_what_is_absent_and_is_shown(self) -> None:
        scene = without_weight()
        assert scene.state("weight", 31) is State.ABSENT
        scene.pad.waive("weight", at=32)
        standing = scene.standing("weight", 33)
        assert (standing.state, standing.values["reason"]) == (State.WAIVED, "no time")
        verdict = scene.verdict(33)
        assert verdict.word is Word.READY
        assert verdict.marks == ("waived: weight",)

    def test_a_waiver_covers_what_has_expired(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.waive("stamp", at=31, position="cylinder-oxygen")
        scene.pad.begin("dive-day", at=366 * DAY)
        assert scene.state("stamp", 366 * DAY + 1) is State.EXPIRED
        scene.pad.waive("stamp", at=366 * DAY + 1, position="cylinder-oxygen")
        assert scene.state("stamp", 366 * DAY + 2) is State.WAIVED

    def test_a_waiver_covers_nothing_that_was_undone(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.waive("weight", at=31)
        scene.pad.change("list-revised", at=32)
        assert scene.state("weight", 33) is State.VOID

    def test_a_waiver_covers_nothing_that_failed(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=31)
        scene.pad.do("weight", at=32, done="no")
        assert scene.state("weight", 33) is State.FAILED

    def test_taking_back_a_failed_reading_does_not_open_the_way_for_a_waiver(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=31)
        failed = scene.pad.do("weight", at=32, done="no")
        scene.pad.withdraw(failed, at=33)
        scene.pad.waive("weight", at=34)
        assert scene.state("weight", 35) is State.VOID

    def test_after_a_reading_was_taken_back_the_waiver_has_to_be_said_again(self) -> None:
        scene = Scene()
        done = scene.pad.morning()
        scene.pad.waive("weight", at=31)
        scene.pad.withdraw(done["weight"], at=32)
        assert scene.state("weight", 33) is State.ABSENT
        scene.pad.waive("weight", at=34)
        assert scene.state("weight", 35) is State.WAIVED

    def test_a_waiver_holds_for_one_dive(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=32)
        scene.pad.change("dive-made", at=40)
        assert scene.state("weight", 41) is State.ABSENT

    def test_a_waiver_holds_for_its_dive_day(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=32)
        scene.pad.begin("dive-day", at=DAY)
        assert scene.state("weight", DAY + 1) is State.ABSENT

    def test_no_waiver_covers_a_step_that_is_never_skipped(self) -> None:
        scene = Scene()
        scene.pad.waive("tight", at=1)
        assert scene.state("tight", 2) is State.ABSENT

    def test_a_waiver_that_was_taken_back_covers_nothing(self) -> None:
        scene = without_weight()
        waiver = scene.pad.waive("weight", at=32)
        scene.pad.withdraw(waiver, at=33)
        assert scene.state("weight", 34) is State.ABSENT

    def test_a_waiver_that_nobody_else_heard_is_none(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=32, hearer="ada")
        assert scene.state("weight", 33) is State.ABSENT

    def test_a_waiver_falls_when_its_reason_is_gone(self) -> None:
        scene = without_weight()
        scene.pad.waive("weight", at=32)
        scene.pad.change("reason-gone", at=33)
        assert scene.state("weight", 34) is State.ABSENT
        scene.pad.waive("weight", at=35)
        assert scene.state("weight", 36) is State.WAIVED

    def test_a_waiver_names_one_requirement(self) -> None:
        scene = Scene()
        scene.pad.waive("air", at=1, position=ONE)
        assert scene.state("air", 2, position=ONE) is State.WAIVED
        assert scene.state("air", 2, position=TWO) is State.ABSENT

    def test_a_waiver_follows_the_part_not_the_place(self) -> None:
        scene = Scene()
        scene.pad.waive("air", at=1, position=ONE)
        scene.pad.change("sensor-replaced", at=2, position=ONE)
        scene.pad.fit(ONE, scene.pad.create("oxygen-sensor", at=2), at=2)
        assert scene.state("air", 3, position=ONE) is State.ABSENT

    def test_what_has_expired_and_would_have_to_be_looked_at_besides_is_not_waived(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.waive("air", at=31, position=ONE)
        scene.pad.change("temperature-changed", at=32)
        assert scene.state("air", 33, position=ONE) is State.RECHECK
        assert scene.state("air", 5 + DAY, position=ONE) is State.EXPIRED

    def test_a_reading_that_needed_a_second_one_is_not_waived_once_it_has_aged(self) -> None:
        scene = Scene()
        scene.pad.do("barometer", at=0, ambient="1013", warmth="20")
        scene.pad.waive("air", at=1, position=ONE)
        scene.pad.do("air", at=2, position=ONE, mv="8.6")
        assert scene.standing("air", 3, position=ONE).code == "near-needs-second"
        assert scene.standing("air", 3 + DAY, position=ONE).code == "near-needs-second"

    def test_what_was_waived_stands_for_the_order_of_later_steps(self) -> None:
        scene = Scene(catalogue_with(AFTER_PLACE))
        step = scene.catalogue.step("closed")
        scene.pad.do("closed", at=1)
        assert scene.bench(2).standing(scene.unit, step, "CLOSED", scene.about("closed")).state is State.OUT_OF_ORDER
        scene.pad.waive("place", at=3)
        assert scene.bench(4).standing(scene.unit, step, "CLOSED", scene.about("closed")).state is State.OUT_OF_ORDER
        scene.pad.do("closed", at=5)
        assert scene.bench(6).standing(scene.unit, step, "CLOSED", scene.about("closed")).state is State.CURRENT


AFTER_PLACE = """
[evidence.CLOSED]
title = "Closed"
produced_by = "a look"
voided_by = "nothing"
expires = "never"
origin = "common practice"
[steps.closed]
title = "Close"
text = "Close it."
accept = "Closed."
page = "loop"
makes = ["CLOSED"]
after = ["PLACE"]
inputs = [{name = "done", label = "Closed", kind = "tick"}]
"""


class TestSingleHanded:
    def test_single_handed_counts_and_is_shown(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("tight", at=31, loss="2", single_handed=True)
        scene.pad.do("look", at=32)
        verdict = scene.verdict(33)
        assert verdict.word is Word.READY
        assert verdict.marks == ("single-handed: tight",)

    def test_it_is_shown_wherever_something_rests_on_it(self) -> None:
        scene = Scene()
        scene.pad.do("check", at=-5, off="0.1")
        scene.pad.do("gas", at=-4, percent="98", single_handed=True)
        scene.pad.morning()
        analysed = [one for one in scene.events if getattr(one.payload, "step", "") == "gas"]
        sensors = [one for one in scene.events if getattr(one.payload, "step", "") == "factor"]
        assert len(analysed) == 2
        assert all(analysed[1].id in one.payload.used for one in sensors)  # type: ignore[union-attr]
        alone = Scene()
        alone.pad.do("check", at=-5, off="0.1")
        first = alone.pad.do("gas", at=-4, percent="98", single_handed=True)
        alone.pad.morning()
        air = next(one for one in alone.events if getattr(one.payload, "step", "") == "air")
        alone.pad.do("factor", at=31, position=ONE, factor="49", used=(first, air.id))
        assert "single-handed: gas" in alone.verdict(32).marks

    def test_a_second_person_who_is_not_named_is_no_second_person(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="2", second="")
        assert scene.standing("tight", 2).code == "second-person-missing"

    def test_the_reader_is_not_the_second_person(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="2", second="ada")
        assert scene.standing("tight", 2).code == "second-is-reader"

    def test_two_entries_of_one_person_are_not_two_people(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="2")
        assert scene.state("tight", 2) is State.CURRENT
        scene.pad.same(scene.people["ada"], scene.people["bo"], at=3)
        assert scene.standing("tight", 4).code == "second-is-reader"

    def test_no_name_no_evidence(self) -> None:
        scene = Scene()
        scene.pad.do("weight", at=1, by="")
        assert scene.standing("weight", 2).code == "nobody-named"


class TestHolds:
    def test_a_fault_stops_the_unit_until_a_second_person_releases_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        fault = scene.pad.change("fault", at=31)
        scene.pad.do("weight", at=32)
        verdict = scene.verdict(33)
        assert verdict.word is Word.STOP
        assert [one.event for one in verdict.open_holds] == [fault]
        assert {one.word for one in verdict.holds} == {Word.STOP}
        scene.pad.release(fault, at=34)
        assert scene.verdict(35).word is Word.READY

    def test_the_one_who_declared_it_cannot_release_it(self) -> None:
        scene = Scene()
        fault = scene.pad.change("fault", at=31)
        scene.pad.release(fault, at=34, by="ada")
        assert scene.verdict(35).word is Word.STOP

    def test_nor_under_another_identity(self) -> None:
        scene = Scene()
        scene.people["once more"] = scene.pad.create("person", at=30)
        fault = scene.pad.change("fault", at=31)
        scene.pad.release(fault, at=34, by="once more")
        assert not scene.verdict(35).open_holds
        scene.pad.same(scene.people["ada"], scene.people["once more"], at=36)
        assert scene.verdict(37).word is Word.STOP

    def test_a_release_without_a_name_is_none(self) -> None:
        scene = Scene()
        fault = scene.pad.change("fault", at=31)
        scene.pad.release(fault, at=34, by="")
        assert scene.verdict(35).word is Word.STOP

    def test_a_fault_that_nobody_signed_is_released_by_two_people(self) -> None:
        scene = Scene()
        fault = scene.pad.change("fault", at=31, by="")
        scene.pad.release(fault, at=33)
        assert scene.verdict(34).open_holds
        scene.pad.release(fault, at=35, by="bo", typed_by=scene.people["ada"])
        assert not scene.verdict(36).open_holds

    def test_a_release_that_was_taken_back_lifts_nothing(self) -> None:
        scene = Scene()
        fault = scene.pad.change("fault", at=31)
        release = scene.pad.release(fault, at=32)
        scene.pad.withdraw(release, at=33)
        assert scene.verdict(34).word is Word.STOP

    def test_taking_back_the_fault_does_not_lift_its_hold(self) -> None:
        scene = Scene()
        fault = scene.pad.change("fault", at=31)
        scene.pad.withdraw(fault, at=32)
        assert scene.verdict(33).word is Word.STOP

    def test_a_fault_follows_the_part_to_another_unit(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        sensor = scene.at(TWO)
        fault = scene.pad.change("fault", at=31, position=TWO)
        scene.pad.fit(ONE, sensor, at=32, unit=other)
        assert [one.event for one in scene.verdict(33, unit=other).open_holds] == [fault]

    def test_an_incident_freezes(self) -> None:
        scene = Scene()
        scene.pad.change("incident", at=31)
        assert [one.freezes for one in scene.verdict(32).open_holds] == [True]

    def test_a_fault_claimed_for_later_than_now_counts_at_once(self) -> None:
        scene = Scene()
        scene.device("phone").change("fault", at=200)
        assert scene.verdict(32).word is Word.STOP


@pytest.mark.parametrize("state", sorted(set(State) - COUNTING))
def test_no_state_but_current_and_waived_passes_a_hold(state: State) -> None:
    scene = _scene_with(state)
    verdict = scene.verdict(60)
    found = next(one for one in verdict.requirements() if one.standing.state is state)
    assert not found.counts
    hold = next(one for one in verdict.holds if found in one.requirements)
    assert hold.word is not Word.READY
    assert verdict.word is not Word.READY


def _scene_with(state: State) -> Scene:
    """A morning that is good but for one requirement, which is in that state an hour after its beginning."""
    scene = without_weight() if state is State.ABSENT else Scene()
    pad = scene.pad
    if state is not State.ABSENT:
        pad.morning()
    pad.do("valve", at=55)
    pad.do("look", at=55)
    match state:
        case State.VOID:
            pad.change("list-revised", at=56)
        case State.EXPIRED:
            pad.begin("assembly", at=56)
        case State.RECHECK:
            pad.change("temperature-changed", at=56)
        case State.OUT_OF_ORDER:
            pad.fill(scene.at("cylinder-oxygen"), at=-1)
            pad.do("gas", at=56, percent="98", instruments=())
        case State.CANNOT_TELL:
            pad.do("weight", at=56, by="")
        case State.FAILED:
            pad.do("weight", at=56, done="no")
    return scene
