"""``loopworthy person``: who reads, types and hears. Names lie beside the record, so that they can be erased."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.identity import short

person = Group("person", help=helped("person"), no_args_is_help=True)


@person.command("add", help=helped("person_add"))
@argument("name", "person_name")
@option("--display-units", key="person_display_units", type=click.Choice(("metric", "us")), default="metric",
        show_default=True)  # fmt: skip
@click.pass_obj
def add(settings: Settings, name: str, display_units: str) -> None:
    """Add a person."""
    from loopworthy.desk.people import add_person

    workplace = settings.open()
    with workplace.record.store.transaction():
        made = add_person(workplace, name, display_units=display_units, typed_by=settings.actor_or_nobody(workplace))
    settings.answer(
        lambda: {"person": {"id": made, "name": workplace.name(made)}},
        lambda: [say("added", what=workplace.name(made), id=short(made))],
    )


@person.command("list", help=helped("person_list"))
@click.pass_obj
def list_all(settings: Settings) -> None:
    """List everybody."""
    from loopworthy.desk.people import display_units, people

    workplace = settings.open()
    found = people(workplace)
    settings.answer(
        lambda: {
            "people": [
                {"id": one, "name": workplace.name(one), "display_units": display_units(workplace, one)}
                for one in found
            ]
        },
        lambda: [f"{short(one)}  {workplace.name(one)}" for one in found] or [say("nobody_yet")],
    )


@person.command("erase", help=helped("person_erase"))
@argument("name", "person", type=Known("person"))
@option("--reason", key="reason", required=True, metavar="TEXT")
@click.pass_obj
def erase(settings: Settings, name: str, reason: str) -> None:
    """Erase a name; events keep the identity."""
    workplace = settings.open()
    found = workplace.person(name)
    event = workplace.record.erase_text(
        workplace.world.person_digest(found),
        reason=reason,
        now=workplace.now(),
        typed_by=settings.actor_or_nobody(workplace),
    )
    settings.answer(
        lambda: {"recorded": [{"event": event.id, "kind": event.envelope.kind}], "person": found},
        lambda: [say("name_erased", id=short(found))],
    )
