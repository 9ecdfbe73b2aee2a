"""Order: a step done before its turn is kept but not accepted, judged by what was current when it was read."""

from __future__ import annotations

from loopworthy.judgement.standing import State
from tests.unit.judgement.builder import SENSORS, Scene

ONE, TWO, THREE = SENSORS


def test_an_analysis_without_a_checked_analyser_is_out_of_order() -> None:
    scene = Scene()
    scene.pad.do("gas", at=1, percent="98")
    standing = scene.standing("gas", 2)
    assert (standing.state, standing.values["first"]) == (State.OUT_OF_ORDER, "CHECKED")


def test_doing_the_first_step_afterwards_does_not_put_it_right() -> None:
    scene = Scene()
    scene.pad.do("gas", at=1, percent="98")
    scene.pad.do("check", at=2, off="0.1")
    assert scene.state("gas", 3) is State.OUT_OF_ORDER
    scene.pad.do("gas", at=4, percent="98")
    assert scene.state("gas", 5) is State.CURRENT


def test_an_analyser_checked_too_long_ago_is_not_checked() -> None:
    scene = Scene()
    scene.pad.do("check", at=0, off="0.1")
    scene.pad.do("gas", at=120, percent="98")
    assert scene.state("gas", 120) is State.CURRENT
    scene.pad.fill(scene.at("cylinder-oxygen"), at=120)
    scene.pad.do("gas", at=121, percent="98")
    assert scene.state("gas", 122) is State.OUT_OF_ORDER


def test_that_the_check_has_aged_since_does_not_matter() -> None:
    scene = Scene()
    scene.pad.do("check", at=0, off="0.1")
    scene.pad.do("gas", at=1, percent="98")
    assert scene.state("gas", 600) is State.CURRENT


def test_an_analyser_whose_check_failed_is_not_checked_however_often_it_was_tried_again() -> None:
    scene = Scene()
    scene.pad.do("check", at=0, off="3")
    scene.pad.do("check", at=1, off="0.1")
    scene.pad.do("gas", at=2, percent="98")
    assert scene.state("gas", 3) is State.OUT_OF_ORDER


def test_another_analyser_s_check_does_not_count() -> None:
    scene = Scene()
    other = scene.pad.create("instrument", "A-2", at=-5, instrument="analyser")
    scene.pad.do("check", at=0, off="0.1")
    scene.pad.do("gas", at=1, percent="98", instruments=(other,))
    assert scene.state("gas", 2) is State.OUT_OF_ORDER


def test_an_instrument_beside_the_analyser_does_no_harm() -> None:
    scene = Scene()
    thermometer = scene.pad.create("instrument", "T-1", at=-5, instrument="thermometer")
    scene.pad.do("check", at=0, off="0.1")
    scene.pad.do("gas", at=1, percent="98", instruments=(thermometer, scene.analyser))
    assert scene.state("gas", 2) is State.CURRENT


def test_a_look_before_the_leak_test_is_out_of_order_and_the_older_evidence_stays() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=31)
    scene.pad.do("tight", at=32, loss="2")
    scene.pad.do("look", at=33)
    good = scene.standing("look", 34)
    scene.pad.change("loop-opened", at=34, occurred=34)
    scene.pad.do("look", at=35)
    assert good.state is State.CURRENT
    # opened again: the look of minute 33 is void, that of minute 35 out of order
    assert scene.state("look", 36) is State.OUT_OF_ORDER


def test_a_step_out_of_order_leaves_an_older_one_that_stands() -> None:
    scene = Scene()
    scene.pad.morning()
    good = scene.standing("gas", 31)
    scene.pad.do("gas", at=400, percent="97")
    later = scene.standing("gas", 401)
    assert later.state is State.CURRENT
    assert later.item == good.item


def test_a_leak_test_that_was_void_then_is_void_for_the_order_even_if_declared_later() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=32, occurred=20)
    scene.pad.do("tight", at=33, loss="2")
    assert scene.state("look", 34) is State.VOID
    trial = Scene()
    trial.pad.morning()
    phone = trial.device("phone")
    phone.change("loop-opened", at=32, occurred=20)
    trial.pad.meet(phone)
    trial.pad.do("look", at=34)
    assert trial.state("look", 35) is State.OUT_OF_ORDER


def test_evidence_that_waits_for_this_very_step_does_not_hold_it_up() -> None:
    """After a dive the leak test is due again by itself; the look that comes after it must still be possible."""
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("dive-made", at=40)
    scene.pad.do("look", at=41)
    assert scene.state("look", 42) is State.OUT_OF_ORDER
    scene.pad.do("tight", at=43, loss="2")
    scene.pad.do("look", at=44)
    assert scene.state("look", 45) is State.CURRENT


def test_evidence_may_not_use_what_was_read_later() -> None:
    scene = Scene()
    scene.pad.morning()
    later = scene.pad.do("air", at=40, position=ONE, mv="10")
    gas = next(one.id for one in scene.events if getattr(one.payload, "step", "") == "gas")
    scene.pad.do("factor", at=41, occurred=35, position=ONE, factor="49", used=(later, gas))
    standing = scene.standing("factor", 42, position=ONE)
    assert standing.state is State.CURRENT
    assert standing.item is not None
    assert later not in standing.item.payload.used


def test_evidence_on_something_stale_is_not_accepted() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("sensor-replaced", at=31, position=ONE)
    scene.pad.fit(ONE, scene.at(ONE), at=31)
    scene.pad.do("factor", at=32, position=ONE, factor="49")
    standing = scene.standing("factor", 33, position=ONE)
    assert (standing.state, standing.code) == (State.OUT_OF_ORDER, "rested-on-stale")


def test_evidence_on_something_that_cannot_be_told_cannot_be_told() -> None:
    scene = Scene()
    scene.pad.do("check", at=0, off="0.1")
    scene.pad.do("gas", at=1, percent="98")
    scene.pad.do("barometer", at=2, ambient="1013", warmth="20")
    scene.pad.do("air", at=3, position=TWO, mv="10", by="")
    scene.pad.do("factor", at=4, position=TWO, factor="49")
    assert scene.standing("factor", 5, position=TWO).code == "rests-on-unclear"


def test_the_verdict_of_an_hour_ago_is_not_changed_by_what_is_current_now() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("tight", at=600, loss="2")
    assert scene.state("look", 31) is State.CURRENT
