"""Recording a page: all or nothing, by named people, resting on what it rests on."""

from __future__ import annotations

import pytest

from loopworthy.desk import steps
from loopworthy.desk.entry import Typed
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.standing import State
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.time import Moment
from tests.unit.desk.conftest import Bench


def climate(bench: Bench) -> list[Typed]:
    return [
        Typed(step="C01", about=bench.unit, fields={"controller_hpa": "1008", "barometer_hpa": "1008"}),
        Typed(step="C02", about=bench.unit, fields={"temperature_c": "22", "humidity_percent": "55"}),
    ]


def air(*millivolts: str) -> list[Typed]:
    return [
        Typed(
            step="C03",
            about=f"oxygen-sensor-{place}",
            fields={"air_mv": value, "change_mv": "0.0"},
            confirmed=frozenset({"air_mv"}),
        )
        for place, value in enumerate(millivolts, start=1)
    ]


def payload(event: Event) -> EvidenceRecorded:
    assert isinstance(event.payload, EvidenceRecorded)
    return event.payload


def test_all_sensors_in_air_are_one_page_and_rest_on_the_days_pressure(bench: Bench) -> None:
    events = steps.record_steps(
        bench.workplace, bench.unit, [*air("10.4", "11.1", "9.6"), *climate(bench)], read_by=bench.reader
    )
    assert [payload(one).step for one in events] == ["C01", "C02", "C03", "C03", "C03"]
    pressure, surroundings = events[0].id, events[1].id
    assert all({pressure, surroundings} <= set(payload(one).used) for one in events[2:])
    assert payload(events[2]).context["temperature"].value == "22"


def test_evidence_is_bound_to_the_serial_not_to_the_place(bench: Bench) -> None:
    events = steps.record_steps(bench.workplace, bench.unit, [*climate(bench), *air("10.4")], read_by=bench.reader)
    sensor = bench.workplace.world.at(bench.unit, "oxygen-sensor-1")
    assert events[-1].envelope.subjects == (sensor,)


def test_one_wrong_field_records_nothing_at_all(bench: Bench) -> None:
    before = len(bench.workplace.record.events())
    with pytest.raises(InputError):
        steps.record_steps(bench.workplace, bench.unit, [*climate(bench), *air("10.4", "wrong")], read_by=bench.reader)
    assert len(bench.workplace.record.events()) == before


def test_blank_entries_are_left_out_and_a_blank_page_is_refused(bench: Bench) -> None:
    blank = Typed(step="C03", about="oxygen-sensor-2", fields={"air_mv": " ", "change_mv": ""})
    events = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4"), blank], read_by=bench.reader
    )
    assert len(events) == 3
    with pytest.raises(InputError, match="at least one reading"):
        steps.record_steps(bench.workplace, bench.unit, [blank], read_by=bench.reader)


def test_without_a_name_there_is_no_evidence(bench: Bench) -> None:
    with pytest.raises(InputError, match="read_by"):
        steps.record_steps(bench.workplace, bench.unit, climate(bench), read_by="")


def test_a_two_person_step_wants_a_second_person_or_the_honest_word(bench: Bench) -> None:
    look = Typed(step="A02", about="canister-1", fields=ticks(bench, "A02"))
    with pytest.raises(InputError, match="second"):
        steps.record_steps(bench.workplace, bench.unit, [look], read_by=bench.reader)
    with pytest.raises(InputError, match="somebody else"):
        steps.record_steps(bench.workplace, bench.unit, [look], read_by=bench.reader, second=bench.reader)
    alone = steps.record_steps(bench.workplace, bench.unit, [look], read_by=bench.reader, single_handed=True)
    assert payload(alone[0]).single_handed
    together = steps.record_steps(bench.workplace, bench.unit, [look], read_by=bench.reader, second=bench.second)
    assert payload(together[0]).second == bench.second


