"""How units would stand after an act that was only thought through: for a program and for a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from loopworthy.doors.cli import plain, show
from loopworthy.doors.cli.base import say
from loopworthy.doors.words import Words
from loopworthy.judgement.merged import Shift, UnitShift


def plain_shifts(words: Words, shifts: Iterable[UnitShift]) -> dict[str, Any]:
    """The units that would stand otherwise, each with what would."""
    return {
        "units": [
            {
                "unit": words.workplace.name(one.unit),
                "before": one.before.word.value if one.before is not None else None,
                "after": one.after.word.value,
                "no_longer_counting": [_plain(words, each) for each in one.shifts if _falls(each)],
                "asked_anew": [_plain(words, each) for each in one.shifts if each.before is None],
                "no_longer_asked": [_plain(words, each) for each in one.shifts if each.after is None],
                "counting_only_then": [_plain(words, each) for each in one.shifts if _rises(each)],
            }
            for one in shifts
        ]
    }


def shift_lines(words: Words, shifts: Iterable[UnitShift]) -> Iterator[str]:
    """The same in lines; nothing was recorded."""
    told = False
    for one in shifts:
        told = True
        yield show.verdict_line(words, one.after)
        for key, wanted in (
            ("then_fallen", [each for each in one.shifts if _falls(each)]),
            ("then_asked", [each for each in one.shifts if each.before is None]),
            ("then_gone", [each for each in one.shifts if each.after is None]),
            ("then_risen", [each for each in one.shifts if _rises(each)]),
        ):
            if wanted:
                yield say(key, count=len(wanted))
                yield from (f"  {line}" for line in dict.fromkeys(_line(words, each) for each in wanted))
    if not told:
        yield say("then_nothing")
    yield say("only_in_thought")


def _falls(one: Shift) -> bool:
    return one.fell and one.before is not None


def _rises(one: Shift) -> bool:
    return one.rose and one.before is not None


def _plain(words: Words, one: Shift) -> dict[str, Any]:
    requirement = one.after or one.before
    return plain.requirement(words, requirement) if requirement is not None else {}


def _line(words: Words, one: Shift) -> str:
    requirement = one.after or one.before
    if requirement is None:
        return ""
    state = f"{one.after.standing.state.value}: " if one.after is not None else ""
    return f"{state}{requirement.step.id} {words.requirement_title(requirement)}"
