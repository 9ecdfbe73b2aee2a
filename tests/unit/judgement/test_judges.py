"""The judges of the shipped catalogue, asked through the verdict: what they need, and what they must not take.

The numbers of the sensors themselves are checked in the tests of science against published formulas; here only what a
judge does with them. Readings are invented. The tolerance of 2 mV is common practice, no source.
"""

from __future__ import annotations

from functools import cache

import msgspec
import pytest

from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.events import EvidenceRecorded, Trace
from loopworthy.judgement.outcome import Assessment, Outcome
from loopworthy.vocabulary.reading import Reading
from tests.unit.judgement.builder import DAY, SENSORS, Scene

ONE, TWO, THREE = SENSORS


@cache
def shipped() -> Catalogue:
    """The catalogue of the package."""
    return load_catalogue()


def surroundings(scene: Scene, *, at: float, ambient: str = "1013") -> tuple[str, str]:
    """Barometer and thermometer."""
    read = {"controller_hpa": ambient, "barometer_hpa": ambient}
    pressure = scene.pad.do("C01", at=at, readings_of=read)
    climate = scene.pad.do("C02", at=at, readings_of={"temperature_c": "20", "humidity_percent": "50"})
    return pressure, climate


def groundwork(scene: Scene, *, at: float) -> None:
    """All that an oxygen reading rests on, but for the sensors."""
    read = {"air_percent": "20.9", "oxygen_percent": "99", "helium_air_percent": "0"}
    scene.pad.do("D21", at=at, instruments=(scene.analyser,), readings_of=read)
    scene.pad.do(
        "D02", at=at, position="cylinder-oxygen", instruments=(scene.analyser,),
        readings_of={"oxygen_percent": "99", "labelled": "yes"},
    )  # fmt: skip
    surroundings(scene, at=at)
    scene.pad.do("C05", at=at, readings_of={"flushes": "3", "steady_s": "60", "oxygen_is": "humid"})


def air(scene: Scene, position: str, *, at: float, mv: str = "10.00", **other: str) -> str:
    """A sensor in air."""
    return scene.pad.do("C03", at=at, position=position, readings_of={"air_mv": mv, "change_mv": "0.00", **other})


def assessed(scene: Scene, event: str, at: float = DAY) -> Assessment:
    """What the readings of an event say."""
    bench = scene.bench(at)
    return bench.assess(bench.book.items[event])


@pytest.fixture
def scene() -> Scene:
    return Scene(shipped())


class TestAir:
    def test_the_window_goes_with_ambient_pressure(self, scene: Scene) -> None:
        """At 800 hPa 7.5 mV are 9.5 mV at sea level: inside 8.5 to 14."""
        surroundings(scene, at=0, ambient="800")
        assert assessed(scene, air(scene, ONE, at=1, mv="7.50")).outcome is Outcome.INSIDE
        surroundings(scene, at=2)
        assert assessed(scene, air(scene, TWO, at=3, mv="7.50")).outcome is Outcome.OUTSIDE

    def test_without_a_barometer_it_cannot_be_told(self, scene: Scene) -> None:
        found = assessed(scene, air(scene, ONE, at=1))
        assert found.outcome is Outcome.CANNOT_TELL
        assert found.decisive is not None
        assert found.decisive.values["what"] == "C01"


class TestOxygen:
    @pytest.mark.parametrize(
        ("air_mv", "oxygen_mv", "outcome"),
        [
            ("10.00", "46.50", Outcome.INSIDE),
            ("10.00", "44.00", Outcome.OUTSIDE),
            ("10", "47", Outcome.CANNOT_TELL),
        ],
    )
    def test_a_display_of_whole_millivolts_cannot_decide(
        self, scene: Scene, air_mv: str, oxygen_mv: str, outcome: Outcome
    ) -> None:
        groundwork(scene, at=0)
        air(scene, ONE, at=1, mv=air_mv)
        event = scene.pad.do("C06", at=2, position=ONE, readings_of={"oxygen_mv": oxygen_mv})
        assert assessed(scene, event).outcome is outcome

    def test_the_air_reading_of_another_sensor_is_not_taken_for_it(self, scene: Scene) -> None:
        groundwork(scene, at=0)
        other = air(scene, TWO, at=1)
        template = scene.pad.do("C06", at=2, position=ONE, readings_of={"oxygen_mv": "46.50"})
        used = next(one.payload for one in scene.events if one.id == template)
        assert isinstance(used, EvidenceRecorded)
        payload = msgspec.structs.replace(used, used=(*used.used, other))
        event = scene.pad.write(payload, scene.at(ONE), at=3)
        found = assessed(scene, event).decisive
        assert found is not None
        assert (found.code, found.values["what"]) == ("needs-reading", "C03")


