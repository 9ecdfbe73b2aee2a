"""Declaring a change: the right things come in, the right evidence falls, nothing is half done."""

from __future__ import annotations

import pytest

from loopworthy.desk import changes, limits, steps
from loopworthy.desk.changes import Declared
from loopworthy.desk.entry import Typed
from loopworthy.desk.units import NewThing, add_instrument
from loopworthy.judgement.catalogue.model import Effect
from loopworthy.unit.configuration import ready_configurations
from loopworthy.unit.positions import part_kind
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate

REPLACED = Declared(
    change="sensor-replaced",
    positions=("oxygen-sensor-2",),
    arrivals={"oxygen-sensor-2": NewThing(serial="N-9", batch="77")},
)


def test_a_replaced_sensor_is_a_new_thing_in_the_same_place(bench: Bench) -> None:
    before = bench.workplace.world.at(bench.unit, "oxygen-sensor-2")
    changes.record_change(bench.workplace, bench.unit, REPLACED, person=bench.reader)
    after = bench.workplace.world.at(bench.unit, "oxygen-sensor-2")
    assert after is not None
    assert after != before
    assert bench.workplace.world.thing(after).serial == "N-9"


def test_the_preview_tells_what_falls_before_anything_is_saved(bench: Bench) -> None:
    steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    count = len(bench.workplace.record.events())
    seen = changes.preview(bench.workplace, bench.unit, REPLACED)
    fallen = {(one.kind, one.subject.position) for one in seen.falls if one.effect is Effect.VOID}
    assert ("EV27", "oxygen-sensor-2") in fallen
    assert ("EV27", "oxygen-sensor-1") not in fallen
    assert len(bench.workplace.record.events()) == count


def test_two_sensors_swapped_change_places_and_keep_their_identities(bench: Bench) -> None:
    first = bench.workplace.world.at(bench.unit, "oxygen-sensor-1")
    third = bench.workplace.world.at(bench.unit, "oxygen-sensor-3")
    swapped = Declared(change="sensors-swapped", positions=("oxygen-sensor-1", "oxygen-sensor-3"))
    changes.record_change(bench.workplace, bench.unit, swapped, person=bench.reader)
    assert bench.workplace.world.at(bench.unit, "oxygen-sensor-1") == third
    assert bench.workplace.world.at(bench.unit, "oxygen-sensor-3") == first


def test_a_filled_cylinder_is_the_same_cylinder_with_another_fill(bench: Bench) -> None:
    world = bench.workplace.world
    cylinder = world.at(bench.unit, "cylinder-oxygen")
    assert cylinder is not None
    fill = world.content_of(cylinder)
    changes.record_change(
        bench.workplace,
        bench.unit,
        Declared(change="oxygen-changed", positions=("cylinder-oxygen",)),
        person=bench.reader,
    )
    world = bench.workplace.world
    assert world.at(bench.unit, "cylinder-oxygen") == cylinder
    assert world.content_of(cylinder) not in (fill, None)


def test_a_change_without_its_place_or_its_new_part_is_refused_and_nothing_is_recorded(bench: Bench) -> None:
    count = len(bench.workplace.record.events())
    with pytest.raises(InputError, match="positions"):
        changes.record_change(bench.workplace, bench.unit, Declared(change="sensor-replaced"), person=bench.reader)
    with pytest.raises(InputError, match="arrivals"):
        changes.record_change(
            bench.workplace,
            bench.unit,
            Declared(change="sensor-replaced", positions=("oxygen-sensor-1",)),
            person=bench.reader,
        )
    with pytest.raises(InputError, match="person"):
        changes.record_change(bench.workplace, bench.unit, REPLACED, person="")
    assert len(bench.workplace.record.events()) == count


