"""Parts and fills exchanged without a word: silence counts as the worst, but a first naming takes nothing away."""

from __future__ import annotations

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from loopworthy.unit.events import ConfigurationSet
from tests.unit.judgement.builder import SENSORS, Scene, configuration

ONE, TWO, THREE = SENSORS


def test_a_sensor_exchanged_without_a_word_undoes_the_leak_test() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.fit(TWO, scene.pad.create("oxygen-sensor", at=31), at=31)
    standing = scene.standing("tight", 32)
    assert (standing.state, standing.code) == (State.VOID, "undone-by-exchange")
    assert standing.values["change"] == "Change sensor-replaced"
    assert scene.state("place", 32) is State.RECHECK


def test_a_sensor_taken_out_and_put_back_without_a_word_restores_nothing() -> None:
    scene = Scene()
    scene.pad.morning()
    sensor = scene.at(TWO)
    scene.pad.remove(TWO, sensor, at=31)
    scene.pad.fit(TWO, sensor, at=32)
    assert scene.state("factor", 33, position=TWO) is State.VOID
    assert scene.state("air", 33, position=TWO) is State.VOID
    assert scene.state("tight", 33) is State.VOID


def test_a_change_declared_with_it_is_all_that_counts() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("sensor-replaced", at=31, position=TWO, answers={"head": "no"})
    scene.pad.fit(TWO, scene.pad.create("oxygen-sensor", at=31), at=31)
    assert scene.state("place", 32) is State.CURRENT


def test_a_change_declared_an_hour_before_does_not_cover_it() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.change("sensor-replaced", at=31, position=TWO, answers={"head": "no"})
    scene.pad.do("tight", at=40, loss="2")
    scene.pad.fit(TWO, scene.pad.create("oxygen-sensor", at=91), at=91)
    assert scene.state("tight", 92) is State.VOID


def test_the_unit_that_a_part_was_taken_from_loses_its_evidence_too() -> None:
    scene = Scene()
    other = scene.new_unit("Plover", at=-10)
    scene.pad.morning()
    sensor = scene.at(TWO)
    scene.pad.change("sensor-replaced", sensor, at=31, position=ONE, unit=other)
    scene.pad.fit(ONE, sensor, at=31, unit=other)
    assert scene.state("tight", 32) is State.VOID
    assert scene.standing("air", 32, position=TWO).code == "no-part"
    scene.pad.fit(TWO, scene.pad.create("oxygen-sensor", at=33), at=33)  # named anew, as if for the first time
    assert scene.state("tight", 34) is State.VOID


def test_the_first_naming_of_a_part_takes_nothing_away() -> None:
    scene = Scene()
    blank = Scene()
    scene.pad.do("tight", at=1, loss="2")
    assert scene.state("tight", 2) is State.CURRENT
    unit = blank.new_unit("Bare", at=0)
    assert blank.book().changes.all == []
    assert unit in blank.book().world.units()


def test_another_gas_without_a_word_closes_the_valve() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.fill(scene.at("cylinder-oxygen"), at=31)
    assert scene.standing("valve", 32).code == "undone-by-exchange"
    assert scene.standing("gas", 32).code == "never-done"


def test_a_fill_in_a_cylinder_that_is_on_no_unit_changes_no_unit() -> None:
    scene = Scene()
    spare = scene.pad.create("cylinder", at=-5)
    scene.pad.fill(spare, at=-5)
    scene.pad.morning()
    scene.pad.fill(spare, at=31)
    assert scene.verdict(32).word is Word.READY


def test_a_part_that_no_change_of_the_catalogue_is_about_counts_as_another_part() -> None:
    scene = Scene()
    scene.pad.morning()
    display = next(one for one in scene.book().world.fitted(scene.unit) if one.startswith("solenoid"))
    scene.pad.fit(display, scene.pad.create("solenoid", at=31), at=31)
    assert scene.standing("weight", 32).code == "undone-by-exchange"


def test_another_configuration_without_a_word_counts_as_a_part_added() -> None:
    scene = Scene()
    scene.pad.morning()
    chosen = configuration()
    same = ConfigurationSet(name=chosen.name, title=chosen.title, choices=dict(chosen.choices))
    scene.pad.write(same, scene.unit, at=31)
    assert scene.state("weight", 32) is State.CURRENT
    other = ready_configurations()["electronic-school"]
    changed = ConfigurationSet(name=other.name, title=other.title, choices=dict(other.choices))
    scene.pad.write(changed, scene.unit, at=33)
    assert scene.standing("weight", 34).code == "undone-by-exchange"


def test_another_diver_without_a_word_is_another_person() -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.fit("diver", scene.people["bo"], at=31)
    assert scene.book().changes.all[-1].inferred
