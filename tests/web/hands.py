"""Hands that fill a work page in with the ordinary readings of an invented day, and count what they touch."""

from __future__ import annotations

from dataclasses import dataclass, field

from loopworthy.desk.demo.usual import usual_entry
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.pages.work import Work, WorkRow, WorkStep
from loopworthy.judgement.subjects import Subject, instrument_subject
from tests.web.conftest import Shop
from tests.web.visitor import Answered, Form, Visitor


@dataclass
class Hands:
    """Fills in what is outstanding on a page and presses its button.

    Attributes
    ----------
    pages : list of str
        Work pages that were filled in.
    values, taps : int
        Fields that were typed into or ticked; touches: one for each of them, two for each list that is chosen from, one
        for each button.
    """

    shop: Shop
    visitor: Visitor
    pages: list[str] = field(default_factory=list)
    values: int = 0
    taps: int = 0

    def do(self, answered: Answered, **otherwise: dict[str, str]) -> Answered:
        """Fill in one page; `otherwise` names by step the fields that read differently."""
        context = answered.context
        assert isinstance(context, Work), f"{answered.address} is no work page: {answered.template}"
        form = answered.form(context.action)
        for step in context.steps:
            for row in step.rows:
                self._fill_row(form, step, row, otherwise.get(step.id, {}))
        who = context.who
        if who.reader is not None and not form.values[who.reader.name][0]:
            self._choose(form, who.reader, self.shop.reader)
        if who.second is not None:
            self._choose(form, who.second, self.shop.second)
        if who.instrument is not None and not form.values[who.instrument.name][0]:
            self._choose(form, who.instrument, self.shop.analyser)
        if context.looked_again is not None:
            form.values[context.looked_again.name] = ["yes"]
            self.taps += 1
        self.taps += 1
        self.pages.append(context.title)
        return self.visitor.send(form)

    def _choose(self, form: Form, one: Field, value: str) -> None:
        form.values[one.name] = [value]
        self.taps += 2

    def _fill_row(self, form: Form, step: WorkStep, row: WorkRow, otherwise: dict[str, str]) -> None:
        prompts = row.timer.prompts if row.timer is not None else ()
        fields = [*row.fields, *row.more, *(prompt.field for prompt in prompts)]
        about = fields[0].name.split("|")[1]
        known = self.shop.workplace.catalogue.step(step.id)
        typed = usual_entry(known, self._subject(known.id, about), self.shop.day(), otherwise=otherwise)
        for name, text in typed.fields.items():
            one = known.input(name)
            assert one is not None
            if not text or (not one.required and one.kind.value == "file"):
                continue
            values = text.split() if prompts and name == "po2_each_minute" else [text]
            names = [prompt.field.name for prompt in prompts] if len(values) > 1 else [f"{step.id}|{about}|{name}"]
            for field_name, value in zip(names, values, strict=True):
                form.values[field_name] = [value]
                self.values += 1
                self.taps += 1

    def _subject(self, step: str, about: str) -> Subject:
        known = self.shop.workplace.catalogue.step(step)
        if known.scope.each == "instrument":
            return instrument_subject(self.shop.workplace.world, about)
        subjects = self.shop.workplace.bench().subjects_of(self.shop.unit, known)
        return next(one for one in subjects if about in (one.key, one.position))
