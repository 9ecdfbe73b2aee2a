"""The state at a past time, told twice: as a device knew it then, and with hindsight; and the holds that were passed.

A verdict of the past is told in the past: it is never drawn as one that holds now.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import replays
from loopworthy.desk.replays import CheckedPassing, PastState
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, local_moment, select, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import Door
from loopworthy.doors.web.shown import once
from loopworthy.doors.words import Words
from loopworthy.judgement.replay import HINDSIGHT
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Verdict, Word
from loopworthy.vocabulary.errors import InputError, LoopworthyError, UnknownNameError
from loopworthy.vocabulary.identity import short
from loopworthy.vocabulary.time import Moment

MOST_REASONS = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class PastReason:
    """Why evidence did not count then."""

    title: str
    state: State
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PastHold:
    """A hold point then: its word and how many of its requirements were missing."""

    title: str
    word: Word
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One reading of the record for that moment.

    Attributes
    ----------
    key, label, means : str
        ``known`` or ``hindsight``; its label; what it rests on.
    word : Word or None
        None where the unit was not there.
    sentence : str
    events : int
        How many events it rests on.
    holds : tuple of PastHold
    reasons : tuple of PastReason
    left_out : int
        Reasons beyond `MOST_REASONS`.
    """

    key: str
    label: str
    means: str
    word: Word | None
    sentence: str
    events: int
    holds: tuple[PastHold, ...]
    reasons: tuple[PastReason, ...]
    left_out: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Passed:
    """A hold point that somebody went on from.

    Attributes
    ----------
    title, text, href, past_href : str
        The hold; when and who; its event; the state at that moment.
    wrong : str
        What the record gives instead; '' where it agrees or was not asked.
    """

    title: str
    text: str
    href: str
    past_href: str
    wrong: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """The state at a past time.

    Attributes
    ----------
    frame : Frame
    at_text : str
        The moment that was asked for; '' where none was, or it could not be shown.
    fields : tuple of Field
        Moment and device.
    told : tuple of Told
        As known then first; with hindsight first where the device knew nothing of the unit then.
    came_later : str
        Says so; '' otherwise.
    differ : bool
        Whether the two readings give different words.
    passed : tuple of Passed
        Newest first.
    checked : bool
        Whether they were judged again.
    check_href, action : str
    """

    frame: Frame
    at_text: str
    fields: tuple[Field, ...]
    told: tuple[Told, ...]
    came_later: str
    differ: bool
    passed: tuple[Passed, ...]
    checked: bool
    check_href: str
    action: str


def past(asked: Asked) -> Answer:
    """The state of a unit at a past time; a moment is asked for first, and again where it cannot be shown."""
    at, problem = asked.now, None
    states: tuple[PastState, ...] = ()
    try:
        if asked.query.get("at"):
            at = local_moment(asked, asked.query.get("at"), "at")
            states = replays.past_states(asked.workplace, asked.unit, at, device=_device(asked))
    except (InputError, UnknownNameError) as error:
        problem = error
    context = _past(asked, at, states, problem)
    return Page(template="past.html", context=context, status=status_of(problem) if problem is not None else 200)


def _past(asked: Asked, at: Moment, states: tuple[PastState, ...], problem: LoopworthyError | None) -> Past:
    unit, say, clock = asked.unit, asked.say, asked.words.clock
    told = tuple(_told(asked, asked.words, one) for one in replays.answering_first(states))
    later = replays.came_later(states)
    check = asked.query.ticked("check")
    query = {"at": _typed(at), "device": asked.query.get("device")}
    return Past(
        frame=page_frame(asked, say("past.title"), unit=unit, place="more", problem=problem),
        at_text=f"{clock.day(at.epoch_ms)} {clock.clock(at.epoch_ms)}" if states else "",
        fields=(
            text_field("at", say("past.at", zone=asked.now.zone), asked.query, kind="moment", value=_typed(at)),
            select("device", say("past.device"), _devices(asked), asked.query, help=say("past.device_help")),
        ),
        told=told,
        came_later=say("past.came_later", unit=asked.workplace.name(unit), device=_device_name(asked)) if later else "",
        differ=not later and len({one.word for one in told}) > 1,
        passed=tuple(_passed(asked, one) for one in replays.passings(asked.workplace, unit, check=check)),
        checked=check,
        check_href=asked.links.to("unit", short(unit), "past", **query, check="yes") + "#passed",
        action=asked.links.past(unit),
    )


def _typed(at: Moment) -> str:
    return f"{at.local():%Y-%m-%dT%H:%M:%S}" if at.local().second else f"{at.local():%Y-%m-%dT%H:%M}"


def _devices(asked: Asked) -> tuple[tuple[str, str], ...]:
    return tuple((short(one.id), one.name or short(one.id)) for one in replays.devices(asked.workplace))


def _device(asked: Asked) -> str:
    wanted = asked.query.get("device")
    if not wanted:
        return ""
    found = [one.id for one in replays.devices(asked.workplace) if one.id.startswith(wanted)]
    return found[0] if len(found) == 1 else wanted


def _device_name(asked: Asked) -> str:
    wanted = _device(asked) or asked.workplace.record.device
    names = {one.id: one.name for one in replays.devices(asked.workplace)}
    return names.get(wanted) or short(wanted)


def _told(asked: Asked, words: Words, state: PastState) -> Told:
    key = "hindsight" if state.label == HINDSIGHT else "known"
    label, means = asked.say(f"past.{key}"), asked.say(f"past.{key}_means")
    if state.replay is None:
        return Told(
            key=key, label=label, means=means, word=None, sentence=asked.say("past.not_there"), events=0,
            holds=(), reasons=(), left_out=0,
        )  # fmt: skip
    verdict = state.replay.verdict
    reasons = once(verdict.reasons())
    return Told(
        key=key,
        label=label,
        means=means,
        word=verdict.word,
        sentence=" ".join((_sentence(asked, words, verdict), *words.cautions(verdict))),
        events=state.replay.events,
        holds=tuple(
            PastHold(title=one.hold.title, word=one.word, sentence=words.hold_sentence(one)) for one in verdict.holds
        ),
        reasons=tuple(
            PastReason(
                title=words.requirement_title(one),
                state=one.standing.state,
                why=words.standing_sentence(one.standing, one.step),
            )
            for one in reasons[:MOST_REASONS]
        ),
        left_out=max(0, len(reasons) - MOST_REASONS),
    )


def _sentence(asked: Asked, words: Words, verdict: Verdict) -> str:
    sentence = words.verdict_sentence(verdict)
    if verdict.word is Word.READY and verdict.until_ms is not None:
        ended = asked.say("past.it_ended", until=words.clock.when(verdict.until_ms))
        return f"{sentence} {ended}"
    return sentence


def _passed(asked: Asked, one: CheckedPassing) -> Passed:
    say, passing = asked.say, one.passing
    when = asked.words.clock.when(passing.occurred.epoch_ms)
    who = asked.workplace.name(passing.person) or say("words.nobody_named")
    wrong = ""
    if one.disagreement is not None:
        values = {"said": one.disagreement.said, "found": one.disagreement.found}
        key = "past.disagrees_catalogue" if one.disagreement.catalogue_differs else "past.disagrees"
        wrong = say(key, **values)
    return Passed(
        title=Telling(asked.words).hold(passing.passed.hold),
        text=say("past.passed_on", when=when, who=who, word=passing.passed.verdict),
        href=asked.links.event(passing.event),
        past_href=asked.links.past(asked.unit, _typed(passing.occurred)),
        wrong=wrong,
    )


ROUTES = (Door(path="/unit/{unit}/past", handler=past),)
