"""Naming several parts at once is all or nothing, and what a label says can be written down later."""

from __future__ import annotations

import pytest

from loopworthy.desk import parts, people, units
from loopworthy.desk.units import NewThing
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.reading import Reading
from tests.unit.desk.conftest import Bench


@pytest.fixture
def bare(bench: Bench) -> ThingId:
    """A second unit, of which nobody has said yet what is fitted."""
    configuration = ready_configurations()["electronic-back-three-sensors"]
    return units.create_unit(bench.workplace, "Petrel", configuration, typed_by=bench.reader)


def test_parts_named_together_are_each_in_their_place_and_cylinders_hold_a_fill(bench: Bench, bare: ThingId) -> None:
    parts.identify_parts(
        bench.workplace,
        bare,
        {
            "oxygen-sensor-1": NewThing(serial="P-1", batch="B-1", made_on="2026-01-02"),
            "cylinder-oxygen": NewThing(serial="C-1", attributes={"volume": Reading(value="3", unit="L")}),
            "diver": bench.second,
        },
        typed_by=bench.reader,
    )
    world = bench.workplace.world
    sensor, cylinder = world.at(bare, "oxygen-sensor-1"), world.at(bare, "cylinder-oxygen")
    assert sensor is not None
    assert world.thing(sensor).batch == "B-1"
    assert cylinder is not None
    assert world.content_of(cylinder) is not None
    assert world.at(bare, "diver") == bench.second
    assert "oxygen-sensor-2" in units.empty_positions(bench.workplace, bare)


def test_one_wrong_place_among_several_leaves_all_of_them_empty(bench: Bench, bare: ThingId) -> None:
    before = units.empty_positions(bench.workplace, bare)
    good = NewThing(serial="P-1")
    with pytest.raises(UnknownNameError, match="oxygen-sensor-9"):
        parts.identify_parts(bench.workplace, bare, {"oxygen-sensor-1": good, "oxygen-sensor-9": good})
    with pytest.raises(RefusedError, match="is a person, not a oxygen-sensor"):
        parts.identify_parts(bench.workplace, bare, {"cylinder-oxygen": good, "oxygen-sensor-1": bench.second})
    spare = bench.workplace.world.at(bench.unit, "oxygen-sensor-1")
    assert spare is not None
    with pytest.raises(InputError, match="one position only"):
        parts.identify_parts(bench.workplace, bare, {"oxygen-sensor-1": spare, "oxygen-sensor-2": spare})
    with pytest.raises(InputError, match="at least one part"):
        parts.identify_parts(bench.workplace, bare, {})
    assert units.empty_positions(bench.workplace, bare) == before


def test_what_holds_something_already_is_exchanged_not_named_again(bench: Bench) -> None:
    with pytest.raises(RefusedError) as refused:
        parts.identify_parts(bench.workplace, bench.unit, {"oxygen-sensor-1": NewThing(serial="X")})
    assert "I changed something" in refused.value.next_step


def test_only_what_differs_is_written_down_about_a_thing(bench: Bench) -> None:
    sensor = bench.workplace.world.at(bench.unit, "oxygen-sensor-1")
    assert sensor is not None
    event = parts.describe_thing(
        bench.workplace, sensor, serial="S-oxygen-sensor-1", batch="B-7", opened_on="2026-02-01", typed_by=bench.reader
    )
    payload = bench.workplace.record.get(event).payload
    assert getattr(payload, "serial", "") is None
    known = bench.workplace.world.thing(sensor)
    assert (known.serial, known.batch, known.opened_on) == ("S-oxygen-sensor-1", "B-7", "2026-02-01")
    with pytest.raises(InputError, match="otherwise"):
        parts.describe_thing(bench.workplace, sensor, serial="S-oxygen-sensor-1", batch="B-7", opened_on="2026-02-01")


def test_spares_are_of_the_kind_not_on_the_unit_and_free_ones_come_first(bench: Bench, bare: ThingId) -> None:
    (fitted,) = parts.identify_parts(bench.workplace, bare, {"oxygen-sensor-1": NewThing(serial="A-fitted")})
    batch = bench.workplace.writer()
    free = batch.append("unit.thing-created", NewThing(serial="Z-free").created("oxygen-sensor")).id
    assert [one.id for one in parts.spares(bench.workplace, "oxygen-sensor", unit=bench.unit)] == [free, fitted]
    parts.retire(bench.workplace, free, retired=True, note="worn", typed_by=bench.reader)
    assert [one.id for one in parts.spares(bench.workplace, "oxygen-sensor", unit=bench.unit)] == [fitted]


def test_a_retired_person_is_no_longer_offered_and_comes_back(bench: Bench) -> None:
    parts.retire(bench.workplace, bench.second, retired=True, note="moved away", typed_by=bench.reader)
    assert people.people(bench.workplace) == (bench.reader,)
    parts.retire(bench.workplace, bench.second, retired=False, note="", typed_by=bench.reader)
    assert bench.second in people.people(bench.workplace)


def test_display_units_are_a_persons_own_choice(bench: Bench) -> None:
    people.set_display_units(bench.workplace, bench.reader, "us", typed_by=bench.reader)
    assert people.display_units(bench.workplace, bench.reader) == "us"
    assert people.display_units(bench.workplace, bench.second) == "metric"
    with pytest.raises(InputError, match="display_units"):
        people.set_display_units(bench.workplace, bench.reader, "imperial")


def test_an_erased_name_is_gone_and_what_was_read_stays(bench: Bench) -> None:
    count = len(bench.workplace.record.events())
    with pytest.raises(InputError, match="reason"):
        people.erase_name(bench.workplace, bench.second, reason=" ", typed_by=bench.reader)
    people.erase_name(bench.workplace, bench.second, reason="asked for it", typed_by=bench.reader)
    assert bench.workplace.name(bench.second) == "(erased)"
    assert len(bench.workplace.record.events()) == count + 1
    assert b"Toke" not in b"".join(event.body for event in bench.workplace.record.events())
