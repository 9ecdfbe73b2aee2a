"""One person and one instrument: what the record knows of them, how numbers are shown, and taking them out of use.

Nobody is deleted: what they read stays. A name can be erased, for it lies beside the record.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import people
from loopworthy.desk.parts import retire
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.things import Thing
from loopworthy.vocabulary.errors import InputError, LoopworthyError
from loopworthy.vocabulary.identity import short

UNITS, RETIRE, RETURN, ERASE = "units", "retire", "return", "erase"


@dataclass(frozen=True, slots=True, kw_only=True)
class OneOfUs:
    """A person or an instrument.

    Attributes
    ----------
    frame : Frame
    name : str
    person : bool
        Whether it is a person; an instrument otherwise.
    facts : tuple of (str, str)
    units : Field or None
        How numbers are shown to a person.
    retired : bool
        Whether they are out of use.
    reason : Field
        For taking out of use, taking up again, erasing.
    signing : Signing
    action, history_href, same_href, back_href : str
    """

    frame: Frame
    name: str
    person: bool
    facts: tuple[tuple[str, str], ...]
    units: Field | None
    retired: bool
    reason: Field
    signing: Signing
    action: str
    history_href: str
    same_href: str
    back_href: str


def person(asked: Asked) -> Answer:
    """One person."""
    one = asked.workplace.world.thing(asked.workplace.person(asked.values["person"]))
    return _answer(asked, one, asked.links.person(one.id))


def instrument(asked: Asked) -> Answer:
    """One instrument."""
    one = asked.workplace.world.thing(asked.workplace.instrument(asked.values["instrument"]))
    return _answer(asked, one, asked.links.instrument(one.id))


def _answer(asked: Asked, one: Thing, action: str) -> Answer:
    problem = None
    if asked.posts:
        try:
            _act(asked, one)
            return SeeOther(address=action)
        except LoopworthyError as error:
            problem = error
    context = one_of_us(asked, one, action, problem)
    return Page(template="person.html", context=context, status=status_of(problem) if problem is not None else 200)


def _act(asked: Asked, one: Thing) -> None:
    act = asked.form.get("act")
    signed = signed_by(asked)
    if act == UNITS and one.kind == "person":
        wanted = asked.form.get("display_units")
        people.set_display_units(asked.workplace, one.id, wanted, typed_by=signed.person)
    elif act in (RETIRE, RETURN):
        note = asked.form.get("reason")
        retire(asked.workplace, one.id, retired=act == RETIRE, note=note, typed_by=signed.person)
    elif act == ERASE and one.kind == "person":
        people.erase_name(asked.workplace, one.id, reason=asked.form.get("reason"), typed_by=signed.person)
    else:
        raise InputError("act", act, f"one of {', '.join((UNITS, RETIRE, RETURN, ERASE))}")


def one_of_us(asked: Asked, one: Thing, action: str, problem: LoopworthyError | None = None) -> OneOfUs:
    """What the page of a person or an instrument shows."""
    say, is_person = asked.say, one.kind == "person"
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    name = asked.workplace.name(one.id)
    units = Field(
        name="display_units",
        label=say("person.display_units"),
        kind="choice",
        value=form.get("display_units") or people.display_units(asked.workplace, one.id),
        choices=tuple((each, say(f"people.units_{each}")) for each in people.DISPLAY_UNITS),
        help=say("person.display_units_help"),
    )
    reason = text_field(
        "reason", say("person.reason"), form, error=wrong.get("reason", ""), help=say("person.reason_help")
    )
    return OneOfUs(
        frame=page_frame(asked, name, problem=problem),
        name=name,
        person=is_person,
        facts=_facts_of_person(asked, one) if is_person else _facts_of_instrument(asked, one),
        units=units if is_person else None,
        retired=one.retired,
        reason=reason,
        signing=signing_fields(asked, form, label=say("person.by"), late=False, errors=wrong),
        action=action,
        same_href=asked.links.same(one.id),
        history_href=asked.links.history_of_all(person=short(one.id)) if is_person else "",
        back_href=asked.links.people() if is_person else asked.links.instruments(),
    )


def _facts_of_person(asked: Asked, one: Thing) -> tuple[tuple[str, str], ...]:
    world, say = asked.workplace.world, asked.say
    dives = [asked.workplace.name(unit) for unit in world.units_of(one.id)]
    has = [asked.workplace.name(unit) for unit in world.units() if world.holder(unit) == one.id]
    read = [item for item in asked.workplace.book().items.values() if world.canonical(item.read_by) == one.id]
    found = [(say("person.joined"), asked.words.clock.when(one.created.epoch_ms))]
    if dives:
        found.append((say("person.dives"), ", ".join(dives)))
    if has:
        found.append((say("person.has"), ", ".join(has)))
    found.append((say("person.readings"), str(len(read))))
    return tuple(found)


def _facts_of_instrument(asked: Asked, one: Thing) -> tuple[tuple[str, str], ...]:
    say, book = asked.say, asked.workplace.book()
    used = [book.items[event] for event in book.by_instrument.get(one.id, ())]
    found = [(say("told.name_use"), str(one.attributes.get("instrument", "")))]
    if one.serial:
        found.append((say("parts_page.serial"), one.serial))
    found.append((say("person.readings_with"), str(len(used))))
    if used:
        latest = max(used, key=lambda item: item.occurred_ms)
        step = asked.workplace.catalogue.steps.get(latest.step)
        told = say(
            "person.last_used",
            when=asked.words.clock.when(latest.occurred_ms),
            step=step.title if step is not None else latest.step,
        )
        found.append((say("person.last"), told))
    return tuple(found)


ROUTES = (
    Door(path="/person/{person}", handler=person, methods=READ_AND_SEND),
    Door(path="/instrument/{instrument}", handler=instrument, methods=READ_AND_SEND),
)
