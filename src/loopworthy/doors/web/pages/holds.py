"""Faults and incidents of a unit: the holds that are open, and those that a second person has released."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.book import Release
from loopworthy.judgement.changelog import ChangeEntry
from loopworthy.judgement.verdict import open_holds


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldShown:
    """One hold.

    Attributes
    ----------
    title, words, note, declared : str
        The change that opened it; what it says; in own words; when and by whom.
    href, release_href : str
        Its event; where it is released, '' where it is already, or was taken back.
    freezes : bool
    told : tuple of (str, str)
        How it was released: cause, repair, test, by whom.
    """

    title: str
    words: str
    note: str
    declared: str
    href: str
    release_href: str
    freezes: bool
    told: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Holds:
    """Open holds, and earlier ones newest first; `fault_href` and `incident_href` open one."""

    frame: Frame
    open: tuple[HoldShown, ...]
    earlier: tuple[HoldShown, ...]
    fault_href: str
    incident_href: str


def holds(asked: Asked) -> Answer:
    """All holds of a unit."""
    unit, book, catalogue = asked.unit, asked.workplace.book(), asked.workplace.catalogue
    still_open = [one.event for one in open_holds(book, catalogue, unit, asked.now)]
    earlier = {
        entry.event: entry
        for change in catalogue.changes.values()
        if change.hold
        for entry in book.changes.about(change.id, (unit,))
        if entry.event not in still_open
    }
    context = Holds(
        frame=page_frame(asked, asked.say("holds.title"), unit=unit, place="more", cautions=("accident",)),
        open=tuple(_shown(asked, book.changes.entries[event], is_open=True) for event in still_open),
        earlier=tuple(
            _shown(asked, entry, is_open=False)
            for entry in sorted(earlier.values(), key=lambda one: one.occurred_ms, reverse=True)
        ),
        fault_href=asked.links.change(unit, "fault-written-down"),
        incident_href=asked.links.change(unit, "incident"),
    )
    return Page(template="holds.html", context=context)


def _shown(asked: Asked, entry: ChangeEntry, *, is_open: bool) -> HoldShown:
    change = asked.workplace.catalogue.changes[entry.change]
    book, clock = asked.workplace.book(), asked.words.clock
    who = asked.workplace.name(entry.person) or asked.say("words.nobody_named")
    told = [fact for release in book.releases.get(entry.event, ()) for fact in _released(asked, release)]
    withdrawal = book.withdrawals.get(entry.event)
    if withdrawal is not None:
        told.append((asked.say("holds.taken_back"), withdrawal.reason))
    return HoldShown(
        title=change.title,
        words=change.hold,
        note=entry.note,
        declared=asked.say("holds.declared", when=clock.when(entry.occurred_ms), who=who),
        href=asked.links.event(entry.event),
        release_href=asked.links.release(asked.unit, entry.event) if is_open else "",
        freezes=change.freezes,
        told=tuple(told),
    )


def _released(asked: Asked, release: Release) -> tuple[tuple[str, str], ...]:
    say = asked.say
    by = say(
        "holds.declared",
        when=asked.words.clock.when(release.occurred_ms),
        who=asked.workplace.name(release.person) or say("words.nobody_named"),
    )
    one = release.released
    return (
        (say("told.name_cause"), one.cause),
        (say("told.name_repair"), one.repair),
        (say("told.name_test"), one.test),
        (say("holds.released"), by),
    )


ROUTES = (Door(path="/unit/{unit}/holds", handler=holds),)
