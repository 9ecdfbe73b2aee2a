"""``loopworthy change``: what happened to a unit, what would fall, and recording it with what came in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_change, find_thing, pair, things_called
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.changes import Declared
    from loopworthy.desk.units import NewThing
    from loopworthy.desk.workplace import Workplace
    from loopworthy.judgement.catalogue.model import Change
    from loopworthy.vocabulary.identity import ThingId

change = Group("change", help=helped("change"), no_args_is_help=True)


@change.command("list", help=helped("change_list"))
@option("--unit", key="change_unit", metavar="UNIT", type=Known("unit"))
@click.pass_obj
def list_all(settings: Settings, unit: str | None) -> None:
    """List the changes; with --unit those that it can have, with the positions."""
    from loopworthy.bootstrap import catalogue_for

    if unit is None:
        changes = list(catalogue_for(settings.owner_texts()).changes.values())
        places: dict[str, list[str]] = {}
    else:
        from loopworthy.desk.changes import positions_for

        workplace = settings.open()
        found = workplace.unit(unit)
        places = {
            one.id: [each.id for each in positions_for(workplace, found, one)]
            for one in workplace.catalogue.changes.values()
        }
        changes = [one for one in workplace.catalogue.changes.values() if not one.part or places[one.id]]
    settings.answer(
        lambda: {
            "changes": [
                {"change": one.id, "title": one.title, "group": one.group, "positions": places.get(one.id)}
                for one in changes
            ]
        },
        lambda: _grouped(changes, places),
    )


@change.command("show", help=helped("change_show"))
@argument("change_id", "change", metavar="CHANGE", type=Known("change"))
@click.pass_obj
def show_one(settings: Settings, change_id: str) -> None:
    """Show a change: its questions and what falls."""
    from loopworthy.bootstrap import catalogue_for
    from loopworthy.doors.cli import plain, show

    changes = catalogue_for(settings.owner_texts()).changes
    if change_id not in changes:
        raise UnknownNameError("change", change_id, tuple(changes))
    settings.answer(lambda: plain.change(changes[change_id]), lambda: show.change(changes[change_id]))


_WHERE = (
    argument("unit", "unit", type=Known("unit")),
    argument("change_id", "change", metavar="CHANGE", type=Known("change")),
    option("--position", "positions", key="change_position", multiple=True, metavar="POSITION",
           type=Known("position")),
    option("--thing", "things", key="change_thing", multiple=True, metavar="NAME"),
    option("--answer", "answers", key="change_answer", multiple=True, metavar="QUESTION=ANSWER"),
)  # fmt: skip


def _where(command: Any) -> Any:
    for one in reversed(_WHERE):
        command = one(command)
    return command


@change.command("preview", help=helped("change_preview"))
@_where
@click.pass_obj
def preview(
    settings: Settings,
    unit: str,
    change_id: str,
    positions: tuple[str, ...],
    things: tuple[str, ...],
    answers: tuple[str, ...],
) -> None:
    """Tell what a change would do, and record nothing."""
    from loopworthy.desk.changes import Declared
    from loopworthy.desk.changes import preview as look_ahead
    from loopworthy.doors.cli import plain, show

    workplace = settings.open()
    found, known = workplace.unit(unit), find_change(workplace, change_id)
    declared = Declared(
        change=known.id,
        positions=positions,
        things=tuple(find_thing(workplace, one) for one in things),
        answers=_answers(known, answers),
    )
    told = look_ahead(workplace, found, declared)
    words = settings.words(workplace)
    unanswered = [one.id for one in known.questions if one.id not in declared.answers]
    settings.answer(
        lambda: {**plain.preview(words, told), "unanswered": unanswered},
        lambda: [*show.preview(words, told), *(_worst(known, unanswered))],
    )


@change.command("record", help=helped("change_record"))
@_where
@option("--serial", "serials", key="change_serial", multiple=True, metavar="[POSITION=]SERIAL")
@option("--known", "known_things", key="change_known", multiple=True, metavar="[POSITION=]SERIAL_OR_ID")
@option("--batch", key="batch", default="", metavar="TEXT")
@option("--made-on", key="made_on", default="", metavar="DATE")
@option("--opened-on", key="opened_on", default="", metavar="DATE")
@option("--fill", "fills", key="change_fill", multiple=True, metavar="[POSITION=]TEXT")
@option("--fill-batch", "fill_batches", key="change_fill_batch", multiple=True, metavar="[POSITION=]TEXT")
@option("--diver", key="change_diver", metavar="PERSON", type=Known("person"))
@option("--configuration", key="change_configuration", metavar="NAME_OR_FILE", type=Known("configuration"))
@option("--note", key="note", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def record(
    settings: Settings,
    /,
    unit: str,
    change_id: str,
    positions: tuple[str, ...],
    things: tuple[str, ...],
    answers: tuple[str, ...],
    **rest: Any,
) -> None:
    """Record a change and what came into the unit by it."""
    from loopworthy.desk.changes import record_change
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found, known = workplace.unit(unit), find_change(workplace, change_id)
    person = settings.actor(workplace)
    declared = _declared(workplace, found, known, positions, things, answers, rest)
    moment = read_moment("--at", rest["at"], workplace.now()) if rest["at"] else None
    with workplace.record.store.transaction():
        events = record_change(
            workplace, found, declared, person=person, occurred_at=moment, moment_confirmed=rest["confirm_time"]
        )
    words = settings.words(workplace)
    verdict = workplace.verdict(found, words.clock.now)
    tasks = workplace.outstanding(found, words.clock.now)
    unanswered = [one.id for one in known.questions if one.id not in declared.answers]
    settings.answer(
        lambda: {
            "recorded": plain.recorded(events),
            "unanswered": unanswered,
            "verdict": verdict.word.value,
            "outstanding": [plain.task(words, one) for one in tasks],
        },
        lambda: [
            say("recorded_change", title=known.title, event=short(events[0].id)),
            *_worst(known, unanswered),
            show.verdict_line(words, verdict),
            *show.outstanding(words, tasks),
        ],
    )


def _declared(
    workplace: Workplace,
    unit: ThingId,
    known: Change,
    positions: tuple[str, ...],
    things: tuple[str, ...],
    answers: tuple[str, ...],
    rest: Mapping[str, Any],
) -> Declared:
    from loopworthy.desk.changes import Declared
    from loopworthy.desk.units import NewThing
    from loopworthy.doors.cli.commands.unit import configuration_called, position_kind

    arrivals: dict[str, NewThing | ThingId] = {}
    for place, serial in _placed("--serial", rest["serials"], positions).items():
        kind = position_kind(workplace, unit, place)
        same = things_called(workplace, serial, kind)
        if same:
            raise InputError(
                "--serial",
                serial,
                f"one that no {kind} in this record has",
                next_step=f"If it is that one, give --known {place}={short(same[0].id)}; if not, look at the serial "
                "again",
            )
        arrivals[place] = NewThing(
            serial=serial, batch=rest["batch"], made_on=rest["made_on"], opened_on=rest["opened_on"]
        )
    for place, text in _placed("--known", rest["known_things"], positions).items():
        arrivals[place] = find_thing(workplace, text, position_kind(workplace, unit, place))
    if rest["diver"]:
        if len(positions) != 1:
            raise InputError("--position", ", ".join(positions), "the diver's, when --diver is given")
        arrivals[positions[0]] = workplace.person(rest["diver"])
    words = _placed("--fill", rest["fills"], positions)
    batches = _placed("--fill-batch", rest["fill_batches"], positions)
    fills = {
        place: NewThing(name=words.get(place, ""), batch=batches.get(place, ""))
        for place in dict.fromkeys((*words, *batches))
    }
    return Declared(
        change=known.id,
        positions=positions,
        things=tuple(find_thing(workplace, one) for one in things),
        answers=_answers(known, answers),
        arrivals=arrivals,
        fills=fills,
        configuration=configuration_called(rest["configuration"]) if rest["configuration"] else None,
        note=rest["note"],
    )


def _placed(name: str, texts: Iterable[str], positions: tuple[str, ...]) -> dict[str, str]:
    """Position to what was given for it; without a position it is for the only one."""
    found: dict[str, str] = {}
    for text in texts:
        left, equals, right = text.partition("=")
        place, value = (left.strip(), right.strip()) if equals and left.strip() in positions else ("", text.strip())
        if not place:
            if len(positions) != 1:
                raise InputError(
                    name, text, "of the form POSITION=VALUE, with a --position", next_step="Give --position as well"
                )
            place = positions[0]
        if place in found:
            raise InputError(name, text, f"given once for {place}")
        found[place] = value
    return found


def _answers(known: Change, texts: Iterable[str]) -> dict[str, str]:
    answers = dict(pair("--answer", text) for text in texts)
    questions = {one.id: one for one in known.questions}
    for question, answer in answers.items():
        if question not in questions:
            raise UnknownNameError(f"question of {known.id}", question, tuple(questions))
        if answer not in questions[question].answers:
            raise InputError(question, answer, f"one of {', '.join(questions[question].answers)}")
    return answers


def _worst(known: Change, unanswered: Iterable[str]) -> list[str]:
    questions = {one.id: one for one in known.questions}
    return [
        f"  {say('not_answered', text=questions[one].text, question=one, worst=questions[one].worst)}"
        for one in unanswered
    ]


def _grouped(changes: Iterable[Change], places: Mapping[str, list[str]]) -> Iterable[str]:
    group = ""
    for one in changes:
        if one.group != group:
            group = one.group
            yield group
        where = f" ({', '.join(places[one.id])})" if places.get(one.id) else ""
        yield f"  {one.id}: {one.title}{where}"
