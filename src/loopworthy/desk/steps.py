"""Doing steps: what a work page asks of a unit, and recording what was typed on it as one whole.

What a reading rests on (the day's pressure, the analysis of the oxygen, the air reading of the same sensor) is found
and recorded with it, so that it falls with them if they turn out wrong.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import msgspec

from loopworthy.desk.entry import Typed, read_entry
from loopworthy.desk.late import OCCURRED_AT, check_moment
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Book, Item
from loopworthy.judgement.catalogue.model import Page, Step
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.outcome import EffectiveLimit
from loopworthy.judgement.standing import SURROUNDINGS_HOLD_MS, Bench, Standing
from loopworthy.judgement.subjects import Subject, instrument_subject
from loopworthy.judgement.verdict import open_holds
from loopworthy.record.chain import Draft
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class StepEntry:
    """One step for one subject, as a page asks for it.

    Attributes
    ----------
    standings : tuple of (str, Standing)
        For each kind of evidence that the step makes, how it stands now.
    last : Item or None
        The last reading that was recorded for it, to be shown beside, never filled in.
    """

    step: Step
    subject: Subject
    label: str
    limits: tuple[EffectiveLimit, ...]
    standings: tuple[tuple[str, Standing], ...]
    last: Item | None

    @property
    def about(self) -> str:
        """What names the subject in a form."""
        return self.subject.key or self.subject.position


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkPage:
    """Steps that are done and entered together on a unit."""

    page: Page
    entries: tuple[StepEntry, ...]
    needs_second: bool
    asks_instrument: bool


def applicable_pages(workplace: Workplace, unit: ThingId) -> tuple[Page, ...]:
    """Pages of which at least one step applies to the unit's configuration, in the order of the day."""
    configuration = workplace.world.configuration(unit)
    if configuration is None:
        return ()
    used = {step.page for step in workplace.catalogue.steps.values() if step.when.holds(configuration)}
    return tuple(page for page in workplace.catalogue.pages if page.id in used)


def work_page(workplace: Workplace, unit: ThingId, page_id: str, *, on_request: bool = False) -> WorkPage:
    """What a page asks of a unit now.

    Parameters
    ----------
    on_request : bool
        Whether to show also the steps that are only asked on request.
    """
    page = next((one for one in workplace.catalogue.pages if one.id == page_id), None)
    if page is None:
        raise UnknownNameError("page", page_id, tuple(one.id for one in workplace.catalogue.pages))
    asked = {requirement.step.id for requirement in workplace.verdict(unit).requirements()}
    return _work_page(workplace, workplace.bench(), unit, page, asked, on_request=on_request)


def work_pages(workplace: Workplace, unit: ThingId, pages: Iterable[Page]) -> tuple[WorkPage, ...]:
    """What several pages ask of a unit now, from one look at its evidence."""
    asked = {requirement.step.id for requirement in workplace.verdict(unit).requirements()}
    bench = workplace.bench()
    return tuple(_work_page(workplace, bench, unit, page, asked, on_request=False) for page in pages)


def _work_page(
    workplace: Workplace, bench: Bench, unit: ThingId, page: Page, asked: set[str], *, on_request: bool
) -> WorkPage:
    configuration = workplace.world.configuration(unit)
    if configuration is None:
        raise RefusedError(f"{workplace.name(unit)} has no configuration", next_step="Choose one first")
    entries: list[StepEntry] = []
    order = workplace.catalogue.order
    for step in sorted(workplace.catalogue.steps.values(), key=lambda one: order[one.id]):
        if step.page != page.id or not step.when.holds(configuration):
            continue
        if step.on_request and step.id not in asked and not on_request:
            continue
        entries.extend(_entries(workplace, bench, unit, step))
    return WorkPage(
        page=page,
        entries=tuple(entries),
        needs_second=any(one.step.two_person for one in entries),
        asks_instrument=any(needs_instrument(workplace, one.step) for one in entries),
    )


def needs_instrument(workplace: Workplace, step: Step) -> bool:
    """Whether a reading of the step is worth no more than the instrument it was made with."""
    if step.scope.each == "instrument":
        return True
    return any(
        maker.scope.each == "instrument" for kind in step.after for maker in workplace.catalogue.steps_making[kind]
    )


def _entries(workplace: Workplace, bench: Bench, unit: ThingId, step: Step) -> Iterable[StepEntry]:
    limits = tuple(bench.limits(unit, step).values())
    abouts = bench.subjects_of(unit, step)
    if step.scope.each == "instrument":
        abouts = tuple(
            instrument_subject(workplace.world, one.id)
            for one in workplace.world.of_kind("instrument")
            if one.attributes.get("instrument") in step.scope.places
        )
    for subject in abouts:
        history = bench.book.of(step.id, subject.key) if subject.key else []
        yield StepEntry(
            step=step,
            subject=subject,
            label=label_of(workplace, unit, subject),
            limits=limits,
            standings=tuple((kind, bench.standing(unit, step, kind, subject)) for kind in step.makes),
            last=history[-1] if history else None,
        )


