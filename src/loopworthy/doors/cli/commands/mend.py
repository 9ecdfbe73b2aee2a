"""``loopworthy mend``: repairs, releases, waivers and withdrawals."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_about, find_step
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace
    from loopworthy.vocabulary.identity import EventId, ThingId

mend = Group("mend", help=helped("mend"), no_args_is_help=True)


@mend.command("repair", help=helped("mend_repair"))
@argument("unit", "unit", type=Known("unit"))
@argument("readings", "mend_readings", nargs=-1)
@option("--failed", "all_failed", key="mend_failed", is_flag=True)
@option("--cause", key="mend_cause", required=True, metavar="TEXT")
@option("--done", key="mend_done", required=True, metavar="TEXT")
@option("--place", key="mend_place", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def repair(
    settings: Settings,
    unit: str,
    readings: tuple[str, ...],
    all_failed: bool,
    cause: str,
    done: str,
    place: str,
    at: str | None,
    confirm_time: bool,
) -> None:
    """Record a repair of failed readings; a later reading must still be inside its limit."""
    from loopworthy.desk.mending import failed_readings, record_repair
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = workplace.unit(unit)
    person = settings.actor(workplace)
    mends = dict.fromkeys(workplace.record.get(one).id for one in readings)
    if all_failed:
        mends |= dict.fromkeys(failed_readings(tuple(workplace.verdict(found).requirements())))
    if not mends:
        raise InputError(
            "readings", "", "the failed readings that it mends", next_step="See their identities: verdict --all"
        )
    moment = read_moment("--at", at, workplace.now()) if at else None
    event = record_repair(
        workplace,
        found,
        tuple(mends),
        cause=cause,
        done=done,
        place=place,
        person=person,
        occurred_at=moment,
        moment_confirmed=confirm_time,
    )
    _tell(settings, workplace, found, event, "judgement.repair-made", say("recorded_repair", event=short(event)))


@mend.command("release", help=helped("mend_release"))
@argument("unit", "unit", type=Known("unit"))
@argument("hold", "open_hold", required=False)
@option("--cause", key="mend_cause", required=True, metavar="TEXT")
@option("--repair", key="mend_done", required=True, metavar="TEXT")
@option("--test", key="mend_test", required=True, metavar="TEXT")
@click.pass_obj
def release(settings: Settings, unit: str, hold: str | None, cause: str, repair: str, test: str) -> None:
    """Lift an open hold, as a second person."""
    from loopworthy.desk.mending import release_hold

    workplace = settings.open()
    found = workplace.unit(unit)
    person = settings.actor(workplace)
    if hold:
        wanted = workplace.record.get(hold).id
    else:
        open_ones = workplace.verdict(found).open_holds
        if len(open_ones) != 1:
            names = ", ".join(f"{short(one.event)} ({one.words})" for one in open_ones)
            raise InputError("hold", "", "one open hold", next_step=f"Open: {names or say('none')}")
        wanted = open_ones[0].event
    event = release_hold(workplace, found, wanted, cause=cause, repair=repair, test=test, person=person)
    _tell(settings, workplace, found, event, "judgement.hold-released", say("recorded_release", event=short(event)))


@mend.command("waive", help=helped("mend_waive"))
@argument("unit", "unit", type=Known("unit"))
@argument("step_id", "step", metavar="STEP", type=Known("step"))
@option("--about", key="step_about", default="", metavar="POSITION", type=Known("position"))
@option("--reason", key="reason", required=True, metavar="TEXT")
@option("--heard-by", key="mend_heard_by", required=True, metavar="PERSON", type=Known("person"))
@click.pass_obj
def waive(settings: Settings, unit: str, step_id: str, about: str, reason: str, heard_by: str) -> None:
    """Leave one requirement out for one dive, aloud."""
    from loopworthy.desk.mending import give_waiver

    workplace = settings.open()
    found, step = workplace.unit(unit), find_step(workplace, step_id)
    person = settings.actor(workplace)
    subject = find_about(workplace, found, step, about)
    event = give_waiver(
        workplace, found, step.id, subject, reason=reason, hearer=workplace.person(heard_by), person=person
    )
    _tell(settings, workplace, found, event, "judgement.waiver-given", say("recorded_waiver", event=short(event)))


@mend.command("withdraw", help=helped("mend_withdraw"))
@argument("event", "event")
@option("--reason", key="reason", required=True, metavar="TEXT")
@click.pass_obj
def take_back(settings: Settings, event: str, reason: str) -> None:
    """Take back an event that was entered wrongly; it stays readable."""
    from loopworthy.desk.mending import withdraw

    workplace = settings.open()
    person = settings.actor(workplace)
    made = withdraw(workplace, event, reason=reason, person=person)
    settings.answer(
        lambda: {"recorded": [{"event": made, "kind": "record.event-withdrawn"}]},
        lambda: [say("recorded_withdrawal", event=short(made))],
    )


def _tell(settings: Settings, workplace: Workplace, unit: ThingId, event: EventId, kind: str, line: str) -> None:
    from loopworthy.doors.cli import show

    words = settings.words(workplace)
    verdict = workplace.verdict(unit, words.clock.now)
    settings.answer(
        lambda: {"recorded": [{"event": event, "kind": kind}], "verdict": verdict.word.value},
        lambda: [line, show.verdict_line(words, verdict)],
    )
