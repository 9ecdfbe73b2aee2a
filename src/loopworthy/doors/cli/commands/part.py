"""``loopworthy part``: single things by serial: what is known of them, correcting it, taking them out of use."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_thing, pair
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace
    from loopworthy.vocabulary.identity import ThingId

part = Group("part", help=helped("part"), no_args_is_help=True)


@part.command("show", help=helped("part_show"))
@argument("thing", "thing")
@click.pass_obj
def show_one(settings: Settings, thing: str) -> None:
    """Show a thing, where it was, and for a sensor its factor over time."""
    workplace = settings.open()
    found = find_thing(workplace, thing)
    settings.answer(lambda: _plain(workplace, found), lambda: _lines(settings, workplace, found))


@part.command("describe", help=helped("part_describe"))
@argument("thing", "thing")
@option("--serial", key="serial", metavar="SERIAL")
@option("--name", key="thing_name", metavar="NAME")
@option("--batch", key="batch", metavar="TEXT")
@option("--made-on", key="made_on", metavar="DATE")
@option("--opened-on", key="opened_on", metavar="DATE")
@option("--fact", "facts", key="fact", multiple=True, metavar="NAME=TEXT")
@click.pass_obj
def describe(settings: Settings, /, thing: str, facts: tuple[str, ...], **given: str | None) -> None:
    """Write down what a thing's label says; nothing falls by it."""
    from loopworthy.desk.parts import describe_thing

    workplace = settings.open()
    found = find_thing(workplace, thing)
    known = workplace.world.thing(found)
    if known.kind == "person":
        raise InputError("thing", thing, "a thing; a person has a name only")
    words = {key: getattr(known, key) if value is None else value for key, value in given.items()}
    event = describe_thing(
        workplace,
        found,
        serial=words["serial"],
        name=words["name"],
        batch=words["batch"],
        made_on=words["made_on"],
        opened_on=words["opened_on"],
        attributes=dict(pair("--fact", one) for one in facts),
        typed_by=settings.actor_or_nobody(workplace),
    )
    _tell(settings, workplace, found, event)


@part.command("retire", help=helped("part_retire"))
@argument("thing", "thing")
@option("--back", key="part_back", is_flag=True)
@option("--reason", key="reason", required=True, metavar="TEXT")
@click.pass_obj
def retire(settings: Settings, thing: str, back: bool, reason: str) -> None:
    """Take a thing or a person out of use for good, or bring it back."""
    from loopworthy.desk.parts import retire as take_out

    workplace = settings.open()
    found = find_thing(workplace, thing, "person") if _is_person(workplace, thing) else find_thing(workplace, thing)
    event = take_out(workplace, found, retired=not back, note=reason, typed_by=settings.actor_or_nobody(workplace))
    _tell(settings, workplace, found, event)


@part.command("take-out", help=helped("part_take_out"))
@argument("unit", "unit", type=Known("unit"))
@argument("position", "position", type=Known("position"))
@option("--answer", "answers", key="change_answer", multiple=True, metavar="QUESTION=ANSWER")
@option("--note", key="note", default="", metavar="TEXT")
@option("--at", key="occurred", metavar="TIME")
@option("--confirm-time", key="confirm_time", is_flag=True)
@option("--preview", "only_preview", key="only_preview", is_flag=True)
@click.pass_obj
def take_out(
    settings: Settings,
    unit: str,
    position: str,
    answers: tuple[str, ...],
    note: str,
    at: str | None,
    confirm_time: bool,
    only_preview: bool,
) -> None:
    """Take a part out and leave its place empty."""
    from loopworthy.desk import taking_out
    from loopworthy.doors.cli import plain, show
    from loopworthy.doors.cli.in_thought import plain_shifts, shift_lines
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = workplace.unit(unit)
    given = dict(pair("--answer", one) for one in answers)
    if only_preview:
        shifts = taking_out.preview_taking_out(workplace, found, position, given)
        words = settings.words(workplace)
        settings.answer(lambda: plain_shifts(words, shifts), lambda: shift_lines(words, shifts))
        return
    events = taking_out.take_out(
        workplace,
        found,
        position,
        answers=given,
        note=note,
        person=settings.actor(workplace),
        occurred_at=read_moment("--at", at, workplace.now()) if at else None,
        moment_confirmed=confirm_time,
    )
    words = settings.words(workplace)
    verdict = workplace.verdict(found, words.clock.now)
    settings.answer(
        lambda: {"recorded": plain.recorded(events), "verdict": verdict.word.value},
        lambda: [say("taken_out", position=position, event=short(events[0].id)), show.verdict_line(words, verdict)],
    )


