"""Every kind of event is told in words, with everything that was written down."""

from __future__ import annotations

import inspect
from dataclasses import replace

import msgspec
import pytest

from loopworthy.bootstrap import registry
from loopworthy.desk import changes, limits, mending, parts, people, steps, units
from loopworthy.desk.changes import Declared
from loopworthy.doors import telling
from loopworthy.doors.telling import Telling
from loopworthy.doors.texts import Texts
from loopworthy.doors.words import Words
from loopworthy.unit.events import ContentRemoved, EpisodeBegan, EpisodeEnded, PartRemoved, ThingsSame
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.reading import Reading
from tests.unit.desk.conftest import Bench, bench
from tests.unit.desk.test_steps import air, climate

__all__ = ["bench"]


def telling_of(bench: Bench) -> Telling:
    return Telling(Words(bench.workplace, Texts.load()))


def last(bench: Bench) -> Event:
    return bench.workplace.record.events()[-1]


def test_a_reading_is_told_by_its_step_what_it_is_about_and_what_was_read(bench: Bench) -> None:
    events = steps.record_steps(
        bench.workplace, bench.unit, [*climate(bench), *air("10.4", "11.1", "9.6")], read_by=bench.reader
    )
    told = [telling_of(bench).told(event) for event in events]
    second = next(one for one in told if "oxygen sensor 2" in one.about)
    assert second.title == "C03 Each sensor in air"
    assert second.about == "oxygen sensor 2: sensor S-oxygen-sensor-2"
    assert "11.1 mV" in second.detail


def test_a_value_looked_at_twice_and_the_step_of_the_display_stay_visible(bench: Bench) -> None:
    first, *_ = air("30", "11.1", "9.6")
    odd = replace(first, confirmed=frozenset({"air_mv"}), resolutions={"air_mv": "0.1"})
    events = steps.record_steps(bench.workplace, bench.unit, [*climate(bench), odd], read_by=bench.reader)
    event = next(one for one in events if getattr(one.payload, "step", "") == "C03")
    facts = dict(telling_of(bench).facts(event))
    assert facts["In air"] == "30 mV, shown in steps of 0.1, looked at twice"


def test_changes_limits_waivers_and_repairs_are_told_with_their_words(bench: Bench) -> None:
    workplace, teller = bench.workplace, telling_of(bench)
    changes.record_change(workplace, bench.unit, Declared(change="rough-ride", note="bad road"), person=bench.reader)
    assert (teller.told(last(bench)).title, teller.told(last(bench)).detail) == (
        "Rough ride or long drive",
        "bad road",
    )
    limits.set_limit(
        workplace, bench.unit, "C06.tolerance", "3", source="Manual, page 4", owner=bench.reader, reason="stated so"
    )
    facts = dict(teller.facts(last(bench)))
    assert facts["Limit"] == "C06 Oxygen against expected, tolerance"
    assert (facts["Value"], facts["Where it stands"], facts["Reason"]) == ("3", "Manual, page 4", "stated so")
    requirement = next(one for one in workplace.verdict(bench.unit).requirements() if not one.step.never_skipped)
    about = requirement.key[2]
    mending.give_waiver(
        workplace, bench.unit, requirement.step.id, about, reason="no barometer", hearer=bench.second,
        person=bench.reader,
    )  # fmt: skip
    assert teller.told(last(bench)).title == f"Left out, aloud: {teller.step(requirement.step.id)}"
    assert dict(teller.facts(last(bench)))["Heard by"] == "Toke"


def test_things_days_and_hands_are_told_by_name(bench: Bench) -> None:
    workplace, teller = bench.workplace, telling_of(bench)
    sensor = workplace.world.at(bench.unit, "oxygen-sensor-1")
    assert sensor is not None
    people.give_custody(workplace, bench.unit, bench.second, typed_by=bench.reader, note="with spares")
    assert teller.told(last(bench)).title == "Handed over to Toke"
    parts.describe_thing(workplace, sensor, serial="S-1", attributes={"volume": Reading(value="2", unit="L")})
    assert teller.told(last(bench)).title == "Written down about sensor S-1"
    assert dict(teller.facts(last(bench)))["Water volume"] == "2 L"
    parts.retire(workplace, sensor, retired=True, note="worn out", typed_by=bench.reader)
    assert teller.told(last(bench)).title == "Out of use for good: sensor S-1"
    twin = workplace.writer().append("unit.thing-created", units.NewThing(serial="S-1b").created("oxygen-sensor")).id
    assert teller.told(last(bench)).title == "Brought into the record: oxygen sensor (sensor S-1b)"
    workplace.writer().append("unit.things-same", ThingsSame(note="found out"), subjects=(sensor, twin))
    assert teller.told(last(bench)).title == "Two entries are one thing"
    workplace.writer().append(
        "unit.part-removed", PartRemoved(position="oxygen-sensor-1"), subjects=(bench.unit, sensor)
    )
    assert teller.told(last(bench)).title == "sensor S-1 taken out of: oxygen sensor 1"


@pytest.mark.parametrize("episode", ["dive-day", "preparation", "assembly", "dive"])
def test_every_stretch_is_told_at_its_beginning_and_its_end(bench: Bench, episode: str) -> None:
    workplace, teller = bench.workplace, telling_of(bench)
    began = msgspec.convert({"episode": episode, "title": "at the quay"}, EpisodeBegan)
    workplace.writer().append("unit.episode-began", began, subjects=(bench.unit,))
    assert teller.told(last(bench)).title.endswith("began")
    assert teller.told(last(bench)).detail == "at the quay"
    ended = msgspec.convert({"episode": episode}, EpisodeEnded)
    workplace.writer().append("unit.episode-ended", ended, subjects=(bench.unit,))
    assert teller.told(last(bench)).title.endswith("ended")


def test_fills_are_told_by_their_container(bench: Bench) -> None:
    workplace, teller = bench.workplace, telling_of(bench)
    cylinder = workplace.world.at(bench.unit, "cylinder-oxygen")
    assert cylinder is not None
    content = workplace.world.content_of(cylinder)
    assert content is not None
    changes.record_change(
        workplace, bench.unit, Declared(change="oxygen-changed", positions=("cylinder-oxygen",)), person=bench.reader
    )
    assert (teller.told(last(bench)).title, teller.told(last(bench)).about) == (
        "New fill",
        "cylinder S-cylinder-oxygen",
    )
    workplace.writer().append("unit.content-removed", ContentRemoved(note="drained"), subjects=(cylinder, content))
    assert teller.told(last(bench)).title == "Emptied"


def test_what_the_record_does_not_hold_and_what_is_not_understood_say_so(bench: Bench) -> None:
    teller = telling_of(bench)
    assert teller.event("0" * 64).title == "An event that is not in this record (000000000000)"
    event = last(bench)
    envelope = msgspec.structs.replace(event.envelope, kind="later.kind", version=7)
    unknown = Event(id=event.id, body=event.body, envelope=envelope, payload=None)
    assert teller.told(unknown).title == "Something that this version does not understand (later.kind 7)"


def test_no_kind_of_event_is_left_to_be_told_as_not_understood(bench: Bench) -> None:
    source = inspect.getsource(telling)
    known = registry()
    for kind in known.kinds():
        assert f"case {known.payload_type(kind).__name__}()" in source, kind
