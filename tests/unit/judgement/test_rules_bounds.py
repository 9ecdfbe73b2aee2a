"""Rule 6 of the evidence model: age, episodes, and surroundings that moved too far from the evidence's own."""

from __future__ import annotations

import pytest

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.reading import Reading
from tests.unit.judgement.builder import DAY, SENSORS, Scene, minute

ONE, TWO, THREE = SENSORS


def measure(scene: Scene, *, at: float, ambient: str = "1013", warmth: str = "20") -> str:
    """Read the barometer and the thermometer."""
    return scene.pad.do("barometer", at=at, ambient=ambient, warmth=warmth)


class TestSurroundings:
    @pytest.mark.parametrize(("ambient", "state"), [("993", State.CURRENT), ("992.9", State.RECHECK)])
    def test_twenty_hectopascals_are_allowed_and_a_tenth_more_is_not(self, ambient: str, state: State) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, ambient=ambient)
        assert scene.state("factor", 41, position=ONE) is state

    def test_two_small_moves_add_up(self) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, ambient="1000")
        assert scene.state("factor", 41, position=ONE) is State.CURRENT
        measure(scene, at=50, ambient="987")
        assert scene.state("factor", 51, position=ONE) is State.RECHECK

    def test_coming_back_does_not_undo_that_one_was_away(self) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, ambient="980")
        measure(scene, at=50, ambient="1013")
        assert scene.state("factor", 51, position=ONE) is State.RECHECK

    def test_a_known_gas_read_up_there_clears_it_until_the_next_move(self) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, ambient="980")
        scene.context = {**scene.context, "ambient": _hpa("980")}
        scene.pad.do("known", at=45, position=ONE, po2="0.20")
        assert scene.state("factor", 46, position=ONE) is State.CURRENT
        measure(scene, at=50, ambient="955")
        assert scene.state("factor", 51, position=ONE) is State.RECHECK

    @pytest.mark.parametrize(
        ("warmth", "state"), [("30", State.CURRENT), ("30.1", State.RECHECK), ("9", State.RECHECK)]
    )
    def test_ten_kelvin_are_allowed_and_a_tenth_more_is_not(self, warmth: str, state: State) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, warmth=warmth)
        assert scene.state("air", 41, position=ONE) is state

    def test_a_reading_of_the_surroundings_that_was_taken_back_leaves_a_recheck_due(self) -> None:
        scene = Scene()
        scene.pad.morning()
        reading = measure(scene, at=40, ambient="980")
        scene.pad.withdraw(reading, at=41)
        assert scene.standing("factor", 42, position=ONE).code == "change-withdrawn"

    def test_nothing_measured_is_unknown_never_unchanged(self) -> None:
        scene = Scene()
        scene.pad.do("air", at=1, position=ONE, mv="10", used=())
        standing = scene.standing("air", 2, position=ONE)
        assert (standing.state, standing.code) == (State.CANNOT_TELL, "surroundings-unknown")

    def test_evidence_that_does_not_say_what_it_was_made_in_is_not_told(self) -> None:
        scene = Scene()
        measure(scene, at=0)
        scene.pad.do("air", at=1, position=ONE, mv="10", context={})
        assert scene.standing("air", 2, position=ONE).code == "surroundings-unknown"

    def test_a_unit_in_which_the_condition_cannot_be_compared_is_unknown(self) -> None:
        scene = Scene()
        measure(scene, at=0)
        scene.context = {"ambient": _hpa("1013"), "temperature": _hpa("20")}
        scene.pad.do("air", at=1, position=ONE, mv="10")
        assert scene.standing("air", 2, position=ONE).code == "surroundings-unknown"

    def test_the_barometer_itself_falls_with_the_move(self) -> None:
        scene = Scene()
        scene.pad.morning()
        measure(scene, at=40, ambient="980")
        assert scene.state("barometer", 41) is State.CURRENT
        scene.pad.change("moved", at=42)
        assert scene.state("barometer", 43) is State.VOID


