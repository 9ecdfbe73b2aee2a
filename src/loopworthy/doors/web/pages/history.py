"""The record told, newest first, narrowed by unit, family, step, person and time; late and withdrawn entries marked."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time

from loopworthy.desk.history import FAMILIES, HistoryEntry, HistoryFilter
from loopworthy.desk.history import history as told_history
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, person_choices, select, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId, short
from loopworthy.vocabulary.time import Moment, moment, zone

AT_ONCE = 60
"""Entries on one page."""
ONLY = ("late", "withdrawn")


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One event in the list.

    Attributes
    ----------
    at_text, title, about, detail, href : str
    who : str
        Who read it; with who typed it where that is somebody else.
    late : str
        When it was written down, where that was later than it happened; '' otherwise.
    withdrawn : str
        Why it was taken back; '' where it was not.
    """

    at_text: str
    title: str
    about: str
    detail: str
    href: str
    who: str
    late: str
    withdrawn: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """The entries of one day."""

    title: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """The record told.

    Attributes
    ----------
    frame : Frame
    days : tuple of Day
        Newest first.
    filters : tuple of Field
    narrowed : bool
        Whether anything narrows it.
    action, all_href : str
        The page's own address; the same of all units, '' where it is that.
    older_href, newest_href : str
        To read on, '' at the end; back to the newest, '' where they are shown.
    """

    frame: Frame
    days: tuple[Day, ...]
    filters: tuple[Field, ...]
    narrowed: bool
    action: str
    all_href: str
    older_href: str
    newest_href: str


def of_unit(asked: Asked) -> Answer:
    """The history of one unit."""
    return Page(template="history.html", context=history_page(asked, asked.unit))


def of_all(asked: Asked) -> Answer:
    """The history of the whole record."""
    return Page(template="history.html", context=history_page(asked, ""))


def history_page(asked: Asked, unit: ThingId) -> History:
    """What a unit's, or everybody's, history shows with the filter of the address."""
    wanted = filter_of(asked, unit)
    found = told_history(asked.workplace, wanted, most=AT_ONCE + 1)
    shown = found[:AT_ONCE]
    asked_for = {name: asked.query.get(name) for name in ("family", "step", "person", "since", "until", "only", "of")}
    older = short(shown[-1].event) if len(found) > AT_ONCE else ""

    def address(before: str) -> str:
        query = {**asked_for, "before": before}
        return asked.links.history(unit, **query) if unit else asked.links.history_of_all(**query)

    return History(
        frame=page_frame(asked, asked.say("history.title"), unit=unit, place="more" if unit else ""),
        days=_days(asked, shown),
        filters=_filters(asked, unit),
        narrowed=any(asked_for.values()),
        action=asked.links.history(unit) if unit else asked.links.history_of_all(),
        all_href=asked.links.history_of_all() if unit else "",
        older_href=address(older) if older else "",
        newest_href=address("") if asked.query.get("before") else "",
    )


def filter_of(asked: Asked, unit: ThingId) -> HistoryFilter:
    """The filter that an address asks for.

    Raises
    ------
    InputError
        If a family, person or date is none.
    UnknownNameError
        If the unit or the event to read on from is not in the record.
    """
    query = asked.query
    family, person, only = query.get("family"), query.get("person"), query.get("only")
    if family and family not in FAMILIES:
        raise InputError("family", family, f"one of {', '.join(FAMILIES)}")
    if only and only not in ONLY:
        raise InputError("only", only, f"one of {', '.join(ONLY)}")
    if person:
        person = asked.workplace.person(person)
    chosen = unit or (asked.workplace.unit(query.get("of")) if query.get("of") else "")
    since, until = _day(asked, "since"), _day(asked, "until")
    return HistoryFilter(
        unit=chosen,
        family=family,
        step=query.get("step").upper(),
        person=person,
        since=since,
        until=until.plus(minutes=24 * 60, seconds=-1) if until is not None else None,
        late=only == "late",
        withdrawn=only == "withdrawn",
        older_than=asked.event(query.get("before")) if query.get("before") else "",
    )


def _day(asked: Asked, name: str) -> Moment | None:
    text = asked.query.get(name)
    if not text:
        return None
    try:
        typed = date.fromisoformat(text)
    except ValueError as error:
        raise InputError(name, text, "a date", next_step="Write for example 2026-05-14") from error
    place = asked.now.zone
    return moment(datetime.combine(typed, time(), tzinfo=zone(place)), place)


def _filters(asked: Asked, unit: ThingId) -> tuple[Field, ...]:
    say, query = asked.say, asked.query
    families = tuple((one, say(f"history.family_{one}")) for one in FAMILIES)
    only = tuple((one, say(f"history.only_{one}")) for one in ONLY)
    people = tuple((short(one), name) for one, name in person_choices(asked))
    steps = tuple((one.id, f"{one.id} {one.title}") for one in asked.workplace.catalogue.steps.values())
    units = tuple((short(one), asked.workplace.name(one)) for one in asked.workplace.world.units())
    return (
        *(() if unit else (select("of", say("history.unit"), units, query),)),
        select("family", say("history.family"), families, query),
        select("step", say("history.step"), steps, query),
        select("person", say("history.person"), people, query),
        select("only", say("history.only"), only, query),
        text_field("since", say("history.since"), query, kind="date"),
        text_field("until", say("history.until"), query, kind="date"),
    )


def _days(asked: Asked, found: tuple[HistoryEntry, ...]) -> tuple[Day, ...]:
    days: dict[str, list[Entry]] = {}
    for one in found:
        days.setdefault(asked.words.clock.day(one.occurred.epoch_ms), []).append(_entry(asked, one))
    return tuple(Day(title=title, entries=tuple(entries)) for title, entries in days.items())


def _entry(asked: Asked, one: HistoryEntry) -> Entry:
    told = Telling(asked.words).told(asked.workplace.record.get(one.event))
    clock = asked.words.clock
    who = one.reader
    if one.typist and one.typist != one.reader:
        who = asked.say("history.typed_by", reader=one.reader or asked.say("words.nobody_named"), typist=one.typist)
    return Entry(
        at_text=clock.clock(one.occurred.epoch_ms),
        title=told.title,
        about=told.about,
        detail=told.detail,
        href=asked.links.event(one.event),
        who=who,
        late=asked.say("history.late", at=clock.when(one.recorded.epoch_ms)) if one.late else "",
        withdrawn=asked.say("history.withdrawn", reason=one.withdrawn) if one.withdrawn else "",
    )


ROUTES = (
    Door(path="/unit/{unit}/history", handler=of_unit),
    Door(path="/history", handler=of_all),
)
