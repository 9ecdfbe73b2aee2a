"""The tutorial, followed word by word: its pages come in its order, its fields are there, and it ends in *ready* twice.

The readings are invented; the page says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

from loopworthy.bootstrap import memory_workplace
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.web.app import create_app
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.pages.unit import UnitPage
from loopworthy.doors.web.pages.work import Work, WorkRow
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.identity import short
from tests.web.conftest import MORNING
from tests.web.visitor import Answered, Form, Visitor

PAGE = (Path(__file__).parents[2] / "docs" / "tutorial" / "one-preparation.md").read_text(encoding="utf-8")
FIRST, SECOND = PAGE.split("\n## A sensor is replaced\n")
ROW = re.compile(r"^\| `([A-Z]\d\d)` \| (.+?) \| (.+?) \|$", re.MULTILINE)
AGO = re.compile(r"(?:in )?(\d+) (month|day)s?( ago)?")
SENSORS = 3


def table(text: str) -> dict[tuple[str, str], list[str]]:
    """Step and label to what is typed, a value a row."""
    return {(step, label): read.split(" · ") for step, label, read in ROW.findall(text)}


class Learner:
    """Somebody who does what the page says, in a browser."""

    def __init__(self) -> None:
        self.clock = WalkingClock(MORNING)
        self.workplace: Workplace = memory_workplace(clock=self.clock)
        self.visitor = Visitor(create_app(self.workplace))
        self.at = ""
        self.used: set[tuple[str, str]] = set()

    # --- setting up -------------------------------------------------------------------------------------------------

    def set_up(self) -> None:
        """Everything before the first page of the morning."""
        for name in ("Ilma", "Toke"):
            assert f"`{name}`" in FIRST
            self.visitor.send(self.visitor.get("/people").form("/people").fill(name=name))
        self._choose(self.visitor.get("/people").form("/people/me"), "person", "Ilma")
        form = self.visitor.get("/units/new").form("/units/new").fill(name="Tern", serial="T-1")
        self._choose(form, "configuration", "Electronic, on the back, three sensors")
        (unit,) = self.workplace.world.units()
        self.at = f"/unit/{short(unit)}"
        named = self.visitor.get(f"{self.at}/set-up").form(f"{self.at}/set-up")
        for place, serial in (
            *((f"oxygen-sensor-{number}", f"S-10{number}") for number in (1, 2, 3)),
            ("cylinder-oxygen", "C-1"),
            ("cylinder-diluent", "C-2"),
            ("cylinder-bailout-1", "C-3"),
        ):
            assert f"`{serial}`" in FIRST
            named.values[f"{place}-serial"] = [serial]
        self._choose(named, "diver-thing", "Ilma")
        tool = self.visitor.get("/instruments").form("/instruments").fill(name="Analyser 1")
        self._choose(tool, "use", "analyser")
        day = self.visitor.get(f"{self.at}/day").form(f"{self.at}/day")
        self.visitor.send(day, button=("act", "begin dive-day"))
        assert self.verdict() is Word.UNPROVEN
        limits = (
            self.visitor.get(f"{self.at}/limits").form(f"{self.at}/limits").fill(source="invented, for a rehearsal")
        )
        boxes = [one.get("value") for one in limits.element.all("input", name="limit")]
        assert len(boxes) == 20, "the page says twenty"
        limits.values["limit"] = boxes
        self.visitor.send(limits)

    def _choose(self, form: Form, name: str, words: str) -> None:
        """Choose by what is read beside it, and send."""
        form.values[name] = [_option(form, name, words)]
        assert self.visitor.send(form).status == 200

    # --- the morning ------------------------------------------------------------------------------------------------

    def verdict(self) -> Word:
        (unit,) = self.workplace.world.units()
        return self.workplace.verdict(unit).word

    def work(self, *readings: dict[tuple[str, str], list[str]]) -> Iterator[str]:
        """Go from page to page as the program leads; the titles in order."""
        answered = self.visitor.get(f"{self.at}/next")
        for _ in range(30):
            if not isinstance(answered.context, Work):
                assert isinstance(answered.context, UnitPage)
                return
            title = answered.context.title
            self.clock.advance(1)
            answered = self._fill(self.visitor.get(answered.address.partition("?")[0]), readings)
            assert answered.status == 200, f"{title}: {answered.text}"
            yield title
        raise AssertionError("the morning does not end")

    def _fill(self, answered: Answered, readings: tuple[dict[tuple[str, str], list[str]], ...]) -> Answered:
        context = answered.context
        form = answered.form(context.action)
        for step in context.steps:
            for order, row in enumerate(step.rows):
                prompts = row.timer.prompts if row.timer is not None else ()
                for field in (*row.fields, *row.more, *(one.field for one in prompts)):
                    self._type(form, step.id, row, order, field, readings)
        if context.who.second is not None:
            form.values[context.who.second.name] = [_option(form, context.who.second.name, "Toke")]
        if context.who.instrument is not None:
            form.values[context.who.instrument.name] = [_option(form, context.who.instrument.name, "Analyser 1")]
        if context.looked_again is not None:
            form.values[context.looked_again.name] = ["yes"]
        return self.visitor.send(form)

    def _type(
        self,
        form: Form,
        step: str,
        row: WorkRow,
        order: int,
        field: Field,
        readings: tuple[dict[tuple[str, str], list[str]], ...],
    ) -> None:
        key = (step, field.label)
        found = [one[key] for one in readings if key in one]
        if field.kind == "tick":
            form.values[field.name] = ["yes"]
            return
        if not found:
            assert not field.required, f"the page does not say what to type for {key}"
            return
        self.used.add(key)
        values = found[0] if len(found) == 1 or "S-117" in row.label else found[-1]
        place = re.search(r"oxygen sensor (\d)", row.label)
        index = int(place[1]) - 1 if place is not None and len(values) == SENSORS else min(order, len(values) - 1)
        form.values[field.name] = [self._typed(field, values[index], values[-1])]

    def _typed(self, field: Field, read: str, last: str) -> str:
        today = self.clock().local().date()
        if field.kind == "date":
            return _day(today, read).isoformat()
        if read == "the time now":
            return self.clock().local().strftime("%H:%M")
        if field.kind in ("choice", "select"):
            return {words: value for value, words in field.choices}[read]
        unit = "" if field.kind in ("text", "count") else field.unit
        if unit:
            assert last.endswith(f" {unit}"), f"{field.label} is read in {unit}"
        return read.removesuffix(f" {unit}") if unit else read


def _option(form: Form, name: str, words: str) -> str:
    """The value whose words begin so, in a list or among radio buttons."""
    for one in form.element.walk():
        if one.tag == "select" and one.get("name") == name:
            return next(option.get("value") for option in one.all("option") if option.text.startswith(words))
        if one.tag == "label" and one.text.startswith(words) and one.all("input", name=name):
            return one.all("input", name=name)[0].get("value")
    raise AssertionError(f"there is no {words} to choose")


def _day(today: date, words: str) -> date:
    if words == "today":
        return today
    found = AGO.fullmatch(words)
    assert found is not None, words
    days = int(found[1]) * (30 if found[2] == "month" else 1)
    return today - timedelta(days=days) if found[3] else today + timedelta(days=days)


def test_the_tutorial_leads_to_ready_and_back_to_it_after_a_replaced_sensor() -> None:
    learner = Learner()
    learner.set_up()
    morning = table(FIRST)
    titles = list(learner.work(morning))
    assert titles == re.findall(r"^### (.+)$", FIRST, re.MULTILINE)
    assert learner.verdict() is Word.READY
    assert learner.used == set(morning), "the page asks for fields that are not there"

    address = f"{learner.at}/change"
    asked = learner.visitor.get(f"{address}?change=sensor-replaced&position=oxygen-sensor-2&answer-head=no")
    assert "Oxygen sensor replaced" in asked.text
    assert learner.verdict() is Word.READY, "looking records nothing"
    form = next(Form(one) for one in asked.document.all("form") if one.all("select", name="oxygen-sensor-2-thing"))
    form.values["oxygen-sensor-2-thing"] = [_option(form, "oxygen-sensor-2-thing", "Another one")]
    form.values["oxygen-sensor-2-serial"] = ["S-117"]
    assert learner.visitor.send(form).status == 200
    assert learner.verdict() is Word.UNPROVEN
    learner.used.clear()
    way_back = list(learner.work(table(SECOND), morning))
    assert set(way_back) < set(titles)
    assert learner.verdict() is Word.READY
    assert set(table(SECOND)) <= learner.used
