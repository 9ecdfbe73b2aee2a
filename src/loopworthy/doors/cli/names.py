"""Names as people type them for things of a record, and the shell's completion of them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, LoopworthyError, UnknownNameError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from loopworthy.desk.workplace import Workplace
    from loopworthy.judgement.catalogue.model import Change, Step
    from loopworthy.unit.things import Thing
    from loopworthy.vocabulary.identity import ThingId


class Known(click.types.StringParamType):
    """A name that the record or the catalogue knows; completion offers what is there, and nothing when it cannot tell.

    Parameters
    ----------
    what : str
        ``unit``, ``person``, ``instrument``, ``step``, ``change``, ``limit``, ``hold``, ``page``, ``position``,
        ``configuration``, ``calculation`` or ``device``.
    """

    def __init__(self, what: str) -> None:
        self.what = what
        self.name = what

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Known names that begin so."""
        from click.shell_completion import CompletionItem

        try:
            names = list(_names(self.what, ctx.find_object(Settings) or Settings(), ctx.params))
        except (LoopworthyError, OSError):
            return []  # the person is typing; an error now would only break the line
        wanted = incomplete.lower()
        return [CompletionItem(name, help=told) for name, told in names if name.lower().startswith(wanted)]


def _names(what: str, settings: Settings, given: dict[str, Any]) -> Iterable[tuple[str, str]]:
    if what == "calculation":
        from loopworthy.desk.compute import CALCULATIONS

        return [(name, one.summary) for name, one in CALCULATIONS.items()]
    if what == "configuration":
        from loopworthy.unit.configuration import ready_configurations

        return [(name, one.title) for name, one in ready_configurations().items()]
    if what in ("step", "change", "limit", "hold", "page"):
        return _of_catalogue(what, settings)
    return _of_record(what, settings, given)


def _of_catalogue(what: str, settings: Settings) -> Iterable[tuple[str, str]]:
    from loopworthy.bootstrap import catalogue_for

    catalogue = catalogue_for(settings.owner_texts())
    if what == "step":
        return [(one.id, one.title) for one in catalogue.steps.values()]
    if what == "change":
        return [(one.id, one.title) for one in catalogue.changes.values()]
    if what == "limit":
        return [(one.id, one.source) for one in catalogue.limits.values()]
    places = catalogue.holds if what == "hold" else catalogue.pages
    return [(one.id, one.title) for one in places]


def _of_record(what: str, settings: Settings, given: dict[str, Any]) -> Iterable[tuple[str, str]]:
    from loopworthy.desk.replays import devices

    workplace = settings.open()
    if what == "device":
        return [(one.name, one.id) for one in devices(workplace)]
    if what == "position":
        units = [workplace.unit(given["unit"])] if given.get("unit") else workplace.world.units()
        return list(dict.fromkeys((one.id, one.title) for unit in units for one in workplace.world.positions(unit)))
    return [(workplace.name(one.id), short(one.id)) for one in workplace.world.of_kind(what)]


def find_device(workplace: Workplace, text: str) -> str:
    """The device of that name or identity.

    Raises
    ------
    UnknownNameError
        If no such device has written in the record.
    InputError
        If several are called so.
    """
    from loopworthy.desk.replays import devices

    known = {one.id: one.name for one in devices(workplace)}
    wanted = text.strip().lower()
    found = [device for device, name in known.items() if wanted in (name.lower(), device)]
    found = found or [device for device in known if len(wanted) >= 4 and device.startswith(wanted)]
    if not found:
        raise UnknownNameError("device", text, tuple(known.values()))
    if len(found) > 1:
        raise InputError("device", text, "the name of one only", next_step=f"Use its identity: {', '.join(found)}")
    return found[0]


def find_step(workplace: Workplace, text: str) -> Step:
    """The step of that identifier, whatever its case."""
    steps = workplace.catalogue.steps
    return steps.get(text.strip()) or steps.get(text.strip().upper()) or _unknown("step", text, steps)


def find_change(workplace: Workplace, text: str) -> Change:
    """The change of that identifier."""
    return workplace.catalogue.changes.get(text.strip()) or _unknown("change", text, workplace.catalogue.changes)


def _unknown(what: str, text: str, known: Iterable[str]) -> Any:
    raise UnknownNameError(what, text, tuple(known))


def find_thing(workplace: Workplace, text: str, kind: str = "") -> ThingId:
    """The thing of that serial, name or identity; of one kind, or any.

    Raises
    ------
    UnknownNameError
        If there is none.
    InputError
        If several are called so.
    """
    found = things_called(workplace, text, kind)
    if not found:
        known = [one.serial or one.name for one in workplace.world.things.values() if kind in ("", one.kind)]
        raise UnknownNameError(kind or "thing", text, tuple(name for name in known if name))
    if len(found) > 1:
        raise InputError(
            kind or "thing",
            text,
            "what one thing only is called",
            next_step=f"Use its identity: {', '.join(short(one.id) for one in found)}",
        )
    return found[0].id


def things_called(workplace: Workplace, text: str, kind: str = "") -> tuple[Thing, ...]:
    """Every thing with that serial, name or identity (or the beginning of the identity)."""
    wanted = text.strip().lower()
    world = workplace.world
    # One that turned out to be another is still found by what its own label said.
    things = [one for one in world.things.values() if kind in ("", one.kind)]
    exact = [one for one in things if wanted and wanted in (one.serial.lower(), one.name.lower(), one.id)]
    if not exact and kind == "person":
        exact = [one for one in things if wanted == workplace.name(one.id).lower()]
    found = exact or [one for one in things if len(wanted) >= 6 and one.id.startswith(wanted)]
    return tuple(world.thing(one) for one in dict.fromkeys(world.canonical(one.id) for one in found))


def find_about(workplace: Workplace, unit: ThingId, step: Step, text: str) -> str:
    """What names the subject of a step: from a position, a serial, or nothing where there is only one.

    Raises
    ------
    InputError
        If nothing was said and there are several.
    UnknownNameError
        If the step is about nothing of that name on this unit.
    """
    if step.scope.each == "instrument":
        if text:
            return workplace.instrument(text)
        things = [
            one.id
            for one in workplace.world.of_kind("instrument")
            if one.attributes.get("instrument") in step.scope.places
        ]
        if len(things) == 1:
            return things[0]
        raise InputError(
            "--about",
            "",
            f"the instrument ({', '.join(step.scope.places)}) that step {step.id} is about",
            next_step=f"Known: {', '.join(workplace.name(one) for one in things)}"
            if things
            else "Add it: loopworthy instrument add",
        )
    subjects = workplace.bench().subjects_of(unit, step)
    if not text and len(subjects) == 1:
        return subjects[0].key or subjects[0].position
    places = tuple(one.position for one in subjects)
    if not text:
        if not subjects:
            raise InputError("step", step.id, f"one that is about a part that {workplace.name(unit)} has")
        raise InputError("--about", "", f"one of {', '.join(places)}", next_step="Say which one was read")
    wanted = text.strip().lower()
    for one in subjects:
        serials = {workplace.world.thing(thing).serial.lower() for thing in one.things} - {""}
        if wanted in (one.position, one.key) or wanted in serials:
            return one.key or one.position
    raise UnknownNameError(f"subject of step {step.id}", text, places)


def pair(name: str, text: str) -> tuple[str, str]:
    """The two sides of ``this=that``.

    Raises
    ------
    InputError
        If there is no equals sign, or nothing before it.
    """
    left, found, right = text.partition("=")
    if not found or not left.strip():
        raise InputError(name, text, "of the form name=value")
    return left.strip(), right.strip()
