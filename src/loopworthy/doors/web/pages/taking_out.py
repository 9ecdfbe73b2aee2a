"""Taking a part out and leaving its place empty."""

from __future__ import annotations

from loopworthy.desk import taking_out as desk
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, select, text_field
from loopworthy.doors.web.frame import page_frame
from loopworthy.doors.web.in_thought import InThought, ThoughtUnit, said_in, told_units
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.pages.change_form import Picked, question_fields
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import signed_by, signing_fields
from loopworthy.judgement.catalogue.model import Change
from loopworthy.vocabulary.errors import LoopworthyError


def take_out(asked: Asked) -> Answer:
    """Say which part, see what falls, record that it was taken out."""
    problem = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            position = asked.form.get("position")
            change = desk.change_by_taking_out(asked.workplace, asked.unit, position)
            events = desk.take_out(
                asked.workplace,
                asked.unit,
                position,
                answers=_answers(asked, change),
                note=asked.form.get("note"),
                person=signed.person,
                occurred_at=signed.occurred_at,
                moment_confirmed=signed.moment_confirmed,
            )
            return SeeOther(address=asked.links.unit(asked.unit, done=(one.id for one in events)))
        except LoopworthyError as error:
            problem = error
    context = _context(asked, problem)
    return Page(template="in_thought.html", context=context, status=status_of(problem) if problem is not None else 200)


def _answers(asked: Asked, change: Change) -> dict[str, str]:
    given = {one.id: said_in(asked).get(f"answer-{one.id}") for one in change.questions}
    return {name: answer for name, answer in given.items() if answer}


def _context(asked: Asked, problem: LoopworthyError | None) -> InThought:
    unit, say, workplace = asked.unit, asked.say, asked.workplace
    source, telling = said_in(asked), Telling(asked.words)
    places = desk.removable(workplace, unit)
    position = source.get("position") if source.get("position") in {one.id for one in places} else ""
    choices = tuple(
        (
            one.id,
            say("taking_out.choice", place=one.title, name=telling.name(workplace.world.fitted(unit)[one.id].thing)),
        )
        for one in places
    )
    pick: tuple[Field, ...] = (select("position", say("taking_out.which"), choices, source, required=True),)
    kept: list[tuple[str, str]] = []
    said = [say("taking_out.said")]
    units: tuple[ThoughtUnit, ...] = ()
    if position:
        change = desk.change_by_taking_out(workplace, unit, position)
        answers = _answers(asked, change)
        pick = (*pick, *question_fields(asked, change, Picked(positions=(position,), answers=answers)))
        kept = [("position", position), *((f"answer-{name}", answer) for name, answer in answers.items())]
        said.append(say("taking_out.counts_as", change=change.title))
        units = told_units(asked, desk.preview_taking_out(workplace, unit, position, answers))
    return InThought(
        frame=page_frame(asked, say("taking_out.title"), unit=unit, place="change", problem=problem),
        said=tuple(said),
        action=asked.links.take_out(unit),
        pick=pick,
        pick_hidden=(),
        needs="" if position else say("taking_out.needs"),
        units=units,
        kept=tuple(kept),
        fields=(text_field("note", say("change.note"), source, kind="longtext"),),
        signing=signing_fields(asked, source, label=say("change.done_by"), question=question_about(asked, problem)),
        button=say("taking_out.record"),
        form="take-out",
        back_href=asked.links.unit(unit),
    )


ROUTES = (Door(path="/unit/{unit}/take-out", handler=take_out, methods=READ_AND_SEND),)
