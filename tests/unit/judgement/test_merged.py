"""Two books of one record compared, and holds that were passed on less than is known now."""

from __future__ import annotations

import pytest

from loopworthy.judgement.merged import Sight, UnitShift, concerns, sights, unit_shift
from loopworthy.judgement.replay import fold
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.errors import UnknownNameError
from loopworthy.vocabulary.event import Event
from tests.unit.judgement.builder import SENSORS, Device, Scene, minute

ONE, TWO, THREE = SENSORS


def shift(scene: Scene, before: int, at: float) -> UnitShift:
    """The scene's unit in its first so many events, and in all of them."""
    books = fold(scene.events[:before], scene.catalogue), fold(scene.events, scene.catalogue)
    return unit_shift(*books, scene.catalogue, scene.unit, minute(at))


def by_device(scene: Scene, *devices: Device) -> frozenset[str]:
    """What these devices have written."""
    names = {device.name for device in devices}
    return frozenset(event.id for event in scene.events if event.envelope.device in names)


def seen(scene: Scene, passing: str, others: frozenset[str]) -> tuple[Sight, ...]:
    return sights(tuple(scene.events), scene.book(), scene.catalogue, scene.unit, {passing: others})


def event_of(scene: Scene, identity: str) -> Event:
    return next(event for event in scene.events if event.id == identity)


class TestShift:
    def test_what_fell_names_its_cause_and_what_did_not_change_is_left_out(self) -> None:
        scene = Scene()
        scene.pad.morning()
        before = len(scene.events)
        opened = scene.device("phone").change("loop-opened", at=31)
        found = shift(scene, before, 32)
        assert found.before is not None
        assert (found.before.word, found.after.word) == (Word.READY, Word.UNPROVEN)
        fallen = [one.after.standing for one in found.shifts if one.fell and one.after is not None]
        assert opened in {one.cause for one in fallen}
        assert len(found.shifts) < len(list(found.after.requirements()))

    def test_nothing_that_concerns_the_unit_is_no_difference(self) -> None:
        scene = Scene()
        scene.pad.morning()
        before = len(scene.events)
        scene.pad.create("person", at=31)
        found = shift(scene, before, 32)
        assert found.shifts == ()
        assert not found.differs

    def test_new_evidence_rose(self) -> None:
        scene = Scene()
        before = len(scene.events)
        scene.pad.morning()
        found = shift(scene, before, 31)
        assert {one.rose for one in found.shifts} == {True}
        assert not any(one.fell for one in found.shifts)

    def test_another_part_in_a_place_is_told_as_one_requirement(self) -> None:
        scene = Scene()
        scene.pad.morning()
        before = len(scene.events)
        phone = scene.device("phone")
        phone.fit(TWO, phone.create("oxygen-sensor", "new", at=31), at=31)
        airs = [one for one in shift(scene, before, 32).shifts if one.after and one.after.step.id == "air"]
        (second,) = [one for one in airs if one.after is not None and one.after.subject.position == TWO]
        assert second.before is not None
        assert second.after is not None
        assert (second.before.standing.state, second.after.standing.state) == (State.CURRENT, State.ABSENT)
        assert second.fell

    def test_a_unit_that_was_not_known_has_no_before(self) -> None:
        scene = Scene()
        before = len(scene.events)
        other = scene.new_unit("Plover", at=1)
        books = fold(scene.events[:before], scene.catalogue), fold(scene.events, scene.catalogue)
        found = unit_shift(*books, scene.catalogue, other, minute(2))
        assert found.before is None
        assert found.differs

    def test_a_unit_that_turned_out_to_be_another_is_found_under_its_old_name(self) -> None:
        scene = Scene()
        other = scene.new_unit("Tern again", at=1)
        before = len(scene.events)
        scene.pad.same(scene.unit, other, at=2)
        for name in (scene.unit, other):
            books = fold(scene.events[:before], scene.catalogue), fold(scene.events, scene.catalogue)
            assert unit_shift(*books, scene.catalogue, name, minute(3)).before is not None

    def test_a_unit_that_is_in_neither_book_is_refused(self) -> None:
        scene = Scene()
        book = fold(scene.events, scene.catalogue)
        with pytest.raises(UnknownNameError):
            unit_shift(book, book, scene.catalogue, "0" * 64, minute(1))


