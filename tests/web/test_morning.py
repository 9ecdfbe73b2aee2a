"""A morning done with the thumb: how many pages it takes, how many touches, and that it ends in *ready*."""

from __future__ import annotations

from loopworthy.desk.demo.walk import PAGE_MINUTES
from loopworthy.doors.web.asked import PERSON_COOKIE
from loopworthy.doors.web.pages.unit import UnitPage
from loopworthy.doors.web.pages.work import Work
from loopworthy.judgement.verdict import Word
from tests.web.conftest import make_shop
from tests.web.hands import Hands
from tests.web.visitor import Visitor

DAY_BEFORE = "absorbent"
"""Bench, gas and absorbent are done beforehand; the morning begins with putting the loop together."""


def test_a_morning_is_about_a_dozen_pages_and_leads_from_each_to_the_next() -> None:
    shop = make_shop()
    shop.walk(DAY_BEFORE)
    visitor = Visitor(shop.app)
    visitor.cookies[PERSON_COOKIE] = shop.reader
    hands = Hands(shop, visitor)
    answered = visitor.get(f"{shop.at}/next")
    rounds = 0
    while isinstance(answered.context, Work):
        rounds += 1
        assert rounds < 30, f"the morning does not end: {hands.pages}"
        page = answered.address.split("/do/")[1].partition("?")[0]
        shop.clock.advance(PAGE_MINUTES.get(page, 5))
        answered = hands.do(visitor.get(answered.address.partition("?")[0]))
        assert answered.status == 200, answered.text
    assert isinstance(answered.context, UnitPage)
    assert shop.workplace.verdict(shop.unit).word is Word.READY
    assert answered.context.verdict.word is Word.READY
    assert len(hands.pages) == len(set(hands.pages)), "a page was asked for twice"
    assert 10 <= len(hands.pages) <= 14
    # What has to be read decides most of the touches; beside each value there is one button a page, and where two
    # people are asked for, the name of the second.
    assert hands.taps - hands.values <= 3 * len(hands.pages)
    assert hands.values <= 180
