"""What is outstanding: the smallest set of steps that mends a verdict, in a workable order."""

from __future__ import annotations

from loopworthy.judgement.outstanding import Task, outstanding
from loopworthy.judgement.verdict import Word
from tests.unit.judgement.builder import SENSORS, Scene
from tests.unit.judgement.small_catalogue import catalogue_with

ONE, TWO, THREE = SENSORS


def tasks(scene: Scene, at: float) -> tuple[Task, ...]:
    """What is outstanding at a minute."""
    return outstanding(scene.book(), scene.catalogue, scene.verdict(at))


def names(scene: Scene, at: float) -> list[tuple[str, str]]:
    """Step and position of what is outstanding."""
    return [(one.step.id, one.subject.position) for one in tasks(scene, at)]


def test_nothing_is_outstanding_for_a_ready_unit() -> None:
    scene = Scene()
    scene.pad.morning()
    assert tasks(scene, 31) == ()


def test_everything_is_outstanding_for_a_unit_that_nobody_touched_the_check_of_the_analyser_first() -> None:
    scene = Scene()
    found = names(scene, 0)
    assert found[0] == ("check", "")
    assert found.index(("gas", "cylinder-oxygen")) < found.index(("tight", "")) < found.index(("look", ""))
    assert len(found) == len(set(found))


def test_doing_what_is_outstanding_in_its_order_makes_a_unit_ready() -> None:
    scene = Scene()
    entries = {
        "check": {"off": "0.1"},
        "gas": {"percent": "98"},
        "stamp": {"until": "2027-01-01"},
        "barometer": {"ambient": "1013", "warmth": "20"},
        "air": {"mv": "10"},
        "factor": {"factor": "49"},
        "known": {"po2": "0.21"},
        "tight": {"loss": "2"},
        "service": {"bar": "9"},
    }
    for at, task in enumerate(tasks(scene, 0)):
        read = entries.get(task.step.id, {})
        scene.pad.do(task.step.id, at=at / 10, position=task.subject.position, readings_of=read)
    assert scene.verdict(5).word is Word.READY


def test_one_reading_takes_the_place_of_doing_the_whole_again() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("dive-made", at=31)
    found = names(scene, 32)
    assert ("known", TWO) in found
    assert ("factor", TWO) not in found


def test_of_two_rechecks_that_are_due_both_are_asked() -> None:
    scene = Scene(
        catalogue_with(
            '[changes.handled]\ntitle = "Handled"\ngroup = "test"\nrecheck = [{evidence = ["TIGHT"], by = "place"}]'
        )
    )
    scene.pad.morning()
    scene.pad.change("dive-made", at=40)
    scene.pad.change("handled", at=41)
    asked = {task.step.id for task in outstanding(scene.book(), scene.catalogue, scene.verdict(42))}
    assert {"tight", "place"} <= asked


def test_a_failed_reading_is_to_be_mended_first() -> None:
    scene = Scene()
    scene.pad.morning()
    failed = scene.pad.do("tight", at=31, loss="14")
    (task,) = [one for one in tasks(scene, 32) if one.step.id == "tight"]
    assert task.first_mend == failed


def test_what_a_step_rests_on_comes_with_it_where_it_has_fallen() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("sensor-replaced", at=31, position=TWO)
    scene.pad.fit(TWO, scene.pad.create("oxygen-sensor", at=31), at=31)
    found = names(scene, 32)
    assert found.index(("air", TWO)) < found.index(("factor", TWO))
    assert ("air", ONE) not in found


def test_what_must_come_before_a_step_is_outstanding_with_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("loop-opened", at=31)
    found = names(scene, 32)
    assert found.index(("tight", "")) < found.index(("look", ""))


def test_an_analysis_that_rested_on_a_bad_analyser_is_mended_from_the_check_on() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.do("check", at=200, off="4")
    found = names(scene, 201)
    assert found[:2] == [("check", ""), ("gas", "cylinder-oxygen")]
    assert ("factor", ONE) in found
