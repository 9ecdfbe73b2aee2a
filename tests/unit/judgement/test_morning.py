"""An ordinary morning with the small catalogue, before anything goes wrong."""

from __future__ import annotations

from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import DAY, START_MS, Scene, minute


def test_an_ordinary_morning_ends_in_ready_with_the_first_clock_that_runs_out() -> None:
    scene = Scene()
    scene.pad.morning()
    verdict = scene.verdict(31)
    assert {one.key: one.standing.code for one in verdict.requirements() if not one.counts} == {}
    assert verdict.word is Word.READY
    assert verdict.marks == ()
    assert verdict.until_ms == minute(40).epoch_ms
    assert verdict.first_to_end is not None
    assert verdict.first_to_end.step.id == "look"


def test_a_unit_for_which_nothing_was_done_is_unproven_and_not_ready() -> None:
    scene = Scene()
    verdict = scene.verdict(0)
    assert verdict.word is Word.UNPROVEN
    assert {one.standing.state for one in verdict.requirements()} == {State.ABSENT}


def test_ready_stands_up_to_its_last_moment_and_not_one_millisecond_longer() -> None:
    scene = Scene()
    scene.pad.morning()
    until_ms = scene.verdict(31).until_ms
    assert until_ms is not None
    last = (until_ms - START_MS) / 60_000
    assert scene.verdict(last).word is Word.READY
    assert scene.verdict(last + 1 / 60_000).word is Word.UNPROVEN


def test_without_a_dive_day_nothing_is_ready_however_much_was_read() -> None:
    scene = Scene(dive_day=False)
    scene.pad.morning()
    verdict = scene.verdict(31)
    assert verdict.word is Word.UNPROVEN
    assert verdict.code == "no-dive-day"


def test_evidence_of_a_dive_day_does_not_count_where_no_day_was_open() -> None:
    scene = Scene(dive_day=False)
    scene.pad.morning()
    assert scene.state("tight", 31) is State.EXPIRED
    scene.pad.begin("dive-day", at=32)
    assert scene.state("tight", 33) is State.EXPIRED


def test_evidence_ends_with_its_dive_day_and_the_next_day_does_not_bring_it_back() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.end("dive-day", at=40)
    assert scene.standing("tight", 41).code == "dive-day-over"
    scene.pad.begin("dive-day", at=50)
    assert scene.standing("tight", 51).code == "dive-day-over"
    assert scene.state("weight", 51) is State.CURRENT


def test_evidence_ends_with_its_assembly() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.begin("assembly", at=40)
    assert scene.standing("place", 41).code == "assembly-over"


def test_where_nobody_declared_an_assembly_the_dive_day_bounds_it() -> None:
    scene = Scene(dive_day=False)
    scene.pad.begin("dive-day", at=-10)
    scene.pad.do("place", at=1)
    assert scene.state("place", 2) is State.CURRENT
    scene.pad.begin("dive-day", at=10)
    assert scene.standing("place", 11).code == "assembly-over"


def test_a_dive_day_that_was_taken_back_is_none() -> None:
    scene = Scene(dive_day=False)
    day = scene.pad.begin("dive-day", at=-10)
    scene.pad.morning()
    assert scene.verdict(31).word is Word.READY
    scene.pad.withdraw(day, at=32)
    assert scene.verdict(33).code == "no-dive-day"


def test_the_hold_before_diving_again_is_asked_only_after_a_dive() -> None:
    scene = Scene()
    scene.pad.morning()
    assert [one.hold.id for one in scene.verdict(31).holds] == ["H1", "H2", "H3"]
    scene.pad.change("dive-made", at=40)
    after = scene.verdict(41)
    assert [one.hold.id for one in after.holds] == ["H1", "H2", "H3", "H8"]
    assert after.holds[-1].word is Word.UNPROVEN
    scene.pad.do("stored", at=50)
    assert scene.verdict(51).holds[-1].word is Word.READY


def test_a_later_hold_waits_for_the_ones_before_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("oxygen-changed", at=31, position="cylinder-oxygen")
    scene.pad.fill(scene.at("cylinder-oxygen"), at=31)
    holds = {one.hold.id: one for one in scene.verdict(32).holds}
    assert holds["H1"].word is Word.UNPROVEN
    assert (holds["H2"].word, holds["H2"].waits_for) == (Word.UNPROVEN, "H1")


def test_where_no_clock_runs_ready_is_shown_for_a_day_at_most() -> None:
    timeless = load_catalogue(
        texts={
            "timeless.toml": """
[pages.one]
title = "One"
hold = "H1"
[holds.H1]
title = "One"
needs = ["SEEN"]
[evidence.SEEN]
title = "Seen"
produced_by = "a look"
voided_by = "nothing"
expires = "never"
origin = "common practice"
[steps.see]
title = "See"
text = "Look."
accept = "Seen."
page = "one"
makes = ["SEEN"]
inputs = [{name = "done", label = "Seen", kind = "tick"}]
"""
        }
    )
    scene = Scene(timeless)
    scene.pad.do("see", at=1)
    verdict = scene.verdict(2)
    assert verdict.word is Word.READY
    assert verdict.until_ms == minute(2 + DAY).epoch_ms
