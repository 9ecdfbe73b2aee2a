"""A past moment is told twice and never drawn as a verdict that holds; the record says what it can vouch for."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from loopworthy.bootstrap import open_workplace
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.people import add_person
from loopworthy.desk.record_care import heads
from loopworthy.desk.units import create_unit
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.pages.past import Past
from loopworthy.doors.web.pages.record import RecordPage
from loopworthy.judgement.engine import ENGINE
from loopworthy.judgement.events import HoldPassed
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import short
from tests.unit.desk.two_devices import joined
from tests.web.conftest import MORNING, Shop, make_shop
from tests.web.visitor import Answered, Visitor


def past_of(answered: Answered) -> Past:
    assert isinstance(answered.context, Past)
    return answered.context


def typed(shop: Shop) -> str:
    return f"{shop.workplace.now().local():%Y-%m-%dT%H:%M}"


# --- a past moment --------------------------------------------------------------------------------------------------


def test_both_readings_are_labelled_and_a_late_change_is_only_in_hindsight() -> None:
    shop = make_shop()
    shop.walk()
    then = shop.clock().plus(minutes=1)
    shop.clock.advance(30)
    opened = Declared(change="loop-opened")
    record_change(shop.workplace, shop.unit, opened, person=shop.reader, occurred_at=then.plus(minutes=-1))
    visitor = Visitor(shop.app)
    answered = visitor.get(f"{shop.at}/past?at={then.local():%Y-%m-%dT%H:%M}")
    context = past_of(answered)
    known, hindsight = context.told
    assert (known.label, hindsight.label) == ("As known on that device then", "With hindsight")
    assert (known.word, hindsight.word) == (Word.READY, Word.UNPROVEN)
    assert context.differ
    assert "It held until" in known.sentence
    assert any("counterlung or drain opened" in reason.why for reason in hindsight.reasons)
    assert "It was ready then." in answered.text
    assert "It was unproven then." in answered.text


def test_a_verdict_of_the_past_is_told_and_not_drawn() -> None:
    shop = make_shop()
    shop.walk()
    answered = Visitor(shop.app).get(f"{shop.at}/past?at={typed(shop)}")
    assert [one.word for one in past_of(answered).told] == [Word.READY, Word.READY]
    document = answered.document
    assert not [one for one in document.walk() if "data-verdict" in one.attributes]
    assert not document.all(class_="verdict")
    assert not document.all(class_="verdict-tag")


def test_before_the_unit_was_there_both_say_so(shop: Shop, visitor: Visitor) -> None:
    context = past_of(visitor.get(f"{shop.at}/past?at=2020-01-01T10:00"))
    assert [one.sentence for one in context.told] == ["The unit was not in the record then."] * 2
    assert not context.differ


def test_on_a_device_that_learned_of_the_unit_later_the_answer_that_there_is_stands_first() -> None:
    pim = make_shop(device_name="Pim's phone")
    pim.walk()
    then = typed(pim)
    pim.clock.advance(20)
    juno = joined(pim, "Juno's phone")
    answered = Visitor(juno.app).get(f"{juno.at}/past?at={then}")
    context = past_of(answered)
    hindsight, known = context.told
    assert (hindsight.key, hindsight.word) == ("hindsight", Word.READY)
    assert (known.key, known.word) == ("known", None)
    assert not context.differ
    told = "Juno's phone learned of Grey Heron only after that moment"
    assert context.came_later.startswith(told)
    assert answered.text.index(told) < answered.text.index("With hindsight") < answered.text.index(known.sentence)
    other = past_of(Visitor(juno.app).get(f"{juno.at}/past?at={then}&device={short(pim.workplace.record.device)}"))
    assert [one.key for one in other.told] == ["known", "hindsight"]
    assert other.came_later == ""


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("at=2031-01-01T10:00", 422),
        ("at=soon", 422),
        ("at=2026-06-14", 200),
        ("at=2026-06-14T05:30&device=none", 404),
        ("", 200),
    ],
)
def test_a_moment_that_cannot_be_shown_is_asked_for_again(
    shop: Shop, visitor: Visitor, query: str, status: int
) -> None:
    answered = visitor.get(f"{shop.at}/past?{query}")
    assert answered.status == status
    context = past_of(answered)
    assert bool(context.told) is (status == 200 and query != "")
    assert bool(context.frame.problem) is (status != 200)


def test_any_moment_can_be_typed_over_one_that_has_seconds(shop: Shop, visitor: Visitor) -> None:
    shop.clock.advance(1)
    (box,) = visitor.get(f"{shop.at}/past?at={typed(shop)}:22").document.all("input", name="at")
    assert (box.get("value") or "").endswith(":22")  # from which a browser would else count whole minutes
    assert box.get("step") == "any"


def test_a_passing_that_the_record_does_not_bear_out_is_named_when_asked(shop: Shop, visitor: Visitor) -> None:
    passed = HoldPassed(
        unit=shop.unit, hold="H1", verdict="ready", catalogue=shop.workplace.catalogue.digest, engine=ENGINE
    )
    shop.workplace.writer().append("judgement.hold-passed", passed, subjects=(shop.unit,), read_by=shop.reader)
    (one,) = past_of(visitor.get(f"{shop.at}/past")).passed
    assert one.wrong == ""
    (one,) = past_of(visitor.get(f"{shop.at}/past?check=yes")).passed
    assert one.wrong == "Recorded as ready; from what the device knew then it comes to unproven."
    assert one.title == "Gas may be used"


# --- the record -----------------------------------------------------------------------------------------------------


def test_the_record_shows_the_fingerprint_of_each_head(shop: Shop, visitor: Visitor) -> None:
    context = visitor.get("/record").context
    assert isinstance(context, RecordPage)
    (head,) = heads(shop.workplace)
    assert [one.fingerprint for one in context.heads] == [head.fingerprint]
    assert context.events == shop.workplace.book().count
    assert context.checked is None


def test_a_fingerprint_from_elsewhere_is_compared_and_said_to_be_unaltered_since(shop: Shop, visitor: Visitor) -> None:
    (head,) = heads(shop.workplace)
    sent = {"fingerprint": f" {head.fingerprint.upper()} ", "person": shop.reader}
    context = visitor.post("/record", sent).context
    assert context.compared == f"{head.fingerprint} is entry {head.sequence} here: unaltered since it was witnessed."
    checked = visitor.get("/record?check=yes").context.checked
    assert checked is not None
    assert checked.unbroken
    assert checked.faults == ()
    assert checked.chains[0][1].startswith(f"unaltered up to entry {head.sequence}, seen by")


@pytest.mark.parametrize("text", ["", "0123", "0123 4567 89ab cdef", "not a fingerprint", "zzzz zzzz zzzz zzzz"])
def test_a_fingerprint_that_is_not_here_is_refused_and_kept(shop: Shop, visitor: Visitor, text: str) -> None:
    before = shop.workplace.book().count
    answered = visitor.post("/record", {"fingerprint": text, "person": shop.reader})
    assert answered.status == 422
    assert (answered.context.fingerprint.value or "") == text
    assert answered.context.fingerprint.error
    assert shop.workplace.book().count == before


def test_nobody_compares_without_a_name(shop: Shop, visitor: Visitor) -> None:
    (head,) = heads(shop.workplace)
    answered = visitor.post("/record", {"fingerprint": head.fingerprint})
    assert answered.status == 422
    assert answered.context.signing.person.error


def test_a_record_that_was_damaged_meanwhile_is_said_not_to_be_whole(tmp_path: Path) -> None:
    path = tmp_path / "trial.sqlite"
    workplace = open_workplace(path, clock=lambda: MORNING, title="Trial", create=True)
    reader = add_person(workplace, "Pim Example")
    unit = create_unit(workplace, "Tern", ready_configurations()["hybrid-chest"], typed_by=reader)
    visitor = Visitor(create_app(workplace))
    assert visitor.get("/record?check=yes").context.checked.unbroken
    with closing(sqlite3.connect(path)) as connection, connection:
        triggers = connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:  # whoever alters a file can do that as well
            connection.execute(f'DROP TRIGGER "{name}"')
        other = "CAST(replace(CAST(body AS TEXT), 'Tern', 'Tarn') AS BLOB)"
        altered = connection.execute(f"UPDATE events SET body = {other} WHERE id = ?", (unit,))
        assert altered.rowcount == 1
    answered = visitor.get("/record?check=yes")
    checked = answered.context.checked
    assert not checked.unbroken
    assert any("no longer fit its hash" in fault for fault in checked.faults)
    assert "some do not fit" in answered.text