class TestSights:
    def test_a_change_elsewhere_that_the_device_did_not_know_is_named(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        opened = phone.change("loop-opened", at=20)
        passing = scene.pad.passed("H3", "ready", at=31)
        (found,) = seen(scene, passing, by_device(scene, phone))
        assert (found.hold, found.said, found.found, found.unknown) == ("H3", "ready", "unproven", (opened,))

    def test_a_part_put_in_elsewhere_is_named_though_no_requirement_names_it(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        fitted = phone.fit(TWO, phone.create("oxygen-sensor", "new", at=20), at=20)
        passing = scene.pad.passed("H3", "ready", at=31)
        (found,) = seen(scene, passing, by_device(scene, phone))
        assert fitted in found.unknown

    def test_a_fault_written_down_elsewhere_makes_it_stop(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        fault = phone.change("fault", at=20)
        passing = scene.pad.passed("H3", "ready", at=31)
        (found,) = seen(scene, passing, by_device(scene, phone))
        assert (found.found, found.unknown) == ("stop", (fault,))

    def test_what_was_done_afterwards_says_nothing_against_it(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        passing = scene.pad.passed("H3", "ready", at=31)
        phone.change("loop-opened", at=40)
        assert seen(scene, passing, by_device(scene, phone)) == ()

    def test_what_the_device_knew_is_no_matter_of_the_merge(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        phone.change("loop-opened", at=20)
        passing = scene.pad.meet(phone).passed("H3", "ready", at=31)
        assert seen(scene, passing, by_device(scene, phone)) == ()

    def test_a_passing_that_was_wrong_all_by_itself_is_left_to_the_check_of_passings(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        scene.pad.change("loop-opened", at=30.5)
        phone.change("loop-opened", at=20)
        passing = scene.pad.passed("H3", "ready", at=31)
        assert seen(scene, passing, by_device(scene, phone)) == ()

    def test_a_reading_outside_its_limit_elsewhere_makes_it_stop(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        read = phone.do("tight", at=22, loss="40")
        passing = scene.pad.passed("H2", "ready", at=31)
        (found,) = seen(scene, passing, by_device(scene, phone))
        assert (found.found, found.unknown) == ("stop", (read,))

    def test_surroundings_read_elsewhere_that_moved_too_far_are_seen(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        phone.do("barometer", at=22, ambient="960", warmth="20")
        passing = scene.pad.passed("H3", "ready", at=31)
        assert [one.found for one in seen(scene, passing, by_device(scene, phone))] == ["unproven"]

    def test_evidence_from_elsewhere_that_makes_no_difference_is_not_named(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        phone.do("weight", at=22)
        passing = scene.pad.passed("H3", "ready", at=31)
        assert seen(scene, passing, by_device(scene, phone)) == ()


def test_events_concern_the_unit_that_they_are_about_or_whose_part_they_are_about() -> None:
    scene = Scene()
    other = scene.new_unit("Plover", at=1)
    read = scene.pad.do("weight", at=2)
    opened = scene.pad.change("loop-opened", at=3)
    mended = scene.pad.repair(read, at=4)
    events = [read, opened, mended, scene.pad.withdraw(read, at=5), scene.pad.withdraw(opened, at=6)]
    events.append(scene.pad.fill(scene.at("cylinder-oxygen"), at=7))
    nobody = scene.pad.create("person", at=8)
    book = scene.book()
    for identity in events:
        assert concerns(book, event_of(scene, identity), scene.unit), event_of(scene, identity).envelope.kind
        assert not concerns(book, event_of(scene, identity), other), event_of(scene, identity).envelope.kind
    assert not concerns(book, event_of(scene, nobody), scene.unit)
