"""What would be otherwise, told before anything is recorded: the pages that rehearse an act and then record it.

First a form that is sent with GET says what is meant; the page then shows how every unit concerned would stand, and a
second form records it. All of it works with scripts off.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.frame import Frame
from loopworthy.doors.web.signing import Signing
from loopworthy.judgement.merged import Shift, UnitShift
from loopworthy.judgement.states import State


@dataclass(frozen=True, slots=True, kw_only=True)
class ThoughtRow:
    """A requirement that would stand otherwise.

    Attributes
    ----------
    title, why : str
    state : State or None
        How it would stand; None where it would no longer be asked for.
    """

    title: str
    why: str
    state: State | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ThoughtUnit:
    """A unit as it would stand.

    Attributes
    ----------
    name, summary : str
        Its name; its verdict now and then.
    fallen, asked_anew, gone, risen : tuple of ThoughtRow
        What would no longer count; would be asked for only then; would no longer be asked for; would count only then.
    """

    name: str
    summary: str
    fallen: tuple[ThoughtRow, ...]
    asked_anew: tuple[ThoughtRow, ...]
    gone: tuple[ThoughtRow, ...]
    risen: tuple[ThoughtRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class InThought:
    """A page that rehearses an act, drawn by in_thought.html.

    Attributes
    ----------
    frame : Frame
    said : tuple of str
        What it is about, a paragraph each.
    action : str
        Where both forms are sent.
    pick, pick_hidden : tuple
        Fields of the first form; names and values sent with it.
    needs : str
        What has still to be said; '' when all is said.
    units : tuple of ThoughtUnit
        How units would stand; empty where none would stand otherwise.
    kept, fields : tuple
        What the first form said, sent again; fields of the second form.
    signing : Signing
    button, form, back_href : str
        The button of the second form and its name; where to go when nothing is to be done.
    """

    frame: Frame
    said: tuple[str, ...]
    action: str
    pick: tuple[Field, ...]
    pick_hidden: tuple[tuple[str, str], ...]
    needs: str
    units: tuple[ThoughtUnit, ...]
    kept: tuple[tuple[str, str], ...]
    fields: tuple[Field, ...]
    signing: Signing
    button: str
    form: str
    back_href: str


def said_in(asked: Asked) -> Form:
    """What either form said: the second repeats what the first one said under the same names."""
    return asked.form if asked.posts else asked.query


def told_units(asked: Asked, shifts: Iterable[UnitShift]) -> tuple[ThoughtUnit, ...]:
    """How units would stand, in words."""
    return tuple(_unit(asked, one) for one in shifts)


def _unit(asked: Asked, shift: UnitShift) -> ThoughtUnit:
    say = asked.say
    after = say(f"parts.verdict_{shift.after.word.value}")
    before = say(f"parts.verdict_{shift.before.word.value}") if shift.before is not None else after
    same = before == after
    summary = say("in_thought.still", word=after) if same else say("in_thought.was_is", before=before, after=after)
    return ThoughtUnit(
        name=asked.workplace.name(shift.unit),
        summary=summary,
        fallen=_rows(asked, (one for one in shift.shifts if one.fell and one.before is not None)),
        asked_anew=_rows(asked, (one for one in shift.shifts if one.before is None)),
        gone=_rows(asked, (one for one in shift.shifts if one.after is None)),
        risen=_rows(asked, (one for one in shift.shifts if one.rose and one.before is not None)),
    )


def _rows(asked: Asked, shifts: Iterable[Shift]) -> tuple[ThoughtRow, ...]:
    rows: dict[tuple[str, State | None], ThoughtRow] = {}
    for one in shifts:
        requirement = one.after or one.before
        if requirement is None:
            continue
        title = asked.words.requirement_title(requirement)
        state = one.after.standing.state if one.after is not None else None
        counts = one.after is None or one.after.counts
        why = "" if counts else asked.words.standing_sentence(requirement.standing, requirement.step)
        rows.setdefault((title, state), ThoughtRow(title=title, why=why, state=state))
    return tuple(rows.values())
