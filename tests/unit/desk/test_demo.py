"""The invented club as it is told: its record is whole, its oddities are where the story says, readings hang together.

Numbers to hold it against: worked trends of a sensor and of a leak (computed, no published source), copied here; the
rule of 10 mbar in 60 s is common practice, no source.
"""

from __future__ import annotations

from copy import deepcopy
from itertools import pairwise
from random import Random

import pytest

from loopworthy.bootstrap import memory_workplace, registry
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.club import (
    DRIFTING_POSITION,
    KETTLE,
    LANTERN,
    OPENS_AT,
    REPLACED_POSITION,
    SPARE_SENSOR,
    THIMBLE,
    TITLE,
    UNITS,
    ZONE,
)
from loopworthy.desk.demo.scenario import first_moment, tell
from loopworthy.desk.demo.story import AHEAD_MIN, Teller, at
from loopworthy.desk.demo.walk import Plan, WalkingClock
from loopworthy.desk.demo.weeks import BENCH_DAY
from loopworthy.desk.history import HistoryFilter, history
from loopworthy.desk.mending import failed_readings, record_repair
from loopworthy.desk.people import people
from loopworthy.desk.replays import passings, past_states
from loopworthy.desk.sensors import sensor_chart
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.catalogue.model import Effect
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.record.exchange import export_lines
from loopworthy.record.memory import MemoryStore
from loopworthy.record.merge import merge
from loopworthy.record.record import Record
from loopworthy.record.verify import verify
from loopworthy.unit.events import ChangeMade
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.time import Moment

SENSOR_TREND = (51.8, 51.4, 50.6, 50.1, 48.9)
"""mV per bar on five days of two months (worked trend of a sensor; computed, no published source)."""

LEAK_TREND = (12, 14, 13, 17, 19, 22, 24, 28)
"""mL/min in eight tests (worked trend of a leak); the story has one test more, of 26, before the last."""


SENSORS_OWN = ("EV02", "EV03", "EV27", "EV28")
"""Kinds of evidence that belong to one sensor and leave with it."""


def told(seed: int = 614) -> Teller:
    clock = first_moment()
    workplace = memory_workplace(clock=clock, title=TITLE)
    teller = tell(workplace, clock, Random(seed))
    clock.wait_until(Moment(at=OPENS_AT, zone=ZONE))
    return teller


def going_on(club: Teller) -> Teller:
    """A copy of the story to go on with, so that the others still see it as it was told."""
    store = MemoryStore()
    lines = export_lines(club.workplace.record.store, exported_at=club.clock())
    merge(store, registry(), lines, now=club.clock(), adopt=True)
    record = Record(store, registry(), device_name="copy", token=lambda count: bytes(range(count)))
    clock = WalkingClock(club.clock())
    copied = Teller(
        Workplace(record, club.workplace.catalogue, clock),
        clock,
        Random(5),
        people=club.people,
        analysers=club.analysers,
    )
    copied.states = deepcopy(club.states)
    copied.weather, copied.analyser = club.weather, club.analyser
    return copied


@pytest.fixture(scope="module")
def club() -> Teller:
    """The story as it stands when the rehearsal opens; tests that record go on from a story of their own."""
    return told()


def open_ones(club: Teller, name: str) -> list[str]:
    return [
        f"{one.step.id} {one.subject.position} {one.standing.code}"
        for one in club.workplace.verdict(club.state(name).unit).requirements()
        if not one.counts
    ]


def evidence(workplace: Workplace) -> list[Event]:
    return [one for one in workplace.record.events() if isinstance(one.payload, EvidenceRecorded)]


# --- at opening ------------------------------------------------------------------------------------------------------


def test_one_unit_is_ready_with_minutes_left(club: Teller) -> None:
    verdict = club.workplace.verdict(club.state("Lantern").unit)
    assert verdict.word is Word.READY
    assert verdict.until_ms is not None
    assert verdict.first_to_end is not None
    assert verdict.first_to_end.kind == "EV54"  # the pre-breathe
    assert 6.0 < (verdict.until_ms - club.clock().epoch_ms) / 60_000 < 10.0


