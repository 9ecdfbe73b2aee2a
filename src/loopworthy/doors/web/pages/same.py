"""Saying that two identities are one thing."""

from __future__ import annotations

from loopworthy.desk import sameness as desk
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import select, text_field
from loopworthy.doors.web.frame import page_frame
from loopworthy.doors.web.in_thought import InThought, ThoughtUnit, said_in, told_units
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import signed_by, signing_fields
from loopworthy.unit.positions import PART_KINDS
from loopworthy.unit.things import Thing
from loopworthy.vocabulary.errors import LoopworthyError


def same(asked: Asked) -> Answer:
    """Say which two, see what would be otherwise, record it."""
    problem = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            event = desk.declare_same(
                asked.workplace,
                asked.form.get("one"),
                asked.form.get("other"),
                note=asked.form.get("note"),
                person=signed.person,
            )
            return SeeOther(address=asked.links.event(event))
        except LoopworthyError as error:
            problem = error
    context = _context(asked, problem)
    if problem is None and context.frame.problem:
        return Page(template="in_thought.html", context=context, status=422)
    return Page(template="in_thought.html", context=context, status=status_of(problem) if problem is not None else 200)


def _context(asked: Asked, problem: LoopworthyError | None) -> InThought:
    say, source, world = asked.say, said_in(asked), asked.workplace.world
    known = {one.id for one in world.things.values()}
    one = world.canonical(source.get("one")) if source.get("one") in known else ""
    other = source.get("other") if source.get("other") in known else ""
    first = tuple((thing.id, _named(asked, thing)) for thing in _all(asked))
    pick = [select("one", say("same.one"), first, source, chosen=one, required=True)]
    units: tuple[ThoughtUnit, ...] = ()
    if one:
        others = tuple((thing.id, _named(asked, thing)) for thing in desk.may_be_same(asked.workplace, one))
        pick.append(select("other", say("same.other"), others, source, required=True))
    if one and other:
        try:
            units = told_units(asked, desk.preview_same(asked.workplace, one, other))
        except LoopworthyError as error:
            problem, other = problem or error, ""
    return InThought(
        frame=page_frame(asked, say("same.title"), problem=problem),
        said=(say("same.said"), say("same.for_good")),
        action=asked.links.same(),
        pick=tuple(pick),
        pick_hidden=(),
        needs="" if one and other else say("same.needs"),
        units=units,
        kept=(("one", one), ("other", other)),
        fields=(text_field("note", say("same.note"), source, kind="longtext", required=True),),
        signing=signing_fields(asked, source, label=say("same.by"), late=False),
        button=say("same.record"),
        form="same",
        back_href=asked.links.board(),
    )


def _all(asked: Asked) -> list[Thing]:
    """Everything that may have been written down twice: what has a name or a serial of its own."""
    world = asked.workplace.world
    things = [one for one in world.things.values() if one.id not in world.same_as]
    return [one for one in things if one.serial or one.name or one.kind == "person"]


def _named(asked: Asked, thing: Thing) -> str:
    kind = PART_KINDS[thing.kind].title if thing.kind in PART_KINDS else thing.kind
    place = asked.workplace.world.place_of(thing.id)
    created = asked.words.clock.when(thing.created.epoch_ms)
    name = Telling(asked.words).name(thing.id)
    if place is None:
        return asked.say("same.choice", kind=kind, name=name, since=created)
    return asked.say("same.choice_on", kind=kind, name=name, since=created, unit=asked.workplace.name(place[0]))


ROUTES = (Door(path="/things/same", handler=same, methods=READ_AND_SEND),)
