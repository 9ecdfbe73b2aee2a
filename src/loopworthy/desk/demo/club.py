"""The invented club: two people, three units, two analysers, and what becomes of them over four weeks.

All of it is made up. Numbers for the sensor that drifts and the leak that grows are those of worked trends (computed,
no published source); they describe no real part.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from loopworthy.desk.demo.circumstances import AIR, ENRICHED, OXYGEN, Gas, SensorTruth
from loopworthy.desk.units import NewThing

TITLE = "Invented club: a rehearsal"
DEVICE = "tablet of the invented club"
ZONE = "Europe/Malta"
TODAY = date(2026, 6, 14)
OPENS_AT = "2026-06-14T11:00:00+02:00"
"""The moment at which the rehearsal opens: one unit ready, one unproven, one at stop."""

PEOPLE = ("Pim Example", "Juno Example")
"""The first dives from the electronic unit and the manual one, the second owns all three and dives the third."""

MANUAL = "manual of the invented unit, third issue"
LOT = "lot 0417"

ANALYSERS: tuple[tuple[str, str], ...] = (("Old analyser", "INV-AN-1"), ("New analyser", "INV-AN-2"))


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPlan:
    """An oxygen sensor as it came into the club, and what it gives."""

    serial: str
    batch: str
    made_days_ago: int
    opened_days_ago: int
    factor_mv_per_bar: float
    story: Mapping[int, SensorTruth] = field(default_factory=dict)
    """Day from today (-25 is 25 days ago) to what it gives from then on."""

    def thing(self) -> NewThing:
        """What the record is told of it."""
        return NewThing(
            serial=self.serial,
            batch=self.batch,
            made_on=(TODAY - timedelta(days=self.made_days_ago)).isoformat(),
            opened_on=(TODAY - timedelta(days=self.opened_days_ago)).isoformat(),
        )

    def truth(self, day: int) -> SensorTruth:
        """What it gives on a day."""
        begun = [one for one in self.story if one <= day]
        return self.story[max(begun)] if begun else SensorTruth(factor_mv_per_bar=self.factor_mv_per_bar)


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitPlan:
    """A unit of the club.

    Attributes
    ----------
    dive_days : tuple of int
        Days before today on which it was dived, oldest first.
    fill_days : frozenset of int
        Those of them on which oxygen and diluent were filled before.
    leak_ml_per_min : mapping
        Day to the leak of its loop from then on.
    logs_pressure : bool
        Whether its pressure tests are logged by a manometer.
    """

    name: str
    serial: str
    configuration: str
    diver: int
    sensors: tuple[SensorPlan, ...]
    gases: Mapping[str, Gas]
    dive_days: tuple[int, ...]
    fill_days: frozenset[int]
    leak_ml_per_min: Mapping[int, float]
    loop_volume_l: float
    logs_pressure: bool = False

    def leak(self, day: int) -> float:
        """Its leak on a day. [mL/min]"""
        return self.leak_ml_per_min[max(one for one in self.leak_ml_per_min if one <= day)]


def _sensor(
    serial: str, batch: str, made: int, opened: int, factor: float, story: Mapping[int, SensorTruth] | None = None
) -> SensorPlan:
    return SensorPlan(
        serial=serial,
        batch=batch,
        made_days_ago=made,
        opened_days_ago=opened,
        factor_mv_per_bar=factor,
        story=story or {},
    )


_DRIFT: Mapping[int, SensorTruth] = {
    -29: SensorTruth(factor_mv_per_bar=51.9, kept_in_oxygen=0.998),  # 51.8 in oxygen
    -21: SensorTruth(factor_mv_per_bar=51.7, kept_in_oxygen=0.997),  # 51.5
    -18: SensorTruth(factor_mv_per_bar=51.6, kept_in_oxygen=0.996),  # 51.4
    -14: SensorTruth(factor_mv_per_bar=51.4, kept_in_oxygen=0.994),  # 51.1
    -11: SensorTruth(factor_mv_per_bar=51.1, kept_in_oxygen=0.990),  # 50.6
    -7: SensorTruth(factor_mv_per_bar=50.9, kept_in_oxygen=0.990),  # 50.4
    -4: SensorTruth(factor_mv_per_bar=50.7, kept_in_oxygen=0.988),  # 50.1
    -1: SensorTruth(factor_mv_per_bar=50.0, kept_in_oxygen=0.978),  # 48.9
    0: SensorTruth(factor_mv_per_bar=49.9, kept_in_oxygen=0.928),  # 46.3: it does not follow any more
}
"""A sensor that grows weak: what it gives in oxygen falls faster than what it gives in air."""

LANTERN = UnitPlan(
    name="Lantern",
    serial="INV-L-1",
    configuration="electronic-back-three-sensors",
    diver=0,
    sensors=(
        _sensor("INV-S-101", "B-11", 300, 190, 52.4),
        _sensor("INV-S-102", "B-11", 300, 190, 50.9),
        _sensor("INV-S-117", "B-14", 210, 95, 51.6),
    ),
    gases={"cylinder-oxygen": OXYGEN, "cylinder-diluent": AIR, "cylinder-bailout-1": ENRICHED},
    dive_days=(-28, -25, -22, -18, -15, -11, -8, -4),
    fill_days=frozenset({-28, -22, -8}),
    leak_ml_per_min={-29: 12.0, -25: 14.0, -22: 13.0, -18: 17.0, -15: 19.0, -11: 22.0, -8: 24.0, -4: 26.0, 0: 28.0},
    loop_volume_l=6.0,
    logs_pressure=True,
)
"""Passes every leak test, while its leak grows."""

THIMBLE = UnitPlan(
    name="Thimble",
    serial="INV-T-2",
    configuration="electronic-two-controllers-five-sensors",
    diver=1,
    sensors=(
        _sensor("INV-S-121", "B-14", 205, 90, 49.8),
        _sensor("INV-S-122", "B-14", 205, 90, 50.5),
        _sensor("INV-S-131", "B-15", 150, 60, 52.0),
        _sensor("INV-S-109", "B-12", 330, 260, 47.9),
        _sensor("INV-S-132", "B-15", 150, 60, 51.3),
    ),
    gases={
        "cylinder-oxygen": OXYGEN,
        "cylinder-diluent": Gas(oxygen_percent=18.0, helium_percent=35.0),
        "cylinder-bailout-1": Gas(oxygen_percent=25.0, helium_percent=25.0),
        "cylinder-bailout-2": Gas(oxygen_percent=50.0),
        "cylinder-suit": AIR,
    },
    dive_days=(-28, -22, -21, -15, -14, -8, -7, -1),
    fill_days=frozenset({-28, -22, -14, -7}),
    leak_ml_per_min={-29: 9.0, -15: 8.0, -7: 10.0},
    loop_volume_l=6.8,
)
"""One of its sensors is replaced after this morning's calibration."""