def test_one_unit_is_unproven_because_a_sensor_was_replaced_after_calibration(club: Teller) -> None:
    verdict = club.workplace.verdict(club.state("Thimble").unit)
    assert verdict.word is Word.UNPROVEN
    assert verdict.open_holds == ()
    states = {one.standing.state for one in verdict.reasons()}
    assert State.FAILED not in states
    undone = {
        (one.kind, one.standing.values["change"])
        for one in verdict.reasons()
        if one.standing.code == "undone-by-change"
    }
    assert ("EV29", "Oxygen sensor replaced") in undone
    assert ("EV30", "Oxygen sensor replaced") in undone


def test_exactly_what_rested_on_the_sensor_fell(club: Teller) -> None:
    """Whatever was current before the change and is not after it is named by the change, and nothing else is."""
    workplace, unit = club.workplace, club.state("Thimble").unit
    changed = max(
        (
            one
            for one in workplace.record.events()
            if isinstance(one.payload, ChangeMade) and one.payload.change == "sensor-replaced"
        ),
        key=lambda one: one.order,
    )
    before = changed.envelope.occurred_at.plus(seconds=-1)
    known = past_states(workplace, unit, before)[0].replay
    assert known is not None
    stood = {(one.kind, one.step.id, one.subject.key) for one in known.verdict.requirements() if one.counts}
    now = {
        (one.kind, one.step.id, one.subject.key): one
        for one in workplace.verdict(unit, changed.envelope.occurred_at.plus(seconds=1)).requirements()
    }
    fallen = {key for key in stood if key in now and not now[key].counts}
    change = workplace.catalogue.change("sensor-replaced")
    named = {
        rule.evidence
        for rule in change.rules
        if rule.effect is Effect.VOID or (rule.effect is Effect.RECHECK and not rule.condition)
    }
    assert {kind for kind, _, _ in fallen} <= named
    # The first row of the table of changes (common practice, no source): calibrations, agreement, air, tightness fall.
    flush = {("EV28", step, unit) for step in ("C04", "C05")}  # what is read in oxygen anew is flushed anew
    assert flush <= fallen
    others = {kind for kind, _, _ in fallen - flush}
    assert others == named & {kind for kind, _, _ in stood if kind not in SENSORS_OWN}
    assert others == {"EV29", "EV30", "EV31", "EV32", "EV36"}
    gone = {key for key in stood if key not in now}  # what was about the sensor that came out
    assert {kind for kind, _, _ in gone} == {*SENSORS_OWN, "EV29", "EV30", "EV31", "EV32"}


def test_one_unit_is_at_stop_because_a_sensor_does_not_follow_in_oxygen(club: Teller) -> None:
    verdict = club.workplace.verdict(club.state("Kettle").unit)
    assert verdict.word is Word.STOP
    assert verdict.open_holds == ()
    failed = [one for one in verdict.reasons() if one.standing.state is State.FAILED]
    assert [(one.step.id, one.subject.position) for one in failed] == [("C06", DRIFTING_POSITION)]
    assert failed[0] is verdict.reasons()[0]


# --- the record ------------------------------------------------------------------------------------------------------


def test_the_record_says_of_itself_that_it_is_invented(club: Teller) -> None:
    assert club.workplace.record.invented
    assert "nvented" in club.workplace.record.title
    names = [club.workplace.name(one) for one in people(club.workplace)]
    assert len(names) == 2
    assert all(name.endswith("Example") for name in names)
    serials = [
        one.serial for kind in ("unit", "oxygen-sensor", "cylinder") for one in club.workplace.world.of_kind(kind)
    ]
    assert all(serial.startswith("INV-") for serial in serials)


def test_the_record_is_unbroken(club: Teller) -> None:
    report = verify(club.workplace.record.store, club.workplace.record.registry)
    assert report.unbroken
    assert report.faults == ()
    assert report.unknown_kinds == {}
    assert club.workplace.world.misfits == []


