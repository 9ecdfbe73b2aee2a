"""``loopworthy instrument``: what readings are made with; a reading is worth no more than its instrument."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.workplace import Workplace
    from loopworthy.judgement.catalogue.model import Step
    from loopworthy.vocabulary.identity import ThingId

instrument = Group("instrument", help=helped("instrument"), no_args_is_help=True)


@instrument.command("add", help=helped("instrument_add"))
@argument("name", "instrument_name")
@option("--use", key="instrument_use", required=True, metavar="USE")
@option("--serial", key="serial", default="", metavar="SERIAL")
@click.pass_obj
def add(settings: Settings, name: str, use: str, serial: str) -> None:
    """Add an instrument."""
    from loopworthy.desk.units import add_instrument

    workplace = settings.open()
    known = uses(workplace.catalogue.steps.values())
    plain_use = use.strip().lower()
    if not plain_use:
        raise InputError("--use", use, f"what it measures: {', '.join(known)}, or words of your own")
    made = add_instrument(workplace, name, plain_use, serial=serial, typed_by=settings.actor_or_nobody(workplace))
    settings.answer(
        lambda: {"instrument": _plain(workplace, made)},
        lambda: [
            say("added", what=workplace.name(made), id=short(made)),
            *([] if plain_use in known else [say("use_not_asked", use=plain_use, known=", ".join(known))]),
        ],
    )


@instrument.command("list", help=helped("instrument_list"))
@click.pass_obj
def list_all(settings: Settings) -> None:
    """List all instruments."""
    workplace = settings.open()
    found = workplace.world.of_kind("instrument")
    settings.answer(
        lambda: {"instruments": [_plain(workplace, one.id) for one in found]},
        lambda: (
            [
                f"{short(one.id)}  {one.name}  {one.attributes.get('instrument', '')}  {one.serial}".rstrip()
                for one in found
            ]
            or [say("no_instruments")]
        ),
    )


def uses(steps: Iterable[Step]) -> tuple[str, ...]:
    """What the catalogue asks instruments to be."""
    return tuple(sorted({place for one in steps if one.scope.each == "instrument" for place in one.scope.places}))


def _plain(workplace: Workplace, identity: ThingId) -> dict[str, Any]:
    from loopworthy.doors.cli import plain

    return {**plain.thing(workplace, identity), "use": workplace.world.thing(identity).attributes.get("instrument")}
