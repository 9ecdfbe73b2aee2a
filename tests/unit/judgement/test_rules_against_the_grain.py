"""Records that go against the grain: what a hurried or unlucky crew writes, and what must not follow from it."""

from __future__ import annotations

import pytest

from loopworthy.judgement.standing import State
from tests.unit.judgement.builder import DAY, SENSORS, Scene

ONE, TWO, THREE = SENSORS


class TestRestingOnWhatNeverCounted:
    def test_what_rests_on_a_retry_that_passed_does_not_count_after_the_repair(self) -> None:
        scene = Scene()
        scene.pad.morning()
        bad = scene.pad.do("air", at=31, position=ONE, mv="7")
        scene.pad.do("air", at=32, position=ONE, mv="10.2")
        scene.pad.do("factor", at=33, position=ONE, factor="49")
        scene.pad.repair(bad, at=34)
        scene.pad.do("air", at=35, position=ONE, mv="10.2")
        assert scene.state("air", 36, position=ONE) is State.CURRENT
        standing = scene.standing("factor", 36, position=ONE)
        assert standing.item is not None
        assert standing.item.occurred_ms < scene.bench(30).at_ms  # the one of the morning, made on what stood then

    def test_what_rests_on_a_retry_does_not_count_where_it_is_all_there_is(self) -> None:
        scene = Scene()
        scene.pad.do("check", at=0, off="0.2")
        scene.pad.do("gas", at=1, percent="98")
        scene.pad.do("barometer", at=3, ambient="1013", warmth="20")
        bad = scene.pad.do("air", at=31, position=ONE, mv="7")
        scene.pad.do("air", at=32, position=ONE, mv="10.2")
        scene.pad.do("factor", at=33, position=ONE, factor="49")
        scene.pad.repair(bad, at=34)
        scene.pad.do("air", at=35, position=ONE, mv="10.2")
        standing = scene.standing("factor", 36, position=ONE)
        assert (standing.state, standing.code) == (State.OUT_OF_ORDER, "rested-on-stale")
        scene.pad.do("factor", at=37, position=ONE, factor="49")
        assert scene.state("factor", 38, position=ONE) is State.CURRENT


