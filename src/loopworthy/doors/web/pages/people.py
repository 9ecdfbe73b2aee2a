"""People: who reads on this device, who else is in the record, and how each wants quantities shown.

Also the instruments that readings are made with. There are no accounts: a name beside a reading says who answers for
it, and keeps nobody out.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import people
from loopworthy.desk.units import add_instrument
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import PERSON_COOKIE, Asked
from loopworthy.doors.web.fields import Field, select, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages.mending import errors_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.vocabulary.errors import ConflictError, InputError, LoopworthyError

INSTRUMENT_USES = ("analyser", "barometer", "manometer", "thermometer", "scale", "flow meter", "pressure pot", "other")


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonShown:
    """Somebody in the record; `here` for who reads on this device."""

    id: str
    name: str
    units: str
    here: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PeoplePage:
    """Everybody in the record.

    Attributes
    ----------
    people : tuple of PersonShown
    choose_action, add_action, back : str
        Where "this is me" and a new person are sent; where to go on afterwards, '' for the board.
    name, units : Field
    """

    frame: Frame
    people: tuple[PersonShown, ...]
    choose_action: str
    add_action: str
    back: str
    name: Field
    units: Field


def people_page(asked: Asked) -> Answer:
    """Everybody, and a form for one more."""
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            units = asked.form.get("display_units") or "metric"
            added = people.add_person(
                asked.workplace, asked.form.get("name"), display_units=units, typed_by=asked.person
            )
            cookies = {} if asked.person else {PERSON_COOKIE: added}
            return SeeOther(address=_back(asked) or asked.links.people(), cookies=cookies)
        except (InputError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("name", "display_units"))
    known = tuple(
        PersonShown(
            id=one,
            name=asked.workplace.name(one),
            units=asked.say(f"people.units_{people.display_units(asked.workplace, one)}"),
            here=one == asked.person,
        )
        for one in people.people(asked.workplace)
        if not asked.workplace.world.thing(one).retired
    )
    context = PeoplePage(
        frame=page_frame(asked, asked.say("people.title"), problem=problem),
        people=known,
        choose_action=asked.links.choose_person(),
        add_action=asked.links.people(),
        back=_back(asked),
        name=text_field("name", asked.say("people.name"), asked.form, required=True, error=wrong.get("name", "")),
        units=Field(
            name="display_units",
            label=asked.say("people.units"),
            kind="choice",
            value=asked.form.get("display_units") or "metric",
            choices=tuple((one, asked.say(f"people.units_{one}")) for one in people.DISPLAY_UNITS),
            help=asked.say("people.units_help"),
        ),
    )
    return Page(template="people.html", context=context, status=200 if problem is None else 422)


def choose(asked: Asked) -> Answer:
    """Remember on this device who reads; nobody when the form names nobody."""
    chosen = asked.form.get("person")
    if chosen and chosen not in people.people(asked.workplace):
        raise InputError(
            "person", chosen, "one of the people in the record", next_step=asked.say("people.choose_again")
        )
    return SeeOther(address=_back(asked) or asked.links.board(), cookies={PERSON_COOKIE: chosen})


def _back(asked: Asked) -> str:
    """Where the visitor came from: only an address of this program."""
    back = asked.form.get("back") or asked.query.get("back")
    own = back.startswith("/") and not back.startswith(("//", "/\\")) and "\n" not in back and "\r" not in back
    return f"{asked.links.root}{back}" if own and not back.startswith(asked.links.root + "/") else back if own else ""


# --- instruments ----------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentsPage:
    """Instruments that readings are made with: name, use, serial and address of each, and a form for one more."""

    frame: Frame
    instruments: tuple[tuple[str, str, str, str], ...]
    action: str
    back: str
    fields: tuple[Field, ...]


def instruments(asked: Asked) -> Answer:
    """Every instrument, and a form for one more."""
    problem: LoopworthyError | None = None
    form = asked.form
    if asked.posts:
        try:
            use = form.get("use")
            if use not in _uses(asked):
                raise InputError("use", use, "chosen", next_step=asked.say("instruments.choose_use"))
            if not form.get("name"):
                raise InputError("name", "", "1 to 80 characters", next_step=asked.say("instruments.say_name"))
            add_instrument(asked.workplace, form.get("name"), use, serial=form.get("serial"), typed_by=asked.person)
            return SeeOther(address=_back(asked) or asked.links.instruments())
        except (InputError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("name", "use", "serial"))
    known = tuple(
        (
            asked.workplace.name(one.id),
            str(one.attributes.get("instrument", "")),
            one.serial,
            asked.links.instrument(one.id),
        )
        for one in asked.workplace.world.of_kind("instrument")
        if not one.retired
    )
    say = asked.say
    uses = tuple((one, one) for one in _uses(asked))
    context = InstrumentsPage(
        frame=page_frame(asked, say("instruments.title"), problem=problem),
        instruments=known,
        action=asked.links.instruments(),
        back=_back(asked),
        fields=(
            text_field("name", say("instruments.name"), form, required=True, error=wrong.get("name", "")),
            select("use", say("instruments.use"), uses, form, required=True, error=wrong.get("use", "")),
            text_field("serial", say("instruments.serial"), form, error=wrong.get("serial", ""), scan=True),
        ),
    )
    return Page(template="instruments.html", context=context, status=200 if problem is None else 422)


def _uses(asked: Asked) -> tuple[str, ...]:
    """What instruments are used for: what steps ask for first."""
    asked_for = [
        place
        for step in asked.workplace.catalogue.steps.values()
        if step.scope.each == "instrument"
        for place in step.scope.places
    ]
    return tuple(dict.fromkeys((*asked_for, *INSTRUMENT_USES)))


ROUTES = (
    Door(path="/people", handler=people_page, methods=READ_AND_SEND),
    Door(path="/people/me", handler=choose, methods=("POST",)),
    Door(path="/instruments", handler=instruments, methods=READ_AND_SEND),
)