@part.command("same", help=helped("part_same"))
@argument("one", "thing")
@argument("other", "other_thing")
@option("--note", key="same_note", default="", metavar="TEXT")
@option("--preview", "only_preview", key="only_preview", is_flag=True)
@click.pass_obj
def same(settings: Settings, one: str, other: str, note: str, only_preview: bool) -> None:
    """Say that two identities are one thing."""
    from loopworthy.desk import sameness
    from loopworthy.doors.cli.in_thought import plain_shifts, shift_lines

    workplace = settings.open()
    first, second = (
        find_thing(workplace, text, "person") if _is_person(workplace, text) else find_thing(workplace, text)
        for text in (one, other)
    )
    if only_preview:
        shifts = sameness.preview_same(workplace, first, second)
        words = settings.words(workplace)
        settings.answer(lambda: plain_shifts(words, shifts), lambda: shift_lines(words, shifts))
        return
    event = sameness.declare_same(workplace, first, second, note=note, person=settings.actor(workplace))
    settings.answer(
        lambda: {"recorded": [{"event": event, "kind": "unit.things-same"}], **_plain(workplace, first)},
        lambda: [say("one_thing", event=short(event)), *_lines(settings, workplace, first)],
    )


def _is_person(workplace: Workplace, text: str) -> bool:
    return any(workplace.name(one.id).lower() == text.strip().lower() for one in workplace.world.of_kind("person"))


def _tell(settings: Settings, workplace: Workplace, thing: ThingId, event: str) -> None:
    settings.answer(
        lambda: {"recorded": [{"event": event, "kind": "unit.thing-described"}], **_plain(workplace, thing)},
        lambda: _lines(settings, workplace, thing),
    )


def _plain(workplace: Workplace, thing: ThingId) -> dict[str, Any]:
    from loopworthy.doors.cli import plain

    world = workplace.world
    return {
        "thing": plain.thing(workplace, thing),
        "places": [
            {
                "holder": workplace.name(span.holder),
                "position": span.position,
                "from": span.fitted_at.at,
                "to": span.removed_at.at if span.removed_at is not None else None,
            }
            for span in world.fitting_history_of(thing)
        ],
        "factors": [
            {"at": one.moment.at, "factor_mv_per_bar": one.factor_mv_per_bar, "event": one.event}
            for one in _factors(workplace, thing)
        ],
    }


def _lines(settings: Settings, workplace: Workplace, thing: ThingId) -> Iterator[str]:
    world, words = workplace.world, settings.words(workplace)
    known = world.thing(thing)
    label = workplace.name(thing) if known.kind == "person" else world.label(thing)
    yield say("added_short", what=label, id=short(known.id)) + (say("is_retired") if known.retired else "")
    for name in ("batch", "made_on", "opened_on"):
        if getattr(known, name):
            yield f"  {say(name)} {getattr(known, name)}"
    for name, value in known.attributes.items():
        yield f"  {name}: {value}"
    for span in world.fitting_history_of(thing):
        until = words.clock.when(span.removed_at.epoch_ms) if span.removed_at is not None else say("still_there")
        place = say("stay", holder=workplace.name(span.holder), position=span.position.lstrip(":"))
        yield f"  {place}: {words.clock.when(span.fitted_at.epoch_ms)} – {until}"
    for one in _factors(workplace, thing):
        yield f"  {say('factor', when=words.clock.when(one.moment.epoch_ms), value=f'{one.factor_mv_per_bar:.1f}')}"


def _factors(workplace: Workplace, thing: ThingId) -> tuple[Any, ...]:
    from loopworthy.desk.sensors import factor_history

    return factor_history(workplace, thing) if workplace.world.thing(thing).kind == "oxygen-sensor" else ()
