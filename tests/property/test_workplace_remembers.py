"""What a workplace remembers of a moment equals what is judged afresh, whatever is recorded or asked in between."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.mending import withdraw
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.outstanding import outstanding
from loopworthy.judgement.replay import fold
from loopworthy.judgement.verdict import judge_unit
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment
from tests.web.conftest import Shop, make_shop

ACTS = st.lists(
    st.one_of(
        st.tuples(st.just("wait"), st.integers(0, 2 * 24 * 60)),
        st.tuples(st.just("change"), st.sampled_from(("loop-opened", "knocked-or-dropped"))),
        st.tuples(st.just("withdraw"), st.integers(0, 500)),
        st.tuples(st.just("ask about"), st.integers(-600, 600)),
    ),
    min_size=1,
    max_size=6,
)


def agrees(workplace: Workplace, unit: ThingId, moment: Moment) -> None:
    book, catalogue = fold(workplace.record.events(), workplace.catalogue), workplace.catalogue
    fresh = judge_unit(book, catalogue, unit, moment)
    for _ in range(2):
        assert workplace.verdict(unit, moment) == fresh
        assert workplace.outstanding(unit, moment) == outstanding(book, catalogue, fresh)
    step = catalogue.steps["C06"]
    bench = Workplace(workplace.record, catalogue, workplace.clock).bench(moment)
    assert workplace.bench(moment).limits(unit, step) == bench.limits(unit, step)


def act(shop: Shop, kind: str, value: int | str) -> None:
    if kind == "wait":
        shop.clock.advance(int(value))
    elif kind == "change":
        record_change(shop.workplace, shop.unit, Declared(change=str(value)), person=shop.reader)
    elif kind == "withdraw":
        book = shop.workplace.book()
        standing = [one for one in book.items if one not in book.withdrawals]
        if standing:
            chosen = standing[int(value) % len(standing)]
            withdraw(shop.workplace, chosen, reason="Read off the wrong display", person=shop.reader)
    else:
        agrees(shop.workplace, shop.unit, shop.clock().plus(minutes=int(value)))


@settings(max_examples=12, deadline=None)
@given(acts=ACTS, prepared=st.booleans())
def test_the_remembered_verdict_is_the_fresh_one(acts: list[tuple[str, int | str]], prepared: bool) -> None:
    shop = make_shop()
    if prepared:
        shop.walk()
    agrees(shop.workplace, shop.unit, shop.clock())
    for kind, value in acts:
        act(shop, kind, value)
        agrees(shop.workplace, shop.unit, shop.clock())


def test_a_ready_verdict_is_not_remembered_over_the_moment_at_which_it_ends() -> None:
    shop = make_shop()
    shop.walk()
    verdict = shop.workplace.verdict(shop.unit)
    assert verdict.until_ms is not None
    left_s = (verdict.until_ms - shop.clock().epoch_ms) / 1000
    shop.clock.moment = shop.clock().plus(seconds=left_s)
    agrees(shop.workplace, shop.unit, shop.clock())
    assert shop.workplace.verdict(shop.unit).word == "ready"
    shop.clock.moment = shop.clock().plus(seconds=0.001)
    agrees(shop.workplace, shop.unit, shop.clock())
    assert shop.workplace.verdict(shop.unit).word == "unproven"
