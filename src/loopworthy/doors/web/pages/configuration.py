"""How a unit is built: every answer at once, with what another answer would bring and take away."""

from __future__ import annotations

from loopworthy.desk.changes import Declared, preview_configuration, reconfiguring, record_change
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, select, text_field
from loopworthy.doors.web.frame import page_frame
from loopworthy.doors.web.in_thought import InThought, ThoughtUnit, said_in, told_units
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import signed_by, signing_fields
from loopworthy.unit.axes import axes
from loopworthy.unit.configuration import Configuration, configuration_from_choices
from loopworthy.vocabulary.errors import LoopworthyError, RefusedError

SENT = "chosen"
"""Says that answers were sent: a box that is not ticked is an answer too."""


def configuration(asked: Asked) -> Answer:
    """Change answers, see what follows, record it."""
    known = asked.workplace.world.configuration(asked.unit)
    if known is None:
        raise RefusedError(asked.say("change.no_configuration"), next_step=asked.say("change.one_way_step"))
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            chosen = _chosen(asked.form, known)
            declared = Declared(
                change=reconfiguring(asked.workplace).id, configuration=chosen, note=asked.form.get("note")
            )
            events = record_change(
                asked.workplace,
                asked.unit,
                declared,
                person=signed.person,
                occurred_at=signed.occurred_at,
                moment_confirmed=signed.moment_confirmed,
            )
            return SeeOther(address=asked.links.unit(asked.unit, done=(events[0].id,)))
        except LoopworthyError as error:
            problem = error
    return _page(asked, known, problem)


def _chosen(source: Form, known: Configuration) -> Configuration:
    choices: dict[str, object] = {}
    for axis in axes().values():
        if axis.several:
            choices[axis.id] = [one.id for one in axis.options if source.ticked(f"{axis.id}.{one.id}")]
        else:
            choices[axis.id] = source.get(axis.id)
    return configuration_from_choices(known.name, source.get("title") or known.title, choices)


def _page(asked: Asked, known: Configuration, problem: LoopworthyError | None) -> Page:
    say, source = asked.say, said_in(asked)
    sent = bool(source.get(SENT))
    units: tuple[ThoughtUnit, ...] = ()
    needs = say("configuration.needs")
    if sent:
        try:
            chosen = _chosen(source, known)
            if (chosen.title, dict(chosen.choices)) != (known.title, dict(known.choices)):
                units, needs = told_units(asked, preview_configuration(asked.workplace, asked.unit, chosen)), ""
        except LoopworthyError as error:
            problem = problem or error
    context = InThought(
        frame=page_frame(asked, say("configuration.title"), unit=asked.unit, place="change", problem=problem),
        said=(say("configuration.said"),),
        action=asked.links.configuration(asked.unit),
        pick=(
            text_field("title", say("configuration.name"), source, value=known.title),
            *_fields(source, known, sent=sent),
        ),
        pick_hidden=((SENT, "yes"),),
        needs=needs,
        units=units,
        kept=tuple((name, source.get(name)) for name in (SENT, "title", *_names()) if source.get(name)),
        fields=(text_field("note", say("change.note"), source, kind="longtext"),),
        signing=signing_fields(asked, source, label=say("change.done_by"), question=question_about(asked, problem)),
        button=say("configuration.record"),
        form="configuration",
        back_href=asked.links.parts(asked.unit),
    )
    return Page(template="in_thought.html", context=context, status=status_of(problem) if problem is not None else 200)


def _names() -> list[str]:
    return [name for axis in axes().values() for name in _names_of(axis.id)]


def _names_of(axis_id: str) -> list[str]:
    axis = axes()[axis_id]
    return [f"{axis.id}.{one.id}" for one in axis.options] if axis.several else [axis.id]


def _fields(source: Form, known: Configuration, *, sent: bool) -> list[Field]:
    fields: list[Field] = []
    for axis in axes().values():
        now = known.chosen(axis.id)
        if not axis.several:
            choices = tuple((one.id, one.title) for one in axis.options)
            title = axis.title[:1].upper() + axis.title[1:]
            fields.append(select(axis.id, title, choices, source, chosen=now[0] if now else "", help=axis.why))
            continue
        for one in axis.options:
            name = f"{axis.id}.{one.id}"
            ticked = source.ticked(name) if sent else one.id in now
            label = f"{axis.title[:1].upper()}{axis.title[1:]}: {one.title}"
            fields.append(Field(name=name, label=label, kind="tick", value="yes" if ticked else None))
    return fields


ROUTES = (Door(path="/unit/{unit}/configuration", handler=configuration, methods=READ_AND_SEND),)