def test_everything_was_written_down_when_it_happened_and_before_the_rehearsal_opens(club: Teller) -> None:
    opens_ms = Moment(at=OPENS_AT, zone=ZONE).epoch_ms
    for event in club.workplace.record.events():
        assert event.envelope.occurred_at == event.envelope.recorded_at
        assert at(BENCH_DAY, "08:00").epoch_ms <= event.envelope.recorded_at.epoch_ms < opens_ms


def test_no_hold_was_passed_on_a_verdict_that_the_record_does_not_give(club: Teller) -> None:
    for plan in UNITS:
        found = passings(club.workplace, club.state(plan.name).unit, check=True)
        assert len(found) >= len(plan.dive_days)
        assert [one.disagreement for one in found if one.disagreement is not None] == []


def test_three_units_of_different_configurations_dived_two_or_three_times_a_week(club: Teller) -> None:
    configurations = {plan.configuration for plan in UNITS}
    assert len(configurations) == 3
    for plan in UNITS:
        unit = club.state(plan.name).unit
        ended = club.workplace.book().dives_ended[unit]
        assert len(ended) == len(plan.dive_days) >= 8
        assert all(1 <= sum(1 for day in plan.dive_days if week <= day < week + 7) <= 3 for week in (-28, -21, -14, -7))


def test_steps_of_two_people_name_both_or_say_that_one_was_alone(club: Teller) -> None:
    both = alone = 0
    for event in evidence(club.workplace):
        payload = event.payload
        assert isinstance(payload, EvidenceRecorded)
        if club.workplace.catalogue.step(payload.step).two_person:
            assert bool(payload.second) != payload.single_handed
            assert payload.second != event.envelope.read_by
            both, alone = both + bool(payload.second), alone + payload.single_handed
    assert both > alone > 0


def test_another_telling_has_the_same_readings_for_the_same_seed(club: Teller) -> None:
    def lines(workplace: Workplace) -> list[tuple[str, str, object]]:
        return [
            (one.envelope.occurred_at.at, one.payload.step, (one.payload.readings, one.payload.answers))
            for one in evidence(workplace)
            if isinstance(one.payload, EvidenceRecorded)
        ]

    assert lines(told().workplace) == lines(club.workplace)


def test_another_seed_tells_other_readings_and_the_same_verdicts(club: Teller) -> None:
    other = told(seed=99)
    for plan in UNITS:
        mine, theirs = (one.workplace.verdict(one.state(plan.name).unit) for one in (club, other))
        assert mine.word is theirs.word
    assert [one.payload for one in evidence(other.workplace)] != [one.payload for one in evidence(club.workplace)]


# --- what goes on over the weeks --------------------------------------------------------------------------------------


@pytest.mark.parametrize("step", ["L02", "L03"])
def test_a_leak_grows_and_every_test_passes(club: Teller, step: str) -> None:
    bench = club.workplace.bench()
    items = club.workplace.book().of(step, club.state("Lantern").unit)
    findings = [bench.assess(one).findings[0] for one in items]
    assert len(items) == len(LANTERN.dive_days) + 1 >= 8
    assert all(bench.assess(one).outcome is Outcome.INSIDE for one in items)
    assert all(float(one.values["loss"]) < 10.0 for one in findings)
    leaks = [float(one.values["leak"]) for one in findings]
    wanted = [*LEAK_TREND[:-1], 26, LEAK_TREND[-1]]
    assert leaks == pytest.approx(wanted, abs=2.0)
    assert leaks[-1] > 2.0 * leaks[0]


def test_a_sensor_drifts_until_it_no_longer_follows(club: Teller) -> None:
    unit = club.state("Kettle").unit
    row = next(one for one in sensor_chart(club.workplace, unit) if one.position == DRIFTING_POSITION)
    factors = [point.factor_mv_per_bar for point in row.history]
    before_today, today = factors[: len(KETTLE.dive_days)], factors[len(KETTLE.dive_days) :]
    assert before_today[0] == pytest.approx(SENSOR_TREND[0], abs=0.3)
    assert before_today[-1] == pytest.approx(SENSOR_TREND[-1], abs=0.3)
    for wanted in SENSOR_TREND:
        assert min(abs(one - wanted) for one in before_today) < 0.4
    assert all(later < earlier + 0.3 for earlier, later in pairwise(before_today))
    assert len(today) == 2  # read again after a second flush
    bench = club.workplace.bench()
    assert row.sensor is not None
    outcomes = [bench.assess(one).outcome for one in club.workplace.book().of("C06", row.sensor.id)]
    assert outcomes == [Outcome.INSIDE] * len(before_today) + [Outcome.OUTSIDE] * 2