class TestAge:
    def test_evidence_counts_up_to_its_last_minute_and_then_no_more(self) -> None:
        scene = Scene()
        scene.pad.morning()
        assert scene.state("valve", 40) is State.CURRENT  # renewed by the look at minute 30
        assert scene.state("valve", 40 + 1 / 60_000) is State.EXPIRED

    def test_a_look_renews_what_had_run_out_already(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("look", at=120)
        assert scene.state("valve", 125) is State.CURRENT
        assert scene.standing("valve", 125).until_ms == minute(130).epoch_ms

    def test_a_look_does_not_renew_what_something_undid(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("valve-touched", at=35)
        scene.pad.do("look", at=36)
        assert scene.state("valve", 37) is State.VOID

    def test_a_look_that_was_made_out_of_order_renews_nothing(self) -> None:
        scene = Scene()
        scene.pad.do("valve", at=0)
        scene.pad.do("look", at=9)
        assert scene.state("look", 9) is State.OUT_OF_ORDER
        assert scene.state("valve", 11) is State.EXPIRED

    def test_a_look_that_was_taken_back_renews_nothing(self) -> None:
        scene = Scene()
        done = scene.pad.morning()
        scene.pad.withdraw(done["look"], at=31)
        assert scene.state("valve", 36) is State.EXPIRED

    def test_a_failed_look_renews_nothing_nor_does_the_one_after_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("look", at=34, done="no")
        scene.pad.do("look", at=35)
        assert scene.state("valve", 36) is State.EXPIRED

    def test_ready_ends_when_the_first_clock_runs_out(self) -> None:
        scene = Scene()
        scene.pad.morning()
        verdict = scene.verdict(31)
        assert verdict.until_ms == min(
            one.standing.until_ms for one in verdict.requirements() if one.standing.until_ms is not None
        )


class TestStoodUnused:
    def test_thirty_days_without_a_dive_day_undo_what_was_read_before(self) -> None:
        scene = Scene()
        scene.pad.morning()
        later = 31 * DAY
        scene.pad.begin("dive-day", at=later)
        assert scene.state("tight", later + 1) is State.VOID
        assert scene.state("weight", later + 1) is State.RECHECK

    def test_exactly_thirty_days_undo_nothing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.begin("dive-day", at=30 * DAY - 30)
        assert scene.state("weight", 30 * DAY) is State.CURRENT

    def test_a_day_left_open_for_longer_counts_as_unused(self) -> None:
        scene = Scene()
        scene.pad.morning()
        assert scene.state("weight", 30 * DAY - 30) is State.CURRENT
        assert scene.state("weight", 30 * DAY - 29) is State.RECHECK

    def test_ready_does_not_last_beyond_it(self) -> None:
        scene = Scene()
        scene.pad.morning()
        assert scene.standing("weight", 31).until_ms == minute(30 * DAY - 30).epoch_ms

    def test_what_was_read_since_stays(self) -> None:
        scene = Scene()
        scene.pad.morning()
        later = 40 * DAY
        scene.pad.do("weight", at=later - 60)
        scene.pad.begin("dive-day", at=later)
        assert scene.state("weight", later + 1) is State.CURRENT

    def test_a_dive_day_that_was_taken_back_does_not_shorten_the_gap(self) -> None:
        scene = Scene()
        scene.pad.morning()
        between = scene.pad.begin("dive-day", at=20 * DAY)
        scene.pad.begin("dive-day", at=40 * DAY)
        assert scene.state("weight", 40 * DAY + 1) is State.CURRENT
        scene.pad.withdraw(between, at=40 * DAY + 2)
        assert scene.state("weight", 40 * DAY + 3) is State.RECHECK


class TestDates:
    def test_a_stamp_counts_through_its_last_day_and_ends_at_midnight_of_the_site(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.do("stamp", at=31, until="2026-05-14")
        end = 16 * 60 - 1 / 60_000  # eight in the morning and sixteen hours, less a millisecond
        assert scene.state("stamp", end) is State.CURRENT
        assert scene.standing("stamp", 32).until_ms == minute(end).epoch_ms
        standing = scene.standing("stamp", 16 * 60)
        assert (standing.state, standing.code) == (State.EXPIRED, "date-passed")

    def test_the_end_of_a_day_of_twenty_three_hours_comes_an_hour_earlier(self) -> None:
        """On 29 March 2026 the clocks of Malta go forward (rule of the European Union, directive 2000/84/EC)."""
        scene = Scene()
        days_before = -46 * DAY  # 2026-03-29
        scene.pad = scene.device("early")
        scene.pad.do("stamp", at=days_before - 7 * 60, until="2026-03-29")
        standing = scene.standing("stamp", days_before - 6 * 60)
        assert standing.state is State.CURRENT
        assert standing.until_ms == minute(days_before + 16 * 60 - 1 / 60_000).epoch_ms

    def test_a_date_that_had_passed_when_it_was_read_failed(self) -> None:
        scene = Scene()
        scene.pad.do("stamp", at=31, until="2026-05-13")
        assert scene.state("stamp", 32) is State.FAILED

    def test_days_since_an_opening_end_as_well(self) -> None:
        scene = Scene()
        scene.pad.do("stamp", at=0, until="2027-01-01", opened="2026-04-20")  # 30 days: to the end of 20 May
        assert scene.state("stamp", 6 * DAY + 16 * 60 - 1) is State.CURRENT
        assert scene.state("stamp", 6 * DAY + 16 * 60) is State.EXPIRED
        assert scene.standing("stamp", 1).until_ms == minute(6 * DAY + 16 * 60 - 1 / 60_000).epoch_ms

    @pytest.mark.parametrize("written", ["9999-12-31", "soon", "2026-13-01"])
    def test_a_date_beyond_all_reason_ends_nothing_and_breaks_nothing(self, written: str) -> None:
        scene = Scene()
        scene.pad.do("stamp", at=0, until=written)
        expected = State.CURRENT if written.startswith("9999") else State.CANNOT_TELL
        assert scene.state("stamp", 1) is expected


def test_time_alone_makes_nothing_ready_again() -> None:
    scene = Scene()
    scene.pad.morning()
    words = [scene.verdict(at).word for at in (31, 39, 41, 60, 12 * 60, DAY, 2 * DAY, 31 * DAY)]
    assert words == [Word.READY, Word.READY, *[Word.UNPROVEN] * 6]


def _hpa(value: str) -> Reading:
    return Reading(value=value, unit="hPa")
