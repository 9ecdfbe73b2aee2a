"""The board: every unit with its verdict, until when it holds, the next step, and who has it."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import merges
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.nexts import next_things
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.verdict import Verdict, Word
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardRow:
    """One unit, as templates/parts/board_row.html draws it.

    Attributes
    ----------
    name, href : str
    word : Word
    until_iso, until_text : str
        For a ready unit: the moment after which the row blanks itself.
    sentence : str
        Why it is not ready, in a few words; '' for a ready unit.
    next_text, next_href, who : str
        '' where there is none.
    marks : tuple of str
    """

    name: str
    href: str
    word: Word
    until_iso: str
    until_text: str
    sentence: str
    next_text: str
    next_href: str
    who: str
    marks: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """The board.

    Attributes
    ----------
    rows : tuple of BoardRow
    at_text : str
        When the verdicts were read.
    new_unit_href, people_href : str
    knows_people : bool
        Whether anybody is in the record yet.
    came_in, merges_href : str
        That entries of other devices came in which nobody has looked at, '' where none did; where to look.
    apart, apart_href : str
        That entries lie beside the record which a verdict here may lack, '' where none do; where they are listed.
    """

    frame: Frame
    rows: tuple[BoardRow, ...]
    at_text: str
    new_unit_href: str
    people_href: str
    knows_people: bool
    came_in: str
    merges_href: str
    apart: str
    apart_href: str


def board(asked: Asked) -> Answer:
    """All units at a glance."""
    world = asked.workplace.world
    units = [one for one in world.units() if not world.thing(one).retired]
    verdicts = {one: asked.workplace.verdict(one, asked.now) for one in units}
    ends = [one.until_ms for one in verdicts.values() if one.word is Word.READY and one.until_ms is not None]
    context = Board(
        frame=page_frame(asked, asked.say("board.title"), until_ms=min(ends) if ends else None),
        rows=tuple(_row(asked, one, verdicts[one]) for one in units),
        at_text=asked.words.clock.when(asked.now.epoch_ms),
        new_unit_href=asked.links.new_unit(),
        people_href=asked.links.people(),
        knows_people=bool(world.of_kind("person")),
        came_in=came_in_sentence(asked),
        merges_href=asked.links.merges(),
        apart=asked.say("apart.board") if any(one.cautions for one in verdicts.values()) else "",
        apart_href=asked.links.apart(),
    )
    return Page(template="board.html", context=context)


def came_in_sentence(asked: Asked) -> str:
    """That entries of other devices came in which nobody has looked at; '' where none did."""
    count = merges.not_looked_at(asked.workplace)
    return "" if not count else asked.say("merges.board_one") if count == 1 else asked.say("merges.board", count=count)


def _row(asked: Asked, unit: ThingId, verdict: Verdict) -> BoardRow:
    words = asked.words
    things = next_things(asked, unit, verdict)
    holder = asked.workplace.world.holder(unit)
    bounded = verdict.word is Word.READY and verdict.until_ms is not None
    return BoardRow(
        name=asked.workplace.name(unit),
        href=asked.links.unit(unit),
        word=verdict.word,
        until_iso=words.clock.iso(verdict.until_ms) if bounded and verdict.until_ms is not None else "",
        until_text=words.clock.when(verdict.until_ms) if bounded and verdict.until_ms is not None else "",
        sentence=words.short_reason(verdict),
        next_text=(things[0].short or things[0].text) if things else "",
        next_href=things[0].href if things else "",
        who=asked.workplace.name(holder) if holder is not None else "",
        marks=(
            *filter(None, (words.caution_mark(verdict),)),
            *dict.fromkeys(words.marks(tuple(mark.rpartition(": ")[0] for mark in verdict.marks))),
        ),
    )


ROUTES = (Door(path="/", handler=board),)
