"""Hands that type the ordinary readings of an invented day into the pages of a browser, and count what they touch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from random import Random
from typing import Any

from playwright.sync_api import Frame, Locator, Page

from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.usual import usual_entry
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.texts import Texts
from loopworthy.judgement.subjects import Subject, instrument_subject
from loopworthy.vocabulary.identity import ThingId

say = Texts.load().say

FIELDS_OF_A_WORK_PAGE = """
form => [...form.elements].filter(one => {
    const fold = one.closest("details");
    return one.name.split("|").length === 3 && !one.disabled && !["hidden", "file"].includes(one.type)
        && !(fold && fold.querySelector(".step"));  // what counts already lies in a fold with its step
}).map(one => ({ name: one.name, type: one.type, value: one.value, folded: !!one.closest("details:not([open])") }))
"""
"""Every field that can be typed into and is not sent by a timer, in the order of the page."""


@dataclass
class Hands:
    """Somebody at a phone, who has read everything and now types it.

    Attributes
    ----------
    page : Page or Frame
        A tab, or the frame of a phone's shell.
    workplace : Workplace
        The same record, open beside the server, from which the readings of the day are made up.
    reader, second : str
        Names of who reads, and of the second person of two-person steps.
    chance : Random
        Where the last digits come from.
    taps, values : int
        Touches: one for each field, box and button, two for each list that is chosen from; fields among them that hold
        a reading.
    pages : list of str
        Titles of the work pages that were sent.
    touch : bool
        Whether it is a screen that is touched; a mouse otherwise.
    """

    page: Page | Frame
    workplace: Workplace
    unit: ThingId
    reader: str
    second: str
    chance: Random = field(default_factory=lambda: Random(11))
    taps: int = 0
    values: int = 0
    pages: list[str] = field(default_factory=list)
    touch: bool = True

    def day(self) -> Circumstances:
        """The circumstances of this moment."""
        configuration = self.workplace.world.configuration(self.unit)
        assert configuration is not None
        return Circumstances(
            world=self.workplace.world,
            unit=self.unit,
            configuration=configuration,
            today=self.workplace.now().local().date(),
            chance=self.chance,
        )

    # --- touching ---------------------------------------------------------------------------------------------------

    def tap(self, what: Locator) -> None:
        """Touch it."""
        if self.touch:
            what.tap()
        else:
            what.click()
        self.taps += 1

    def go(self, what: Locator) -> None:
        """Touch it, and wait for the page that it leads to.

        A page that notes something in its place in the history counts as navigated for the browser, so the leaving of
        the page is watched instead.
        """
        self.page.evaluate("document.documentElement.dataset.stillHere = ''")
        self.tap(what)
        self.page.locator("html:not([data-still-here])").wait_for(state="attached")
        self.page.wait_for_load_state()

    def type(self, what: Locator, text: str) -> None:
        """Touch a field and type."""
        what.fill(text)
        self.taps += 1

    def choose(self, what: Locator, label: str) -> None:
        """Choose from a list."""
        what.select_option(label=label)
        self.taps += 2

    def named(self, name: str) -> Locator:
        """A field of the page by its name."""
        return self.page.locator(f'main [name="{name}"]')

    # --- a work page ------------------------------------------------------------------------------------------------

    def do(self, otherwise: Mapping[str, Mapping[str, str]] | None = None) -> None:
        """Type everything that the work page asks, say who read it, and send it.

        Parameters
        ----------
        otherwise : mapping, optional
            Step to the fields that read otherwise than on an ordinary day.
        """
        form = self.page.locator("main form[data-draft]")
        entries: dict[tuple[str, str], dict[str, list[dict[str, Any]]]] = {}
        for one in form.evaluate(FIELDS_OF_A_WORK_PAGE):
            step, about, name = one["name"].split("|")
            entries.setdefault((step, about), {}).setdefault(name.partition(".")[0], []).append(one)
        for (step, about), fields in entries.items():
            self._enter(step, about, fields, (otherwise or {}).get(step, {}))
        self._say_who()
        self.pages.append(self.page.locator("h1").inner_text())
        self.go(form.get_by_role("button", name=say("work.record")))

    def _enter(
        self, step_id: str, about: str, fields: dict[str, list[dict[str, Any]]], otherwise: Mapping[str, str]
    ) -> None:
        step = self.workplace.catalogue.step(step_id)
        typed = usual_entry(step, self._subject(step_id, about), self.day(), otherwise=otherwise)
        for name, text in typed.fields.items():
            boxes = fields.get(name, [])
            texts = text.split() if len(boxes) > 1 and boxes[0]["type"] == "text" else [text] * len(boxes)
            for box, one in zip(boxes, texts, strict=True):
                self._put(box, one)

    def _put(self, box: dict[str, Any], text: str) -> None:
        what = self.named(box["name"])
        if box["folded"]:
            fold = self.page.locator(f'main details:not([open]):has([name="{box["name"]}"]) > summary')
            if fold.count():
                self.tap(fold)
        if box["type"] == "radio":
            if box["value"] == text:
                self.tap(self.page.locator(f'main label:has([name="{box["name"]}"][value="{text}"])'))
                self.values += 1
            return
        if box["type"] == "checkbox":
            self.tap(self.page.locator(f'main label:has([name="{box["name"]}"])'))
        elif box["type"] == "select-one":
            return  # units and fineness stand as they are proposed
        else:
            self.type(what, text)
        self.values += 1

    def _subject(self, step_id: str, about: str) -> Subject:
        step = self.workplace.catalogue.step(step_id)
        if step.scope.each == "instrument":
            return instrument_subject(self.workplace.world, about)
        subjects = self.workplace.bench().subjects_of(self.unit, step)
        return next(one for one in subjects if about in (one.key, one.position))

    def _say_who(self) -> None:
        read_by = self.named("read_by")
        if not read_by.input_value():
            self.choose(read_by, self.reader)
        if self.named("second").count():
            self.choose(self.named("second"), self.second)
        looked_again = self.page.locator('main label:has([name="looked_again"])')
        if looked_again.count():
            self.tap(looked_again)
