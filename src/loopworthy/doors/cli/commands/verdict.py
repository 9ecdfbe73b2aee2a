"""``loopworthy verdict``: ready, unproven or stop, now, at a past moment in two readings, or foreseen."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Command, Exit, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace
    from loopworthy.judgement.verdict import Verdict
    from loopworthy.vocabulary.identity import ThingId
    from loopworthy.vocabulary.time import Moment

_CODES = {"ready": Exit.DONE, "unproven": Exit.UNPROVEN, "stop": Exit.STOP}


@click.command("verdict", cls=Command, help=helped("verdict"))
@argument("unit", "unit_or_all", required=False, type=Known("unit"))
@option("--at", key="verdict_at", metavar="TIME")
@option("--known-on", key="verdict_known_on", metavar="DEVICE", type=Known("device"))
@option("--all", "everything", key="verdict_all", is_flag=True)
@option("--exit-zero", key="verdict_exit_zero", is_flag=True)
@click.pass_obj
def verdict(
    settings: Settings, unit: str | None, at: str | None, known_on: str | None, everything: bool, exit_zero: bool
) -> int:
    """Tell the verdict; the exit code is that of the worst one told."""
    from loopworthy.doors.cli import plain, show

    workplace = settings.open(short=at is None)
    now = workplace.now()
    units = (workplace.unit(unit),) if unit else workplace.world.units()
    if not units:
        raise InputError("unit", "", "a unit in this record", next_step="Add one: loopworthy unit add --help")
    if at is None:
        if known_on is not None:
            raise InputError("--known-on", known_on, "given together with --at")
        words = settings.words(workplace, now)
        verdicts = [workplace.verdict(one, now) for one in units]
        settings.answer(
            lambda: {"verdicts": [plain.verdict(words, one, all_requirements=everything) for one in verdicts]},
            lambda: [line for one in verdicts for line in show.verdict(words, one, everything=everything)],
        )
        return Exit.DONE if exit_zero else worst(verdicts)
    return _replayed(settings, workplace, units, at, known_on, everything, exit_zero)


def worst(verdicts: list[Verdict]) -> Exit:
    """The exit code of the worst verdict."""
    return max((_CODES[one.word.value] for one in verdicts), default=Exit.DONE)


def _replayed(
    settings: Settings,
    workplace: Workplace,
    units: tuple[ThingId, ...],
    at: str,
    known_on: str | None,
    everything: bool,
    exit_zero: bool,
) -> int:
    from loopworthy.doors.cli.moments import read_moment

    moment = read_moment("--at", at, workplace.now())
    foreseen = moment.epoch_ms > workplace.now().epoch_ms
    told: list[dict[str, Any]] = []
    lines: list[str] = []
    codes: list[Verdict] = []
    for unit in units:
        readings = _foreseen(workplace, unit, moment) if foreseen else _both(workplace, unit, moment, known_on)
        answers, unit_lines = _tell(settings, workplace, unit, moment, readings, known_on, everything)
        told.append(answers)
        lines += unit_lines
        codes += [one for one in [readings[-1][1]] if one is not None]
    settings.answer(lambda: {"replays": told}, lambda: lines)
    if exit_zero:
        return Exit.DONE
    return worst(codes) if len(codes) == len(units) else max(Exit.UNPROVEN, worst(codes))


Reading = tuple[str, "Verdict | None"]


def _foreseen(workplace: Workplace, unit: ThingId, moment: Moment) -> list[Reading]:
    return [(say("foreseen"), workplace.verdict(unit, moment))]


def _both(workplace: Workplace, unit: ThingId, moment: Moment, known_on: str | None) -> list[Reading]:
    """As the device knew it then, and with hindsight, in this order."""
    from loopworthy.desk.replays import past_states
    from loopworthy.doors.cli.names import find_device

    device = find_device(workplace, known_on) if known_on else ""
    return [
        (one.label, one.replay.verdict if one.replay is not None else None)
        for one in past_states(workplace, unit, moment, device=device)
    ]


def _tell(
    settings: Settings,
    workplace: Workplace,
    unit: ThingId,
    moment: Moment,
    readings: list[Reading],
    known_on: str | None,
    everything: bool,
) -> tuple[dict[str, Any], list[str]]:
    from loopworthy.doors.cli import plain, show

    words = settings.words(workplace, moment)
    answers: dict[str, Any] = {"unit": plain.thing(workplace, unit), "at": moment.at, "zone": moment.zone}
    answers["readings"] = []
    lines: list[str] = []
    for label, found in readings:
        verdict = None if found is None else plain.verdict(words, found, all_requirements=everything)
        answers["readings"].append({"label": label, "verdict": verdict})
    name = workplace.name(unit)
    # Where the device knew nothing of the unit then, the answer that there is goes first.
    came_later = len(readings) > 1 and readings[0][1] is None and readings[-1][1] is not None
    if came_later:
        lines.append(say("came_later_on", unit=name, device=known_on) if known_on else say("came_later", unit=name))
    for label, found in reversed(readings) if came_later else readings:
        lines.append(say("labelled", label=label))
        if found is None:
            lines.append("  " + say("not_there_yet", unit=name))
        else:
            lines += show.verdict(words, found, everything=everything)
    return answers, lines
