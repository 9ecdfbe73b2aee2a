"""``loopworthy unit``: units, their configuration, and which things are in their positions."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_thing, pair, things_called
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.units import NewThing
    from loopworthy.desk.workplace import Workplace
    from loopworthy.unit.configuration import Configuration
    from loopworthy.vocabulary.identity import ThingId

unit = Group("unit", help=helped("unit"), no_args_is_help=True)


@unit.command("add", help=helped("unit_add"))
@argument("name", "unit_name")
@option("--configuration", key="unit_configuration", required=True, metavar="NAME_OR_FILE", type=Known("configuration"))
@option("--serial", key="serial", default="", metavar="SERIAL")
@click.pass_obj
def add(settings: Settings, name: str, configuration: str, serial: str) -> None:
    """Add a unit."""
    from loopworthy.desk.units import create_unit, empty_positions
    from loopworthy.doors.cli import plain

    chosen = configuration_called(configuration)
    workplace = settings.open()
    with workplace.record.store.transaction():
        made = create_unit(workplace, name, chosen, serial=serial, typed_by=settings.actor_or_nobody(workplace))
    empty = empty_positions(workplace, made)
    settings.answer(
        lambda: {"unit": plain.unit(workplace, made), "empty_positions": empty},
        lambda: [
            say("added", what=workplace.name(made), id=short(made)),
            say("empty_positions", positions=", ".join(empty) or say("none")),
        ],
    )


@unit.command("configure", help=helped("unit_configure"))
@argument("unit", "unit", type=Known("unit"))
@argument("answers", "unit_answers", metavar="QUESTION=ANSWER...", nargs=-1, required=True)
@option("--title", key="unit_title", default="", metavar="TEXT")
@option("--note", key="note", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@option("--preview", "only_preview", key="only_preview", is_flag=True)
@click.pass_obj
def configure(
    settings: Settings,
    unit: str,
    answers: tuple[str, ...],
    title: str,
    note: str,
    at: str | None,
    confirm_time: bool,
    only_preview: bool,
) -> None:
    """Change answers about how a unit is built, several at once."""
    from loopworthy.desk.changes import Declared, preview_configuration, reconfiguring, record_change
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.cli.in_thought import plain_shifts, shift_lines
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = workplace.unit(unit)
    chosen = _with_answers(workplace, found, answers, title)
    if only_preview:
        shifts = preview_configuration(workplace, found, chosen)
        words = settings.words(workplace)
        settings.answer(lambda: plain_shifts(words, shifts), lambda: shift_lines(words, shifts))
        return
    declared = Declared(change=reconfiguring(workplace).id, configuration=chosen, note=note)
    events = record_change(
        workplace,
        found,
        declared,
        person=settings.actor(workplace),
        occurred_at=read_moment("--at", at, workplace.now()) if at else None,
        moment_confirmed=confirm_time,
    )
    words = settings.words(workplace)
    verdict = workplace.verdict(found, words.clock.now)
    settings.answer(
        lambda: {"recorded": plain.recorded(events), "verdict": verdict.word.value},
        lambda: [say("built_so", event=short(events[0].id)), show.verdict_line(words, verdict)],
    )


def _with_answers(workplace: Workplace, unit: ThingId, answers: tuple[str, ...], title: str) -> Configuration:
    """The unit's configuration with other answers; several to one question are separated by commas."""
    from loopworthy.unit.configuration import configuration_from_choices

    known = workplace.world.configuration(unit)
    if known is None:
        raise InputError("unit", workplace.name(unit), "one with a configuration")
    given: dict[str, list[str]] = {}
    for text in answers:
        question, answer = pair("answer", text)
        given[question] = [one.strip() for one in answer.split(",") if one.strip()]
    return configuration_from_choices(known.name, title or known.title, {**known.choices, **given})


@unit.command("list", help=helped("unit_list"))
@click.pass_obj
def list_all(settings: Settings) -> None:
    """List all units with their verdicts."""
    from loopworthy.doors.cli import plain, show

    workplace = settings.open()
    words = settings.words(workplace)
    units = workplace.world.units()
    verdicts = {one: workplace.verdict(one, words.clock.now) for one in units}
    settings.answer(
        lambda: {
            "units": [
                {
                    **plain.unit(workplace, one),
                    "verdict": verdicts[one].word.value,
                    "cautions": plain.cautions(words, verdicts[one]),
                }
                for one in units
            ]
        },
        lambda: [show.verdict_line(words, verdicts[one]) for one in units] or [say("no_units")],
    )


