"""The two replays, and holds that were passed on a verdict which the record does not give."""

from __future__ import annotations

import pytest

from loopworthy.judgement.replay import AS_KNOWN, HINDSIGHT, check_passings, known_by, known_then, replay
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Verdict, Word
from loopworthy.vocabulary.errors import UnknownNameError
from tests.unit.judgement.builder import SENSORS, Scene, minute

ONE, TWO, THREE = SENSORS


def known(scene: Scene, at: float, device: str = "pad") -> Verdict:
    """As known on a device then."""
    found = replay(tuple(scene.events), scene.catalogue, scene.unit, minute(at), device=device)
    assert found.label == AS_KNOWN
    return found.verdict


def hindsight(scene: Scene, at: float) -> Verdict:
    """With hindsight."""
    found = replay(tuple(scene.events), scene.catalogue, scene.unit, minute(at), device=None)
    assert found.label == HINDSIGHT
    return found.verdict


def state(verdict: Verdict, step: str) -> State:
    """The state of a step's first requirement."""
    return next(one.standing.state for one in verdict.requirements() if one.step.id == step)


def test_a_change_that_another_device_made_was_not_known_then_and_is_with_hindsight() -> None:
    scene = Scene()
    phone = scene.device("phone")
    scene.pad.morning()
    phone.change("loop-opened", at=20)
    scene.pad.meet(phone).do("weight", at=60)
    assert known(scene, 31).word is Word.READY
    assert state(hindsight(scene, 31), "tight") is State.VOID
    assert state(known(scene, 61), "tight") is State.VOID


def test_a_change_declared_late_counts_with_hindsight_only() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=60, occurred=20)
    assert known(scene, 31).word is Word.READY
    assert state(hindsight(scene, 31), "tight") is State.VOID


def test_what_happened_afterwards_counts_in_neither() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=60)
    scene.pad.do("weight", at=61, done="no")
    assert known(scene, 31).word is Word.READY
    assert hindsight(scene, 31).word is Word.READY


def test_what_was_found_out_afterwards_counts_with_hindsight() -> None:
    scene = Scene()
    done = scene.pad.morning()
    scene.pad.change("analyser-bad", scene.analyser, at=60)
    assert known(scene, 31).word is Word.READY
    assert state(hindsight(scene, 31), "gas") is State.VOID
    taken_back = Scene()
    done = taken_back.pad.morning()
    taken_back.pad.withdraw(done["weight"], at=60)
    assert known(taken_back, 31).word is Word.READY
    assert state(hindsight(taken_back, 31), "weight") is State.ABSENT


def test_a_check_of_the_analyser_afterwards_counts_with_hindsight_for_good_and_for_bad() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("check", at=40, off="0.1")
    scene.pad.change("analyser-bad", scene.analyser, at=60)
    assert state(hindsight(scene, 31), "gas") is State.CURRENT
    bad = Scene()
    bad.pad.morning()
    bad.pad.do("check", at=40, off="4")
    assert state(hindsight(bad, 31), "gas") is State.VOID


def test_that_two_things_are_one_is_known_with_hindsight() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.same(scene.people["ada"], scene.people["bo"], at=60)
    assert known(scene, 31).word is Word.READY
    assert state(hindsight(scene, 31), "tight") is State.CANNOT_TELL


def test_a_device_knows_its_own_past_though_its_clock_was_put_back() -> None:
    scene = Scene()
    scene.pad.morning(at=100)
    first = known_then(scene.events, "pad", minute(99))
    scene.pad.change("loop-opened", at=50)  # the clock was put back by an hour and more
    second = known_then(scene.events, "pad", minute(99))
    assert len(second) == len(scene.events)
    assert len(first) < len(second)


def test_a_device_that_had_written_nothing_yet_knew_nothing() -> None:
    scene = Scene()
    scene.device("phone").do("weight", at=10)
    assert known_then(scene.events, "phone", minute(5)) == []
    with pytest.raises(UnknownNameError):
        replay(tuple(scene.events), scene.catalogue, scene.unit, minute(5), device="phone")


def test_what_a_device_had_when_it_wrote_is_its_own_past_and_what_that_had_seen() -> None:
    scene = Scene()
    phone = scene.device("phone")
    before = len(scene.events)
    scene.pad.do("weight", at=1)
    phone.do("weight", at=2)
    assert len(known_by(scene.events, scene.events[-1])) == before
    phone.meet(scene.pad).do("weight", at=3)
    assert len(known_by(scene.events, scene.events[-1])) == before + 2


class TestPassings:
    def test_a_hold_passed_on_the_verdict_of_its_moment_is_confirmed(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.passed("H3", "ready", at=31)
        scene.pad.change("loop-opened", at=40)
        assert check_passings(tuple(scene.events), scene.catalogue, scene.unit) == ()

    def test_a_hold_passed_on_a_verdict_that_the_record_does_not_give_is_found(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("loop-opened", at=31)
        passing = scene.pad.passed("H3", "ready", at=32)
        (found,) = check_passings(tuple(scene.events), scene.catalogue, scene.unit)
        assert (found.event, found.said, found.found, found.catalogue_differs) == (passing, "ready", "unproven", False)

    def test_another_catalogue_is_told(self) -> None:
        scene = Scene()
        scene.pad.passed("H1", "ready", at=1, catalogue="0" * 64)
        (found,) = check_passings(tuple(scene.events), scene.catalogue, scene.unit)
        assert found.catalogue_differs

    def test_what_another_device_knew_does_not_speak_against_it(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        phone.change("loop-opened", at=20)
        scene.pad.passed("H3", "ready", at=31)
        assert check_passings(tuple(scene.events), scene.catalogue, scene.unit) == ()
        scene.pad.meet(phone).passed("H3", "ready", at=33)
        (found,) = check_passings(tuple(scene.events), scene.catalogue, scene.unit)
        assert found.found == "unproven"

    def test_what_was_recorded_at_the_same_moment_but_after_it_does_not_count(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.passed("H3", "ready", at=31)
        scene.pad.change("loop-opened", at=31)
        assert check_passings(tuple(scene.events), scene.catalogue, scene.unit) == ()

    def test_only_the_passings_asked_for_are_judged(self) -> None:
        scene = Scene()
        first = scene.pad.passed("H1", "ready", at=1)
        scene.pad.passed("H1", "ready", at=2)
        found = check_passings(tuple(scene.events), scene.catalogue, scene.unit, only={first})
        assert [one.event for one in found] == [first]

    def test_a_selection_of_the_record_gives_the_same_answer(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        phone.change("loop-opened", at=20)
        scene.pad.meet(phone).do("weight", at=31)
        scene.pad.passed("H1", "ready", at=32)
        passing = scene.pad.passed("H3", "ready", at=33)
        chosen = tuple(one for one in scene.events if one.id != scene.events[-2].id)
        assert [one.event for one in check_passings(chosen, scene.catalogue, scene.unit)] == [passing]