class TestHistory:
    def factor_day(self, scene: Scene, *, at: float, oxygen_mv: str) -> str:
        groundwork(scene, at=at)
        air(scene, ONE, at=at + 1)
        scene.pad.do("C06", at=at + 2, position=ONE, readings_of={"oxygen_mv": oxygen_mv})
        return scene.pad.do("C07", at=at + 3, position=ONE)

    def test_the_first_reading_of_a_serial_begins_its_history(self, scene: Scene) -> None:
        found = assessed(scene, self.factor_day(scene, at=0, oxygen_mv="46.50"))
        assert found.outcome is Outcome.INSIDE
        assert "no-history" in [one.code for one in found.findings]

    def test_a_step_of_more_than_five_percent_is_found(self, scene: Scene) -> None:
        self.factor_day(scene, at=0, oxygen_mv="46.50")
        assert assessed(scene, self.factor_day(scene, at=DAY, oxygen_mv="43.50")).outcome is Outcome.OUTSIDE

    def test_taking_back_the_older_reading_does_not_make_the_step_good(self, scene: Scene) -> None:
        self.factor_day(scene, at=0, oxygen_mv="46.50")
        older = scene.events[-2].id
        step = self.factor_day(scene, at=DAY, oxygen_mv="43.50")
        scene.pad.withdraw(older, at=DAY + 10)
        assert assessed(scene, step, 2 * DAY).outcome is Outcome.OUTSIDE
        again = scene.pad.do("C07", at=DAY + 20, position=ONE)
        assert assessed(scene, again, 2 * DAY).outcome is Outcome.INSIDE


class TestReturnToAir:
    def read(self, scene: Scene, position: str, po2: str, *, at: float) -> str:
        return scene.pad.do("C10", at=at, position=position, readings_of={"po2_bar": po2})

    def test_a_sensor_is_compared_with_those_read_before_it(self, scene: Scene) -> None:
        surroundings(scene, at=0)
        first = self.read(scene, ONE, "0.200", at=1)
        second = self.read(scene, TWO, "0.222", at=2)
        assert assessed(scene, first).outcome is Outcome.INSIDE
        decisive = assessed(scene, second).decisive
        assert decisive is not None
        assert decisive.about == "spread between sensors"

    def test_reading_another_sensor_again_does_not_make_it_good(self, scene: Scene) -> None:
        surroundings(scene, at=0)
        self.read(scene, ONE, "0.200", at=1)
        second = self.read(scene, TWO, "0.222", at=2)
        self.read(scene, ONE, "0.212", at=3)
        assert assessed(scene, second).outcome is Outcome.OUTSIDE

    def test_nor_does_taking_the_other_reading_back(self, scene: Scene) -> None:
        surroundings(scene, at=0)
        first = self.read(scene, ONE, "0.200", at=1)
        second = self.read(scene, TWO, "0.222", at=2)
        scene.pad.withdraw(first, at=3)
        assert assessed(scene, second).outcome is Outcome.OUTSIDE

    def test_readings_of_the_morning_are_not_held_against_those_of_noon(self, scene: Scene) -> None:
        surroundings(scene, at=0)
        self.read(scene, ONE, "0.200", at=1)
        assert assessed(scene, self.read(scene, TWO, "0.222", at=40)).outcome is Outcome.INSIDE