@unit.command("show", help=helped("unit_show"))
@argument("unit", "unit", type=Known("unit"))
@click.pass_obj
def show_one(settings: Settings, unit: str) -> None:
    """Show one unit: configuration, parts, day, holder."""
    from loopworthy.doors.cli import plain

    workplace = settings.open()
    found = workplace.unit(unit)
    settings.answer(lambda: {"unit": plain.unit(workplace, found)}, lambda: _unit_lines(workplace, found))


@unit.command("positions", help=helped("unit_positions"))
@argument("unit", "unit", type=Known("unit"))
@click.pass_obj
def positions(settings: Settings, unit: str) -> None:
    """List a unit's positions and what is in them."""
    from loopworthy.doors.cli import plain

    workplace = settings.open()
    found = workplace.unit(unit)
    settings.answer(
        lambda: {"positions": plain.unit(workplace, found)["positions"]}, lambda: _position_lines(workplace, found)
    )


@unit.command("fit", help=helped("unit_fit"))
@argument("unit", "unit", type=Known("unit"))
@argument("position", "position", type=Known("position"))
@option("--serial", key="serial", default="", metavar="SERIAL")
@option("--name", key="thing_name", default="", metavar="NAME")
@option("--batch", key="batch", default="", metavar="TEXT")
@option("--made-on", key="made_on", default="", metavar="DATE")
@option("--opened-on", key="opened_on", default="", metavar="DATE")
@option("--fact", "facts", key="fact", multiple=True, metavar="NAME=TEXT")
@option("--known", key="known_thing", default="", metavar="SERIAL_OR_ID")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@click.pass_obj
def fit(
    settings: Settings,
    unit: str,
    position: str,
    serial: str,
    name: str,
    batch: str,
    made_on: str,
    opened_on: str,
    facts: tuple[str, ...],
    known: str,
    at: str | None,
    confirm_time: bool,
) -> None:
    """Say which thing is in an empty position."""
    from loopworthy.desk.units import NewThing, empty_positions, identify_part
    from loopworthy.doors.cli import plain
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = workplace.unit(unit)
    kind = position_kind(workplace, found, position)
    new = NewThing(
        serial=serial,
        name=name,
        batch=batch,
        made_on=made_on,
        opened_on=opened_on,
        attributes=dict(pair("--fact", one) for one in facts),
    )
    if known and new != NewThing():
        raise InputError("--known", known, "given alone: what is known of that thing stands in the record already")
    thing: NewThing | ThingId
    if kind == "person":
        if not (known or name):
            raise InputError("--name", "", "the name of the diver", next_step="Add the person first: person add NAME")
        thing = workplace.person(known or name)
    elif known:
        thing = find_thing(workplace, known, kind)
    else:
        thing = _new_to_record(workplace, kind, new)
    moment = read_moment("--at", at, workplace.now()) if at else None
    with workplace.record.store.transaction():
        made = identify_part(
            workplace,
            found,
            position,
            thing,
            typed_by=settings.actor_or_nobody(workplace),
            occurred_at=moment,
            moment_confirmed=confirm_time,
        )
    settings.answer(
        lambda: {
            "thing": plain.thing(workplace, made),
            "position": position,
            "empty_positions": empty_positions(workplace, found),
        },
        lambda: [
            say("fitted", what=workplace.name(made), position=position, id=short(made)),
            say("empty_positions", positions=", ".join(empty_positions(workplace, found)) or say("none")),
        ],
    )


@unit.command("give", help=helped("unit_give"))
@argument("unit", "unit", type=Known("unit"))
@argument("person", "person", type=Known("person"))
@option("--note", key="note", default="", metavar="TEXT")
@click.pass_obj
def give(settings: Settings, unit: str, person: str, note: str) -> None:
    """Hand a unit to a person."""
    from loopworthy.desk.people import give_custody
    from loopworthy.doors.cli import plain

    workplace = settings.open()
    found, who = workplace.unit(unit), workplace.person(person)
    give_custody(workplace, found, who, typed_by=settings.actor_or_nobody(workplace), note=note)
    settings.answer(
        lambda: {"unit": plain.unit(workplace, found)},
        lambda: [say("given", unit=workplace.name(found), who=workplace.name(who))],
    )