def label_of(workplace: Workplace, unit: ThingId, subject: Subject) -> str:
    """What a subject is called on a page: its position and its serial."""
    world = workplace.world
    titles = {one.id: one.title for one in world.positions(unit)}
    place = titles.get(subject.position, "")
    if subject.missing == "part":
        return place
    if not subject.position:
        return workplace.name(subject.things[0]) if subject.things else ""
    carrier = subject.things[-1] if subject.missing == "content" or len(subject.things) == 2 else subject.things[0]
    part = subject.things[0] if "~" in subject.key else carrier
    if world.thing(part).kind == "person":
        return workplace.name(part)
    label = world.label(part)
    return place if label == place else f"{place}: {label}"


def record_steps(
    workplace: Workplace,
    unit: ThingId,
    typed: Iterable[Typed],
    *,
    read_by: ThingId,
    typed_by: ThingId = "",
    second: ThingId = "",
    single_handed: bool = False,
    instruments: tuple[ThingId, ...] = (),
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> tuple[Event, ...]:
    """Record what was typed, all or nothing; blank entries are left out.

    Parameters
    ----------
    read_by, typed_by : str
        Who read it, and who typed it if somebody else did.
    second, single_handed : str, bool
        The second person of two-person steps, or the statement that there was none.
    instruments : tuple of str
        What it was read with, for steps that rest on an instrument.
    occurred_at : Moment, optional
        When it was read, if not now (late entry from paper).
    moment_confirmed : bool
        Whether somebody looked again at that moment and says that it was then.

    Raises
    ------
    InputError
        If anything cannot be accepted; nothing is recorded then.
    LateMomentError
        If the moment has to be looked at again.
    RefusedError
        If the unit is frozen, or a two-person step names no second person and does not say single-handed.
    """
    entries = [one for one in typed if not one.is_blank]
    if not entries:
        raise InputError("entries", "nothing", "at least one reading", next_step="Fill in what you have read")
    if not read_by:
        raise InputError(
            "read_by", read_by, "the person who read it", next_step="Choose who you are; no name, no evidence"
        )
    now = workplace.now()
    moment = occurred_at or now
    check_moment(workplace, occurred_at, units=(unit,), confirmed=moment_confirmed)
    refuse_if_frozen(workplace, unit)
    filing = _Filing(workplace, unit, moment)
    prepared = [filing.prepare(one, second, read_by, single_handed, instruments) for one in entries]
    things = dict.fromkeys(thing for one in prepared for thing in one.subject.things)
    asked = check_moment(workplace, occurred_at, units=(unit,), things=things, confirmed=moment_confirmed)
    prepared.sort(key=lambda one: workplace.catalogue.order[one.step.id])  # what others rest on is recorded first
    with workplace.writer(now).batch() as batch:
        for one in prepared:
            payload = filing.payload(one)
            if asked:
                payload = msgspec.structs.replace(payload, confirmed_odd=(*payload.confirmed_odd, OCCURRED_AT))
            subjects = one.subject.things
            event = batch.add(
                Draft(
                    kind="judgement.evidence-recorded",
                    payload=payload,
                    subjects=subjects,
                    occurred_at=moment,
                    read_by=read_by,
                    typed_by=typed_by or read_by,
                )
            )
            filing.added(one, event, payload)
        return batch.events


def refuse_if_frozen(workplace: Workplace, unit: ThingId) -> None:
    """Nothing may change on a unit after an incident until the hold is released.

    Raises
    ------
    RefusedError
        If the unit is frozen.
    """
    for hold in open_holds(workplace.book(), workplace.catalogue, unit, workplace.now()):
        if hold.freezes:
            raise RefusedError(
                f"{workplace.name(unit)} is frozen: {hold.words}",
                next_step="Leave everything as it is; a second person can release it",
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Prepared:
    step: Step
    subject: Subject
    payload: EvidenceRecorded


class _Filing:
    """Finds what each reading rests on, among what is on record and what is being recorded with it."""

    def __init__(self, workplace: Workplace, unit: ThingId, moment: Moment) -> None:
        self.workplace = workplace
        self.unit = unit
        self.moment = moment
        self.book: Book = workplace.book()
        self.bench = Bench(self.book, workplace.catalogue, moment)
        self.fresh: dict[tuple[str, str], EventId] = {}
        self.fresh_context: dict[str, Reading] = {}

    def prepare(
        self, typed: Typed, second: ThingId, reader: ThingId, single_handed: bool, instruments: tuple[ThingId, ...]
    ) -> _Prepared:
        step = self.workplace.catalogue.step(typed.step)
        configuration = self.workplace.world.configuration(self.unit)
        if configuration is None or not step.when.holds(configuration):
            raise RefusedError(f"Step {step.id} does not apply to this configuration")
        subject = self._subject(step, typed.about)
        entered = read_entry(step, typed)
        with_second = step.two_person
        if with_second and not second and not single_handed:
            raise InputError(
                "second",
                second,
                "the second person of a two-person step",
                next_step="Name them, or say single-handed; never invent a second name",
            )
        if with_second and second and second == reader:
            raise InputError("second", self.workplace.name(second), "somebody else than the reader")
        used_instruments: tuple[ThingId, ...] = ()
        if needs_instrument(self.workplace, step):
            used_instruments = subject.things if step.scope.each == "instrument" else instruments
            if not used_instruments:
                raise InputError(
                    "instruments", (), "the instrument it was read with", next_step="Choose it, or add it first"
                )
        payload = EvidenceRecorded(
            unit=self.unit,
            step=step.id,
            subject=subject.key,
            position=subject.position,
            readings=entered.readings,
            answers=entered.answers,
            traces=entered.traces,
            files=entered.files,
            instruments=used_instruments,
            second=second if with_second and not single_handed else "",
            single_handed=with_second and single_handed,
            confirmed_odd=entered.confirmed_odd,
            note=wording.note("note", typed.note),
        )
        for one in step.inputs:
            if one.context and one.name in entered.readings:
                self.fresh_context[one.context] = entered.readings[one.name][0]
        return _Prepared(step=step, subject=subject, payload=payload)

    def _subject(self, step: Step, about: str) -> Subject:
        if step.scope.each == "instrument":
            return instrument_subject(self.workplace.world, about)
        found = next((one for one in self.bench.subjects_of(self.unit, step) if about in (one.key, one.position)), None)
        if found is None:
            raise UnknownNameError("subject", about, next_step=f"Open the page of step {step.id} again")
        if found.missing:
            titles = {one.id: one.title for one in self.workplace.world.positions(self.unit)}
            raise RefusedError(
                f"{titles.get(found.position, found.position)}: nothing is recorded there, so there is nothing to read",
                next_step="Say first which part is fitted",
            )
        return found

    def payload(self, prepared: _Prepared) -> EvidenceRecorded:
        """The payload with what it rests on and the surroundings it was made in."""
        return msgspec.structs.replace(
            prepared.payload, used=self._used(prepared), context=self._context(prepared.step)
        )

    def added(self, prepared: _Prepared, event: EventId, payload: EvidenceRecorded) -> None:
        """What was just recorded may be rested on by what follows on the same page."""
        self.fresh[prepared.step.id, prepared.subject.key] = event

    def _used(self, prepared: _Prepared) -> tuple[EventId, ...]:
        found: list[EventId] = []
        for step_id in prepared.step.uses:
            step = self.workplace.catalogue.steps[step_id]
            if step.scope.each == "instrument":
                abouts = tuple(instrument_subject(self.workplace.world, one) for one in prepared.payload.instruments)
            else:
                abouts = self.bench.subjects_of(self.unit, step)
            own = [one for one in abouts if set(one.things) & set(prepared.subject.things)]
            wanted = own if own and prepared.subject.key != self.unit else abouts
            for about in wanted:
                event = self.fresh.get((step_id, about.key)) or self._latest(step_id, about.key)
                if event:
                    found.append(event)
        return tuple(dict.fromkeys(found))

    def _latest(self, step: str, key: str) -> EventId:
        items = [
            one
            for one in self.book.of(step, key)
            if one.event not in self.book.withdrawals and one.occurred_ms <= self.moment.epoch_ms
        ]
        return max(items, key=lambda one: (one.occurred_ms, one.order)).event if items else ""

    def _context(self, step: Step) -> dict[str, Reading]:
        wanted = {name for kind in step.makes for name in self.workplace.catalogue.evidence[kind].context}
        found = {}
        for name in sorted(wanted):
            fresh = self.fresh_context.get(name)
            if fresh is not None:
                found[name] = fresh
                continue
            known = self.book.context_at(self.unit, name, self.moment.epoch_ms)
            if known is not None and self.moment.epoch_ms - known.occurred_ms <= SURROUNDINGS_HOLD_MS:
                found[name] = known.reading
        return found
