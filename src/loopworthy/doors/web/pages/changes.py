"""“I changed something”: pick what happened, see what falls before anything is saved, say what is there now.

Every step is a page of its own address, so it works with scripts off; with scripts on what falls is shown again in
place as soon as something else is picked.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import changes as desk
from loopworthy.desk.changes import Declared
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.pages.change_form import (
    Arrival,
    Picked,
    Place,
    arrivals_of,
    asks_instrument,
    configuration_fields,
    declared_by,
    is_picked,
    picked_in,
    picks_several,
    places_of,
    question_fields,
)
from loopworthy.doors.web.pages.change_list import choosing
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.judgement.catalogue.model import Change, Effect
from loopworthy.judgement.preview import Fall, Preview
from loopworthy.unit.positions import part_kind
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class FallRow:
    """Evidence of one step that would fall alike.

    Attributes
    ----------
    title : str
        The step.
    about : tuple of str
        What each piece is about; empty for the whole unit.
    """

    title: str
    about: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """One reading that brings evidence back, and what it brings back."""

    by: str
    rows: tuple[FallRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """Evidence that would turn out never to have been true."""

    title: str
    detail: str
    at_text: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Falls:
    """What a change would do.

    Attributes
    ----------
    void : tuple of FallRow
    void_count, recheck_count : int
        Pieces of evidence.
    restored : tuple of Restored
    wrong : tuple of Wrong
    dives : tuple of str
        Dives made since the first piece that would be proved wrong.
    hold : str
        Words of the hold that it opens; '' for none.
    worst : tuple of str
        Questions that nobody answered, each with the answer that counts.
    """

    void: tuple[FallRow, ...]
    void_count: int
    restored: tuple[Restored, ...]
    recheck_count: int
    wrong: tuple[Wrong, ...]
    dives: tuple[str, ...]
    hold: str
    worst: tuple[str, ...]

    @property
    def nothing(self) -> bool:
        """Whether nothing that counts now would fall."""
        return not (self.void or self.restored or self.wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class Saving:
    """The form that records it.

    Attributes
    ----------
    kept : tuple of (str, str)
        What the first step said, sent again.
    arrivals : tuple of Arrival
    configuration : tuple of Field
    note : Field
    signing : Signing
    """

    kept: tuple[tuple[str, str], ...]
    arrivals: tuple[Arrival, ...]
    configuration: tuple[Field, ...]
    note: Field
    signing: Signing


@dataclass(frozen=True, slots=True, kw_only=True)
class OneChange:
    """One change: where, questions, what falls, and the form that records it.

    Attributes
    ----------
    frame : Frame
    id, title, keeps, source : str
        The change; what stays; where its effects come from.
    legend, place_name : str
        What to pick, and its name in the form.
    places : tuple of Place
        Empty where the whole unit is meant.
    several : bool
    needs : str
        What has still to be picked before anything falls; '' when all is said.
    questions : tuple of Field
    falls : Falls or None
    saving : Saving or None
    action, back_href, catalogue_href : str
    """

    frame: Frame
    id: str
    title: str
    keeps: str
    source: str
    legend: str
    place_name: str
    places: tuple[Place, ...]
    several: bool
    needs: str
    questions: tuple[Field, ...]
    falls: Falls | None
    saving: Saving | None
    action: str
    back_href: str
    catalogue_href: str


def one_change(asked: Asked, change: Change, form: Form, problem: LoopworthyError | None = None) -> OneChange:
    """A change with what was said of it so far.

    Parameters
    ----------
    form : Form
        The query of the step before, or the form that was refused.
    """
    unit, say = asked.unit, asked.say
    picked = picked_in(asked, unit, change, form, kept=asked.posts)
    places = places_of(asked, unit, change, picked)
    enough = is_picked(change, picked, places)
    falls = saving = None
    if enough:
        declared = Declared(change=change.id, positions=picked.positions, things=picked.things, answers=picked.answers)
        seen = desk.preview(asked.workplace, unit, declared)
        falls = falls_of(asked, change, picked, seen)
        saving = _saving(asked, unit, change, picked, form, problem)
    part = part_kind(change.part).title if change.part else ""
    needs = say("change.pick_two") if change.does == "swaps parts" else say("change.pick_one", part=part)
    return OneChange(
        frame=page_frame(asked, change.title, unit=unit, place="change", problem=problem),
        id=change.id,
        title=change.title,
        keeps=change.keeps,
        source=change.source,
        legend=say("change.legend_instrument") if asks_instrument(change) else say("change.legend", part=part),
        place_name="thing" if asks_instrument(change) else "position",
        places=places,
        several=picks_several(change),
        needs="" if enough else needs,
        questions=question_fields(asked, change, picked),
        falls=falls,
        saving=saving,
        action=asked.links.change(unit),
        back_href=asked.links.change(unit),
        catalogue_href=asked.links.catalogue_entry("changes", change.id),
    )


def _saving(
    asked: Asked, unit: ThingId, change: Change, picked: Picked, form: Form, problem: LoopworthyError | None
) -> Saving:
    kept = [("kept-position", one) for one in picked.positions]
    kept += [("kept-thing", one) for one in picked.things]
    kept += [(f"kept-answer-{question}", answer) for question, answer in picked.answers.items()]
    wrong = getattr(problem, "name", "")
    errors = {wrong: told(asked, problem)} if problem is not None and wrong in ("person", "occurred_at") else {}
    if question_about(asked, problem):
        errors = {}
    return Saving(
        kept=tuple(kept),
        arrivals=arrivals_of(asked, unit, change, picked, form),
        configuration=configuration_fields(asked, unit, form) if change.does == "reconfigures" else (),
        note=text_field("note", asked.say("change.note"), form, kind="longtext"),
        signing=signing_fields(
            asked, form, label=asked.say("change.done_by"), errors=errors, question=question_about(asked, problem)
        ),
    )


def falls_of(asked: Asked, change: Change, picked: Picked, seen: Preview) -> Falls:
    """What a change would do, in words."""
    void = [one for one in seen.falls if one.effect is Effect.VOID]
    recheck = [one for one in seen.falls if one.effect is Effect.RECHECK]
    by: dict[str, list[Fall]] = {}
    for fall in recheck:
        by.setdefault(fall.by or fall.step.id, []).append(fall)
    telling = Telling(asked.words)
    first_ms = min((one.occurred_ms for one in seen.proved_wrong), default=None)
    return Falls(
        void=_rows(asked, void),
        void_count=len({(one.step.id, one.subject.key) for one in void}),
        restored=tuple(Restored(by=telling.step(step), rows=_rows(asked, falls)) for step, falls in by.items()),
        recheck_count=len({(one.step.id, one.subject.key) for one in recheck}),
        wrong=tuple(
            Wrong(
                title=telling.step(one.step),
                detail=asked.words.item_text(one),
                at_text=asked.words.clock.when(one.occurred_ms),
                href=asked.links.event(one.event),
            )
            for one in seen.proved_wrong
        ),
        dives=_dives_since(asked, first_ms) if first_ms is not None else (),
        hold=seen.hold,
        worst=tuple(
            asked.say("change.unanswered", question=one.text, answer=one.worst)
            for one in change.questions
            if one.id not in picked.answers
        ),
    )


def _rows(asked: Asked, falls: list[Fall]) -> tuple[FallRow, ...]:
    by_step: dict[str, dict[str, Fall]] = {}
    for fall in falls:
        by_step.setdefault(fall.step.id, {}).setdefault(fall.subject.key, fall)
    telling, rows = Telling(asked.words), []
    order = asked.workplace.catalogue.order
    for step in sorted(by_step, key=lambda one: order[one]):
        labels = (asked.words.subject_label(one.subject) for one in by_step[step].values())
        rows.append(FallRow(title=telling.step(step), about=tuple(label for label in labels if label)))
    return tuple(rows)


def _dives_since(asked: Asked, first_ms: int) -> tuple[str, ...]:
    book = asked.workplace.book()
    ended = sorted(
        (dive.ended_ms, unit) for unit, dives in book.dives_ended.items() for dive in dives if dive.ended_ms >= first_ms
    )
    return tuple(f"{asked.workplace.name(unit)}, {asked.words.clock.when(ended_ms)}" for ended_ms, unit in ended)


# --- addresses ------------------------------------------------------------------------------------------------------


def change(asked: Asked) -> Answer:
    """Choose a change, see what it does, record it."""
    if asked.posts:
        return _record(asked)
    name = asked.query.get("change")
    if not name:
        return Page(template="change_list.html", context=choosing(asked))
    return Page(template="change.html", context=one_change(asked, asked.workplace.catalogue.change(name), asked.query))


def _record(asked: Asked) -> Answer:
    unit = asked.unit
    chosen = asked.workplace.catalogue.change(asked.form.get("change"))
    try:
        signed = signed_by(asked)
        declared = declared_by(asked, unit, chosen)
        events = desk.record_change(
            asked.workplace,
            unit,
            declared,
            person=signed.person,
            occurred_at=signed.occurred_at,
            moment_confirmed=signed.moment_confirmed,
        )
    except LoopworthyError as problem:
        context = one_change(asked, chosen, asked.form, problem)
        return Page(template="change.html", context=context, status=status_of(problem))
    return SeeOther(address=asked.links.unit(unit, done=(events[0].id,)))


ROUTES = (Door(path="/unit/{unit}/change", handler=change, methods=READ_AND_SEND),)
