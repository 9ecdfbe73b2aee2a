"""Tests on record are read again by science, and stand beside the unit's own earlier ones."""

from __future__ import annotations

import pytest

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import people, units
from loopworthy.desk.entry import Typed
from loopworthy.desk.leaks import earlier_tests, read_test
from loopworthy.desk.steps import record_steps
from loopworthy.desk.workplace import Workplace
from loopworthy.science.loop.pressure_test import PressureTestAnswer
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-05-14T07:00:00+02:00", zone="Europe/Malta")


@pytest.fixture
def shop() -> tuple[Workplace, ThingId, ThingId]:
    workplace = memory_workplace(clock=lambda: NOW)
    reader = people.add_person(workplace, "Ilma")
    unit = units.create_unit(
        workplace, "Tern", ready_configurations()["electronic-back-three-sensors"], typed_by=reader
    )
    return workplace, unit, reader


def hold(shop: tuple[Workplace, ThingId, ThingId], step: str, start: str, end: str) -> None:
    workplace, unit, reader = shop
    fields = {"start_mbar": start, "end_mbar": end, "hold_s": "60", "start_c": "20", "end_c": "20"}
    fields["loop_volume_l"] = "6"
    typed = Typed(step=step, about=unit, fields=fields, confirmed=frozenset({"end_mbar"}))
    record_steps(workplace, unit, [typed], read_by=reader)


def air(shop: tuple[Workplace, ThingId, ThingId]) -> None:
    workplace, unit, reader = shop
    fields = {"controller_hpa": "1008", "barometer_hpa": "1008"}
    record_steps(workplace, unit, [Typed(step="C01", about=unit, fields=fields)], read_by=reader)


def test_a_test_says_what_it_lost_and_what_leak_that_is(shop: tuple[Workplace, ThingId, ThingId]) -> None:
    air(shop)
    hold(shop, "L02", "-35.0", "-34.0")
    (read,) = earlier_tests(shop[0], shop[1], "L02")
    assert read.test is not None
    assert read.test.answer is PressureTestAnswer.HOLDS
    assert read.test.loss_mbar == pytest.approx(1.0)
    # a millibar in 6 L at 1008 mbar is 6000 / 1008 = 5.95 mL (Boyle), here lost in one minute
    assert read.test.leak_ml_per_min == pytest.approx(5.95, abs=0.01)
    assert [sample.gauge_mbar for sample in read.samples] == [-35.0, -34.0]


def test_without_the_day_s_pressure_it_says_what_is_missing(shop: tuple[Workplace, ThingId, ThingId]) -> None:
    hold(shop, "L03", "30", "29.5")
    (read,) = earlier_tests(shop[0], shop[1], "L03")
    assert (read.test, read.why_not) == (None, "C01")


def test_a_contradiction_in_the_readings_is_told(shop: tuple[Workplace, ThingId, ThingId]) -> None:
    air(shop)
    hold(shop, "L03", "30", "-5")
    (read,) = earlier_tests(shop[0], shop[1], "L03")
    assert read.test is None
    assert read.why_not


def test_the_latest_tests_come_last_and_the_oldest_are_left_out(shop: tuple[Workplace, ThingId, ThingId]) -> None:
    air(shop)
    for end in ("-34.5", "-34.0", "-33.5"):
        hold(shop, "L02", "-35.0", end)
    found = earlier_tests(shop[0], shop[1], "L02", most=2)
    assert [one.samples[-1].gauge_mbar for one in found] == [-34.0, -33.5]
    assert read_test(shop[0], found[-1].item).test == found[-1].test
