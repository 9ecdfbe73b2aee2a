"""Limits of a unit's owner: confirmed, tightened, loosened, set at the same time, taken back, and judged anew."""

from __future__ import annotations

import pytest

from loopworthy.judgement.limits import effective_limit
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import SENSORS, Scene, minute
from tests.unit.judgement.small_catalogue import catalogue_with

ONE, TWO, THREE = SENSORS


def value(scene: Scene, limit: str, at: float) -> str:
    """The value that holds."""
    found = effective_limit(scene.book(), scene.unit, scene.catalogue.limits[limit], minute(at).epoch_ms)
    return found.value


class TestConfirmed:
    def test_the_limit_of_a_step_that_is_never_skipped_must_have_been_confirmed(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        standing = scene.standing("tight", 31)
        assert (standing.state, standing.code) == (State.CANNOT_TELL, "limit-unconfirmed")
        assert scene.verdict(31).word is Word.UNPROVEN

    def test_confirming_it_afterwards_is_enough_for_it_and_for_what_came_after_it(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        scene.pad.confirm("tight.loss", "10", at=31)
        assert scene.verdict(32).word is Word.READY

    def test_ten_and_ten_point_nought_are_one_limit(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        scene.pad.confirm("tight.loss", "10.0", at=31)
        assert scene.state("tight", 32) is State.CURRENT

    def test_confirming_another_value_confirms_nothing(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        scene.pad.confirm("tight.loss", "12", at=31)
        assert scene.state("tight", 32) is State.CANNOT_TELL

    def test_a_limit_that_the_owner_set_is_confirmed_by_that(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        scene.pad.set_limit("tight.loss", "8", at=31)
        assert scene.state("tight", 32) is State.CURRENT

    def test_a_limit_tightened_in_the_owners_file_is_confirmed_by_that(self) -> None:
        owner = {"own.toml": '[tighten."tight.loss"]\nvalue = "8"\nsource = "manual"\n'}
        scene = Scene(catalogue_with(owner=owner), confirmed=False)
        scene.pad.morning()
        assert scene.state("tight", 31) is State.CURRENT

    def test_a_confirmation_that_was_taken_back_confirms_nothing(self) -> None:
        scene = Scene(confirmed=False)
        scene.pad.morning()
        confirmed = scene.pad.confirm("tight.loss", "10", at=31)
        scene.pad.withdraw(confirmed, at=32)
        assert scene.state("tight", 33) is State.CANNOT_TELL


class TestSet:
    def test_a_tightened_limit_judges_the_reading_that_counts(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.set_limit("tight.loss", "1", at=31)
        assert scene.state("tight", 32) is State.FAILED

    def test_a_later_reading_inside_the_new_limit_is_enough_for_nobody_retried(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("tight", at=30, loss="3")
        scene.pad.set_limit("tight.loss", "2", at=31)
        assert scene.state("tight", 32) is State.FAILED
        scene.pad.do("tight", at=33, loss="0.5")
        assert scene.state("tight", 34) is State.CURRENT

    def test_a_loosened_limit_is_shown_wherever_it_counted(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.set_limit("tight.loss", "15", at=31, reason="large soft loop")
        scene.pad.do("tight", at=32, loss="12")
        standing = scene.standing("tight", 33)
        assert (standing.state, standing.marks) == (State.CURRENT, ("loosened tight.loss",))
        scene.pad.do("look", at=33)
        assert "loosened tight.loss: tight" in scene.verdict(34).marks

    def test_a_limit_loosened_afterwards_judges_an_older_reading_anew_and_marks_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("tight", at=31, loss="12")
        assert scene.state("tight", 32) is State.FAILED
        scene.pad.set_limit("tight.loss", "15", at=33, reason="as the manual has it")
        standing = scene.standing("tight", 34)
        assert (standing.state, standing.marks) == (State.CURRENT, ("loosened tight.loss",))

    def test_a_limit_does_not_hold_before_it_was_set(self) -> None:
        scene = Scene()
        scene.pad.set_limit("tight.loss", "15", at=31, reason="soft loop")
        assert value(scene, "tight.loss", 30) == "10"
        assert value(scene, "tight.loss", 31) == "15"

    def test_a_limit_set_for_later_than_now_only_tightens(self) -> None:
        scene = Scene()
        scene.pad.set_limit("tight.loss", "5", at=31, occurred=500)
        assert value(scene, "tight.loss", 32) == "5"
        loose = Scene()
        loose.pad.set_limit("tight.loss", "15", at=31, occurred=500)
        assert value(loose, "tight.loss", 32) == "10"

    def test_of_two_limits_set_without_knowledge_of_each_other_the_stricter_holds(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.set_limit("tight.loss", "6", at=31)
        phone.set_limit("tight.loss", "9", at=33)
        assert value(scene, "tight.loss", 34) == "6"
        scene.pad.meet(phone).set_limit("tight.loss", "8", at=35)
        assert value(scene, "tight.loss", 36) == "8"

    def test_a_limit_that_was_taken_back_leaves_the_stricter_one_until_one_is_set_or_confirmed(self) -> None:
        scene = Scene()
        strict = scene.pad.set_limit("tight.loss", "6", at=31)
        scene.pad.withdraw(strict, at=32)
        assert value(scene, "tight.loss", 33) == "6"
        scene.pad.confirm("tight.loss", "10", at=34)
        assert value(scene, "tight.loss", 35) == "10"
        loose = Scene()
        loosened = loose.pad.set_limit("tight.loss", "15", at=31, reason="soft")
        loose.pad.withdraw(loosened, at=32)
        assert value(loose, "tight.loss", 33) == "10"

    def test_a_limit_that_is_no_number_leaves_nothing_to_judge_by(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.set_limit("tight.loss", "ten", at=31)
        assert scene.standing("tight", 32).code == "limit-unreadable"
        scene.pad.set_limit("tight.loss", "8", at=33)
        assert scene.state("tight", 34) is State.CURRENT

    def test_a_limit_of_another_unit_does_not_hold_here(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        scene.pad.morning()
        scene.pad.set_limit("tight.loss", "1", at=31, unit=other)
        assert scene.state("tight", 32) is State.CURRENT


class TestNear:
    def test_a_first_reading_near_its_limit_needs_a_second_one(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="9.5")
        standing = scene.standing("tight", 2)
        assert (standing.state, standing.code) == (State.CANNOT_TELL, "near-needs-second")

    def test_a_second_one_that_agrees_is_enough_and_both_stay_marked(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="9.5")
        scene.pad.do("tight", at=3, loss="9.6")
        standing = scene.standing("tight", 4)
        assert (standing.state, standing.marks) == (State.CURRENT, ("near limit",))

    def test_a_second_one_well_inside_is_marked_as_well(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="9.5")
        scene.pad.do("tight", at=3, loss="2")
        standing = scene.standing("tight", 4)
        assert (standing.state, standing.marks) == (State.CURRENT, ("near limit",))

    def test_the_first_one_must_still_have_stood_when_the_second_was_read(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="9.5")
        scene.pad.change("loop-opened", at=2)
        scene.pad.do("tight", at=3, loss="9.6")
        assert scene.standing("tight", 4).code == "near-needs-second"

    def test_that_the_first_one_has_aged_since_does_not_matter(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=0, loss="9.5")
        scene.pad.do("tight", at=700, loss="9.6")
        assert scene.state("tight", 721) is State.CURRENT
        assert scene.standing("tight", 721).until_ms == minute(1420).epoch_ms

    def test_at_the_edge_of_the_guard_it_is_inside(self) -> None:
        scene = Scene()
        scene.pad.do("tight", at=1, loss="9.0")
        assert scene.state("tight", 2) is State.CURRENT
        assert scene.standing("tight", 2).marks == ()

    @pytest.mark.parametrize(("shown", "code"), [("9", "near-needs-second"), ("9.0", "")])
    def test_a_reading_coarser_than_the_guard_is_near_within_half_its_step(self, shown: str, code: str) -> None:
        """9 mV shown in whole millivolts may be 8.5, and the limit is 8.6; shown in tenths it is at least 8.95."""
        scene = Scene()
        scene.pad.set_limit("air.low", "8.6", at=0)
        scene.pad.do("barometer", at=0, ambient="1013", warmth="20")
        scene.pad.do("air", at=1, position=ONE, mv=shown)
        assert scene.standing("air", 2, position=ONE).code == code


@pytest.mark.parametrize(("po2", "code"), [("0.20", ""), ("0.24", "near-needs-second")])
def test_the_guard_is_in_the_unit_of_the_limit(po2: str, code: str) -> None:
    scene = Scene()
    scene.pad.do("known", at=1, position=ONE, po2=po2)
    assert scene.standing("known", 2, position=ONE).code == code
