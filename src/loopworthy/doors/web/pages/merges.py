"""What a merge changed: unit by unit the verdict before and after, what fell by whose action, and what each one saw.

Verdicts here are those of the merge's own moment; like every past verdict they are told and never drawn as one that
holds now.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from loopworthy.desk import merges as desk
from loopworthy.desk.merges import Merge, MergeChanges, UnitChanges
from loopworthy.doors.merge_words import MergeWords
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.judgement.merged import Shift, Sight
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import short

MOST_ROWS = 40
"""So many pieces of evidence, or entries, are written out for one unit; the rest is counted."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeRow:
    """One merge in the list.

    Attributes
    ----------
    title, brought, href : str
        Who took in how much, and when; whose entries; its page.
    fresh : bool
        Whether nobody has looked at it on this device.
    """

    title: str
    brought: str
    href: str
    fresh: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeList:
    """All merges, newest first."""

    frame: Frame
    rows: tuple[MergeRow, ...]
    carry_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryTold:
    """One entry: what happened, and by whom, when, on which device."""

    title: str
    detail: str
    by: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Fallen:
    """Evidence that fell by one cause.

    Attributes
    ----------
    state : State
    cause : EntryTold or None
        None where no single entry is behind it; each row says why then.
    rows : tuple of (str, str)
        What it is about; why, '' where the cause says it.
    """

    state: State
    cause: EntryTold | None
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherShift:
    """Evidence that did not count before either, or is not asked for any more."""

    title: str
    before: State | None
    after: State | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SideTold:
    """A device and the verdict that it had before: its name and a sentence."""

    device: str
    word: Word | None
    sentence: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SightTold:
    """A hold that somebody went on from without knowing what was done elsewhere.

    Attributes
    ----------
    text, href : str
        Who, when, where, on which verdict; its entry.
    unknown : tuple of EntryTold
    found : str
        The verdict for that moment with all that is known.
    """

    text: str
    href: str
    unknown: tuple[EntryTold, ...]
    found: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitTold:
    """What a merge changed about one unit.

    Attributes
    ----------
    name, href, key : str
    summary : str
        Before and after in one sentence.
    sides : tuple of SideTold
        This device and the others before, and all together.
    saw : tuple of SightTold
    fallen : tuple of Fallen
    risen : tuple of EntryTold
        Evidence that counts now and did not before.
    others : tuple of OtherShift
    came_in : tuple of EntryTold
    readings : int
        New readings about the unit.
    left_out : int
        Rows beyond `MOST_ROWS`.
    """

    name: str
    href: str
    key: str
    summary: str
    sides: tuple[SideTold, ...]
    saw: tuple[SightTold, ...]
    fallen: tuple[Fallen, ...]
    risen: tuple[EntryTold, ...]
    others: tuple[OtherShift, ...]
    came_in: tuple[EntryTold, ...]
    readings: int
    left_out: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MergePage:
    """What one merge changed.

    Attributes
    ----------
    frame : Frame
    lead, brought : str
        Who took in how much, when; whose entries.
    first : bool
        Whether it was the beginning of the record on that device.
    units : tuple of UnitTold
    untouched : str
        Names of the units of which nothing changed; '' for none.
    notes : tuple of str
        Forks, catalogues, what lies beside the record.
    look_action : str
        Where "I have looked at it" is sent; '' where nobody need.
    list_href : str
    """

    frame: Frame
    lead: str
    brought: str
    first: bool
    units: tuple[UnitTold, ...]
    untouched: str
    notes: tuple[str, ...]
    look_action: str
    list_href: str


def merge_list(asked: Asked) -> Answer:
    """All merges."""
    words = MergeWords(asked.words)
    rows = tuple(
        MergeRow(
            title=words.lead(one),
            brought=words.brought(one),
            href=asked.links.merge(one.key),
            fresh=not one.looked_at,
        )
        for one in desk.merges(asked.workplace)
    )
    context = MergeList(frame=page_frame(asked, asked.say("merges.list")), rows=rows, carry_href=asked.links.carry())
    return Page(template="merges.html", context=context)


