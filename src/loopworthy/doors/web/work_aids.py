"""What a step wants seen before it is entered: expected readings, earlier leaks, a serial's history, open items.

Each aid is read from the record at the moment of the request; none fills a field.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

from loopworthy.desk.leaks import earlier_tests
from loopworthy.desk.sensors import foretold_oxygen
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.shown import once
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.standing import State
from loopworthy.vocabulary.identity import ThingId

LEAKS_SHOWN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Aid:
    """Something to look at on a work page.

    Attributes
    ----------
    title, note : str
    head : tuple of str
    rows : tuple of tuple of str
        A small table; none where there is nothing yet.
    href, link : str
        Where more is, and the words of that link.
    """

    title: str
    note: str = ""
    head: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    href: str = ""
    link: str = ""


def aid_for(asked: Asked, unit: ThingId, step: Step) -> Aid | None:
    """The aid of a step; None for most."""
    made = _AIDS.get(step.id)
    return made(asked, unit) if made is not None else None


def _expected(asked: Asked, unit: ThingId) -> Aid:
    say = asked.say
    foretold = foretold_oxygen(asked.workplace, unit, at=asked.now)
    rows = tuple(
        (one.serial, one.air_mv, f"{one.dry_mv:.1f} mV", f"{one.humid_mv:.1f} mV")
        for one in foretold
        if one.dry_mv is not None and one.humid_mv is not None
    )
    missing = dict.fromkeys(one.why_not for one in foretold if one.why_not)
    steps = asked.workplace.catalogue.steps
    names = ", ".join(steps[name].title if name in steps else name for name in missing)
    return Aid(
        title=say("aids.expected"),
        note=say("aids.expected_missing", what=names) if names else say("aids.expected_note"),
        head=(say("aids.sensor"), say("sensors.air"), say("aids.dry"), say("aids.humid")),
        rows=rows,
    )


def _serial_history(asked: Asked, unit: ThingId) -> Aid:
    return Aid(title=asked.say("aids.history"), href=asked.links.sensors(unit), link=asked.say("aids.history_link"))


def _leaks(asked: Asked, unit: ThingId) -> Aid:
    say, clock = asked.say, asked.words.clock
    rows = []
    for step_id in ("L02", "L03"):
        title = asked.workplace.catalogue.steps[step_id].title
        for one in reversed(earlier_tests(asked.workplace, unit, step_id, most=LEAKS_SHOWN)):
            if one.test is None:
                continue
            leak = one.test.leak_ml_per_min
            rows.append(
                (
                    title,
                    clock.when(one.item.occurred_ms),
                    f"{one.test.start_gauge_mbar:.0f} mbar",
                    f"{leak:.1f} mL/min" if leak is not None else say("aids.no_volume"),
                )
            )
    return Aid(
        title=say("aids.leaks"),
        note=say("aids.leaks_note") if rows else say("aids.leaks_none"),
        head=(say("aids.test"), say("sensors.when"), say("aids.start"), say("aids.leak")),
        rows=tuple(rows),
    )


def _open_items(asked: Asked, unit: ThingId) -> Aid:
    """What has to be read out to the team: void, expired, waived, and what was single-handed or near a limit."""
    verdict = asked.workplace.verdict(unit, asked.now)
    words = asked.words
    found: dict[tuple[str, str], int] = {}
    for one in once(verdict.requirements()):
        marks = words.marks(one.standing.marks)
        if one.standing.state in (State.VOID, State.EXPIRED, State.RECHECK, State.WAIVED) or marks:
            state = asked.say(f"states.{one.standing.state.value.replace(' ', '_').replace('-', '_')}")
            key = (one.step.title, ", ".join((state, *marks)))
            found[key] = found.get(key, 0) + 1
    rows = [
        (asked.say("aids.several", title=title, count=count) if count > 1 else title, state)
        for (title, state), count in found.items()
    ]
    return Aid(
        title=asked.say("aids.open_items"),
        note="" if rows else asked.say("aids.no_open_items"),
        head=(asked.say("aids.item"), asked.say("aids.state")),
        rows=tuple(rows),
        href=asked.links.unit(unit),
        link=asked.say("aids.verdict_link"),
    )


_AIDS: Final[Mapping[str, Callable[[Asked, ThingId], Aid]]] = {
    "C04": _expected,
    "C07": _serial_history,
    "L04": _leaks,
    "F01": _open_items,
}