def ticks(bench: Bench, step_id: str) -> dict[str, str]:
    step = bench.workplace.catalogue.step(step_id)
    return {one.name: "yes" for one in step.inputs if one.kind.value == "tick"}


def test_late_entry_keeps_who_read_when_and_who_typed(bench: Bench) -> None:
    read = Moment(at="2026-05-14T07:10:00+02:00", zone="Europe/Malta")
    bench.clock.forward(minutes=30)
    event = steps.record_steps(
        bench.workplace, bench.unit, climate(bench), read_by=bench.second, typed_by=bench.reader, occurred_at=read
    )[0]
    assert event.envelope.occurred_at == read
    assert event.envelope.recorded_at == bench.clock.moment
    assert (event.envelope.read_by, event.envelope.typed_by) == (bench.second, bench.reader)


def test_nothing_can_be_read_in_the_future(bench: Bench) -> None:
    with pytest.raises(InputError, match="occurred_at"):
        steps.record_steps(
            bench.workplace,
            bench.unit,
            climate(bench),
            read_by=bench.reader,
            occurred_at=bench.clock.moment.plus(minutes=10),
        )


def test_a_step_that_does_not_apply_and_a_place_that_is_not_there_are_refused(bench: Bench) -> None:
    no_flow = Typed(step="W12", about=bench.unit, fields={"flow": "0.7"})
    with pytest.raises(RefusedError, match="W12"):
        steps.record_steps(bench.workplace, bench.unit, [no_flow], read_by=bench.reader)
    with pytest.raises(UnknownNameError, match="oxygen-sensor-9"):
        steps.record_steps(
            bench.workplace,
            bench.unit,
            [Typed(step="C03", about="oxygen-sensor-9", fields={"air_mv": "10", "change_mv": "0"})],
            read_by=bench.reader,
        )


def test_an_analysis_needs_the_analyser_it_was_made_with(bench: Bench) -> None:
    step = bench.workplace.catalogue.step("D02")
    fields = {one.name: "99.2" for one in step.inputs if one.unit == "%"} | ticks(bench, "D02")
    entry = Typed(step="D02", about="cylinder-oxygen", fields=fields)
    with pytest.raises(InputError, match="instrument"):
        steps.record_steps(bench.workplace, bench.unit, [entry], read_by=bench.reader, single_handed=True)
    event = steps.record_steps(
        bench.workplace, bench.unit, [entry], read_by=bench.reader, single_handed=True, instruments=(bench.analyser,)
    )[0]
    assert payload(event).instruments == (bench.analyser,)


def test_an_analysis_before_the_analyser_check_is_kept_but_out_of_order(bench: Bench) -> None:
    step = bench.workplace.catalogue.step("D02")
    fields = {one.name: "99.2" for one in step.inputs if one.unit == "%"} | ticks(bench, "D02")
    steps.record_steps(
        bench.workplace,
        bench.unit,
        [Typed(step="D02", about="cylinder-oxygen", fields=fields)],
        read_by=bench.reader,
        single_handed=True,
        instruments=(bench.analyser,),
    )
    page = steps.work_page(bench.workplace, bench.unit, step.page)
    entry = next(one for one in page.entries if one.step.id == "D02")
    assert {standing.state for _, standing in entry.standings} == {State.OUT_OF_ORDER}
    assert entry.last is not None


def test_a_page_shows_the_last_reading_and_asks_two_people_where_a_step_does(bench: Bench) -> None:
    steps.record_steps(bench.workplace, bench.unit, [*climate(bench), *air("10.4")], read_by=bench.reader)
    page = steps.work_page(bench.workplace, bench.unit, "air")
    first = next(one for one in page.entries if one.about == bench.workplace.world.at(bench.unit, "oxygen-sensor-1"))
    assert first.last is not None
    assert first.last.payload.readings["air_mv"][0].value == "10.4"
    assert "S-oxygen-sensor-1" in first.label