SPARE_SENSOR = _sensor("INV-S-140", "B-16", 60, 0, 51.9)
REPLACED_POSITION = "oxygen-sensor-4"

KETTLE = UnitPlan(
    name="Kettle",
    serial="INV-K-3",
    configuration="manual-fixed-flow-back",
    diver=0,
    sensors=(
        _sensor("INV-S-104", "B-11", 300, 200, 51.2),
        _sensor("INV-S-105", "B-11", 300, 200, 51.9, story=_DRIFT),
        _sensor("INV-S-118", "B-14", 210, 100, 50.3),
    ),
    gases={
        "cylinder-oxygen": OXYGEN,
        "cylinder-diluent": AIR,
        "cylinder-bailout-1": ENRICHED,
        "cylinder-bailout-2": ENRICHED,
        "cylinder-suit": AIR,
    },
    dive_days=(-25, -21, -18, -14, -11, -7, -4, -1),
    fill_days=frozenset({-25, -14, -4}),
    leak_ml_per_min={-29: 7.0, -14: 8.0, -4: 7.0},
    loop_volume_l=5.6,
)
"""Its second sensor drifts for four weeks, and today no longer follows in oxygen."""

DRIFTING_POSITION = "oxygen-sensor-2"
UNITS = (LANTERN, THIMBLE, KETTLE)

FAILED_ANALYSER_DAY = -22
FAILED_LEAK_TEST = ("Thimble", -14)
WAIVER = ("Kettle", -11)
WRONG_ENTRY = ("Lantern", -11)
SINGLE_HANDED_DAYS = frozenset({-18, -4})