def one_merge(asked: Asked) -> Answer:
    """What one merge changed; sent to, that somebody has looked at it."""
    key = asked.values["merge"]
    if asked.posts:
        desk.look_at(asked.workplace, key)
        return SeeOther(address=asked.links.board())
    return Page(template="merge.html", context=merge_page(asked, desk.merge_changes(asked.workplace, key)))


def merge_page(asked: Asked, changes: MergeChanges) -> MergePage:
    """What the page of a merge shows."""
    merge, words = changes.merge, MergeWords(asked.words)
    return MergePage(
        frame=page_frame(asked, asked.say("merges.title")),
        lead=words.lead(merge),
        brought=words.brought(merge),
        first=merge.first,
        units=tuple(_unit(asked, words, merge, one) for one in changes.units),
        untouched=", ".join(asked.workplace.name(one) for one in changes.untouched),
        notes=words.notes(changes),
        look_action=asked.links.merge(merge.key) if not merge.looked_at else "",
        list_href=asked.links.merges(),
    )


def _unit(asked: Asked, words: MergeWords, merge: Merge, changes: UnitChanges) -> UnitTold:
    shift = changes.shift
    risen = tuple(
        replace(_entry(asked, words, event), title=title, detail=words.told(event).detail)
        for title, event in words.risen(shift.shifts)
    )
    others = tuple(dict.fromkeys(_other(words, one) for one in shift.shifts if not one.fell and not one.rose))
    came_in = tuple(_entry(asked, words, one) for one in changes.came_in)
    return UnitTold(
        name=asked.workplace.name(shift.unit),
        href=asked.links.unit(shift.unit),
        key=short(shift.unit),
        summary=words.summary(changes),
        sides=tuple(
            SideTold(device=device, word=verdict.word if verdict is not None else None, sentence=words.side(verdict))
            for device, verdict in words.sides(merge, changes)
        ),
        saw=tuple(_sight(asked, words, one) for one in changes.sights),
        fallen=tuple(
            Fallen(state=state, cause=_entry(asked, words, cause) if cause is not None else None, rows=rows)
            for state, cause, rows in words.fallen(shift.shifts)
        ),
        risen=risen[:MOST_ROWS],
        others=others[:MOST_ROWS],
        came_in=came_in[:MOST_ROWS],
        readings=len(changes.readings),
        left_out=sum(max(0, len(rows) - MOST_ROWS) for rows in (risen, others, came_in)),
    )


def _sight(asked: Asked, words: MergeWords, sight: Sight) -> SightTold:
    unknown = [event for event in map(words.event, sight.unknown) if event is not None]
    return SightTold(
        text=words.saw(sight),
        href=asked.links.event(sight.passing.id),
        unknown=tuple(_entry(asked, words, event) for event in unknown),
        found=words.found(sight),
    )


def _other(words: MergeWords, shift: Shift) -> OtherShift:
    one = shift.after or shift.before
    assert one is not None
    states = [side.standing.state if side is not None else None for side in (shift.before, shift.after)]
    why = "" if shift.after is None or one.counts else words.words.standing_sentence(one.standing, one.step)
    return OtherShift(title=words.words.requirement_title(one), before=states[0], after=states[1], why=why)


def _entry(asked: Asked, words: MergeWords, event: Event) -> EntryTold:
    told = words.told(event)
    return EntryTold(
        title=told.title,
        detail=" · ".join(part for part in (told.about, told.detail) if part),
        by=words.by(event),
        href=asked.links.event(event.id),
    )


ROUTES = (
    Door(path="/record/merges", handler=merge_list),
    Door(path="/record/merges/{merge}", handler=one_merge, methods=READ_AND_SEND),
)