class TestLoop:
    def tight(self, scene: Scene, *, at: float, **read: str) -> str:
        return scene.pad.do("L02", at=at, readings_of=read)

    @pytest.mark.parametrize(("end", "outcome"), [("-28.0", Outcome.INSIDE), ("-15.0", Outcome.OUTSIDE)])
    def test_start_and_end_are_judged(self, scene: Scene, end: str, outcome: Outcome) -> None:
        surroundings(scene, at=0)
        read = {"start_mbar": "-30.0", "end_mbar": end, "hold_s": "60", "start_c": "20.0", "end_c": "20.0"}
        assert assessed(scene, self.tight(scene, at=1, **read)).outcome is outcome

    def test_nothing_entered_cannot_be_told(self, scene: Scene) -> None:
        surroundings(scene, at=0)
        assert assessed(scene, self.tight(scene, at=1, start_mbar="-30")).outcome is Outcome.CANNOT_TELL

    @pytest.mark.parametrize("value", ["nan", "inf", "", "x", "1e999", "-30,0"])
    def test_a_trace_of_rubbish_cannot_be_told(self, scene: Scene, value: str) -> None:
        pressure, _ = surroundings(scene, at=0)
        trace = Trace(columns=("s", "mbar"), rows=(("0", "-30"), ("30", value), ("60", "-29")))
        payload = EvidenceRecorded(
            unit=scene.unit, step="L02", subject=scene.unit, traces={"trace": trace}, used=(pressure,)
        )
        event = scene.pad.write(payload, scene.unit, at=1)
        assert assessed(scene, event).outcome is Outcome.CANNOT_TELL

    def test_a_trace_without_a_column_of_seconds_cannot_be_told(self, scene: Scene) -> None:
        pressure, _ = surroundings(scene, at=0)
        trace = Trace(columns=("mbar",), rows=(("-30",), ("-29",)))
        payload = EvidenceRecorded(
            unit=scene.unit, step="L02", subject=scene.unit, traces={"trace": trace}, used=(pressure,)
        )
        assert assessed(scene, scene.pad.write(payload, scene.unit, at=1)).outcome is Outcome.CANNOT_TELL


class TestPreBreathe:
    def minutes(self, scene: Scene, *values: str, set_point: str = "0.7") -> str:
        payload = EvidenceRecorded(
            unit=scene.unit,
            step="B01",
            subject=scene.unit,
            readings={
                "po2_each_minute": tuple(Reading(value=value, unit="bar") for value in values),
                "set_point_bar": (Reading(value=set_point, unit="bar"),),
            },
            single_handed=True,
        )
        return scene.pad.write(payload, scene.unit, at=1)

    def test_five_minutes_begun_below_the_set_point_are_inside(self, scene: Scene) -> None:
        event = self.minutes(scene, "0.55", "0.68", "0.70", "0.71", "0.70")
        assert assessed(scene, event).outcome is Outcome.INSIDE

    def test_begun_at_the_set_point_nothing_was_asked_for(self, scene: Scene) -> None:
        event = self.minutes(scene, "0.70", "0.68", "0.70", "0.71", "0.70")
        assert assessed(scene, event).outcome is Outcome.CANNOT_TELL

    def test_four_minutes_are_too_few(self, scene: Scene) -> None:
        event = self.minutes(scene, "0.55", "0.68", "0.70", "0.71")
        assert assessed(scene, event).outcome is Outcome.OUTSIDE

    def test_once_below_the_floor_is_below_it(self, scene: Scene) -> None:
        event = self.minutes(scene, "0.55", "0.39", "0.70", "0.71", "0.70")
        assert assessed(scene, event).outcome is Outcome.OUTSIDE

    def test_bar_and_millibar_are_one_pressure(self, scene: Scene) -> None:
        payload = EvidenceRecorded(
            unit=scene.unit,
            step="B01",
            subject=scene.unit,
            readings={
                "po2_each_minute": tuple(Reading(value="390", unit="mbar") for _ in range(5)),
                "set_point_bar": (Reading(value="0.7", unit="bar"),),
            },
            single_handed=True,
        )
        event = scene.pad.write(payload, scene.unit, at=1)
        assert assessed(scene, event).outcome is Outcome.OUTSIDE
