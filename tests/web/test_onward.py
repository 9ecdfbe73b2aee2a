"""Where a work page leads on to, when the clock goes on as clocks do."""

from __future__ import annotations

from loopworthy.doors.web.pages.work import Work
from loopworthy.vocabulary.time import Moment
from tests.web.conftest import Shop
from tests.web.hands import Hands
from tests.web.visitor import Visitor


def test_a_page_that_is_done_leads_on_though_it_was_recorded_after_the_request_came(
    shop: Shop, visitor: Visitor
) -> None:
    def ticking() -> Moment:
        shop.clock.advance(0.001)
        return shop.clock()

    shop.workplace.clock = ticking
    answered = visitor.get(f"{shop.at}/next")
    assert isinstance(answered.context, Work)
    done = answered.context.title
    answered = Hands(shop, visitor).do(visitor.get(answered.address.partition("?")[0]))
    assert isinstance(answered.context, Work), answered.text
    assert answered.context.title != done
    assert answered.context.steps
