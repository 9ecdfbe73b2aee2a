"""Two lists of a unit: every work page in the order of the day, and everything else that can be done."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from loopworthy.desk.steps import applicable_pages
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class PageShown:
    """A work page: title, address, and how many of its steps are outstanding in words."""

    title: str
    href: str
    open_text: str
    is_open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class HoldPages:
    """The work pages that are asked first at one hold point.

    Attributes
    ----------
    title : str
    word : Word or None
        None where the hold does not count now.
    until_iso, until_text : str
        For a hold that is ready: when that ends.
    pages : tuple of PageShown
    """

    title: str
    word: Word | None
    until_iso: str
    until_text: str
    pages: tuple[PageShown, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsPage:
    """All work pages of a unit, by hold point."""

    frame: Frame
    holds: tuple[HoldPages, ...]


def steps(asked: Asked) -> Answer:
    """All work pages of a unit."""
    unit = asked.unit
    return Page(template="steps.html", context=steps_context(asked, unit))


def steps_context(asked: Asked, unit: ThingId) -> StepsPage:
    """Work pages by hold point, with how many of their steps are outstanding."""
    verdict = asked.workplace.verdict(unit, asked.now)
    judged = {one.hold.id: one for one in verdict.holds}
    counts = Counter(task.step.page for task in asked.workplace.outstanding(unit, asked.now))
    holds: list[HoldPages] = []
    ends: list[int] = []
    for hold in asked.workplace.catalogue.holds:
        known = judged.get(hold.id)
        nothing = asked.say("places.none" if known is not None else "places.not_asked")
        pages = tuple(
            PageShown(
                title=page.title,
                href=asked.links.work(unit, page.id),
                open_text=asked.say("places.open", count=counts[page.id]) if counts[page.id] else nothing,
                is_open=bool(counts[page.id]),
            )
            for page in applicable_pages(asked.workplace, unit)
            if page.hold == hold.id
        )
        if not pages:
            continue
        until = None
        if known is not None and known.word is Word.READY:
            until = known.until_ms if known.until_ms is not None else verdict.until_ms
            ends += [until] if until is not None else []
        holds.append(
            HoldPages(
                title=hold.title,
                word=known.word if known is not None else None,
                until_iso=asked.words.clock.iso(until) if until is not None else "",
                until_text=asked.words.clock.when(until) if until is not None else "",
                pages=pages,
            )
        )
    return StepsPage(
        frame=page_frame(
            asked, asked.say("places.steps_title"), unit=unit, place="steps", until_ms=min(ends) if ends else None
        ),
        holds=tuple(holds),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MorePage:
    """Everything else about a unit: groups of title and (text, address, explanation)."""

    frame: Frame
    groups: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...]


def more(asked: Asked) -> Answer:
    """Everything else about a unit."""
    unit, links, say = asked.unit, asked.links, asked.say

    def entry(name: str, href: str) -> tuple[str, str, str]:
        return (say(f"places.{name}"), href, say(f"places.{name}_means"))

    groups = (
        (
            say("places.unit_group"),
            (
                entry("day", links.day(unit)),
                entry("custody", links.custody(unit)),
                entry("parts", links.parts(unit)),
                entry("limits", links.limits(unit)),
                entry("holds", links.holds(unit)),
                entry("configure", links.configuration(unit)),
            ),
        ),
        (
            say("places.record_group"),
            (
                entry("history", links.history(unit)),
                entry("past", links.past(unit)),
                entry("sheet", links.sheet(unit)),
                entry("read_aloud", links.read_aloud(unit)),
            ),
        ),
        (
            say("places.all_group"),
            (
                entry("people", links.people()),
                entry("instruments", links.instruments()),
                entry("catalogue", links.catalogue()),
                entry("record", links.record()),
                entry("board", links.board()),
            ),
        ),
    )
    context = MorePage(frame=page_frame(asked, say("nav.more"), unit=unit, place="more"), groups=groups)
    return Page(template="more.html", context=context)


ROUTES = (
    Door(path="/unit/{unit}/steps", handler=steps),
    Door(path="/unit/{unit}/more", handler=more),
)
