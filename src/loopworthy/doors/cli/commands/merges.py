"""``loopworthy merges``: what merges changed, as a list and one by one."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Command, argument, helped, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.merges import Merge, MergeChanges, UnitChanges
    from loopworthy.desk.workplace import Workplace
    from loopworthy.doors.merge_words import MergeWords
    from loopworthy.judgement.verdict import Verdict


@click.command("merges", cls=Command, help=helped("merges"))
@argument("merge", "merge", required=False)
@click.pass_obj
def merges(settings: Settings, merge: str | None) -> None:
    """Tell what merges changed."""
    from loopworthy.desk.merges import merge_changes
    from loopworthy.desk.merges import merges as all_merges
    from loopworthy.doors.merge_words import MergeWords

    workplace = settings.open()
    words = MergeWords(settings.words(workplace))
    if merge is None:
        found = all_merges(workplace)
        settings.answer(
            lambda: {"merges": [_merge(one) for one in found]},
            lambda: (
                [f"{short(one.key)}  {words.lead(one)} {words.brought(one)}" for one in found]
                or [words.say("merges.none")]
            ),
        )
        return
    changes = merge_changes(workplace, merge)
    settings.answer(lambda: _changes(workplace, changes), lambda: _lines(workplace, words, changes))


def _lines(workplace: Workplace, words: MergeWords, changes: MergeChanges) -> Iterator[str]:
    yield words.lead(changes.merge)
    yield words.brought(changes.merge)
    yield from words.notes(changes)
    if changes.merge.first:
        yield words.say("merges.first")
    elif not changes.units:
        yield words.say("merges.nothing")
    for one in changes.units:
        yield from _unit_lines(workplace, words, changes.merge, one)
    if changes.untouched:
        names = ", ".join(workplace.name(one) for one in changes.untouched)
        yield words.say("merges.untouched", units=names)


def _unit_lines(workplace: Workplace, words: MergeWords, merge: Merge, changes: UnitChanges) -> Iterator[str]:
    yield ""
    yield say("merged_unit", unit=workplace.name(changes.shift.unit), summary=words.summary(changes))
    for device, verdict in words.sides(merge, changes):
        word = f"{words.word(verdict.word)}, " if verdict is not None else ""
        yield f"  {device}: {word}{words.side(verdict)}"
    for sight in changes.sights:
        yield f"  {words.saw(sight)}"
        for event in map(words.event, sight.unknown):
            if event is not None:
                yield f"    {words.told(event).title} ({words.by(event)})"
        yield f"  {words.found(sight)}"
    for state, cause, rows in words.fallen(changes.shift.shifts):
        because = f" {words.say('merges.because')} {words.told(cause).title} ({words.by(cause)})" if cause else ""
        yield f"  {state.value}{because}"
        yield from (f"    {title}{f': {why}' if why else ''}" for title, why in rows)
    risen = words.risen(changes.shift.shifts)
    if risen:
        yield f"  {words.say('merges.risen', count=len(risen))}"
        yield from (f"    {title} ({words.by(event)})" for title, event in risen)
    if changes.came_in:
        yield f"  {words.say('merges.came_in', count=len(changes.came_in))}"
        yield from (f"    {words.told(event).title} ({words.by(event)})" for event in changes.came_in)
    if changes.readings:
        yield f"  {words.say('merges.readings', count=len(changes.readings))}"


# --- for programs -----------------------------------------------------------------------------------------------------


def _merge(one: Merge) -> dict[str, Any]:
    return {
        "merge": one.key,
        "device": one.device,
        "device_name": one.device_name,
        "own": one.own,
        "at": one.at.at,
        "brought_by": [{"device_name": name, "events": count} for name, count in one.brought_by],
        "first": one.first,
        "looked_at": one.looked_at,
    }


def _changes(workplace: Workplace, changes: MergeChanges) -> dict[str, Any]:
    return {
        **_merge(changes.merge),
        "units": [_unit(workplace, one) for one in changes.units],
        "untouched": [workplace.name(one) for one in changes.untouched],
        "catalogues": [one.id for one in changes.catalogues],
        "forks": [str(one) for one in changes.forks],
        "beside": {
            "missing": [one.event for one in changes.beside.missing],
            "not_vouched": [one.event for one in changes.beside.not_vouched],
            "ahead": [{"event": one.event, "ahead_ms": one.ahead_ms} for one in changes.beside.ahead],
            "due": [one.event for one in changes.beside.due],
        },
        "refused": list(changes.refused),
    }


def _unit(workplace: Workplace, changes: UnitChanges) -> dict[str, Any]:
    return {
        "unit": workplace.name(changes.shift.unit),
        "before": _verdict(changes.shift.before),
        "after": _verdict(changes.shift.after),
        "others_before": [{"device_name": one.device_name, "verdict": _verdict(one.verdict)} for one in changes.sides],
        "evidence": [
            {
                "kind": one.kind,
                "step": one.step.id,
                "subject": one.subject.key,
                "position": one.subject.position,
                "before": shift.before.standing.state.value if shift.before is not None else None,
                "after": shift.after.standing.state.value if shift.after is not None else None,
                "cause": shift.after.standing.cause if shift.after is not None else "",
            }
            for shift in changes.shift.shifts
            if (one := shift.after or shift.before) is not None
        ],
        "holds_passed_without_knowing": [
            {
                "event": one.passing.id,
                "hold": one.hold,
                "said": one.said,
                "found": one.found,
                "unknown": list(one.unknown),
            }
            for one in changes.sights
        ],
        "came_in": [one.id for one in changes.came_in],
        "readings": [one.id for one in changes.readings],
    }


def _verdict(verdict: Verdict | None) -> dict[str, Any] | None:
    return None if verdict is None else {"verdict": verdict.word.value, "until_ms": verdict.until_ms}