def test_the_other_sensors_stay_where_they_were(club: Teller) -> None:
    for plan in UNITS:
        for row in sensor_chart(club.workplace, club.state(plan.name).unit):
            if (plan.name, row.position) in (("Kettle", DRIFTING_POSITION), ("Thimble", REPLACED_POSITION)):
                continue
            factors = [point.factor_mv_per_bar for point in row.history]
            assert len(factors) >= 8
            assert max(factors) - min(factors) < 1.0


# --- the analyser ----------------------------------------------------------------------------------------------------


def analyses(club: Teller, name: str) -> list[tuple[str, str]]:
    """Day of each analysis of the unit's oxygen, and with hindsight why it did not stand; '' where it did."""
    workplace, unit = club.workplace, club.state(name).unit
    found = []
    for item in sorted(workplace.book().items.values(), key=lambda one: one.order):
        if item.step != "D02" or item.unit != unit:
            continue
        hindsight = past_states(workplace, unit, item.occurred)[1].replay
        assert hindsight is not None
        standing = next(one.standing for one in hindsight.verdict.requirements() if one.kind == "EV16")
        found.append((item.occurred.at[:10], "" if standing.state is State.CURRENT else standing.code))
    return found


def test_the_bad_analyser_takes_that_days_analyses_with_it_and_no_others(club: Teller) -> None:
    the_day = at(-22, "00:00").at[:10]
    for name in ("Lantern", "Thimble"):
        assert [(day, why) for day, why in analyses(club, name) if why] == [(the_day, "proved-wrong")]
    assert [why for _, why in analyses(club, "Kettle") if why] == []


@pytest.mark.parametrize(("name", "again_on"), [("Lantern", -18), ("Thimble", -21)])
def test_what_was_analysed_with_it_was_analysed_again_before_the_next_dive(
    club: Teller, name: str, again_on: int
) -> None:
    days = [day for day, _ in analyses(club, name)]
    assert at(again_on, "12:00").at[:10] in days
    bad, good = club.analysers
    used = {
        one.payload.instruments
        for one in club.workplace.book().items.values()
        if one.step == "D02" and one.unit == club.state(name).unit and one.occurred_ms > at(-22, "23:00").epoch_ms
    }
    assert used == {(good,)}
    assert bad != good


@pytest.mark.parametrize("name", ["Lantern", "Thimble"])
def test_calibration_and_dive_of_that_day_are_touched_with_hindsight_only(club: Teller, name: str) -> None:
    workplace, unit = club.workplace, club.state(name).unit
    begins, ends = at(-22, "00:00").epoch_ms, at(-21, "00:00").epoch_ms
    passed = next(one for one in workplace.book().passings[unit] if begins < one.occurred.epoch_ms < ends)
    known, hindsight = past_states(workplace, unit, passed.occurred)
    assert known.replay is not None
    assert hindsight.replay is not None
    assert known.replay.verdict.word is Word.READY
    assert hindsight.replay.verdict.word is not Word.READY
    fallen = {one.kind: one.standing.code for one in hindsight.replay.verdict.requirements() if not one.counts}
    assert fallen["EV16"] == fallen["EV17"] == "proved-wrong"
    assert {"EV28", "EV29"} <= set(fallen)
    assert "EV36" not in fallen


def test_the_unit_that_did_not_dive_that_day_is_not_touched(club: Teller) -> None:
    unit = club.state("Kettle").unit
    for one in club.workplace.book().passings[unit]:
        hindsight = past_states(club.workplace, unit, one.occurred)[1].replay
        assert hindsight is not None
        passed = next(each for each in hindsight.verdict.holds if each.hold.id == one.passed.hold)
        assert passed.word is Word.READY


# --- what else went wrong --------------------------------------------------------------------------------------------


