"""``loopworthy step``: what the list asks, and recording what was read."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from loopworthy.doors.cli.base import Group, argument, helped, option, say
from loopworthy.doors.cli.names import Known, find_about, find_step, pair
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.entry import Typed
    from loopworthy.desk.workplace import Workplace
    from loopworthy.judgement.catalogue.model import Step
    from loopworthy.vocabulary.event import Event
    from loopworthy.vocabulary.identity import ThingId

EXAMPLE = """{"entries": [
  {"step": "C03", "about": "oxygen-sensor-1", "fields": {"air_mv": "10.4", "change_mv": "0.0"}},
  {"step": "D01", "about": "cylinder-oxygen", "fields": {"bar": "2900"}, "units": {"bar": "psi"},
   "resolutions": {"bar": "50"}, "confirmed": ["bar"], "note": "gauge of the filling station"}
]}"""
"""A file for ``step record-together``, for its help."""

step = Group("step", help=helped("step"), no_args_is_help=True)


@step.command("list", help=helped("step_list"))
@argument("unit", "unit", type=Known("unit"))
@option("--page", key="step_page", metavar="PAGE", type=Known("page"))
@option("--on-request", key="step_on_request", is_flag=True)
@click.pass_obj
def list_all(settings: Settings, unit: str, page: str | None, on_request: bool) -> None:
    """List the steps of a unit, page by page, with how each stands."""
    from loopworthy.desk.steps import applicable_pages, work_page
    from loopworthy.doors.cli import plain, show

    workplace = settings.open()
    found = workplace.unit(unit)
    wanted = applicable_pages(workplace, found)
    if page is not None:
        names = tuple(one.id for one in wanted)
        wanted = tuple(one for one in wanted if one.id == page)
        if not wanted:
            raise UnknownNameError("page", page, names)
    words = settings.words(workplace)
    pages = [work_page(workplace, found, one.id, on_request=on_request) for one in wanted]
    pages = [one for one in pages if one.entries]
    settings.answer(
        lambda: {
            "pages": [
                {
                    "page": one.page.id,
                    "title": one.page.title,
                    "hold": one.page.hold,
                    "needs_second": one.needs_second,
                    "asks_instrument": one.asks_instrument,
                    "entries": [plain.entry(words, each) for each in one.entries],
                }
                for one in pages
            ]
        },
        lambda: [
            line
            for one in pages
            for line in (
                say("page", page=one.page.id, title=one.page.title),
                *(told for each in one.entries for told in show.entry(words, each)),
            )
        ],
    )


@step.command("show", help=helped("step_show"))
@argument("step_id", "step", metavar="STEP", type=Known("step"))
@option("--unit", key="step_unit", metavar="UNIT", type=Known("unit"))
@click.pass_obj
def show_one(settings: Settings, step_id: str, unit: str | None) -> None:
    """Show a step; with --unit with the limits that hold there."""
    from loopworthy.doors.cli import plain, show

    if unit is None:
        from loopworthy.bootstrap import catalogue_for

        catalogue = catalogue_for(settings.owner_texts())
        one = catalogue.steps.get(step_id) or catalogue.steps.get(step_id.upper())
        if one is None:
            raise UnknownNameError("step", step_id, tuple(catalogue.steps))
        settings.answer(lambda: plain.step(one), lambda: show.step(None, one))
        return
    workplace = settings.open()
    found, known = workplace.unit(unit), find_step(workplace, step_id)
    limits = tuple(workplace.bench().limits(found, known).values())
    words = settings.words(workplace)
    settings.answer(
        lambda: {**plain.step(known), "limits": [plain.effective_limit(each) for each in limits]},
        lambda: show.step(words, known, limits),
    )


_WHO = (
    option("--second", key="step_second", metavar="PERSON", type=Known("person")),
    option("--single-handed", key="step_single_handed", is_flag=True),
    option("--instrument", "instruments", key="step_instrument", multiple=True, metavar="NAME",
           type=Known("instrument")),
    option("--typed-by", key="step_typed_by", metavar="PERSON", type=Known("person")),
    option("--at", key="occurred", metavar="TIME"),
    option("--confirm-time", key="confirm_time", is_flag=True),
)  # fmt: skip


def _who(command: Any) -> Any:
    for one in reversed(_WHO):
        command = one(command)
    return command


@step.command("record", help=helped("step_record"))
@argument("unit", "unit", type=Known("unit"))
@argument("step_id", "step", metavar="STEP", type=Known("step"))
@argument("entries", "step_entries", metavar="[INPUT=VALUE]...", nargs=-1)
@option("--about", key="step_about", default="", metavar="POSITION", type=Known("position"))
@option("--confirm", "confirmed", key="step_confirm", multiple=True, metavar="INPUT")
@option("--in-unit", "units", key="step_in_unit", multiple=True, metavar="INPUT=UNIT")
@option("--resolution", "resolutions", key="step_resolution", multiple=True, metavar="INPUT=STEP")
@option("--note", key="note", default="", metavar="TEXT")
@_who
@click.pass_obj
def record(
    settings: Settings,
    /,
    unit: str,
    step_id: str,
    entries: tuple[str, ...],
    about: str,
    confirmed: tuple[str, ...],
    units: tuple[str, ...],
    resolutions: tuple[str, ...],
    note: str,
    **who: Any,
) -> None:
    """Record what was read for a step, for one subject or several at once."""
    workplace = settings.open()
    found, known = workplace.unit(unit), find_step(workplace, step_id)
    given = _by_subject(known, entries, about)
    in_units = dict(pair("--in-unit", one) for one in units)
    steps_shown = dict(pair("--resolution", one) for one in resolutions)
    for name in (*in_units, *steps_shown, *confirmed):
        if known.input(name) is None:
            raise UnknownNameError(f"input of step {known.id}", name, tuple(one.name for one in known.inputs))
    wanted = [
        Entry(
            step=known.id,
            about=place,
            fields=fields,
            units=in_units,
            resolutions=steps_shown,
            confirmed=confirmed,
            note=note,
        )
        for place, fields in given.items()
    ]
    _record(settings, workplace, found, wanted, who)


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step for one subject, in a file for ``step record-together``; `about` is a position, serial or identity."""

    step: str
    fields: dict[str, str]
    about: str = ""
    units: dict[str, str] = {}
    resolutions: dict[str, str] = {}
    confirmed: tuple[str, ...] = ()
    note: str = ""


