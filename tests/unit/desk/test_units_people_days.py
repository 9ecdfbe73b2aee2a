"""Units, people and days: made once, named clearly, refused when they would mislead."""

from __future__ import annotations

import pytest

from loopworthy.desk import days, history, people, units
from loopworthy.desk.history import HistoryFilter
from loopworthy.unit.configuration import configuration_from_choices, ready_configurations
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.unit.desk.conftest import Bench


def test_built_in_parts_are_there_at_once_and_people_name_the_rest(bench: Bench) -> None:
    unit = units.create_unit(bench.workplace, "Gull", ready_configurations()["hybrid-chest"], typed_by=bench.reader)
    fitted = bench.workplace.world.fitted(unit)
    assert "canister-1" in fitted
    waiting = units.empty_positions(bench.workplace, unit)
    assert "oxygen-sensor-1" in waiting
    assert "cylinder-oxygen" in waiting
    assert "diver" in waiting


def test_a_cylinder_comes_with_a_fill_that_an_analysis_can_be_about(bench: Bench) -> None:
    cylinder = bench.workplace.world.at(bench.unit, "cylinder-diluent")
    assert cylinder is not None
    assert bench.workplace.world.content_of(cylinder) is not None


def test_exchanging_a_part_is_a_change_and_not_a_naming(bench: Bench) -> None:
    with pytest.raises(RefusedError, match="I changed something"):
        units.identify_part(bench.workplace, bench.unit, "oxygen-sensor-1", units.NewThing(serial="X"))
    with pytest.raises(UnknownNameError, match="oxygen-sensor-7"):
        units.identify_part(bench.workplace, bench.unit, "oxygen-sensor-7", units.NewThing(serial="X"))


def test_two_units_or_two_people_of_one_name_are_refused(bench: Bench) -> None:
    with pytest.raises(InputError, match="no other unit"):
        units.create_unit(bench.workplace, " tern ", ready_configurations()["hybrid-chest"])
    with pytest.raises(InputError, match="nobody"):
        people.add_person(bench.workplace, "ilma")
    with pytest.raises(InputError, match="1 to 80"):
        people.add_person(bench.workplace, "  ")


def test_a_name_lies_beside_the_record_and_can_be_erased_without_breaking_it(bench: Bench) -> None:
    digest = bench.workplace.world.person_digest(bench.second)
    assert all(b"Toke" not in event.body for event in bench.workplace.record.events())
    assert bench.workplace.name(bench.second) == "Toke"
    bench.workplace.record.erase_text(digest, reason="asked for it", now=bench.clock.moment)
    assert bench.workplace.name(bench.second) == "(erased)"


def test_the_catalogue_is_adopted_with_its_full_text_once(bench: Bench) -> None:
    units.adopt_catalogue(bench.workplace)
    units.adopt_catalogue(bench.workplace)
    adopted = bench.workplace.book().adopted
    assert len(adopted) == 1
    assert adopted[0][1].texts == dict(bench.workplace.catalogue.texts)


def test_a_unit_is_found_by_name_or_by_the_beginning_of_its_identity(bench: Bench) -> None:
    assert bench.workplace.unit("TERN") == bench.unit
    assert bench.workplace.unit(bench.unit[:10]) == bench.unit
    with pytest.raises(UnknownNameError, match="Known: Tern"):
        bench.workplace.unit("Ternn")


def test_no_verdict_is_ready_without_a_declared_dive_day(bench: Bench) -> None:
    days.end(bench.workplace, bench.unit, "dive-day", typed_by=bench.reader)
    assert bench.workplace.verdict(bench.unit).code == "no-dive-day"
    with pytest.raises(RefusedError, match="dive-day"):
        days.end(bench.workplace, bench.unit, "dive-day", typed_by=bench.reader)


def test_custody_is_told(bench: Bench) -> None:
    people.give_custody(bench.workplace, bench.unit, bench.second, typed_by=bench.reader)
    assert bench.workplace.world.holder(bench.unit) == bench.second


def test_the_history_tells_newest_first_and_keeps_to_its_filter(bench: Bench) -> None:
    bench.clock.forward(minutes=1)
    people.give_custody(bench.workplace, bench.unit, bench.second, typed_by=bench.reader)
    told = history.history(bench.workplace, HistoryFilter(unit=bench.unit))
    assert told[0].kind == "unit.custody-given"
    assert [one.occurred.epoch_ms for one in told] == sorted((one.occurred.epoch_ms for one in told), reverse=True)
    none = history.history(bench.workplace, HistoryFilter(unit=bench.unit, family="changes"))
    assert none == ()


def test_a_second_loop_stands_on_the_board_under_a_name(bench: Bench) -> None:
    with_second = ready_configurations()["electronic-deep-expedition"].choices
    configuration = configuration_from_choices(
        "deep", "Deep", {**with_second, "bailout": (*with_second["bailout"], "second-loop")}
    )
    unit = units.create_unit(bench.workplace, "Skua", configuration, typed_by=bench.reader)
    loop = units.identify_part(bench.workplace, unit, "second-loop", units.NewThing(serial="2"))
    assert bench.workplace.name(loop) == "Skua, second loop"
