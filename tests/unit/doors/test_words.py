"""Codes of judgement become sentences, limits and margins are told in words, and no word says too much."""

from __future__ import annotations

import ast
import inspect
import re
from decimal import Decimal
from pathlib import Path

import pytest

import loopworthy.judgement
from loopworthy.bootstrap import memory_workplace
from loopworthy.desk import days, people, steps, units
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.entry import Typed
from loopworthy.desk.limits import confirm_limits, limits_of, set_limit
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.texts import LANGUAGES, Texts
from loopworthy.doors.words import Words
from loopworthy.judgement.outcome import Finding, Outcome
from loopworthy.judgement.standing import Standing, State
from loopworthy.judgement.verdict import Requirement
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

JUDGEMENT = Path(inspect.getfile(loopworthy.judgement)).parent
NOW = Moment(at="2026-05-14T08:40:00+02:00", zone="Europe/Malta")
SAID_ELSEWHERE = {"no-configuration", "no-dive-day"}


def codes_in(source: str) -> set[str]:
    """Every text that judgement uses as a code: given as `code=`, assigned to it, or first of a tuple returned."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        values: list[ast.expr] = []
        if isinstance(node, ast.keyword) and node.arg == "code":
            values = [node.value]
        elif isinstance(node, ast.Assign):
            for target in node.targets:
                if isinstance(target, ast.Name) and target.id == "code":
                    values.append(node.value)
                elif isinstance(target, ast.Tuple) and isinstance(node.value, ast.Tuple):
                    pairs = zip(target.elts, node.value.elts, strict=True)
                    values += [value for name, value in pairs if isinstance(name, ast.Name) and name.id == "code"]
        elif isinstance(node, ast.Return) and isinstance(node.value, ast.Tuple):
            values = list(node.value.elts[:1])
        elif isinstance(node, ast.Call) and getattr(node.func, "id", "") == "_cannot_tell":
            values = list(node.args[1:2])
        for value in values:
            for leaf in ast.walk(value):
                if isinstance(leaf, ast.Constant) and isinstance(leaf.value, str):
                    found.add(leaf.value)
    return {code for code in found if re.fullmatch(r"[a-z]+(-[a-z]+)+|waived|aged", code)}


def all_codes() -> set[str]:
    read = set().union(*(codes_in(path.read_text(encoding="utf-8")) for path in JUDGEMENT.rglob("*.py")))
    made = {f"no-{missing}" for missing in ("part", "content", "channel", "instrument")}
    made |= {f"{episode}-over" for episode in ("dive", "dive-day", "assembly", "preparation")}
    return read | made


def test_the_search_for_codes_finds_the_ways_in_which_they_are_given() -> None:
    source = (
        'a(code="never-done")\ncode = "one-way" if x else "other-way"\nb, code = 1, "in-tuple"\n'
        'def f():\n    return "from-return", 2\n'
    )
    assert codes_in(source) == {"never-done", "one-way", "other-way", "in-tuple", "from-return"}
    assert {
        "undone-by-change",
        "limit-unconfirmed",
        "oxygen-against-expected",
        "oxygen-cannot-decide",
        "date-passed",
        "needs-reading",
    } <= all_codes()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_code_of_judgement_has_its_words(language: str) -> None:
    known = {key.removeprefix("reasons.") for key in Texts.load(language).keys() if key.startswith("reasons.")}
    assert {code.replace("-", "_") for code in all_codes()} - known == set()


@pytest.mark.parametrize("language", LANGUAGES)
def test_no_text_calls_anything_safe_or_lets_it_pass(language: str) -> None:
    texts = Texts.load(language)
    for key in texts.keys():
        said = texts.say(key, **dict.fromkeys(texts.placeholders(key), "7"))
        allowed = said.replace("does not make a unit safe", "")
        assert not re.search(
            r"\b(safe|unsafe|ok to dive|killer|passed the|has passed)\b", allowed.replace("has passed since", ""), re.I
        ), key


class Shop:
    """A unit with everything fitted, on an invented morning."""

    def __init__(self) -> None:
        self.now = NOW
        self.workplace: Workplace = memory_workplace(clock=lambda: self.now)
        self.reader: ThingId = people.add_person(self.workplace, "Ines Test")
        configuration = ready_configurations()["electronic-back-three-sensors"]
        self.unit = units.create_unit(self.workplace, "Grey One", configuration, typed_by=self.reader)
        for position in units.empty_positions(self.workplace, self.unit):
            thing = self.reader if position == "diver" else units.NewThing(serial=f"N-{position[-8:]}")
            units.identify_part(self.workplace, self.unit, position, thing, typed_by=self.reader)

    @property
    def words(self) -> Words:
        return Words(self.workplace, Texts.load())

    def record(self, step: str, **fields: str) -> None:
        about = next(
            one.about
            for one in steps.work_page(self.workplace, self.unit, self.workplace.catalogue.step(step).page).entries
            if one.step.id == step
        )
        steps.record_steps(
            self.workplace, self.unit, [Typed(step=step, about=about, fields=fields)], read_by=self.reader
        )

    def requirement(self, step: str) -> Requirement:
        return next(one for one in self.workplace.verdict(self.unit).requirements() if one.step.id == step)


@pytest.fixture
def shop() -> Shop:
    return Shop()


def test_a_unit_without_a_day_says_so_and_how_much_is_missing(shop: Shop) -> None:
    verdict = shop.workplace.verdict(shop.unit)
    said = shop.words.verdict_sentence(verdict)
    assert said.startswith("No dive day has been begun, and")
    missing = len({one.key[1:] for one in verdict.reasons()})  # a step that two holds ask for is missing once
    assert f" {missing} " in said
    days.begin(shop.workplace, (shop.unit,), "dive-day", typed_by=shop.reader)
    verdict = shop.workplace.verdict(shop.unit)
    assert shop.words.verdict_sentence(verdict) == f"{missing} requirements have no evidence that counts."


def test_a_reading_outside_its_limit_says_reading_limit_margin_and_origin(shop: Shop) -> None:
    shop.record("C01", controller_hpa="1008", barometer_hpa="1019.5")
    failed = shop.requirement("C01")
    words = shop.words
    assert failed.standing.state is State.FAILED
    assert words.standing_sentence(failed.standing, failed.step) == (
        "Controller reads: read 1008 hPa. Outside the limit: within 10 hPa of “Barometer reads” (1019.5 hPa)."
    )
    facts = words.facts(failed.standing)
    assert (facts.reading, facts.margin) == ("1008 hPa", "1.5 hPa outside")
    assert facts.origin.startswith("proposal of this catalogue")
    verdict = shop.workplace.verdict(shop.unit)
    assert words.verdict_sentence(verdict) == (
        "Ambient pressure, twice. Read 1008 hPa, outside its limit and not yet mended."
    )
    assert words.first_reason(verdict).startswith("Ambient pressure, twice: Controller reads")


def test_a_board_tells_why_in_a_few_words(shop: Shop) -> None:
    verdict = shop.workplace.verdict(shop.unit)
    missing = len({one.key[1:] for one in verdict.reasons()})
    assert shop.words.short_reason(verdict) == f"No dive day begun; {missing} missing."
    days.begin(shop.workplace, (shop.unit,), "dive-day", typed_by=shop.reader)
    assert shop.words.short_reason(shop.workplace.verdict(shop.unit)) == f"{missing} absent."
    shop.record("C01", controller_hpa="1008", barometer_hpa="1019.5")
    told = shop.words.short_reason(shop.workplace.verdict(shop.unit))
    assert told == "Ambient pressure, twice: read 1008 hPa, outside its limit."
    record_change(shop.workplace, shop.unit, Declared(change="fault-written-down"), person=shop.reader)
    told = shop.words.short_reason(shop.workplace.verdict(shop.unit))
    assert told == f"On hold since 08:40: {shop.workplace.catalogue.changes['fault-written-down'].title}."


def test_what_was_undone_names_the_change_and_its_time(shop: Shop) -> None:
    standing = Standing(
        state=State.VOID,
        code="undone-by-change",
        values={"change": "Head opened", "at_ms": str(NOW.plus(minutes=-30).epoch_ms), "zone": NOW.zone},
    )
    step = shop.workplace.catalogue.step("L02")
    assert shop.words.standing_sentence(standing, step) == "Undone by: Head opened (08:10)."


def test_a_recheck_names_the_one_step_that_is_due(shop: Shop) -> None:
    standing = Standing(
        state=State.RECHECK,
        code="recheck-after-change",
        values={"change": "Moved", "at_ms": str(NOW.epoch_ms), "zone": NOW.zone, "by": "C01"},
    )
    said = shop.words.standing_sentence(standing, shop.workplace.catalogue.step("C03"))
    assert said == "After “Moved” (08:40) one reading is due: Ambient pressure, twice."


def test_what_aged_says_how_long_it_stood_and_until_when(shop: Shop) -> None:
    ended = str(NOW.plus(minutes=-5).epoch_ms)
    standing = Standing(state=State.EXPIRED, code="aged", values={"ended_ms": ended, "after_min": "10"})
    said = shop.words.standing_sentence(standing, shop.workplace.catalogue.step("F15"))
    assert said == "It stood for 10 min and ended at 08:35."


def test_a_limit_of_a_never_skipped_step_says_that_it_was_not_held_against_the_manual(shop: Shop) -> None:
    def origin() -> str:
        limit = next(one for step, one in limits_of(shop.workplace, shop.unit) if one.limit.id == "D02.purity")
        return shop.words.origin_text(limit)

    assert origin().endswith("not yet held against your manual")
    confirm_limits(shop.workplace, shop.unit, ("D02.purity",), source="manual, page 12", owner=shop.reader)
    assert origin() == "common practice (98 % or more to breathe, 99 % wished for calibration)"
    set_limit(shop.workplace, shop.unit, "D02.purity", "97", source="manual", owner=shop.reader, reason="no better gas")
    assert origin() == "set by owner (manual); loosened, because: no better gas"


def test_every_limit_can_be_told_in_words(shop: Shop) -> None:
    told = {limit.limit.id: shop.words.limit_text(limit) for _, limit in limits_of(shop.workplace, shop.unit)}
    assert told["D02.purity"] == "at least 98 %"
    assert told["C06.tolerance"] == "within 2 mV of the expected"
    assert told["D01.planned"] == "at least “The plan takes”"
    assert told["D17.minutes"] == "at least 1.5 times “Minutes planned”"
    assert told["W01.age"] == "at most 365 days ago"
    assert all(told.values())


def test_a_margin_of_nothing_is_inside_unless_the_limit_says_below(shop: Shop) -> None:
    limit = next(one for _, one in limits_of(shop.workplace, shop.unit) if one.limit.id == "D02.purity")
    at_limit = Finding(outcome=Outcome.NEAR, about="Oxygen", shown="98 %", limit=limit, margin=Decimal(0))
    beyond = Finding(outcome=Outcome.OUTSIDE, about="Oxygen", shown="97.9 %", limit=limit, margin=Decimal("-0.1"))
    assert shop.words.margin_text(at_limit) == "0 % inside"
    assert shop.words.margin_text(beyond) == "0.1 % outside"


def test_marks_name_the_step_that_they_belong_to(shop: Shop) -> None:
    assert shop.words.marks(("near limit", "loosened C06.tolerance", "loosened C06.x")) == (
        "near limit",
        "loosened limit",
    )


def test_a_part_without_a_serial_is_named_once(shop: Shop) -> None:
    titles = {shop.words.requirement_title(one) for one in shop.workplace.verdict(shop.unit).requirements()}
    assert "Intermediate pressure and creep, oxygen regulator" in titles
    assert any(title.startswith("Each sensor in air, oxygen sensor 1: sensor N-") for title in titles)


def test_readers_with_other_units_see_theirs_beside(shop: Shop) -> None:
    days.begin(shop.workplace, (shop.unit,), "dive-day", typed_by=shop.reader)
    shop.record("A14", start_bar="200", end_bar="199", wait_min="5")
    item = shop.requirement("A14").standing.item
    assert item is not None
    assert shop.words.item_text(item) == "Gauge after closing 200 bar · Gauge at the end 199 bar · Waited 5 min"
    us = Words(shop.workplace, Texts.load(), display_units="us")
    assert us.item_text(item).startswith("Gauge after closing 200 bar (2901 psi) · Gauge at the end 199 bar (2886 psi)")