class Entries(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What such a file holds."""

    entries: tuple[Entry, ...]


@step.command("record-together", help=helped("step_record_together", example=EXAMPLE))
@argument("unit", "unit", type=Known("unit"))
@argument("file", "step_file", required=False, type=click.Path(dir_okay=False, allow_dash=True))
@_who
@click.pass_obj
def record_together(settings: Settings, /, unit: str, file: str | None, **who: Any) -> None:
    """Record what was read for several steps, all or nothing."""
    body = _read(file)
    try:
        wanted = msgspec.json.decode(body, type=Entries)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise InputError(
            "entries", file or "standard input", f"JSON of the form that --help shows ({error})"
        ) from error
    workplace = settings.open()
    _record(settings, workplace, workplace.unit(unit), wanted.entries, who)


def _by_subject(step: Step, entries: Sequence[str], about: str) -> dict[str, dict[str, str]]:
    """What was typed, by subject: ``input=value`` for --about, ``position:input=value`` for another."""
    names = {one.name: one for one in step.inputs}
    found: dict[str, dict[str, str]] = {}
    for entry in entries:
        left, equals, value = entry.partition("=")
        place, colon, name = left.rpartition(":")
        place = place.strip() if colon else about
        name = name.strip()
        if name not in names:
            raise UnknownNameError(f"input of step {step.id}", name, tuple(names))
        if not equals:
            if names[name].kind.value != "tick":
                raise InputError(name, entry, f"of the form {name}=VALUE")
            value = "yes"
        fields = found.setdefault(place, {})
        if name in fields:
            raise InputError(name, value, "given once", next_step="Put POSITION: before the name for another subject")
        fields[name] = value
    if not found:
        raise InputError(
            "input", "", f"one or more of {', '.join(names)}, as NAME=VALUE", next_step=f"See: step show {step.id}"
        )
    return found


def _record(
    settings: Settings, workplace: Workplace, unit: ThingId, entries: Sequence[Entry], who: dict[str, Any]
) -> None:
    from loopworthy.desk.entry import OddValueError
    from loopworthy.desk.steps import record_steps
    from loopworthy.doors.cli.moments import read_moment

    reader = settings.actor(workplace)
    moment = read_moment("--at", who["at"], workplace.now()) if who["at"] else None
    steps = [find_step(workplace, one.step) for one in entries]
    try:
        with workplace.record.store.transaction():  # files and readings together, or none of them
            typed = [_typed(workplace, unit, step, one) for step, one in zip(steps, entries, strict=True)]
            events = record_steps(
                workplace,
                unit,
                typed,
                read_by=reader,
                typed_by=workplace.person(who["typed_by"]) if who["typed_by"] else "",
                second=workplace.person(who["second"]) if who["second"] else "",
                single_handed=who["single_handed"],
                instruments=tuple(workplace.instrument(one) for one in who["instruments"]),
                occurred_at=moment,
                moment_confirmed=who["confirm_time"],
            )
    except OddValueError as odd:
        name = next(
            (one.name for step in steps for one in step.inputs if odd.query.input in (one.label, one.name)), odd.name
        )
        usual = say("usual_or_confirmed", low=odd.query.low or "…", high=odd.query.high or "…", unit=odd.query.unit)
        meant = f"{say('perhaps', value=odd.query.perhaps, unit=odd.query.unit)} " if odd.query.perhaps else ""
        raise InputError(name, odd.query.text, usual, next_step=meant + say("confirm_odd", name=name)) from odd
    _tell(settings, workplace, unit, events)


def _typed(workplace: Workplace, unit: ThingId, step: Step, one: Entry) -> Typed:
    from loopworthy.desk.entry import Typed

    fields = {}
    for name, text in one.fields.items():
        entered = step.input(name)
        kind = entered.kind.value if entered is not None else ""
        if kind in ("trace", "file") and text.startswith("@"):
            body = _file_bytes(name, text[1:])
            text = workplace.record.put_blob(body) if kind == "file" else _decoded(name, body)
        fields[name] = text
    return Typed(
        step=step.id,
        about=find_about(workplace, unit, step, one.about),
        fields=fields,
        units=one.units,
        resolutions=one.resolutions,
        confirmed=frozenset(one.confirmed),
        note=one.note,
    )


def _tell(settings: Settings, workplace: Workplace, unit: ThingId, events: Sequence[Event]) -> None:
    from loopworthy.doors.cli import plain, show

    words = settings.words(workplace)
    bench = workplace.bench(words.clock.now)
    verdict = workplace.verdict(unit, words.clock.now)
    told: list[dict[str, Any]] = []
    lines: list[str] = []
    for event in events:
        item = workplace.book().items.get(event.id)
        if item is None:
            continue
        step = workplace.catalogue.step(item.step)
        about = next(
            (one for one in bench.subjects_of(unit, step) if one.key == item.subject and one.position == item.position),
            None,
        )
        if about is None:
            from loopworthy.judgement.subjects import instrument_subject

            about = instrument_subject(workplace.world, item.subject)
        standings = [(kind, bench.standing(unit, step, kind, about)) for kind in step.makes]
        told.append(
            {
                "event": event.id,
                "step": step.id,
                "about": plain.subject(words, about),
                "standings": [{"evidence_kind": kind, **plain.standing(words, one, step)} for kind, one in standings],
            }
        )
        lines.append(say("recorded_step", step=step.id, title=words.step_title(step, about), event=short(event.id)))
        for state in dict.fromkeys(one.state.value for _, one in standings):
            first = next(one for _, one in standings if one.state.value == state)
            lines.append(f"  {state}:")
            lines += show.standing(words, first, step, indent="    ")
    settings.answer(
        lambda: {"recorded": told, "verdict": verdict.word.value},
        lambda: [*lines, show.verdict_line(words, verdict)],
    )


def _read(file: str | None) -> bytes:
    return sys.stdin.buffer.read() if file in (None, "-") else _file_bytes("file", str(file))


def _file_bytes(name: str, path: str) -> bytes:
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise InputError(name, path, f"a file that can be read ({error.strerror or error})") from error


def _decoded(name: str, body: bytes) -> str:
    try:
        return body.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError(name, f"byte {error.start}", "text in UTF-8") from error