@unit.command("configurations", help=helped("unit_configurations"))
@argument("name", "configuration_name", required=False, type=Known("configuration"))
@click.pass_obj
def configurations(settings: Settings, name: str | None) -> None:
    """List the ready configurations, or show one as the file that it would be."""
    from loopworthy.unit.configuration import ready_configurations

    if name:
        one = configuration_called(name)
        choices = {axis: list(chosen) for axis, chosen in one.choices.items()}
        settings.answer(
            lambda: {"name": one.name, "title": one.title, "revision": one.revision, "choices": choices},
            lambda: one.to_toml().rstrip().splitlines(),
            as_is=True,
        )
        return
    ready = ready_configurations()
    settings.answer(
        lambda: {
            "configurations": [
                {"name": one.name, "title": one.title, "revision": one.revision} for one in ready.values()
            ]
        },
        lambda: [f"{one.name}: {one.title}" for one in ready.values()],
    )


def configuration_called(text: str) -> Configuration:
    """The ready configuration of that name, or the one in that file.

    Raises
    ------
    UnknownNameError
        If it is neither.
    """
    from loopworthy.unit.configuration import load_configuration, ready_configurations

    ready = ready_configurations()
    if text in ready:
        return ready[text]
    path = Path(text)
    if path.is_file():
        return load_configuration(path)
    if path.suffix == ".toml" or path.name != text:
        raise InputError("--configuration", text, "a file that is there, or the name of a ready configuration")
    raise UnknownNameError("configuration", text, tuple(ready))


def position_kind(workplace: Workplace, unit: ThingId, position: str) -> str:
    """The kind of thing that belongs in a position of a unit."""
    places = {one.id: one.kind for one in workplace.world.positions(unit)}
    if position not in places:
        raise UnknownNameError("position", position, tuple(places))
    return places[position]


def _new_to_record(workplace: Workplace, kind: str, new: NewThing) -> NewThing:
    """The thing, unless the record knows one of that kind and serial: then somebody has to say which is meant."""
    known = things_called(workplace, new.serial, kind) if new.serial.strip() else ()
    if known:
        raise InputError(
            "--serial",
            new.serial,
            f"one that no {kind} in this record has",
            next_step=f"If it is that one, give --known {short(known[0].id)}; if not, look at the serial again",
        )
    return new


def _unit_lines(workplace: Workplace, unit: ThingId) -> Iterator[str]:
    world = workplace.world
    yield say("added_short", what=workplace.name(unit), id=short(unit))
    configuration = world.configuration(unit)
    if configuration is not None:
        from loopworthy.unit.axes import axes

        names = {"title": configuration.title, "name": configuration.name, "revision": configuration.revision}
        yield f"  {say('configured', **names)}"
        known = axes()
        for axis, chosen in configuration.choices.items():
            if chosen and axis in known:
                yield f"    {known[axis].title}: {', '.join(chosen)}"
    holder = world.holder(unit)
    if holder:
        yield f"  {say('is_with', who=workplace.name(holder))}"
    day = world.episode(unit, "dive-day")
    if day is not None:
        yield f"  {say('day_open', began=day.began.at, title=day.title)}".rstrip(" :")
    yield from _position_lines(workplace, unit)


def _position_lines(workplace: Workplace, unit: ThingId) -> Iterator[str]:
    world = workplace.world
    for one in world.positions(unit):
        thing = world.at(unit, one.id)
        if thing is None:
            yield f"  {one.id}: {say('empty')}"
            continue
        known = world.thing(thing)
        label = workplace.name(thing) if known.kind == "person" else world.label(thing)
        facts = [
            f"{say(name)} {value}" for name in ("batch", "made_on", "opened_on") if (value := getattr(known, name))
        ]
        inside = world.content_of(thing)
        if inside is not None:
            facts.append(say("holds", content=world.label(inside)))
        yield f"  {one.id}: {label} {short(thing)}{'; ' if facts else ''}{'; '.join(facts)}"
