"""Handing a unit over: who has it, since when, and who has it from now on."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.people import give_custody
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, person_choices, person_field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.shown import VerdictPanel, verdict_panel
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.events import CustodyGiven
from loopworthy.vocabulary.errors import InputError, LoopworthyError


@dataclass(frozen=True, slots=True, kw_only=True)
class Custody:
    """Who has the unit.

    Attributes
    ----------
    frame : Frame
    now : str
        Who has it and since when; '' where nobody said.
    verdict : VerdictPanel
        How it stands at this moment, so that it is handed over with its truth; blanks itself when it ends.
    to, note : Field
    signing : Signing
    earlier : tuple of (str, str)
        Earlier hand-overs, newest first: words and address.
    action : str
    """

    frame: Frame
    now: str
    verdict: VerdictPanel
    to: Field | None
    note: Field
    signing: Signing
    earlier: tuple[tuple[str, str], ...]
    action: str


def custody(asked: Asked) -> Answer:
    """Hand the unit over."""
    unit, say = asked.unit, asked.say
    problem = None
    if asked.posts:
        try:
            _give(asked)
            return SeeOther(address=asked.links.custody(unit))
        except LoopworthyError as error:
            problem = error
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    known = asked.workplace.world.custody(unit)
    now = ""
    if known is not None:
        now = say(
            "custody.now",
            who=asked.workplace.name(known.person),
            since=asked.words.clock.when(known.since.epoch_ms),
        )
    verdict = asked.workplace.verdict(unit, asked.now)
    context = Custody(
        frame=page_frame(asked, say("custody.title"), unit=unit, place="more", verdict=verdict, problem=problem),
        now=now,
        verdict=verdict_panel(asked, verdict),
        to=person_field(asked, "to", say("custody.to"), required=True, error=wrong.get("to", "")),
        note=text_field("note", say("custody.note"), form, kind="longtext", help=say("custody.note_help")),
        signing=signing_fields(asked, form, label=say("custody.by"), late=False),
        earlier=tuple(_earlier(asked)),
        action=asked.links.custody(unit),
    )
    return Page(template="custody.html", context=context, status=status_of(problem) if problem is not None else 200)


def _give(asked: Asked) -> None:
    signed = signed_by(asked)
    to = asked.form.get("to")
    if to not in {one for one, _ in person_choices(asked)}:
        raise InputError("to", to, "one of the people in the record", next_step=asked.say("signing.choose_person"))
    give_custody(asked.workplace, asked.unit, to, typed_by=signed.person, note=asked.form.get("note"))


def _earlier(asked: Asked) -> list[tuple[str, str]]:
    telling, found = Telling(asked.words), []
    for event in reversed(asked.workplace.record.events_of_kind("unit.custody-given")):
        if not isinstance(event.payload, CustodyGiven) or event.envelope.subjects[:1] != (asked.unit,):
            continue
        told = telling.told(event)
        when = asked.words.clock.when(event.envelope.occurred_at.epoch_ms)
        text = f"{when}: {told.title}" + (f". {told.detail}" if told.detail else "")
        found.append((text, asked.links.event(event.id)))
    return found[:20]


ROUTES = (Door(path="/unit/{unit}/custody", handler=custody, methods=READ_AND_SEND),)