def test_unknown_changes_places_questions_and_answers_are_named(bench: Bench) -> None:
    with pytest.raises(UnknownNameError, match="sensor-repaced"):
        changes.preview(bench.workplace, bench.unit, Declared(change="sensor-repaced"))
    with pytest.raises(UnknownNameError, match="cylinder-oxygen"):
        changes.preview(bench.workplace, bench.unit, Declared(change="sensor-replaced", positions=("cylinder-oxygen",)))
    question = bench.workplace.catalogue.change("sensor-replaced").questions[0]
    with pytest.raises(InputError, match=question.id):
        changes.preview(
            bench.workplace, bench.unit, Declared(change="sensor-replaced", answers={question.id: "perhaps"})
        )


def test_a_thing_of_another_kind_cannot_come_into_a_place(bench: Bench) -> None:
    thing = add_instrument(bench.workplace, "Scale", "scale")
    with pytest.raises(RefusedError, match="instrument"):
        changes.record_change(
            bench.workplace,
            bench.unit,
            Declared(change="sensor-replaced", positions=("oxygen-sensor-1",), arrivals={"oxygen-sensor-1": thing}),
            person=bench.reader,
        )


def test_after_an_incident_nothing_may_change_any_more(bench: Bench) -> None:
    changes.record_change(
        bench.workplace, bench.unit, Declared(change="incident", note="rehearsed"), person=bench.reader
    )
    assert bench.workplace.verdict(bench.unit).word.value == "stop"
    with pytest.raises(RefusedError, match="frozen"):
        changes.record_change(bench.workplace, bench.unit, REPLACED, person=bench.reader)
    with pytest.raises(RefusedError, match="frozen"):
        steps.record_steps(bench.workplace, bench.unit, climate(bench), read_by=bench.reader)


def test_what_a_new_configuration_builds_in_is_there_with_it(bench: Bench) -> None:
    known = bench.workplace.world.configuration(bench.unit)
    assert known is not None
    other = ready_configurations()["electronic-two-controllers-five-sensors"]
    before = {one.id for one in bench.workplace.world.positions(bench.unit)}
    changes.record_change(
        bench.workplace,
        bench.unit,
        Declared(change="part-added-or-left-off", configuration=other),
        person=bench.reader,
    )
    world = bench.workplace.world
    gained = [one for one in world.positions(bench.unit) if one.id not in before]
    assert gained
    for place in gained:
        assert (world.at(bench.unit, place.id) is not None) == part_kind(place.kind).built_in


def test_what_was_declared_most_often_is_offered_first(bench: Bench) -> None:
    for change in ("rough-ride", "loop-opened", "rough-ride"):
        changes.record_change(bench.workplace, bench.unit, Declared(change=change), person=bench.reader)
    assert [one.id for one in changes.often_used(bench.workplace)] == ["rough-ride", "loop-opened"]
    assert [one.id for one in changes.often_used(bench.workplace, most=1)] == ["rough-ride"]


def test_the_preview_tells_also_what_stays_with_the_part_that_leaves(bench: Bench) -> None:
    # No rule takes away that a display was read with the unit worn, but it was the old sensor's.
    workplace, unit = bench.workplace, bench.unit
    limits.confirm_limits(
        workplace,
        unit,
        tuple(one.limit.id for _, one in limits.unconfirmed(workplace, unit)),
        source="manual, revision 4",
        owner=bench.reader,
    )
    worn = [Typed(step="F09", about=f"oxygen-sensor-{place}", fields={"po2_bar": "0.70"}) for place in (1, 2, 3)]
    steps.record_steps(workplace, unit, worn, read_by=bench.reader)

    def read_on_displays() -> set[str]:
        return {
            one.subject.position
            for one in workplace.verdict(unit).requirements()
            if one.step.id == "F09" and one.kind == "EV53" and one.counts
        }

    assert read_on_displays() == {"oxygen-sensor-1", "oxygen-sensor-2", "oxygen-sensor-3"}
    told = {one.subject.position for one in changes.preview(workplace, unit, REPLACED).falls if one.kind == "EV53"}
    changes.record_change(workplace, unit, REPLACED, person=bench.reader)
    assert told == {"oxygen-sensor-2"}
    assert read_on_displays() == {"oxygen-sensor-1", "oxygen-sensor-3"}
