"""Limits are held against the manual or set by the owner, with a reason where looser; holds are listed to their end."""

from __future__ import annotations

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.limits import limits_of, unconfirmed
from loopworthy.desk.mending import release_hold, withdraw
from loopworthy.doors.web.pages.holds import Holds
from loopworthy.doors.web.pages.limits import Limits, OneLimit
from loopworthy.judgement.outcome import EffectiveLimit
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Answered, Visitor

MANUAL = "Manual of the trial unit, second issue, page 12"


@pytest.fixture
def fresh() -> Shop:
    """A unit whose limits nobody has held against the manual yet."""
    return make_shop(confirmed=False)


@pytest.fixture
def owner(fresh: Shop) -> Visitor:
    """Its owner, on its pages."""
    return Visitor(fresh.app)


def limits_of_page(answered: Answered) -> Limits:
    assert isinstance(answered.context, Limits)
    return answered.context


def limit_of(shop: Shop, identifier: str) -> EffectiveLimit:
    return next(limit for _, limit in limits_of(shop.workplace, shop.unit) if limit.limit.id == identifier)


# --- several at once ------------------------------------------------------------------------------------------------


def test_what_still_has_to_be_confirmed_comes_first_each_with_its_origin(fresh: Shop, owner: Visitor) -> None:
    answered = owner.get(f"{fresh.at}/limits")
    context = limits_of_page(answered)
    assert [row.id for row in context.unconfirmed] == [
        limit.limit.id for _, limit in unconfirmed(fresh.workplace, fresh.unit)
    ]
    shown = {row.id for row in context.unconfirmed} | {row.id for _, rows in context.groups for row in rows}
    assert shown == {limit.limit.id for _, limit in limits_of(fresh.workplace, fresh.unit)}
    for row in context.unconfirmed:
        limit = limit_of(fresh, row.id)
        assert row.origin == f"{limit.origin.value} ({limit.source})"
    assert not any(row.ticked for row in context.unconfirmed)
    anchors = {one.get("id") for one in answered.document.walk()}
    assert shown <= anchors


def test_several_limits_are_confirmed_with_the_manual_they_stand_in(fresh: Shop, owner: Visitor) -> None:
    rows = limits_of_page(owner.get(f"{fresh.at}/limits")).unconfirmed
    fields = [("limit", rows[0].id), ("limit", rows[1].id), ("source", MANUAL), ("person", fresh.reader)]
    context = limits_of_page(owner.post(f"{fresh.at}/limits", fields))
    assert context.frame.notice == ("2 limits are held against the manual now.",)
    left = [row.id for row in context.unconfirmed]
    assert left == [row.id for row in rows[2:]]
    assert limit_of(fresh, rows[0].id).confirmed


@pytest.mark.parametrize(
    ("fields", "status"),
    [
        ({"limit": "C06.tolerance", "source": ""}, 422),
        ({"source": MANUAL}, 422),
        ({"limit": "Z99.none", "source": MANUAL}, 404),
        ({"limit": "C06.tolerance", "source": MANUAL, "person": ""}, 422),
    ],
)
def test_a_limit_is_confirmed_only_with_its_source_and_a_name_and_ticks_are_kept(
    fresh: Shop, owner: Visitor, fields: dict[str, str], status: int
) -> None:
    before = fresh.workplace.book().count
    answered = owner.post(f"{fresh.at}/limits", {"person": fresh.reader, **fields})
    assert answered.status == status
    context = limits_of_page(answered)
    assert [row.id for row in context.unconfirmed if row.ticked] == [
        one for one in (fields.get("limit"),) if one == "C06.tolerance"
    ]
    assert (context.source.value or "") == fields["source"]
    assert fresh.workplace.book().count == before


# --- one limit ------------------------------------------------------------------------------------------------------


def test_a_limit_tells_what_the_catalogue_says_which_way_is_stricter_and_what_was_said(
    fresh: Shop, owner: Visitor
) -> None:
    at = f"{fresh.at}/limits/C06.tolerance"
    context = owner.get(at).context
    assert isinstance(context, OneLimit)
    assert context.row.text == "within 2 mV of the expected"
    assert context.stricter == "Lower is stricter."
    assert context.value.value is None
    assert context.said == ()
    owner.post(at, {"act": "confirm", "source": MANUAL, "person": fresh.reader})
    context = owner.get(at).context
    assert context.row.confirmed
    assert [(one.source, one.text) for one in context.said] == [
        (MANUAL, "Held against the manual: within 2 mV of the expected")
    ]


