"""One event of any kind: everything that was written down, who and when, what it used and what rests on it."""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from loopworthy.desk.dependants import Ties, ties
from loopworthy.desk.history import is_late
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.catalogue.model import Effect
from loopworthy.judgement.events import EvidenceRecorded, Trace
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.unit.events import ChangeMade
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId, fingerprint, short

MOST_ROWS = 400
"""Rows of a series that are written out; the rest is counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tied:
    """Another event that has to do with this one."""

    title: str
    about: str
    at_text: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """A series of readings as it was typed, at most `MOST_ROWS` rows of it."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    left_out: int


@dataclass(frozen=True, slots=True, kw_only=True)
class EventPage:
    """One event.

    Attributes
    ----------
    frame : Frame
    title, about : str
    facts : tuple of (str, str)
        Everything that was typed or chosen.
    context : tuple of (str, str)
        The surroundings that it was made in.
    series : tuple of Series
    circumstances : tuple of (str, str)
        Who, when, with what, on which device.
    late, withdrawn : str
        '' where it is neither.
    used, rests_on_it, answers : tuple of Tied
        What it rests on; what rests on it, directly or through others; repairs, releases and the withdrawal.
    effects : tuple of str
        For a change: what it does to which evidence.
    standing_href, withdraw_href, code_href : str
        How a reading stands now; where it is taken back, '' where it cannot be; the entry for another phone.
    identity, fingerprint, raw : str
        Its identity; the first digits for comparing; its payload as it is stored.
    """

    frame: Frame
    title: str
    about: str
    facts: tuple[tuple[str, str], ...]
    context: tuple[tuple[str, str], ...]
    series: tuple[Series, ...]
    circumstances: tuple[tuple[str, str], ...]
    late: str
    withdrawn: str
    used: tuple[Tied, ...]
    rests_on_it: tuple[Tied, ...]
    answers: tuple[Tied, ...]
    effects: tuple[str, ...]
    standing_href: str
    withdraw_href: str
    code_href: str
    identity: str
    fingerprint: str
    raw: str


def event(asked: Asked) -> Answer:
    """One event of any kind."""
    found = asked.workplace.record.get(asked.event(asked.values["event"]))
    return Page(template="event.html", context=event_page(asked, found))


def event_page(asked: Asked, one: Event) -> EventPage:
    """Everything that is known about one event."""
    telling, say, links = Telling(asked.words), asked.say, asked.links
    told, tied, payload = telling.told(one), ties(asked.workplace, one.id), one.payload
    unit = unit_of(asked, one)
    reading = isinstance(payload, EvidenceRecorded)
    withdrawable = one.envelope.kind.startswith("judgement.") or one.envelope.kind == "unit.change-made"
    withdrawal = tied.withdrawal
    return EventPage(
        frame=page_frame(asked, told.title, unit=unit, place="more" if unit else ""),
        title=told.title,
        about=told.about,
        facts=telling.facts(one),
        context=_context(asked, payload) if isinstance(payload, EvidenceRecorded) else (),
        series=_series(payload) if isinstance(payload, EvidenceRecorded) else (),
        circumstances=_circumstances(asked, telling, one),
        late=say("history.late", at=asked.words.clock.when(one.envelope.recorded_at.epoch_ms)) if is_late(one) else "",
        withdrawn=say("history.withdrawn", reason=withdrawal.reason) if withdrawal is not None else "",
        used=tuple(_tied(asked, telling, used) for used in tied.used),
        rests_on_it=tuple(_tied(asked, telling, item.event) for item in tied.rests_on_it),
        answers=tuple(_tied(asked, telling, answer) for answer in _answers(tied)),
        effects=_effects(asked, telling, payload) if isinstance(payload, ChangeMade) else (),
        standing_href=links.evidence(unit, one.id) if reading and unit else "",
        withdraw_href=links.withdraw(unit, one.id) if withdrawable and unit and withdrawal is None else "",
        code_href=links.code(one.id),
        identity=one.id,
        fingerprint=fingerprint(one.id),
        raw=msgspec.json.format(bytes(one.envelope.payload), indent=2).decode(),
    )


