"""Entries beside the record: every verdict that they may undo says so at every door, and one page lists them all."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopworthy.desk import carrying
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.units import create_unit
from loopworthy.doors.exchange.keys import KeyFolder
from loopworthy.judgement.apart import Apart
from loopworthy.judgement.verdict import Word
from loopworthy.unit.configuration import ready_configurations
from tests.unit.desk.two_devices import joined
from tests.web.conftest import CONFIGURATION, Shop, make_shop
from tests.web.visitor import Visitor

Two = tuple[Shop, Shop]


@pytest.fixture
def unvouched(tmp_path: Path) -> Two:
    """Pim's phone, where a unit is ready; what Juno's phone did to it came without its signature."""
    pim = make_shop(device_name="Pim's phone")
    pim.walk()
    create_unit(pim.workplace, "Bittern", ready_configurations()[CONFIGURATION], serial="T-2", typed_by=pim.reader)
    juno = joined(pim, "Juno's phone", keys=KeyFolder(tmp_path))
    juno.clock.advance(1)
    pim.clock.advance(2)
    record_change(juno.workplace, juno.unit, Declared(change="loop-opened"), person=juno.second)
    take_unsigned(juno, pim)
    return pim, juno


def take_unsigned(source: Shop, target: Shop) -> None:
    lines = [line for line in carrying.take_out(source.workplace) if b'"signature"' not in line[:400]]
    carrying.take_in(target.workplace, [*lines[:-1], b'{"lines":%d}\n' % (len(lines) - 1)])


def test_the_verdict_itself_carries_the_caution_and_keeps_its_word(unvouched: Two) -> None:
    pim, juno = unvouched
    verdict = pim.workplace.verdict(pim.unit)
    assert verdict.word is Word.READY
    (caution,) = verdict.cautions
    assert (caution.device, caution.why, caution.count) == (juno.workplace.record.device, Apart.NOT_VOUCHED, 1)
    assert caution.named
    assert "What is set apart may." in Visitor(pim.app).get(pim.at).context.verdict.sentence


def test_a_unit_that_it_does_not_name_stays_without(unvouched: Two) -> None:
    pim, _ = unvouched
    assert pim.workplace.verdict(pim.workplace.unit("Bittern")).cautions == ()


def test_the_unit_the_board_the_past_and_the_sheet_say_it_with_the_device(unvouched: Two) -> None:
    pim, _ = unvouched
    visitor = Visitor(pim.app)
    for address in (pim.at, f"{pim.at}/sheet", f"{pim.at}/past?at=2026-06-14T05:40", f"{pim.at}/custody"):
        page = visitor.get(address)
        assert page.status == 200
        assert "of Juno's phone about this unit, set apart" in page.document.text, address
    board = visitor.get("/").document.text
    assert "1 entry set apart may undo this" in board
    assert "They count for nothing and may undo evidence" in board
    assert board.count("set apart may undo this") == 1  # at the unit that it names, not at the other


def test_the_page_lists_each_with_kind_device_claimed_time_and_offset(unvouched: Two) -> None:
    pim, juno = unvouched
    visitor = Visitor(pim.app)
    link = [one for one in visitor.get(pim.at).document.all("a") if one.get("href").endswith("/record/apart")]
    assert link
    page = visitor.get("/record/apart")
    entry = max(juno.workplace.record.events(), key=lambda one: one.order)
    assert f"Juno's phone, entry {entry.envelope.sequence}, unit.change-made" in page.document.text
    assert f"{entry.envelope.recorded_at.local():%Y-%m-%d %H:%M}" in page.document.text
    assert "about Grey Heron" in page.document.text
    assert "1 min before now by this device's clock" in page.document.text
    assert "Not signed for by their device" in page.document.text


def test_what_comes_from_a_clock_years_ahead_is_said_as_well_and_goes_with_its_time() -> None:
    pim = make_shop(device_name="Pim's phone")
    pim.walk()
    juno = joined(pim, "Juno's phone")
    juno.clock.advance(3 * 24 * 60)
    record_change(juno.workplace, juno.unit, Declared(change="loop-opened"), person=juno.second)
    carrying.take_in(pim.workplace, list(carrying.take_out(juno.workplace)))
    verdict = pim.workplace.verdict(pim.unit)
    assert [(one.why, one.named) for one in verdict.cautions] == [(Apart.AHEAD, True)]
    assert verdict.word is Word.READY
    assert "days later than now" in Visitor(pim.app).get("/record/apart").document.text
    pim.clock.advance(3 * 24 * 60)
    assert [one.why for one in pim.workplace.verdict(pim.unit).cautions] == [Apart.DUE]
    carrying.take_in(pim.workplace, list(carrying.take_out(juno.workplace)))
    assert pim.workplace.verdict(pim.unit).cautions == ()


def test_nothing_beside_the_record_is_said_in_one_line_and_no_verdict_speaks_of_it(shop: Shop) -> None:
    visitor = Visitor(shop.app)
    assert "No entries lie beside the record." in visitor.get("/record/apart").document.text
    assert "set apart" not in visitor.get(shop.at).document.text
    assert "set apart" not in visitor.get("/").document.text


def test_a_page_number_that_is_none_is_refused(shop: Shop) -> None:
    assert Visitor(shop.app).get("/record/apart?after=x").status == 422


def test_more_than_a_page_of_them_leads_on(monkeypatch: pytest.MonkeyPatch, unvouched: Two) -> None:
    pim, juno = unvouched
    monkeypatch.setattr("loopworthy.doors.web.pages.apart.ROWS", 1)
    record_change(juno.workplace, juno.unit, Declared(change="knocked-or-dropped"), person=juno.second)
    take_unsigned(juno, pim)
    visitor = Visitor(pim.app)
    first = visitor.get("/record/apart")
    count = len(pim.workplace.apart())
    assert f"Shown: 1 to 1 of {count}" in first.document.text
    assert f"Shown: 2 to 2 of {count}" in visitor.get(first.context.next_href).document.text
