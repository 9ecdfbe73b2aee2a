"""Two that are one, a part taken out, a unit built otherwise: told before it is recorded, and recorded as told."""

from __future__ import annotations

import pytest

from loopworthy.desk import changes, sameness, steps, taking_out, units
from loopworthy.desk.changes import Declared
from loopworthy.judgement.merged import UnitShift
from loopworthy.unit.configuration import Configuration, configuration_from_choices
from loopworthy.unit.events import ChangeMade, PartRemoved, ThingsSame
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate


@pytest.fixture
def read(bench: Bench) -> Bench:
    """A bench whose sensors were read in air."""
    steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    bench.clock.forward(minutes=5)
    return bench


def fallen(shifts: tuple[UnitShift, ...]) -> set[tuple[str, str]]:
    return {
        (one.before.step.id, one.before.subject.position)
        for shift in shifts
        for one in shift.shifts
        if one.before is not None and one.before.counts and (one.after is None or not one.after.counts)
    }


def counting(bench: Bench) -> set[tuple[str, str]]:
    found = bench.workplace.verdict(bench.unit).requirements()
    return {(one.step.id, one.subject.position) for one in found if one.counts}


# --- taking out -----------------------------------------------------------------------------------------------------


def test_what_would_fall_without_a_sensor_is_told_and_nothing_is_recorded(read: Bench) -> None:
    count = read.workplace.record.store.count()
    told = fallen(taking_out.preview_taking_out(read.workplace, read.unit, "oxygen-sensor-2", {}))
    assert ("C03", "oxygen-sensor-2") in told
    assert ("C03", "oxygen-sensor-1") not in told
    assert read.workplace.record.store.count() == count
    assert ("C03", "oxygen-sensor-2") in counting(read)


def test_what_falls_when_it_is_recorded_is_what_was_told(read: Bench) -> None:
    before = counting(read)
    told = fallen(taking_out.preview_taking_out(read.workplace, read.unit, "oxygen-sensor-2", {"head": "no"}))
    events = taking_out.take_out(
        read.workplace, read.unit, "oxygen-sensor-2", answers={"head": "no"}, person=read.reader
    )
    assert [type(one.payload) for one in events] == [ChangeMade, PartRemoved]
    assert before - counting(read) == told
    world = read.workplace.world
    assert world.at(read.unit, "oxygen-sensor-2") is None
    entries = [one for one in read.workplace.book().changes.all if one.inferred]
    assert entries == []  # it was declared: nothing is inferred beside it


def test_a_part_that_is_not_there_cannot_be_taken_out(read: Bench) -> None:
    taking_out.take_out(read.workplace, read.unit, "oxygen-sensor-2", answers={}, person=read.reader)
    for position in ("oxygen-sensor-2", "diver", "nowhere"):
        with pytest.raises(UnknownNameError):
            taking_out.take_out(read.workplace, read.unit, position, answers={}, person=read.reader)
    with pytest.raises(InputError, match="person"):
        taking_out.take_out(read.workplace, read.unit, "oxygen-sensor-1", answers={}, person="")
    with pytest.raises(InputError, match="head"):
        taking_out.take_out(
            read.workplace, read.unit, "oxygen-sensor-1", answers={"head": "perhaps"}, person=read.reader
        )


def test_everything_that_is_fitted_can_be_taken_out(read: Bench) -> None:
    for place in taking_out.removable(read.workplace, read.unit):
        taking_out.take_out(read.workplace, read.unit, place.id, answers={}, person=read.reader)
        assert read.workplace.world.at(read.unit, place.id) is None


# --- two that are one -----------------------------------------------------------------------------------------------


def second_name(bench: Bench) -> tuple[str, str]:
    """The sensor in position 2, and the same one written down anew when it was put back in."""
    first = bench.workplace.world.at(bench.unit, "oxygen-sensor-2")
    assert first is not None
    replaced = Declared(
        change="sensor-replaced",
        positions=("oxygen-sensor-2",),
        arrivals={"oxygen-sensor-2": units.NewThing(serial="S-oxygen-sensor-2, label read anew")},
    )
    changes.record_change(bench.workplace, bench.unit, replaced, person=bench.reader)
    second = bench.workplace.world.at(bench.unit, "oxygen-sensor-2")
    assert second is not None
    return first, second


