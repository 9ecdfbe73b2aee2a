"""A moment that is more often a slip than true is asked about on every form that takes one, and kept when confirmed."""

from __future__ import annotations

import pytest

from tests.web.conftest import Shop
from tests.web.test_once import save_form
from tests.web.visitor import Answered, Form, Visitor

LONG_AGO = "1999-06-14T05:20"
FORMS = ("change", "day", "work")


def form_of(shop: Shop, visitor: Visitor, page: str, answered: Answered | None = None) -> Form:
    address = {"change": "/change?change=moved", "day": "/day", "work": "/do/air?step=C01"}[page]
    answered = answered or visitor.get(shop.at + address)
    form = save_form(answered) if page == "change" else answered.form()
    for name in form.names() & {"read_by", "person"}:
        form.set(name, shop.reader)
    if page == "work":
        form.fill(controller_hpa="1008", barometer_hpa="1008")
    return form


def send(visitor: Visitor, page: str, form: Form) -> Answered:
    return visitor.send(form, button=("act", "begin assembly") if page == "day" else None)


@pytest.mark.parametrize("page", FORMS)
def test_a_moment_of_1999_is_asked_about_and_recorded_when_somebody_says_that_it_was_then(
    shop: Shop, visitor: Visitor, page: str
) -> None:
    count = shop.workplace.record.store.count()
    form = form_of(shop, visitor, page).fill(occurred_at=LONG_AGO)
    asked = send(visitor, page, form)
    assert asked.status == 422
    assert "Yes, it was then" in asked.text
    assert "before Grey Heron came into this record" in asked.text
    assert shop.workplace.record.store.count() == count
    again = form_of(shop, visitor, page, asked)
    assert again.values["occurred_at"] == [LONG_AGO]
    assert send(visitor, page, again).status == 422  # sent again without the tick it is asked again
    again.values["occurred_at_confirmed"] = ["yes"]
    assert send(visitor, page, again).status == 200
    last = shop.workplace.record.events()[-1].envelope
    assert last.occurred_at.at.startswith("1999-06-14T05:20")


@pytest.mark.parametrize("page", FORMS)
def test_a_moment_of_today_is_not_asked_about_and_one_ahead_is_refused(shop: Shop, visitor: Visitor, page: str) -> None:
    shop.clock.advance(60)
    form = form_of(shop, visitor, page).fill(occurred_at="2026-06-14T05:40")
    assert "Yes, it was then" not in visitor.get(form.action).text
    assert send(visitor, page, form).status == 200
    ahead = form_of(shop, visitor, page).fill(occurred_at="2026-06-15T05:40")
    ahead.values["occurred_at_confirmed"] = ["yes"]
    assert send(visitor, page, ahead).status == 422
