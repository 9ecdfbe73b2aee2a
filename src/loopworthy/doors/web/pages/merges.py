"""What a merge changed: unit by unit the verdict before and after, what fell by whose action, and what each one saw.

Verdicts here are those of the merge's own moment; like every past verdict they are told and never drawn as one that
holds now.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import merges as desk
from loopworthy.desk.history import LATE_MS
from loopworthy.desk.merges import Merge, MergeChanges, UnitChanges
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.judgement.merged import Shift, Sight
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Requirement, Verdict, Word
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, short

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
    rows = tuple(
        MergeRow(
            title=_lead(asked, one),
            brought=_brought(asked, one),
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
    merge = changes.merge
    return MergePage(
        frame=page_frame(asked, asked.say("merges.title")),
        lead=_lead(asked, merge),
        brought=_brought(asked, merge),
        first=merge.first,
        units=tuple(_unit(asked, merge, one) for one in changes.units),
        untouched=", ".join(asked.workplace.name(one) for one in changes.untouched),
        notes=tuple(_notes(asked, changes)),
        look_action=asked.links.merge(merge.key) if not merge.looked_at else "",
        list_href=asked.links.merges(),
    )


def _lead(asked: Asked, merge: Merge) -> str:
    values: dict[str, object] = {"when": asked.words.clock.when(merge.at.epoch_ms)}
    if not merge.own:
        values["device"] = merge.device_name
    key = "own" if merge.own else "other"
    if merge.count == 1:
        return asked.say(f"merges.{key}_one", **values)
    return asked.say(f"merges.{key}", count=merge.count, **values)


def _brought(asked: Asked, merge: Merge) -> str:
    parts = (asked.say("merges.brought_part", device=name, count=count) for name, count in merge.brought_by)
    return asked.say("merges.brought", parts=", ".join(parts))


def _notes(asked: Asked, changes: MergeChanges) -> list[str]:
    notes = [asked.say("merges.catalogue")] if changes.catalogues else []
    names = desk.device_names(asked.workplace)
    notes += [
        asked.say("merges.fork", device=names.get(one.device, short(one.device)), number=one.sequence)
        for one in changes.forks
    ]
    if changes.waiting:
        notes.append(asked.say("merges.waiting", count=changes.waiting))
    return notes


# --- one unit ---------------------------------------------------------------------------------------------------------


def _unit(asked: Asked, merge: Merge, changes: UnitChanges) -> UnitTold:
    shift = changes.shift
    fell = [one for one in shift.shifts if one.fell]
    rose = [one for one in shift.shifts if one.rose]
    others = [one for one in shift.shifts if not one.fell and not one.rose]
    risen = _risen(asked, rose)
    told_others = tuple(dict.fromkeys(_other(asked, one) for one in others))
    came_in = tuple(_entry(asked, one) for one in changes.came_in)
    return UnitTold(
        name=asked.workplace.name(shift.unit),
        href=asked.links.unit(shift.unit),
        key=short(shift.unit),
        summary=_summary(asked, shift.before, shift.after),
        sides=_sides(asked, merge, changes),
        saw=tuple(_sight(asked, one) for one in changes.sights),
        fallen=_fallen(asked, fell),
        risen=risen[:MOST_ROWS],
        others=told_others[:MOST_ROWS],
        came_in=came_in[:MOST_ROWS],
        readings=len(changes.readings),
        left_out=sum(max(0, len(rows) - MOST_ROWS) for rows in (risen, told_others, came_in)),
    )


def _summary(asked: Asked, before: Verdict | None, after: Verdict) -> str:
    word = asked.say(f"parts.verdict_{after.word.value}")
    if before is None:
        return asked.say("merges.new_unit", after=word)
    if before.word is after.word:
        return asked.say("merges.still", word=word)
    return asked.say("merges.was_is", before=asked.say(f"parts.verdict_{before.word.value}"), after=word)


def _sides(asked: Asked, merge: Merge, changes: UnitChanges) -> tuple[SideTold, ...]:
    taker = asked.say("merges.this_device") if merge.own else merge.device_name
    told = [_side(asked, taker, changes.shift.before)]
    told += [_side(asked, one.device_name, one.verdict) for one in changes.sides]
    return (*told, _side(asked, asked.say("merges.together"), changes.shift.after))


def _side(asked: Asked, device: str, verdict: Verdict | None) -> SideTold:
    if verdict is None:
        return SideTold(device=device, word=None, sentence=asked.say("merges.not_known"))
    if verdict.word is Word.READY and verdict.until_ms is not None:
        sentence = asked.say("merges.ready_until", until=asked.words.clock.when(verdict.until_ms))
    else:
        sentence = asked.words.verdict_sentence(verdict)
    return SideTold(device=device, word=verdict.word, sentence=sentence)


def _sight(asked: Asked, sight: Sight) -> SightTold:
    envelope = sight.passing.envelope
    values = {
        "who": asked.workplace.name(envelope.read_by) or asked.say("words.nobody_named"),
        "hold": Telling(asked.words).hold(sight.hold),
        "when": asked.words.clock.when(envelope.occurred_at.epoch_ms),
        "device": desk.device_names(asked.workplace).get(envelope.device, short(envelope.device)),
        "word": asked.say(f"parts.verdict_{sight.said}") if sight.said in set(Word) else sight.said,
    }
    unknown = (_known_entry(asked, one) for one in sight.unknown)
    found = asked.say(f"parts.verdict_{sight.found}")
    return SightTold(
        text=asked.say("merges.saw", **values),
        href=asked.links.event(sight.passing.id),
        unknown=tuple(one for one in unknown if one is not None),
        found=asked.say("merges.saw_found", when=values["when"], word=found),
    )


def _fallen(asked: Asked, shifts: list[Shift]) -> tuple[Fallen, ...]:
    groups: dict[tuple[State, EventId], list[Requirement]] = {}
    for one in shifts:
        if one.after is not None:
            groups.setdefault((one.after.standing.state, one.after.standing.cause), []).append(one.after)
    told = []
    for (state, cause), requirements in groups.items():
        entry = _known_entry(asked, cause) if cause else None
        rows = dict.fromkeys(
            (
                asked.words.requirement_title(one),
                "" if entry is not None else asked.words.standing_sentence(one.standing, one.step),
            )
            for one in requirements
        )
        told.append(Fallen(state=state, cause=entry, rows=tuple(rows)))
    return tuple(sorted(told, key=lambda one: (one.cause is None, -len(one.rows))))


def _risen(asked: Asked, shifts: list[Shift]) -> tuple[EntryTold, ...]:
    found: dict[str, EntryTold] = {}
    for one in shifts:
        if one.after is None:
            continue
        standing = one.after.standing
        entry = _known_entry(asked, standing.item.event if standing.item is not None else standing.cause)
        title = asked.words.requirement_title(one.after)
        if entry is not None and title not in found:
            found[title] = EntryTold(title=title, detail=entry.detail, by=entry.by, href=entry.href)
    return tuple(found.values())


def _other(asked: Asked, shift: Shift) -> OtherShift:
    one = shift.after or shift.before
    assert one is not None
    why = asked.words.standing_sentence(one.standing, one.step) if shift.after is not None and not one.counts else ""
    return OtherShift(
        title=asked.words.requirement_title(one),
        before=shift.before.standing.state if shift.before is not None else None,
        after=shift.after.standing.state if shift.after is not None else None,
        why=why,
    )


# --- entries ----------------------------------------------------------------------------------------------------------


def _known_entry(asked: Asked, identity: EventId) -> EntryTold | None:
    try:
        return _entry(asked, asked.workplace.record.get(identity))
    except LoopworthyError:
        return None


def _entry(asked: Asked, event: Event) -> EntryTold:
    envelope = event.envelope
    told = Telling(asked.words).told(event)
    names = desk.device_names(asked.workplace)
    by = asked.say(
        "merges.by",
        who=asked.workplace.name(envelope.read_by or envelope.typed_by) or asked.say("words.nobody_named"),
        when=asked.words.clock.when(envelope.occurred_at.epoch_ms),
        device=names.get(envelope.device, short(envelope.device)),
    )
    if envelope.recorded_at.epoch_ms - envelope.occurred_at.epoch_ms > LATE_MS:
        by = asked.say("merges.written_late", by=by, at=asked.words.clock.when(envelope.recorded_at.epoch_ms))
    return EntryTold(
        title=told.title,
        detail=" · ".join(part for part in (told.about, told.detail) if part),
        by=by,
        href=asked.links.event(event.id),
    )


ROUTES = (
    Door(path="/record/merges", handler=merge_list),
    Door(path="/record/merges/{merge}", handler=one_merge, methods=READ_AND_SEND),
)
