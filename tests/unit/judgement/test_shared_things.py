"""Things that go from unit to unit, two identities of one thing, positions that are empty, and chains that fork."""

from __future__ import annotations

from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.unit.events import ThingCreated
from loopworthy.vocabulary.event import SeenHead
from tests.unit.judgement.builder import SENSORS, Scene

ONE, TWO, THREE = SENSORS
OXYGEN = "cylinder-oxygen"


def move_cylinder(scene: Scene, source: str, target: str, *, at: float) -> str:
    """A cylinder goes from one unit to another, declared on the one that gets it."""
    cylinder = scene.at(OXYGEN, source)
    scene.pad.change("other-part-changed", cylinder, at=at, unit=target)
    scene.pad.fit(OXYGEN, cylinder, at=at, unit=target)
    return cylinder


class TestMoving:
    def test_an_analysis_goes_with_the_fill_to_another_unit(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        scene.pad.morning()
        move_cylinder(scene, scene.unit, other, at=31)
        assert scene.state("gas", 32, unit=other) is State.CURRENT
        assert scene.standing("gas", 32).code == "no-part"

    def test_what_happened_to_it_on_the_way_counts(self) -> None:
        """On a third unit, while the cylinder was there, the analysis was proved wrong by a change of that unit."""
        scene = Scene()
        third, other = scene.new_unit("Knot", at=-10), scene.new_unit("Plover", at=-10)
        scene.pad.morning()
        service = scene.at("regulator-oxygen")
        scene.pad.change("other-part-changed", service, at=31, unit=third)
        scene.pad.fit("regulator-oxygen", service, at=31, unit=third)
        scene.pad.change("regulator-opened", at=32, position="regulator-oxygen", unit=third)
        scene.pad.change("other-part-changed", service, at=33, unit=other)
        scene.pad.fit("regulator-oxygen", service, at=33, unit=other)
        assert scene.state("service", 34, position="regulator-oxygen", unit=other) is State.VOID

    def test_a_change_of_the_whole_unit_where_it_was_counts(self) -> None:
        scene = Scene()
        third, other = scene.new_unit("Knot", at=-10), scene.new_unit("Plover", at=-10)
        for unit in (third, other):
            scene.pad.begin("dive-day", at=-9, unit=unit)
        scene.pad.morning()
        sensor = scene.at(ONE)
        for at, unit in ((31, third), (40, other)):
            scene.pad.change("other-part-changed", sensor, at=at, unit=unit)
            scene.pad.fit(ONE, sensor, at=at, unit=unit)
            if unit == third:
                scene.pad.change("dive-made", at=35, unit=third)
        assert scene.state("known", 41, position=ONE, unit=other) is State.VOID

    def test_the_limits_of_the_unit_that_is_asked_about_hold(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        scene.pad.morning()
        scene.pad.set_limit("gas.least", "99", at=31, unit=other)
        move_cylinder(scene, scene.unit, other, at=32)
        assert scene.state("gas", 33, unit=other) is State.FAILED

    def test_evidence_of_a_dive_day_is_of_the_day_of_the_unit_that_is_asked_about(self) -> None:
        scene = Scene()
        other = scene.new_unit("Plover", at=-10)
        scene.pad.morning()
        scene.pad.begin("dive-day", at=60, unit=other)
        sensor, controller = scene.at(ONE), scene.at("controller-1")
        assert scene.state("factor", 59, position=ONE) is State.CURRENT
        for position, thing in ((ONE, sensor), ("controller-1", controller)):
            scene.pad.change("other-part-changed", thing, at=61, unit=other)
            scene.pad.fit(position, thing, at=61, unit=other)
        scene.pad.do("barometer", at=62, ambient="1013", warmth="20", unit=other)
        assert scene.standing("factor", 63, position=ONE, unit=other).code == "dive-day-over"


class TestTwoIdentities:
    def test_evidence_of_both_identities_is_evidence_of_the_one_thing(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        scene.pad.morning()
        twin = phone.create("oxygen-sensor", "S-2", at=0)
        phone.change("sensor-replaced", twin, at=5)
        assert scene.state("air", 31, position=TWO) is State.CURRENT
        scene.pad.meet(phone).same(scene.at(TWO), twin, at=32)
        assert scene.state("air", 33, position=TWO) is State.VOID

    def test_a_waiver_and_a_limit_follow_the_unit(self) -> None:
        scene = Scene()
        phone = scene.device("phone")
        twin = phone.write(ThingCreated(kind="unit", name="Tern too"), at=-5)
        phone.set_limit("tight.loss", "1", at=-4, unit=twin)
        scene.pad.morning()
        assert scene.state("tight", 31) is State.CURRENT
        scene.pad.meet(phone).same(scene.unit, twin, at=32)
        assert scene.state("tight", 33) is State.FAILED

    def test_two_sensors_that_turn_out_to_be_one_leave_one_position_empty(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.same(scene.at(ONE), scene.at(TWO), at=31)
        missing = [one for one in scene.verdict(32).requirements() if one.standing.code == "no-part"]
        assert {one.subject.position for one in missing} & {ONE, TWO}
        assert scene.verdict(32).word is Word.UNPROVEN


class TestEmptyPositions:
    def test_nothing_can_be_read_where_nothing_is(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("sensor-replaced", at=31, position=TWO)
        scene.pad.remove(TWO, scene.at(TWO), at=31)
        standing = scene.standing("air", 32, position=TWO)
        assert (standing.state, standing.code) == (State.ABSENT, "no-part")
        assert scene.standing("factor", 32, position=TWO).code == "no-part"

    def test_evidence_about_nothing_matches_no_empty_position(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("sensor-replaced", at=31, position=TWO)
        scene.pad.remove(TWO, scene.at(TWO), at=31)
        scene.pad.do("air", at=32, position=ONE, mv="10", subject="")
        assert scene.standing("air", 33, position=TWO).code == "no-part"
        assert scene.book().of("air", "") == []

    def test_a_recheck_of_every_sensor_is_not_cleared_while_one_is_missing(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.change("dive-made", at=31)
        scene.pad.change("sensor-replaced", at=32, position=TWO)
        scene.pad.remove(TWO, scene.at(TWO), at=32)
        for position in (ONE, THREE):
            scene.pad.do("known", at=33, position=position, po2="0.21")
        assert scene.state("factor", 34, position=ONE) is State.CURRENT
        assert scene.state("factor", 34, position=TWO) is State.ABSENT

    def test_without_the_controller_no_calibration_belongs_to_anything(self) -> None:
        scene = Scene()
        scene.pad.morning()
        scene.pad.remove("controller-1", scene.at("controller-1"), at=31)
        assert scene.standing("factor", 32, position=ONE).code == "no-channel"


class TestForks:
    def test_the_two_ways_of_a_forked_chain_know_nothing_of_each_other(self) -> None:
        scene = Scene()
        tablet = scene.device("tablet")
        tablet.do("weight", at=-5)
        twin = tablet.copied()
        tablet.change("loop-opened", at=3)
        twin.meet(scene.pad).do("place", at=2)
        twin.do("tight", at=8, loss="2")
        standing = scene.standing("tight", 9)
        assert standing.state is State.VOID

    def test_what_lies_before_the_fork_is_known_to_both(self) -> None:
        scene = Scene()
        tablet = scene.device("tablet")
        tablet.change("loop-opened", at=-5)
        twin = tablet.copied()
        tablet.do("weight", at=3)
        twin.do("tight", at=8, loss="2")
        assert scene.state("tight", 9) is State.CURRENT

    def test_whoever_saw_one_way_did_not_see_the_other(self) -> None:
        scene = Scene()
        tablet = scene.device("tablet")
        tablet.do("weight", at=-5)
        twin = tablet.copied()
        tablet.do("weight", at=1)
        tablet.do("weight", at=2)
        twin.change("loop-opened", at=3)
        scene.pad.meet(tablet).do("tight", at=10, loss="2")
        assert scene.state("tight", 11) is State.VOID
        scene.pad.seen[twin.name] = SeenHead(sequence=len(twin.chain), event=twin.chain[-1].id)
        scene.pad.do("tight", at=12, loss="2")
        assert scene.state("tight", 13) is State.CURRENT