def unit_of(asked: Asked, one: Event) -> ThingId:
    """The unit that an event is about; '' where it is about none or several."""
    world = asked.workplace.world
    named = getattr(one.payload, "unit", "")
    units = [thing for thing in (named, *one.envelope.subjects, one.id) if world.canonical(thing) in world.units()]
    if units:
        return world.canonical(units[0])
    for thing in (*one.envelope.subjects, one.id):
        place = world.place_of(thing) if world.canonical(thing) in world.things else None
        if place is not None:
            return place[0]
    return ""


def _answers(tied: Ties) -> tuple[EventId, ...]:
    found = [*(one.event for one in tied.repairs), *(one.event for one in tied.releases)]
    if tied.withdrawal is not None:
        found.append(tied.withdrawal.by)
    return tuple(found)


def _tied(asked: Asked, telling: Telling, identity: EventId) -> Tied:
    told = telling.event(identity)
    item = asked.workplace.book().items.get(identity)
    at = item.occurred_ms if item is not None else None
    detail = " · ".join(part for part in (told.about, told.detail) if part)
    return Tied(
        title=told.title,
        about=detail,
        at_text=asked.words.clock.when(at) if at is not None else "",
        href=asked.links.event(identity),
    )


def _context(asked: Asked, payload: EvidenceRecorded) -> tuple[tuple[str, str], ...]:
    return tuple(
        (asked.say(f"event.context_{name}"), asked.words.reading(reading)) for name, reading in payload.context.items()
    )


def _series(payload: EvidenceRecorded) -> tuple[Series, ...]:
    def one(name: str, trace: Trace) -> Series:
        rows = trace.rows[:MOST_ROWS]
        return Series(
            title=name.replace("_", " "), columns=trace.columns, rows=rows, left_out=len(trace.rows) - len(rows)
        )

    return tuple(one(name, trace) for name, trace in payload.traces.items())


def _circumstances(asked: Asked, telling: Telling, one: Event) -> tuple[tuple[str, str], ...]:
    say, envelope = asked.say, one.envelope
    clock = asked.words.clock
    names = {
        other.envelope.device: other.payload.device_name
        for other in asked.workplace.record.events_of_kind(CHAIN_OPENED)
        if isinstance(other.payload, ChainOpened)
    }
    reading = isinstance(one.payload, EvidenceRecorded)
    found = [(say("event.occurred"), f"{clock.when(envelope.occurred_at.epoch_ms)} ({envelope.occurred_at.at})")]
    if envelope.recorded_at.at != envelope.occurred_at.at:
        found.append((say("event.recorded"), clock.when(envelope.recorded_at.epoch_ms)))
    if envelope.read_by:
        found.append((say("event.read_by" if reading else "event.done_by"), telling.person(envelope.read_by)))
    if envelope.typed_by and envelope.typed_by != envelope.read_by:
        found.append((say("event.typed_by"), telling.person(envelope.typed_by)))
    if isinstance(one.payload, EvidenceRecorded) and one.payload.instruments:
        found.append((say("event.instruments"), ", ".join(telling.name(each) for each in one.payload.instruments)))
    subjects = [telling.name(each) for each in envelope.subjects]
    if subjects:
        found.append((say("event.subjects"), ", ".join(subjects)))
    device = names.get(envelope.device, "") or short(envelope.device)
    found.append((say("event.device"), say("event.place_in_chain", device=device, number=envelope.sequence)))
    return tuple(found)


def _effects(asked: Asked, telling: Telling, payload: ChangeMade) -> tuple[str, ...]:
    change = asked.workplace.catalogue.changes.get(payload.change)
    if change is None:
        return ()
    worst = {one.id: one.worst for one in change.questions}
    kinds = asked.workplace.catalogue.evidence
    found: dict[str, list[str]] = {}
    for rule in change.rules:
        if any(payload.answers.get(question, worst[question]) != answer for question, answer in rule.condition):
            continue
        key = {Effect.VOID: "void", Effect.RECHECK: "recheck", Effect.DISPROVE: "disprove"}[rule.effect]
        found.setdefault(key, []).append(kinds[rule.evidence].title)
    return tuple(asked.say(f"event.effect_{key}", kinds="; ".join(titles)) for key, titles in found.items())


ROUTES = (Door(path="/event/{event}", handler=event),)