class TestRenewing:
    def test_a_look_of_the_next_day_starts_no_clock_of_what_ended_with_its_day(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.begin("dive-day", at=DAY - 30)
        scene.pad.do("tight", at=DAY, loss="2")
        scene.pad.do("look", at=DAY + 1)
        assert scene.state("look", DAY + 2) is State.CURRENT
        assert scene.state("valve", DAY + 2) is State.EXPIRED


class TestDates:
    @pytest.mark.parametrize("opened", ["2062-05-01", "2026-05-16"])
    def test_a_date_back_then_that_lies_ahead_cannot_be_told(self, opened: str) -> None:
        scene = Scene()
        scene.pad.do("stamp", at=0, until="2027-05-01", opened=opened)
        standing = scene.standing("stamp", 1)
        assert (standing.state, standing.code) == (State.CANNOT_TELL, "date-ahead")
        assert scene.state("stamp", 3 * DAY) is State.CANNOT_TELL
        scene.pad.do("stamp", at=3, until="2027-05-01", opened="2026-05-14")
        assert scene.state("stamp", 4) is State.CURRENT


class TestSecondReading:
    def test_taking_back_what_could_not_be_told_makes_no_second_reading(self) -> None:
        scene = Scene()
        scene.pad.morning()
        untold = scene.pad.do("tight", at=31, loss="2", second="")
        scene.pad.do("tight", at=32, loss="9.5")
        assert scene.state("tight", 33) is State.CANNOT_TELL
        scene.pad.withdraw(untold, at=34)
        assert scene.state("tight", 35) is State.CANNOT_TELL
        scene.pad.do("tight", at=36, loss="9.5")
        assert scene.state("tight", 37) is State.CURRENT

    def test_taking_a_reading_back_brings_none_from_beyond_the_window_forward_to_clear_a_recheck(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=40)
        scene.pad.do("known", at=41, position=ONE, po2="0.21")
        strange = [scene.pad.do("known", at=42 + n, position=ONE, po2="0.21", by="") for n in range(5)]
        assert scene.state("factor", 50, position=ONE) is State.RECHECK
        scene.pad.withdraw(strange[0], at=51)
        assert scene.state("factor", 52, position=ONE) is State.RECHECK

    def test_a_reading_near_its_limit_after_one_well_inside_is_a_first_one(self) -> None:
        scene = Scene()
        scene.pad.morning()  # a loss of 2 mbar
        scene.pad.do("tight", at=31, loss="9.5")
        standing = scene.standing("tight", 32)
        assert (standing.state, standing.code) == (State.CANNOT_TELL, "near-needs-second")
        scene.pad.do("tight", at=33, loss="9.5")
        assert scene.state("tight", 34) is State.CURRENT


class TestClocksAhead:
    def test_a_change_written_by_a_clock_ahead_is_cured_by_taking_it_back_and_reading_anew(self) -> None:
        scene = Scene()
        scene.pad.morning()
        tablet = scene.device("tablet")
        wrong = tablet.change("valve-touched", at=31 + 20 * 60)
        scene.pad.meet(tablet)
        scene.pad.do("valve", at=40)
        assert scene.state("valve", 41) is State.VOID
        scene.pad.withdraw(wrong, at=42)
        assert scene.state("valve", 43) is State.RECHECK
        scene.pad.do("valve", at=44)
        assert scene.state("valve", 45) is State.CURRENT

    def test_a_barometer_read_by_a_clock_ahead_is_cured_by_taking_it_back_and_reading_anew(self) -> None:
        scene = Scene()
        scene.pad.morning()
        tablet = scene.device("tablet")
        wrong = tablet.do("barometer", at=31 + 20 * 60, ambient="913", warmth="20")
        scene.pad.meet(tablet)
        assert scene.state("factor", 41, position=ONE) is State.RECHECK
        scene.pad.withdraw(wrong, at=42)
        scene.pad.do("barometer", at=43, ambient="1013", warmth="20")
        for n, place in enumerate(SENSORS):
            scene.pad.do("known", at=44 + n, position=place, po2="0.21")
        assert scene.state("factor", 50, position=ONE) is State.CURRENT
        assert scene.state("barometer", 50) is State.CURRENT

    def test_a_dive_written_by_a_clock_ahead_is_cured_by_taking_it_back_and_reading_anew(self) -> None:
        scene = Scene()
        scene.pad.morning()
        tablet = scene.device("tablet")
        wrong = tablet.change("dive-made", at=31 + 20 * 60)
        scene.pad.meet(tablet)
        scene.pad.withdraw(wrong, at=42)
        assert scene.state("known", 43, position=ONE) is State.EXPIRED
        scene.pad.do("known", at=44, position=ONE, po2="0.21")
        assert scene.state("known", 45, position=ONE) is State.CURRENT
        assert scene.state("factor", 45, position=ONE) is State.CURRENT


class TestStoodUnused:
    @pytest.mark.parametrize("first", [0, 1])
    def test_two_days_taken_back_leave_the_whole_gap_between_those_that_stand(self, first: int) -> None:
        scene = Scene()
        days = [scene.pad.begin("dive-day", at=n * DAY) for n in (10, 20)]
        scene.pad.do("weight", at=20 * DAY + 1)
        scene.pad.begin("dive-day", at=31 * DAY)
        assert scene.state("weight", 31 * DAY + 1) is State.CURRENT
        scene.pad.withdraw(days[first], at=31 * DAY + 2)
        scene.pad.withdraw(days[1 - first], at=31 * DAY + 3)
        assert scene.state("weight", 31 * DAY + 4) is State.RECHECK


class TestMomentsThatMeet:
    def test_a_barometer_far_off_in_the_same_moment_counts(self) -> None:
        scene = Scene()
        scene.pad.morning()
        phone = scene.device("phone")
        scene.pad.do("factor", at=40, position=ONE, factor="49")
        phone.do("barometer", at=40, ambient="985", warmth="20")
        assert scene.state("factor", 41, position=ONE) is State.RECHECK
