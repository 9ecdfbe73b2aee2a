"""A new unit: its name, and how it is built, from a ready configuration or from one's own file."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.units import create_unit
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.configuration import Configuration, load_configuration, ready_configurations
from loopworthy.unit.positions import part_kind, positions
from loopworthy.vocabulary.errors import InputError, LoopworthyError

OWN = "own"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ready:
    """A ready configuration to start from.

    Attributes
    ----------
    name, title : str
    told : str
        Its parts with serial numbers, counted.
    href : str
        All its answers.
    """

    name: str
    title: str
    told: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewUnit:
    """The form for a new unit.

    Attributes
    ----------
    frame : Frame
    name, serial : Field
    ready : tuple of Ready
    chosen : str
        The configuration chosen; `OWN` for a file.
    file : Field
    signing : Signing
    action : str
    """

    frame: Frame
    name: Field
    serial: Field
    ready: tuple[Ready, ...]
    chosen: str
    file: Field
    signing: Signing
    action: str


def new_unit(asked: Asked) -> Answer:
    """Bring a unit into the record."""
    problem = None
    if asked.posts:
        try:
            signed = signed_by(asked)
            unit = create_unit(
                asked.workplace,
                asked.form.get("name"),
                _configuration(asked),
                serial=asked.form.get("serial"),
                typed_by=signed.person,
            )
            return SeeOther(address=asked.links.set_up(unit))
        except LoopworthyError as error:
            problem = error
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    context = NewUnit(
        frame=page_frame(asked, asked.say("new_unit.title"), problem=problem),
        name=text_field("name", asked.say("new_unit.name"), form, required=True, error=wrong.get("name", "")),
        serial=text_field(
            "serial", asked.say("parts_page.serial"), form, help=asked.say("new_unit.serial_help"), scan=True
        ),
        ready=tuple(
            Ready(
                name=one.name,
                title=one.title,
                told=_told(asked, one),
                href=asked.links.catalogue_entry("configurations", one.name),
            )
            for one in ready_configurations().values()
        ),
        chosen=form.get("configuration"),
        file=Field(
            name="file",
            label=asked.say("new_unit.file"),
            kind="file",
            accept=".toml,text/plain",
            help=asked.say("new_unit.file_help"),
        ),
        signing=signing_fields(asked, form, label=asked.say("new_unit.by"), late=False),
        action=asked.links.new_unit(),
    )
    return Page(template="new_unit.html", context=context, status=status_of(problem) if problem is not None else 200)


def _configuration(asked: Asked) -> Configuration:
    chosen, file = asked.form.get("configuration"), asked.form.files.get("file")
    if chosen == OWN or (file is not None and not chosen):
        if file is None:
            raise InputError(
                "file", "nothing", asked.say("new_unit.file_needed"), next_step=asked.say("new_unit.choose_step")
            )
        return load_configuration(file.body, file.name)
    if file is not None:
        raise InputError("file", file.name, asked.say("new_unit.one_only"), next_step=asked.say("new_unit.choose_step"))
    known = ready_configurations().get(chosen)
    if known is None:
        raise InputError(
            "configuration", chosen, asked.say("new_unit.one_of_list"), next_step=asked.say("new_unit.choose_step")
        )
    return known


def _told(asked: Asked, configuration: Configuration) -> str:
    counted: dict[str, int] = {}
    for place in positions(configuration):
        kind = part_kind(place.kind)
        if not kind.built_in and kind.id != "person":
            counted[kind.title] = counted.get(kind.title, 0) + 1
    parts = ", ".join(asked.say("new_unit.counted", count=count, part=part) for part, count in counted.items())
    steps = sum(1 for one in asked.workplace.catalogue.steps.values() if one.when.holds(configuration))
    return asked.say("new_unit.told", parts=parts, steps=steps)


ROUTES = (Door(path="/units/new", handler=new_unit, methods=READ_AND_SEND),)
