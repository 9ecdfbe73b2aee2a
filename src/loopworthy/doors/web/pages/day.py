"""Stretches of time that people declare: a dive day, a preparation, an assembly, a dive; they begin and end here."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import days
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.events import EPISODE_KINDS, EpisodeKind
from loopworthy.vocabulary.errors import InputError, LoopworthyError

BEGIN, END = "begin", "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """One kind of stretch.

    Attributes
    ----------
    kind, title, means : str
        Its name, its words, and what ends with it.
    open_text : str
        Since when one is open, with its title; '' where none is.
    earlier : tuple of str
        The last ones, newest first.
    """

    kind: EpisodeKind
    title: str
    means: str
    open_text: str
    earlier: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Days:
    """Beginning and ending.

    Attributes
    ----------
    frame : Frame
    stretches : tuple of Stretch
        The dive day first.
    name : Field
        What people call it.
    others : tuple of (str, str)
        Other units that may begin with this one: identity and name.
    together : tuple of str
        Those that were ticked.
    signing : Signing
    action, dive_href : str
        The page's own address; where a dive is written down.
    """

    frame: Frame
    stretches: tuple[Stretch, ...]
    name: Field
    others: tuple[tuple[str, str], ...]
    together: tuple[str, ...]
    signing: Signing
    action: str
    dive_href: str


def day(asked: Asked) -> Answer:
    """Begin or end a stretch of time."""
    unit, world = asked.unit, asked.workplace.world
    others = tuple(
        (one, asked.workplace.name(one)) for one in world.units() if one != unit and not world.thing(one).retired
    )
    problem = None
    if asked.posts:
        try:
            event = _declare(asked, {one for one, _ in others})
            return SeeOther(address=asked.links.unit(unit, done=(event,)))
        except LoopworthyError as error:
            problem = error
    form = asked.form if asked.posts else Form()
    context = Days(
        frame=page_frame(asked, asked.say("day.title"), unit=unit, place="change", problem=problem),
        stretches=tuple(_stretch(asked, kind) for kind in EPISODE_KINDS),
        name=text_field("title", asked.say("day.name"), form, help=asked.say("day.name_help")),
        others=others,
        together=form.all("with"),
        signing=signing_fields(asked, form, label=asked.say("day.by"), question=question_about(asked, problem)),
        action=asked.links.day(unit),
        dive_href=asked.links.change(unit, "dive-made"),
    )
    return Page(template="day.html", context=context, status=status_of(problem) if problem is not None else 200)


def _declare(asked: Asked, others: set[str]) -> str:
    act, _, name = asked.form.get("act").partition(" ")
    kind = next((one for one in EPISODE_KINDS if one == name), None)
    if kind is None or act not in (BEGIN, END):
        raise InputError("act", asked.form.get("act"), f"begin or end, and one of {', '.join(EPISODE_KINDS)}")
    signed = signed_by(asked)
    if act == END:
        return days.end(
            asked.workplace,
            asked.unit,
            kind,
            typed_by=signed.person,
            occurred_at=signed.occurred_at,
            moment_confirmed=signed.moment_confirmed,
        )
    together = [one for one in asked.form.all("with") if one in others]
    return days.begin(
        asked.workplace,
        (asked.unit, *together),
        kind,
        title=asked.form.get("title"),
        typed_by=signed.person,
        occurred_at=signed.occurred_at,
        moment_confirmed=signed.moment_confirmed,
    )


def _stretch(asked: Asked, kind: EpisodeKind) -> Stretch:
    say, clock = asked.say, asked.words.clock
    name = kind.replace("-", "_")
    known = asked.workplace.world.episodes(asked.unit, kind)
    now = next((one for one in known if one.is_open), None)
    ending = [one.title for one in asked.workplace.catalogue.evidence.values() if one.episode == kind]
    open_text = ""
    if now is not None:
        since = clock.when(now.began.epoch_ms)
        open_text = say("day.open_called", since=since, title=now.title) if now.title else say("day.open", since=since)
    return Stretch(
        kind=kind,
        title=say(f"day.{name}"),
        means=_means(asked, ending),
        open_text=open_text,
        earlier=tuple(
            say(
                "day.was",
                since=clock.when(one.began.epoch_ms),
                until=clock.when(one.ended.epoch_ms),
                title=one.title or say(f"day.{name}"),
            )
            for one in [one for one in reversed(known) if one.ended is not None][:5]
            if one.ended is not None
        ),
    )


def _means(asked: Asked, ending: list[str]) -> str:
    if not ending:
        return asked.say("day.ends_nothing")
    if len(ending) == 1:
        return asked.say("day.ends_one", title=ending[0])
    return asked.say("day.ends_with_it", count=len(ending))


ROUTES = (Door(path="/unit/{unit}/day", handler=day, methods=READ_AND_SEND),)
