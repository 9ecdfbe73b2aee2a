"""The record told with its filters, and each event of any kind with everything it has to do with."""

from __future__ import annotations

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.mending import withdraw
from loopworthy.desk.people import give_custody
from loopworthy.doors.web.pages.event import EventPage
from loopworthy.doors.web.pages.history import AT_ONCE, Entry, History
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import short
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Answered, Visitor


@pytest.fixture
def morning() -> Shop:
    """A unit whose sensors were read in air and in oxygen."""
    shop = make_shop()
    shop.walk("oxygen")
    return shop


@pytest.fixture
def reader(morning: Shop) -> Visitor:
    """Somebody on its pages."""
    return Visitor(morning.app)


def entries_of(answered: Answered) -> list[Entry]:
    assert isinstance(answered.context, History)
    return [entry for day in answered.context.days for entry in day.entries]


def reading_of(shop: Shop, step: str) -> Event:
    return [
        event
        for event in shop.workplace.record.events()
        if isinstance(event.payload, EvidenceRecorded) and event.payload.step == step
    ][-1]


# --- history --------------------------------------------------------------------------------------------------------


def test_the_newest_comes_first_and_reading_on_leads_to_the_very_first(morning: Shop, reader: Visitor) -> None:
    address, told = "/history", []
    for _ in range(20):
        answered = reader.get(address)
        entries = entries_of(answered)
        assert len(entries) <= AT_ONCE
        told += entries
        address = answered.context.older_href
        if not address:
            break
    events = [event.id for event in morning.workplace.record.events()]
    assert [one.href for one in told] == [f"/event/{short(event)}" for event in reversed(events)]
    assert told[-1].title == "The device memory began to write"


def test_history_is_narrowed_to_kind_step_person_and_day(morning: Shop, reader: Visitor) -> None:
    assert {one.title.split()[0] for one in entries_of(reader.get("/history?step=c06"))} == {"C06"}
    limits = entries_of(reader.get("/history?family=limits"))
    assert limits
    assert all(one.title.startswith(("Limit", "List")) for one in limits)
    assert entries_of(reader.get(f"/history?person={short(morning.second)}")) == []
    assert entries_of(reader.get("/history?until=2026-06-13")) == []
    assert entries_of(reader.get("/history?since=2026-06-14&until=2026-06-14"))
    answered = reader.get("/history?family=changes")
    assert answered.context.narrowed
    assert "Nothing here." in answered.text


def test_a_units_history_leaves_other_units_out(morning: Shop, reader: Visitor) -> None:
    from loopworthy.desk.units import create_unit
    from loopworthy.unit.configuration import ready_configurations

    other = create_unit(morning.workplace, "Petrel", ready_configurations()["hybrid-chest"], typed_by=morning.reader)
    titles = [one.title for one in entries_of(reader.get(f"/unit/{short(other)}/history"))]
    assert "Configuration set" in titles
    assert not any(title.startswith("C0") for title in titles)
    assert entries_of(reader.get(f"/history?of={short(other)}&family=evidence")) == []


def test_late_and_withdrawn_entries_say_so_with_time_and_reason(morning: Shop, reader: Visitor) -> None:
    earlier = morning.workplace.now().plus(minutes=-30)
    late = Declared(change="rough-ride")
    (event, *_) = record_change(morning.workplace, morning.unit, late, person=morning.reader, occurred_at=earlier)
    withdraw(morning.workplace, event.id, reason="wrong unit", person=morning.second)
    (one,) = entries_of(reader.get("/history?only=late"))
    assert one.late == f"late: written down {morning.workplace.now().local():%H:%M}"
    assert one.withdrawn == "taken back: wrong unit"
    (withdrawn,) = entries_of(reader.get("/history?only=withdrawn"))
    assert withdrawn.href == one.href


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("family=gossip", 422),
        ("only=odd", 422),
        ("since=yesterday", 422),
        ("until=2026-13-01", 422),
        ("person=nobody-here", 404),
        ("of=no-unit", 404),
        ("before=0123456789ab", 404),
        ("before=zz", 404),
    ],
)
def test_a_filter_that_means_nothing_is_said_to(reader: Visitor, query: str, status: int) -> None:
    assert reader.get(f"/history?{query}").status == status


# --- one event ------------------------------------------------------------------------------------------------------


def test_a_reading_shows_all_that_was_typed_its_surroundings_and_both_ties(morning: Shop, reader: Visitor) -> None:
    oxygen = reading_of(morning, "C06")
    context = reader.get(f"/event/{short(oxygen.id)}").context
    assert isinstance(context, EventPage)
    assert context.title == "C06 Oxygen against expected"
    assert context.about.startswith("oxygen sensor")
    assert next(name for name, _ in context.facts) == "In oxygen"
    assert dict(context.context)["Ambient pressure"].endswith("hPa")
    assert {one.title.split()[0] for one in context.used} >= {"C01", "C03"}
    assert dict(context.circumstances)["Read by"] == "Pim Example"
    assert context.standing_href == f"{morning.at}/evidence/{short(oxygen.id)}"
    pressure = reader.get(f"/event/{short(reading_of(morning, 'C01').id)}").context
    assert short(oxygen.id) in [one.href.rpartition("/")[2] for one in pressure.rests_on_it]


def test_a_change_shows_its_questions_unanswered_ones_as_the_worst_and_what_it_does(
    morning: Shop, reader: Visitor
) -> None:
    swapped = Declared(change="sensors-swapped", positions=("oxygen-sensor-1", "oxygen-sensor-2"))
    (event, *_) = record_change(morning.workplace, morning.unit, swapped, person=morning.reader)
    context = reader.get(f"/event/{short(event.id)}").context
    assert context.title == "Two oxygen sensors swapped between positions"
    assert any(text.startswith("Takes away:") for text in context.effects)
    cleaned = Declared(change="sensor-plug-cleaned", positions=("oxygen-sensor-1",))
    (event, *_) = record_change(morning.workplace, morning.unit, cleaned, person=morning.reader)
    facts = dict(reader.get(f"/event/{short(event.id)}").context.facts)
    assert facts["Was the loop opened for it?"] == "not answered, taken as “yes”"


def test_a_withdrawn_reading_says_why_and_cannot_be_taken_back_twice(morning: Shop, reader: Visitor) -> None:
    oxygen = reading_of(morning, "C06")
    assert reader.get(f"/event/{short(oxygen.id)}").context.withdraw_href
    withdrawal = withdraw(morning.workplace, oxygen.id, reason="read the wrong row", person=morning.second)
    context = reader.get(f"/event/{short(oxygen.id)}").context
    assert context.withdrawn == "taken back: read the wrong row"
    assert context.withdraw_href == ""
    assert [one.title for one in context.answers] == ["Taken back: C06 Oxygen against expected"]
    told = reader.get(f"/event/{short(withdrawal)}").context
    assert told.title == "Taken back: C06 Oxygen against expected"


def test_every_event_of_a_record_has_its_page_whatever_its_kind(morning: Shop, reader: Visitor) -> None:
    give_custody(morning.workplace, morning.unit, morning.second, typed_by=morning.reader, note="with the spares")
    kinds = {event.envelope.kind: event for event in morning.workplace.record.events()}
    assert len(kinds) > 8
    for kind, event in kinds.items():
        answered = reader.get(f"/event/{event.id[:16]}")
        assert answered.status == 200, kind
        assert answered.context.title, kind
        assert answered.context.fingerprint.replace(" ", "") == event.id[:16]
    assert reader.get("/event/0123456789ab").status == 404
    assert reader.get("/event/nonsense!").status == 404