def test_a_stricter_value_of_the_maker_needs_no_reason(fresh: Shop, owner: Visitor) -> None:
    sent = {"act": "set", "value": "1,5", "source": MANUAL, "person": fresh.reader}
    context = owner.post(f"{fresh.at}/limits/C06.tolerance", sent).context
    assert context.row.text == "within 1.5 mV of the expected"
    assert context.row.loosened == ""
    assert "set by owner" in context.row.origin


def test_a_looser_value_is_refused_until_it_says_why_and_stays_marked(fresh: Shop, owner: Visitor) -> None:
    at = f"{fresh.at}/limits/C06.tolerance"
    sent = {"act": "set", "value": "3", "source": MANUAL, "person": fresh.reader}
    refused = owner.post(at, sent)
    assert refused.status == 403
    assert refused.context.reason.error
    assert (refused.context.value.value, refused.context.source.value) == ("3", MANUAL)
    assert limit_of(fresh, "C06.tolerance").value == "2"
    context = owner.post(at, {**sent, "reason": "the maker allows it for this sensor"}).context
    assert context.row.loosened == "the maker allows it for this sensor"
    assert context.said[0].reason == "the maker allows it for this sensor"
    shown = limits_of_page(owner.get(f"{fresh.at}/limits"))
    assert [row.id for _, rows in shown.groups for row in rows if row.loosened] == ["C06.tolerance"]


@pytest.mark.parametrize(
    "fields",
    [
        {"act": "set", "value": "about two", "source": MANUAL},
        {"act": "set", "value": "", "source": MANUAL},
        {"act": "set", "value": "-1", "source": MANUAL},
        {"act": "set", "value": "1", "source": ""},
        {"act": "confirm", "source": ""},
    ],
)
def test_a_value_that_is_none_or_stands_nowhere_is_refused(fresh: Shop, owner: Visitor, fields: dict[str, str]) -> None:
    before = fresh.workplace.book().count
    answered = owner.post(f"{fresh.at}/limits/C06.tolerance", {"person": fresh.reader, **fields})
    assert answered.status == 422
    assert (answered.context.value.value or "") == fields.get("value", "")
    assert fresh.workplace.book().count == before


def test_every_limit_of_the_unit_has_its_page_and_others_are_not_here(fresh: Shop, owner: Visitor) -> None:
    for step, limit in limits_of(fresh.workplace, fresh.unit):
        context = owner.get(f"{fresh.at}/limits/{limit.limit.id}").context
        assert context.row.title.startswith(step.id)
        assert context.shipped
    assert owner.get(f"{fresh.at}/limits/Z99.none").status == 404


# --- holds ----------------------------------------------------------------------------------------------------------


def test_a_hold_is_listed_open_with_the_way_to_its_release_and_then_as_released(shop: Shop, visitor: Visitor) -> None:
    fault = Declared(change="fault-written-down", note="display flickers")
    (event, *_) = record_change(shop.workplace, shop.unit, fault, person=shop.reader)
    context = visitor.get(f"{shop.at}/holds").context
    assert isinstance(context, Holds)
    (one,) = context.open
    assert (one.note, one.declared, one.freezes) == ("display flickers", "05:30, Pim Example", False)
    assert one.release_href == f"{shop.at}/release/{event.id[:12]}"
    release_hold(
        shop.workplace, shop.unit, event.id, cause="loose plug", repair="seated", test="shaken", person=shop.second
    )
    context = visitor.get(f"{shop.at}/holds").context
    assert context.open == ()
    (one,) = context.earlier
    assert one.release_href == ""
    assert ("Cause", "loose plug") in one.told
    assert ("Released", "05:30, Juno Example") in one.told


def test_a_hold_that_was_taken_back_says_why_and_stays_open(shop: Shop, visitor: Visitor) -> None:
    (event, *_) = record_change(shop.workplace, shop.unit, Declared(change="flooded"), person=shop.reader)
    withdraw(shop.workplace, event.id, reason="wrong unit", person=shop.reader)
    (one,) = visitor.get(f"{shop.at}/holds").context.open
    assert ("Taken back, which does not lift it", "wrong unit") in one.told
    assert one.release_href
