"""Every form refuses what is too long or cannot be seen, and keeps what was typed."""

from __future__ import annotations

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.judgement.outcome import Outcome
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.wording import LONGEST_NOTE
from tests.web.conftest import Shop
from tests.web.visitor import Answered, Form, Visitor

LONG = "ä" * (LONGEST_NOTE + 1)
UNSEEN = "seal\x07worn"


def failed_reading(shop: Shop) -> str:
    shop.walk("air", read={("C01", ""): {"controller_hpa": "980"}})
    bench = shop.workplace.bench()
    return next(
        one.event for one in shop.workplace.book().items.values() if bench.assess(one).outcome is Outcome.OUTSIDE
    )


def address_of(shop: Shop, page: str) -> str:
    if page == "repair":
        return f"{shop.at}/repair?event={short(failed_reading(shop))}"
    if page == "release":
        hold = record_change(shop.workplace, shop.unit, Declared(change="flooded"), person=shop.second)
        return f"{shop.at}/release/{short(hold[0].id)}"
    if page == "withdraw":
        made = record_change(shop.workplace, shop.unit, Declared(change="moved"), person=shop.second)
        return f"{shop.at}/withdraw/{short(made[0].id)}"
    if page == "leave-out":
        return f"{shop.at}/leave-out?step=C02&about={shop.unit}"
    return page.replace("UNIT", shop.at)


FIELDS = [
    ("repair", "cause", {"action": "seated", "place": "head"}),
    ("repair", "action", {"cause": "loose"}),
    ("repair", "place", {"cause": "loose", "action": "seated"}),
    ("release", "cause", {"repair": "dried", "test": "held"}),
    ("release", "repair", {"cause": "torn", "test": "held"}),
    ("release", "test", {"cause": "torn", "repair": "dried"}),
    ("withdraw", "reason", {}),
    ("leave-out", "reason", {"hearer": "SECOND"}),
    ("UNIT/change?change=moved", "note", {}),
    ("UNIT/parts/oxygen-sensor-1", "serial", {}),
    ("UNIT/custody", "note", {"to": "SECOND"}),
    ("/units/new", "name", {"configuration": "electronic-back-three-sensors"}),
    ("/units/new", "serial", {"name": "Second", "configuration": "electronic-back-three-sensors"}),
    ("/people", "name", {}),
    ("/instruments", "name", {"use": "analyser"}),
    ("UNIT/day", "title", {}),
]


def form_with(answered: Answered, field: str) -> Form:
    forms = [Form(one) for one in answered.document.all("form") if one.get("method") == "post"]
    return next(one for one in forms if field in one.names())


@pytest.mark.parametrize("text", [LONG, UNSEEN], ids=["long", "unseen"])
@pytest.mark.parametrize(("page", "field", "others"), FIELDS, ids=[f"{page} {field}" for page, field, _ in FIELDS])
def test_a_form_with_such_words_is_refused_and_keeps_them(
    shop: Shop, visitor: Visitor, page: str, field: str, others: dict[str, str], text: str
) -> None:
    form = form_with(visitor.get(address_of(shop, page)), field)
    for name, value in others.items():
        if name in form.names():
            form.set(name, shop.second if value == "SECOND" else value)
    for name in form.names() & {"read_by", "person"} - set(others):
        form.set(name, shop.reader)
    form.values[field] = [text]
    button = {"UNIT/day": ("act", "begin dive-day")}.get(page)
    count = shop.workplace.record.store.count()
    answered = visitor.send(form, button=button)
    assert 400 <= answered.status < 500, answered.text
    assert shop.workplace.record.store.count() == count
    assert ("at most" if text is LONG else "control character") in answered.text or "Shorten" in answered.text
    assert text in form_with(answered, field).values[field]
    assert "got " not in answered.text or len(answered.text) < 20_000