def test_a_failed_leak_test_was_mended_before_the_dive(club: Teller) -> None:
    unit = club.state("Thimble").unit
    bench = club.workplace.bench()
    tests = club.workplace.book().of("L03", unit)
    failed = [place for place, one in enumerate(tests) if bench.assess(one).outcome is Outcome.OUTSIDE]
    assert len(failed) == 1
    assert tests[failed[0]].event in club.workplace.book().repairs
    assert bench.assess(tests[failed[0] + 1]).outcome is Outcome.INSIDE


def test_history_tells_of_waiver_withdrawal_repair_and_changes(club: Teller) -> None:
    told_of = [one.kind for one in history(club.workplace, HistoryFilter(), most=10_000)]
    for kind in ("waiver-given", "repair-made", "hold-passed", "limit-confirmed", "catalogue-adopted"):
        assert f"judgement.{kind}" in told_of
    assert "record.event-withdrawn" in told_of
    changes = {one.payload.change for one in club.workplace.record.events() if isinstance(one.payload, ChangeMade)}
    assert {"dive-made", "analyser-failed", "sensor-replaced", "oxygen-changed", "absorbent-changed"} <= changes


# --- going on --------------------------------------------------------------------------------------------------------


def test_what_is_outstanding_after_the_sensor_was_replaced_restores_readiness(club: Teller) -> None:
    club = going_on(club)
    state = club.state("Thimble")
    tasks = club.workplace.outstanding(state.unit)
    before_the_loop_tests = {task.step.id for task in tasks if task.step.page in ("oxygen", "second-controller")}
    assert {"C06", "C08", "C09"} <= before_the_loop_tests
    asked_of_sensors = {
        task.subject.position for task in tasks if task.step.id in ("C03", "C06") and task.subject.position
    }
    assert asked_of_sensors == {REPLACED_POSITION}  # the others were read this morning and stand
    assert not {"D02", "D03", "W06", "A02"} & {task.step.id for task in tasks}
    club.walk(state, 0)
    assert open_ones(club, "Thimble") == []
    assert club.workplace.verdict(state.unit).word is Word.READY


def test_the_unit_at_stop_becomes_ready_only_after_its_sensor_is_exchanged(club: Teller) -> None:
    club = going_on(club)
    workplace, state = club.workplace, club.state("Kettle")
    failed = failed_readings(tuple(workplace.verdict(state.unit).requirements()))
    record_repair(workplace, state.unit, failed, cause="Weak sensor", done="Plug cleaned", person=club.people[0])
    assert workplace.verdict(state.unit).word is Word.UNPROVEN
    club.walk(state, 0, Plan(pages=("air", "oxygen")))  # it reads as before: a repair is not a reading
    assert workplace.verdict(state.unit).word is Word.STOP
    record_change(
        workplace,
        state.unit,
        Declared(
            change="sensor-replaced",
            positions=(DRIFTING_POSITION,),
            answers={"head": "no"},
            arrivals={DRIFTING_POSITION: SPARE_SENSOR.thing()},
        ),
        person=club.people[0],
    )
    fitted = workplace.world.at(state.unit, DRIFTING_POSITION)
    assert fitted is not None
    state.sensors[fitted] = SPARE_SENSOR
    club.walk(state, 0, Plan(ahead_min=AHEAD_MIN))
    assert open_ones(club, "Kettle") == []
    assert workplace.verdict(state.unit).word is Word.READY


def test_the_ready_unit_runs_out_of_its_clock(club: Teller) -> None:
    unit = club.state("Lantern").unit
    until = club.workplace.verdict(unit).until_ms
    assert until is not None
    left_s = (until - club.clock().epoch_ms) / 1000
    assert club.workplace.verdict(unit, club.clock().plus(seconds=left_s)).word is Word.READY
    assert club.workplace.verdict(unit, club.clock().plus(seconds=left_s + 1)).word is Word.UNPROVEN


def test_the_teller_uses_every_unit_of_the_club(club: Teller) -> None:
    assert set(club.states) == {LANTERN.name, THIMBLE.name, KETTLE.name}
