"""``loopworthy limit``: the owner's limits, confirmed against the manual, set, or loosened with a reason."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import short

limit = Group("limit", help=helped("limit"), no_args_is_help=True)


@limit.command("list", help=helped("limit_list"))
@argument("unit", "unit", type=Known("unit"))
@option("--unconfirmed", "only_unconfirmed", key="limit_unconfirmed", is_flag=True)
@click.pass_obj
def list_all(settings: Settings, unit: str, only_unconfirmed: bool) -> None:
    """List the limits that hold for a unit."""
    from loopworthy.desk.limits import limits_of, unconfirmed
    from loopworthy.doors.cli import plain, show

    workplace = settings.open()
    found = workplace.unit(unit)
    rows = unconfirmed(workplace, found) if only_unconfirmed else limits_of(workplace, found)
    words = settings.words(workplace)
    settings.answer(
        lambda: {
            "limits": [
                {**plain.effective_limit(one), "step_title": step.title, "never_skipped": step.never_skipped}
                for step, one in rows
            ]
        },
        lambda: [f"{show.limit(words, one)} [{step.title}]" for step, one in rows] or [say("no_limits")],
    )


@limit.command("confirm", help=helped("limit_confirm"))
@argument("unit", "unit", type=Known("unit"))
@argument("limits", "limits", nargs=-1, type=Known("limit"))
@option("--unconfirmed", "all_unconfirmed", key="limit_all_unconfirmed", is_flag=True)
@option("--source", key="limit_source", required=True, metavar="TEXT")
@click.pass_obj
def confirm(settings: Settings, unit: str, limits: tuple[str, ...], all_unconfirmed: bool, source: str) -> None:
    """Say that limits were held against the unit's manual and stand."""
    from loopworthy.desk.limits import confirm_limits, unconfirmed

    workplace = settings.open()
    found = workplace.unit(unit)
    _require_known(tuple(workplace.catalogue.limits), limits)
    wanted = dict.fromkeys(limits)
    if all_unconfirmed:
        wanted |= dict.fromkeys(one.limit.id for _, one in unconfirmed(workplace, found))
    if not wanted:
        raise InputError("limits", "", "one or more limits", next_step=f"See: limit list {unit!r} --unconfirmed")
    owner = settings.actor(workplace)
    with workplace.record.store.transaction():
        events = confirm_limits(workplace, found, tuple(wanted), source=source, owner=owner)
    settings.answer(
        lambda: {
            "recorded": [{"event": one, "kind": "judgement.limit-confirmed"} for one in events],
            "confirmed": list(wanted),
        },
        lambda: [say("limits_confirmed", limits=", ".join(wanted), source=source)],
    )


@limit.command("set", help=helped("limit_set"))
@argument("unit", "unit", type=Known("unit"))
@argument("limit_id", "limit", metavar="LIMIT", type=Known("limit"))
@argument("value", "limit_value")
@option("--source", key="limit_source", required=True, metavar="TEXT")
@option("--reason", key="limit_reason", default="", metavar="TEXT")
@click.pass_obj
def set_one(settings: Settings, unit: str, limit_id: str, value: str, source: str, reason: str) -> None:
    """Set the owner's value in place of the one that holds."""
    from loopworthy.desk.limits import limits_of, set_limit
    from loopworthy.doors.cli import plain, show

    workplace = settings.open()
    found = workplace.unit(unit)
    _require_known(tuple(workplace.catalogue.limits), (limit_id,))
    owner = settings.actor(workplace)
    with workplace.record.store.transaction():
        event = set_limit(workplace, found, limit_id, value, source=source, owner=owner, reason=reason)
    words = settings.words(workplace)
    held = [one for _, one in limits_of(workplace, found) if one.limit.id == limit_id]
    settings.answer(
        lambda: {
            "recorded": [{"event": event, "kind": "judgement.limit-set"}],
            "limit": plain.effective_limit(held[0]) if held else None,
        },
        lambda: [say("limit_set", event=short(event)), *(show.limit(words, one) for one in held)],
    )


def _require_known(known: tuple[str, ...], wanted: tuple[str, ...]) -> None:
    for one in wanted:
        if one not in known:
            raise UnknownNameError("limit", one, known)