def test_two_that_are_one_are_known_by_the_first_and_keep_what_both_labels_said(read: Bench) -> None:
    first, second = second_name(read)
    event = sameness.declare_same(read.workplace, second, first, note="same scratch on the case", person=read.second)
    world = read.workplace.world
    assert world.is_same(first, second)
    assert world.at(read.unit, "oxygen-sensor-2") == first
    payload = read.workplace.record.get(event).payload
    assert payload == ThingsSame(note="same scratch on the case")


def test_a_person_under_two_names_is_found_by_both(read: Bench) -> None:
    sameness.declare_same(read.workplace, read.reader, read.second, note="entered twice", person=read.reader)
    assert read.workplace.person("Ilma") == read.workplace.person("Toke") == read.reader
    assert read.workplace.name(read.second) == "Ilma"


def test_what_units_would_be_afterwards_is_told_before(read: Bench) -> None:
    spare = steps_on_two_sensors(read)
    count = read.workplace.record.store.count()
    before = counting(read)
    told = fallen(sameness.preview_same(read.workplace, *spare))
    assert read.workplace.record.store.count() == count
    assert ("C03", "oxygen-sensor-1") in told or ("C03", "oxygen-sensor-3") in told
    sameness.declare_same(read.workplace, *spare, note="read wrongly twice", person=read.reader)
    assert before - counting(read) == told


def steps_on_two_sensors(bench: Bench) -> tuple[str, str]:
    """Two sensors of one unit: one thing cannot be in two places."""
    world = bench.workplace.world
    one, other = world.at(bench.unit, "oxygen-sensor-1"), world.at(bench.unit, "oxygen-sensor-3")
    assert one is not None and other is not None  # noqa: PT018
    return one, other


def test_one_thing_twice_and_things_of_two_kinds_are_refused(read: Bench) -> None:
    one, other = steps_on_two_sensors(read)
    for first, second in ((one, one), (one, read.reader), (one, read.analyser)):
        with pytest.raises(RefusedError):
            sameness.declare_same(read.workplace, first, second, note="x", person=read.reader)
    with pytest.raises(InputError, match="note"):
        sameness.declare_same(read.workplace, one, other, note=" ", person=read.reader)
    with pytest.raises(InputError, match="person"):
        sameness.declare_same(read.workplace, one, other, note="x", person="")
    assert {thing.id for thing in sameness.may_be_same(read.workplace, one)} >= {other}
    assert one not in {thing.id for thing in sameness.may_be_same(read.workplace, one)}


# --- built otherwise ------------------------------------------------------------------------------------------------


def with_answers(bench: Bench, **answers: object) -> Configuration:
    known = bench.workplace.world.configuration(bench.unit)
    assert known is not None
    return configuration_from_choices(known.name, known.title, {**known.choices, **answers})


def test_what_another_configuration_asks_for_and_takes_away_is_told_before(read: Bench) -> None:
    fewer = with_answers(read, oxygen_sensors="2")
    count = read.workplace.record.store.count()
    (shift,) = changes.preview_configuration(read.workplace, read.unit, fewer)
    assert read.workplace.record.store.count() == count
    gone = {one.before.subject.position for one in shift.shifts if one.before is not None and one.after is None}
    assert "oxygen-sensor-3" in gone
    before = counting(read)
    told = fallen((shift,))
    declared = Declared(change=changes.reconfiguring(read.workplace).id, configuration=fewer)
    changes.record_change(read.workplace, read.unit, declared, person=read.reader)
    assert before - counting(read) == told


def test_changes_that_nobody_declared_are_not_counted_as_often_used(read: Bench) -> None:
    before = changes.often_used(read.workplace)
    other = read.workplace.writer().append(
        "unit.thing-created", units.NewThing(serial="X").created("oxygen-sensor"), typed_by=read.reader
    )
    with read.workplace.writer().batch() as batch:  # a device that declares nothing
        units.fit(batch, read.unit, "oxygen-sensor-1", other.id, typed_by=read.reader)
    assert any(one.inferred for one in read.workplace.book().changes.all)
    assert changes.often_used(read.workplace) == before
