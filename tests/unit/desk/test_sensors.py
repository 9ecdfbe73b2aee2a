"""The sensor chart finds the readings of each sensor on its channel, and foretells what it should show in oxygen."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import people, units
from loopworthy.desk.entry import Typed
from loopworthy.desk.sensors import factor_history, foretold_oxygen, sensor_chart
from loopworthy.desk.steps import record_steps, work_page
from loopworthy.desk.workplace import Workplace
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-05-14T07:00:00+02:00", zone="Europe/Malta")

# The worked morning of tests/published/test_worked_morning.py: 1008 hPa, 22 °C, 55 %, oxygen 99.2 % and dry; sensors in
# air 10.4, 11.1 and 9.6 mV, expected 49.96, 53.33 and 46.12 mV, read 49.1, 52.9 and 42.9 mV.
MORNING = {
    "C01": ({"controller_hpa": "1008", "barometer_hpa": "1008"},),
    "C02": ({"temperature_c": "22", "humidity_percent": "55"},),
    "C03": tuple({"air_mv": value, "change_mv": "0"} for value in ("10.4", "11.1", "9.6")),
    "D02": ({"oxygen_percent": "99.2", "labelled": "yes"},),
    "C05": ({"flushes": "3", "steady_s": "60", "oxygen_is": "dry"},),
    "C06": tuple({"oxygen_mv": value} for value in ("49.1", "52.9", "42.9")),
}


@dataclass
class Shop:
    """A unit with three sensors on an invented morning."""

    workplace: Workplace
    unit: ThingId
    reader: ThingId
    analyser: ThingId

    def record(self, *steps: str) -> None:
        """Record the morning's readings of these steps, one row for each subject."""
        typed = []
        for step in steps:
            page = work_page(self.workplace, self.unit, self.workplace.catalogue.step(step).page, on_request=True)
            abouts = [one.about for one in page.entries if one.step.id == step]
            typed += [
                Typed(step=step, about=about, fields=fields)
                for about, fields in zip(abouts, MORNING[step], strict=True)
            ]
        record_steps(
            self.workplace,
            self.unit,
            typed,
            read_by=self.reader,
            single_handed=True,
            instruments=(self.analyser,),
        )


@pytest.fixture
def shop() -> Shop:
    workplace = memory_workplace(clock=lambda: NOW)
    reader = people.add_person(workplace, "Ilma")
    configuration = ready_configurations()["electronic-back-three-sensors"]
    unit = units.create_unit(workplace, "Tern", configuration, typed_by=reader)
    for position in units.empty_positions(workplace, unit):
        thing = reader if position == "diver" else units.NewThing(serial=f"S-{position}")
        units.identify_part(workplace, unit, position, thing, typed_by=reader)
    analyser = units.add_instrument(workplace, "Analyser 1", "analyser", typed_by=reader)
    return Shop(workplace, unit, reader, analyser)


def test_the_expected_oxygen_reading_is_known_before_the_sensor_is_read_in_oxygen(shop: Shop) -> None:
    shop.record("C01", "C02", "C03", "D02")
    foretold = foretold_oxygen(shop.workplace, shop.unit)
    assert [one.why_not for one in foretold] == ["", "", ""]
    assert [one.dry_mv for one in foretold] == [pytest.approx(mv, abs=0.005) for mv in (49.96, 53.33, 46.12)]
    # humid oxygen at the same purity: ratio 4.679 of the worked morning, for the first sensor in air
    assert foretold[0].humid_mv == pytest.approx(10.4 * 4.679, abs=0.01)
    assert foretold[0].air_mv == "10.4 mV"


@pytest.mark.parametrize("left_out", ["C01", "C02", "C03", "D02"])
def test_what_is_missing_for_the_expected_reading_is_named(shop: Shop, left_out: str) -> None:
    shop.record(*(step for step in ("C01", "C02", "C03", "D02") if step != left_out))
    assert {one.why_not for one in foretold_oxygen(shop.workplace, shop.unit)} == {left_out}


def test_the_chart_holds_each_reading_against_what_was_expected(shop: Shop) -> None:
    shop.record("C01", "C02", "C03", "D02", "C05", "C06")
    rows = sensor_chart(shop.workplace, shop.unit)
    checks = [row.check for row in rows]
    differences = [check.difference_mv for check in checks if check is not None]
    assert differences == [pytest.approx(mv, abs=0.005) for mv in (-0.86, -0.43, -3.22)]
    assert [row.standing.state.value for row in rows if row.standing is not None][2] == "failed"


def test_a_serial_keeps_its_history(shop: Shop) -> None:
    shop.record("C01", "C02", "C03", "D02", "C05", "C06")
    row = sensor_chart(shop.workplace, shop.unit)[0]
    assert row.sensor is not None
    assert [point.factor_mv_per_bar for point in row.history] == [pytest.approx(49.1 / 0.9999, abs=0.01)]
    assert factor_history(shop.workplace, row.sensor.id) == row.history


def test_a_sensor_that_was_never_read_has_an_empty_row(shop: Shop) -> None:
    row = sensor_chart(shop.workplace, shop.unit)[0]
    assert (row.air, row.oxygen, row.check, row.why_not) == (None, None, None, "never-done")
