"""Naming everything that is fitted on a unit, in one form: a first naming takes nothing away."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.parts import identify_parts, spares
from loopworthy.desk.units import NewThing, empty_positions
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, person_choices, select, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.pages.labels import label_fields, label_in
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.positions import Position, part_kind
from loopworthy.vocabulary.errors import InputError, LoopworthyError
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class Naming:
    """One position to be named."""

    position: str
    title: str
    fields: tuple[Field, ...]
    error: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """Naming everything that is fitted, in one form; what is left empty stays unnamed.

    Attributes
    ----------
    frame : Frame
    namings : tuple of Naming
    signing : Signing
    action, parts_href : str
    """

    frame: Frame
    namings: tuple[Naming, ...]
    signing: Signing
    action: str
    parts_href: str


def set_up(asked: Asked) -> Answer:
    """Name what is fitted in the positions of which nobody has said it yet."""
    problem = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            things = _named_in(asked)
            identify_parts(
                asked.workplace,
                asked.unit,
                things,
                typed_by=signed.person,
                occurred_at=signed.occurred_at,
                moment_confirmed=signed.moment_confirmed,
            )
            left = empty_positions(asked.workplace, asked.unit)
            return SeeOther(address=asked.links.set_up(asked.unit) if left else asked.links.parts(asked.unit))
        except LoopworthyError as error:
            problem = error
    unit = asked.unit
    empty = set(empty_positions(asked.workplace, unit))
    places = [place for place in asked.workplace.world.positions(unit) if place.id in empty]
    places.sort(key=lambda one: part_kind(one.kind).built_in)
    form = asked.form if asked.posts else Form()
    context = SetUp(
        frame=page_frame(asked, asked.say("parts_page.set_up"), unit=unit, place="more", problem=problem),
        namings=tuple(_naming(asked, unit, place, form, problem) for place in places),
        signing=signing_fields(
            asked, form, label=asked.say("parts_page.named_by"), question=question_about(asked, problem)
        ),
        action=asked.links.set_up(unit),
        parts_href=asked.links.parts(unit),
    )
    return Page(template="set_up.html", context=context, status=status_of(problem) if problem is not None else 200)


def _naming(asked: Asked, unit: ThingId, place: Position, form: Form, problem: LoopworthyError | None) -> Naming:
    wrong = getattr(problem, "name", "")
    error = problem.message if problem is not None and wrong.startswith(f"{place.id}-") else ""
    return Naming(
        position=place.id,
        title=place.title,
        fields=naming_fields(asked, unit, place, form),
        error=error,
    )


def naming_fields(asked: Asked, unit: ThingId, place: Position, form: Form) -> tuple[Field, ...]:
    """The fields that say which thing is in a position."""
    say, prefix = asked.say, f"{place.id}-"
    if place.kind == "person":
        return (select(f"{prefix}thing", say("parts_page.who"), person_choices(asked), form),)
    known = tuple(
        (one.id, Telling(asked.words).name(one.id))
        for one in spares(asked.workplace, place.kind, unit=unit)
        if asked.workplace.world.place_of(one.id) is None
    )
    found: list[Field] = []
    if known:
        found.append(select(f"{prefix}thing", say("parts_page.known"), known, form, help=say("parts_page.known_help")))
    found.append(text_field(f"{prefix}serial", say("parts_page.serial"), form, scan=True))
    found += label_fields(asked, place.kind, form, prefix)
    return tuple(found)


def _named_in(asked: Asked) -> dict[str, NewThing | ThingId]:
    things: dict[str, NewThing | ThingId] = {}
    for place in asked.workplace.world.positions(asked.unit):
        prefix = f"{place.id}-"
        which, described = asked.form.get(f"{prefix}thing"), label_in(asked.form, prefix)
        if which and described != NewThing():
            raise InputError(
                f"{prefix}thing", Telling(asked.words).name(which), asked.say("parts_page.one_of_both"),
                next_step=asked.say("parts_page.one_of_both_step"),
            )  # fmt: skip
        if which:
            things[place.id] = which
        elif described.serial or (described != NewThing() and part_kind(place.kind).built_in):
            things[place.id] = described
        elif described != NewThing():
            raise InputError(
                f"{prefix}serial", "", asked.say("parts_page.serial_needed", place=place.title),
                next_step=asked.say("change.serial_step"),
            )  # fmt: skip
    return things


ROUTES = (Door(path="/unit/{unit}/set-up", handler=set_up, methods=READ_AND_SEND),)
