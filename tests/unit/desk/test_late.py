"""A moment of the past may be right; one that is more often a slip is asked about, and taken when confirmed."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from loopworthy.desk import changes, days, mending, parts, steps, units
from loopworthy.desk.changes import Declared
from loopworthy.desk.late import ASKED_AFTER_DAYS, LateMomentError, check_moment
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.time import Moment
from tests.unit.desk.conftest import Bench
from tests.unit.desk.test_steps import air, climate

LONG_AGO = Moment(at="1999-05-14T06:30:00+02:00", zone="Europe/Malta")
DAY_MIN = 24 * 60
CONFIGURATION = ready_configurations()["electronic-back-three-sensors"]


def back(bench: Bench, *, minutes: float) -> Moment:
    return bench.workplace.now().plus(minutes=-minutes)


def test_now_and_a_moment_since_everything_was_there_are_not_asked_about(bench: Bench) -> None:
    bench.clock.forward(minutes=60)
    for moment in (None, bench.workplace.now(), back(bench, minutes=30)):
        assert check_moment(bench.workplace, moment, units=(bench.unit,)) is False


def test_a_moment_before_the_unit_was_known_is_asked_about(bench: Bench) -> None:
    with pytest.raises(LateMomentError) as told:
        check_moment(bench.workplace, back(bench, minutes=1), units=(bench.unit,))
    assert (told.value.code, told.value.what, told.value.days) == ("before-unit", "Tern", 0)
    assert "after Tern came into the record" in told.value.message
    assert "confirm" in told.value.next_step


@pytest.mark.parametrize(("days_ago", "asked"), [(ASKED_AFTER_DAYS, False), (ASKED_AFTER_DAYS + 1, True)])
def test_a_moment_of_more_than_thirty_days_ago_is_asked_about(bench: Bench, days_ago: int, asked: bool) -> None:
    bench.clock.forward(minutes=100 * DAY_MIN)
    moment = back(bench, minutes=days_ago * DAY_MIN)
    if not asked:
        assert check_moment(bench.workplace, moment, units=(bench.unit,)) is False
        return
    with pytest.raises(LateMomentError) as told:
        check_moment(bench.workplace, moment, units=(bench.unit,))
    assert (told.value.code, told.value.days) == ("long-ago", days_ago)
    assert check_moment(bench.workplace, moment, units=(bench.unit,), confirmed=True) is True


def test_a_reading_of_before_its_sensor_was_fitted_is_asked_about(bench: Bench) -> None:
    bench.clock.forward(minutes=60)
    replaced = Declared(
        change="sensor-replaced",
        positions=("oxygen-sensor-2",),
        arrivals={"oxygen-sensor-2": units.NewThing(serial="N-9")},
    )
    changes.record_change(bench.workplace, bench.unit, replaced, person=bench.reader)
    fitted_at = bench.workplace.now()
    bench.clock.forward(minutes=60)
    early = fitted_at.plus(minutes=-10)
    steps.record_steps(bench.workplace, bench.unit, climate(bench), read_by=bench.reader, occurred_at=early)
    with pytest.raises(LateMomentError) as told:
        steps.record_steps(
            bench.workplace, bench.unit, air("10.4", "11.1", "9.6"), read_by=bench.reader, occurred_at=early
        )
    assert (told.value.code, told.value.since) == ("before-part", fitted_at)
    assert "N-9" in told.value.what


@pytest.mark.parametrize(("ahead_s", "refused"), [(0, False), (60, False), (61, True)])
def test_a_moment_ahead_is_taken_within_a_minute_and_refused_beyond_confirmed_or_not(
    bench: Bench, ahead_s: int, refused: bool
) -> None:
    moment = bench.workplace.now().plus(minutes=ahead_s / 60)
    if refused:
        with pytest.raises(InputError, match="not later than now") as told:
            check_moment(bench.workplace, moment, units=(bench.unit,), confirmed=True)
        assert not isinstance(told.value, LateMomentError)
    else:
        assert check_moment(bench.workplace, moment, units=(bench.unit,)) is False


def _step(bench: Bench, confirmed: bool) -> object:
    return steps.record_steps(
        bench.workplace, bench.unit, climate(bench), read_by=bench.reader, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _change(bench: Bench, confirmed: bool) -> object:
    return changes.record_change(
        bench.workplace, bench.unit, Declared(change="moved"), person=bench.reader, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _repair(bench: Bench, confirmed: bool) -> object:
    failed = steps.record_steps(bench.workplace, bench.unit, climate(bench), read_by=bench.reader)
    return mending.record_repair(
        bench.workplace, bench.unit, (failed[0].id,), cause="loose", done="seated", person=bench.reader,
        occurred_at=LONG_AGO, moment_confirmed=confirmed,
    )  # fmt: skip


def _day(bench: Bench, confirmed: bool) -> object:
    return days.begin(
        bench.workplace, (bench.unit,), "dive-day", typed_by=bench.reader, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _end(bench: Bench, confirmed: bool) -> object:
    return days.end(
        bench.workplace, bench.unit, "dive-day", typed_by=bench.reader, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _unit(bench: Bench, confirmed: bool) -> object:
    return units.create_unit(
        bench.workplace, "Second", CONFIGURATION, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _part(bench: Bench, confirmed: bool) -> object:
    unit = units.create_unit(bench.workplace, f"Second {confirmed}", CONFIGURATION)
    return units.identify_part(
        bench.workplace, unit, "oxygen-sensor-1", units.NewThing(serial="N"), occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


def _parts(bench: Bench, confirmed: bool) -> object:
    unit = units.create_unit(bench.workplace, f"Second {confirmed}", CONFIGURATION)
    return parts.identify_parts(
        bench.workplace, unit, {"oxygen-sensor-1": units.NewThing(serial="N")}, occurred_at=LONG_AGO,
        moment_confirmed=confirmed,
    )  # fmt: skip


@pytest.mark.parametrize("act", [_step, _change, _repair, _day, _end, _unit, _part, _parts])
def test_every_act_that_takes_a_moment_asks_about_1999_and_records_it_when_confirmed(
    bench: Bench, act: Callable[[Bench, bool], object]
) -> None:
    with pytest.raises(LateMomentError):
        act(bench, False)
    before = bench.workplace.record.store.count()
    act(bench, True)
    assert bench.workplace.record.store.count() > before
    assert any(one.envelope.occurred_at == LONG_AGO for one in bench.workplace.record.events())


def test_evidence_says_that_its_moment_was_asked_about_and_confirmed(bench: Bench) -> None:
    events = _step(bench, True)
    assert isinstance(events, tuple)
    for event in events:
        assert isinstance(event.payload, EvidenceRecorded)
        assert event.payload.confirmed_odd == ("occurred_at",)
