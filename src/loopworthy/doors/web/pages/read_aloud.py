"""The final check for whoever reads it aloud: one line at a time in large letters, what is never skipped first.

Nothing is entered here, so that nobody ticks while listening; what was read is entered on the work page afterwards.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.steps import StepEntry, applicable_pages, work_page
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.doors.web.shown import once
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Requirement
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId, short

FINAL_CHECK = "final-check"
READS_OUT = "EV63"
"""The evidence of the step at which open items are read out; they are listed beneath it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenItem:
    """Evidence that stands open in the same way for the same reason.

    Attributes
    ----------
    state : State
    why : str
    titles : tuple of str
        The steps, each with what it is about where that is several things.
    """

    state: State
    why: str
    titles: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line to read.

    Attributes
    ----------
    number : int
        From 1.
    id, title, text, accept : str
        The step; what to do; when it is accepted.
    about : tuple of str
        What it is done to, where that is more than the unit.
    read : tuple of str
        What is said aloud as a number, with its unit.
    open_items : tuple of OpenItem
        What is open now, to be read out here.
    nothing_open : bool
        Whether it is here that open items are read out, and there is none.
    cautions : tuple of str
        What lies beside the record and may undo some of the evidence, where open items are read out.
    never_skipped, two_person : bool
    """

    number: int
    id: str
    title: str
    text: str
    accept: str
    about: tuple[str, ...]
    read: tuple[str, ...]
    open_items: tuple[OpenItem, ...]
    nothing_open: bool
    cautions: tuple[str, ...]
    never_skipped: bool
    two_person: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Aloud:
    """One line of a page, read aloud.

    Attributes
    ----------
    frame : Frame
    unit_name, page_title : str
    line : Line or None
        None at the end.
    count : int
        How many lines there are.
    before_href, next_href : str
        '' where there is none.
    entry_href, unit_href : str
        Where it is entered; back to the unit.
    """

    frame: Frame
    unit_name: str
    page_title: str
    line: Line | None
    count: int
    before_href: str
    next_href: str
    entry_href: str
    unit_href: str


def read_aloud(asked: Asked) -> Answer:
    """One line of the final check (or of another page)."""
    unit, links = asked.unit, asked.links
    page_id = asked.query.get("page") or FINAL_CHECK
    pages = {one.id: one for one in applicable_pages(asked.workplace, unit)}
    if page_id not in pages:
        raise UnknownNameError("page of this unit", page_id, tuple(pages))
    lines = lines_of(asked, unit, page_id)
    number = _number(asked, len(lines))
    title = asked.say("aloud.title", page=pages[page_id].title)

    def address(line: int) -> str:
        return links.to("unit", short(unit), "read-aloud", page=page_id, line=str(line))

    context = Aloud(
        frame=page_frame(asked, title),
        unit_name=asked.workplace.name(unit),
        page_title=pages[page_id].title,
        line=lines[number - 1] if number <= len(lines) else None,
        count=len(lines),
        before_href=address(number - 1) if number > 1 else "",
        next_href=address(number + 1) if number <= len(lines) else "",
        entry_href=links.work(unit, page_id),
        unit_href=links.unit(unit),
    )
    return Page(template="read_aloud.html", context=context)


def _number(asked: Asked, count: int) -> int:
    text = asked.query.get("line") or "1"
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= count + 1:
        raise InputError("line", text, f"1 to {count + 1}")
    return int(text)


def lines_of(asked: Asked, unit: ThingId, page_id: str) -> tuple[Line, ...]:
    """The lines of a page: never-skipped steps first, each group in the order of the day."""
    by_step: dict[str, list[StepEntry]] = {}
    for entry in work_page(asked.workplace, unit, page_id).entries:
        by_step.setdefault(entry.step.id, []).append(entry)
    groups = sorted(by_step.values(), key=lambda group: not group[0].step.never_skipped)
    items = open_items(asked, unit, before_page=page_id)
    cautions = asked.words.cautions(asked.workplace.verdict(unit, asked.now))
    return tuple(_line(number, group, items, cautions) for number, group in enumerate(groups, start=1))


def _line(number: int, group: list[StepEntry], items: tuple[OpenItem, ...], cautions: tuple[str, ...]) -> Line:
    step = group[0].step
    reads_out = READS_OUT in step.makes
    return Line(
        number=number,
        id=step.id,
        title=step.title,
        text=step.text,
        accept=step.accept,
        about=tuple(one.label for one in group if one.subject.position),
        read=_spoken(step),
        open_items=items if reads_out else (),
        nothing_open=reads_out and not items and not cautions,
        cautions=cautions if reads_out else (),
        never_skipped=step.never_skipped,
        two_person=step.two_person,
    )


def _spoken(step: Step) -> tuple[str, ...]:
    return tuple(f"{one.label} ({one.unit})" for one in step.inputs if one.unit)


def open_items(asked: Asked, unit: ThingId, *, before_page: str = "") -> tuple[OpenItem, ...]:
    """What is void, expired or open otherwise, and what was left out aloud, told by its reason.

    What was never read is not among it: it is simply still to be done.

    Parameters
    ----------
    before_page : str
        Only what is asked on earlier pages than this, without what has merely aged and is read again on this page or
        later; empty for everything.
    """
    found: dict[tuple[State, str], dict[str, list[str]]] = {}
    for one in once(asked.workplace.verdict(unit, asked.now).requirements()):
        state = one.standing.state
        if state in (State.CURRENT, State.ABSENT) or (before_page and _comes_later(asked, one, before_page)):
            continue
        why = asked.words.standing_sentence(one.standing, one.step)
        label = asked.words.subject_label(one.subject)
        found.setdefault((state, why), {}).setdefault(one.step.title, []).extend([label] if label else [])
    return tuple(
        OpenItem(
            state=state,
            why=why,
            titles=tuple(f"{step} ({'; '.join(labels)})" if labels else step for step, labels in steps.items()),
        )
        for (state, why), steps in found.items()
    )


def _comes_later(asked: Asked, one: Requirement, page_id: str) -> bool:
    catalogue = asked.workplace.catalogue
    places = {page.id: page.order for page in catalogue.pages}
    again = catalogue.renewing.get(one.kind, ()) if one.standing.code == "aged" else ()
    return any(places[step.page] >= places[page_id] for step in (one.step, *again))


ROUTES = (Door(path="/unit/{unit}/read-aloud", handler=read_aloud),)
