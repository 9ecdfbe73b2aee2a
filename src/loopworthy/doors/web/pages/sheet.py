"""Sheets for paper: the list of this configuration with what is open, and the chart of the oxygen sensors.

Each carries what it was made from: configuration, revision of the list, and the fingerprints of the record's heads, so
that the sheet can witness them. A verdict is not printed: paper cannot take it back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from starlette.responses import Response

from loopworthy.desk import record_care
from loopworthy.desk.steps import StepEntry, WorkPage, applicable_pages, work_pages
from loopworthy.doors.quantities import unit_shown
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages import sensors
from loopworthy.doors.web.pages.read_aloud import OpenItem, open_items
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.catalogue.model import Input, InputKind
from loopworthy.vocabulary.errors import RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId, fingerprint, short

_HEADS_AT_FOOT = 4
"""More than these stand on the first sheet only."""

_RUNNING = "font: 7.5pt sans-serif; width: 170mm; text-align: left; vertical-align: top; padding-top: 2mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetHead:
    """What a sheet was made from.

    Attributes
    ----------
    unit, serial, configuration : str
        The unit; its serial number; how it is built, with the revision of its answers.
    revision : str
        Of the list.
    made : str
        When, with the zone.
    record : str
    heads : tuple of (str, str)
        Device with the number of its last entry, and the fingerprint.
    """

    unit: str
    serial: str
    configuration: str
    revision: str
    made: str
    record: str
    heads: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """A place to write: its label, its unit, how many, and what is ticked or chosen instead."""

    label: str
    unit: str
    count: int
    choices: tuple[str, ...]
    tick: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetLine:
    """One step for one or several subjects.

    Attributes
    ----------
    id, title, text, accept : str
    limits : tuple of str
        As they hold for this unit.
    subjects : tuple of str
        One row to write in for each; one empty text for the whole unit.
    blanks : tuple of Blank
    never_skipped, two_person, current : bool
        `current`: it counted when the sheet was made.
    """

    id: str
    title: str
    text: str
    accept: str
    limits: tuple[str, ...]
    subjects: tuple[str, ...]
    blanks: tuple[Blank, ...]
    never_skipped: bool
    two_person: bool
    current: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetPage:
    """The steps that are done together."""

    title: str
    hold: str
    lines: tuple[SheetLine, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Checklist:
    """The list for paper.

    Attributes
    ----------
    frame : Frame
    head : SheetHead
    open_items : tuple of OpenItem
        Void, expired, waived, failed: to be read out.
    cautions : tuple of str
        What lay beside the record when it was made, and may undo some of the evidence.
    never_done : int
        Requirements that were never read.
    pages : tuple of SheetPage
    only_open : bool
        Whether steps that counted when it was made are left out.
    left_out : int
        How many were.
    choices : tuple of (str, str)
        Single pages that can be had alone: title and address.
    other_href : str
        The whole list from the open one and the other way round.
    sensors_href, back_href : str
        The other sheet, '' where the unit has no sensors; back to the unit.
    running_href : str
        The style that prints at the foot of every sheet what it belongs to.
    """

    frame: Frame
    head: SheetHead
    open_items: tuple[OpenItem, ...]
    cautions: tuple[str, ...]
    never_done: int
    pages: tuple[SheetPage, ...]
    only_open: bool
    left_out: int
    choices: tuple[tuple[str, str], ...]
    other_href: str
    sensors_href: str
    back_href: str
    running_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorSheet:
    """The sensor chart for paper: head, rows as on the page of sensors."""

    frame: Frame
    head: SheetHead
    rows: tuple[sensors.ChartRow, ...]
    back_href: str
    running_href: str


def checklist(asked: Asked) -> Answer:
    """The list of this configuration, one page of it, or only what is open in it."""
    unit, links, say = asked.unit, asked.links, asked.say
    known = applicable_pages(asked.workplace, unit)
    if not known:
        raise RefusedError(say("sheet.no_configuration"), next_step=say("sheet.no_configuration_step"))
    wanted = asked.query.get("page")
    if wanted and wanted not in {one.id for one in known}:
        raise UnknownNameError("page of this unit", wanted, tuple(one.id for one in known))
    chosen = [one for one in known if wanted in ("", one.id)]
    holds = {one.id: one.title for one in asked.workplace.catalogue.holds}
    verdict = asked.workplace.verdict(unit, asked.now)
    only_open = asked.query.ticked("open")
    whole = tuple(
        SheetPage(title=one.page.title, hold=holds[one.page.hold], lines=_lines(asked, one))
        for one in work_pages(asked.workplace, unit, chosen)
    )
    pages = tuple(_still_open(one) for one in whole) if only_open else whole
    has_sensors = any(one.kind == "oxygen-sensor" for one in asked.workplace.world.positions(unit))
    context = Checklist(
        frame=page_frame(asked, say("sheet.title", unit=asked.workplace.name(unit)), unit=unit, place="more"),
        head=head_of(asked, unit),
        open_items=open_items(asked, unit),
        cautions=asked.words.cautions(verdict),
        never_done=len({one.key[1:] for one in verdict.requirements() if one.standing.state.value == "absent"}),
        pages=tuple(one for one in pages if one.lines),
        only_open=only_open,
        left_out=sum(len(one.lines) for one in whole) - sum(len(one.lines) for one in pages),
        choices=tuple((one.title, links.sheet(unit, one.id)) for one in known),
        other_href=links.sheet(unit, wanted, only_open=not only_open),
        sensors_href=links.sensor_sheet(unit) if has_sensors else "",
        back_href=links.unit(unit),
        running_href=_running_href(asked, unit),
    )
    return Page(template="sheet.html", context=context)


def sensor_sheet(asked: Asked) -> Answer:
    """The chart of the oxygen sensors for paper."""
    unit = asked.unit
    context = SensorSheet(
        frame=page_frame(
            asked, asked.say("sheet.sensors_title", unit=asked.workplace.name(unit)), unit=unit, place="more",
            cautions=("calibration",),
        ),
        head=head_of(asked, unit),
        rows=sensors.chart_rows(asked, unit),
        back_href=asked.links.sensors(unit),
        running_href=_running_href(asked, unit),
    )  # fmt: skip
    return Page(template="sheet_sensors.html", context=context)


def running(asked: Asked) -> Answer:
    """A style with what stands at the foot of every sheet: unit, list, and the heads that the sheet was made from.

    The heads are named in the address, so that a sheet carries its own even where the record has grown since.
    """
    unit, say = asked.unit, asked.say
    serial = asked.workplace.world.thing(unit).serial
    parts = [", ".join(filter(None, (asked.workplace.name(unit), serial))), _revision(asked)]
    names = {one.device: one.device_name for one in record_care.heads(asked.workplace)}
    for wanted in filter(None, asked.query.get("heads").split(".")):
        event = asked.workplace.record.get(wanted)
        envelope = event.envelope
        device = names.get(envelope.device) or short(envelope.device)
        told = say("sheet.head", device=device, number=envelope.sequence)
        parts.append(f"{told}: {fingerprint(event.id)}")
    if asked.query.get("more"):
        parts.append(say("sheet.more_heads", count=asked.query.get("more")))
    text = css_string(" · ".join(parts))
    style = f"@page {{ @bottom-left {{ content: {text}; {_RUNNING} }} }}\n"
    return Response(style, media_type="text/css")


def css_string(text: str) -> str:
    """A text as a string of a style sheet: whatever is no letter, digit or blank is written by its number."""
    return '"' + "".join(one if one.isalnum() or one == " " else f"\\{ord(one):x} " for one in text) + '"'


def _running_href(asked: Asked, unit: ThingId) -> str:
    heads = [short(one.event) for one in record_care.heads(asked.workplace)]
    more = str(max(0, len(heads) - _HEADS_AT_FOOT) or "")
    shown = ".".join(heads[:_HEADS_AT_FOOT])
    return asked.links.to("unit", short(unit), "sheet", "running.css", heads=shown, more=more)


def _revision(asked: Asked) -> str:
    catalogue = asked.workplace.catalogue
    return asked.say("catalogue.revision", revision=catalogue.revision, digest=short(catalogue.digest))


def head_of(asked: Asked, unit: ThingId) -> SheetHead:
    """What a sheet of a unit is made from."""
    say = asked.say
    configuration = asked.workplace.world.configuration(unit)
    now = asked.now.local()
    built = ""
    if configuration is not None:
        built = say("sheet.built", title=configuration.title, revision=configuration.revision)
    return SheetHead(
        unit=asked.workplace.name(unit),
        serial=asked.workplace.world.thing(unit).serial,
        configuration=built,
        revision=_revision(asked),
        made=f"{now:%Y-%m-%d %H:%M}, {asked.words.clock.zone_text}",
        record=say("sheet.record", title=asked.workplace.record.title, identity=short(asked.workplace.record.id)),
        heads=tuple(
            (
                say("sheet.head", device=head.device_name or short(head.device), number=head.sequence),
                fingerprint(head.event),
            )
            for head in record_care.heads(asked.workplace)
        ),
    )


def _lines(asked: Asked, page: WorkPage) -> tuple[SheetLine, ...]:
    by_step: dict[str, list[StepEntry]] = {}
    for entry in page.entries:
        by_step.setdefault(entry.step.id, []).append(entry)
    return tuple(_line(asked, group) for group in by_step.values())


def _still_open(page: SheetPage) -> SheetPage:
    """The page without the steps that counted when the sheet was made."""
    return replace(page, lines=tuple(one for one in page.lines if not one.current))


def _line(asked: Asked, group: list[StepEntry]) -> SheetLine:
    step = group[0].step
    states = [standing.state.value for entry in group for _, standing in entry.standings]
    return SheetLine(
        id=step.id,
        title=step.title,
        text=step.text,
        accept=step.accept,
        limits=tuple(
            asked.say("sheet.limit", limit=asked.words.limit_text(limit), origin=asked.words.origin_text(limit))
            for limit in group[0].limits
        ),
        subjects=tuple(entry.label if entry.subject.position else "" for entry in group),
        blanks=tuple(_blank(one) for one in step.inputs if one.kind is not InputKind.FILE),
        never_skipped=step.never_skipped,
        two_person=step.two_person,
        current=bool(states) and all(state in ("current", "waived") for state in states),
    )


def _blank(one: Input) -> Blank:
    return Blank(
        label=one.label,
        unit=unit_shown(one.unit),
        count=one.count if one.kind is InputKind.NUMBERS else 1,
        choices=one.choices,
        tick=one.kind is InputKind.TICK,
    )


ROUTES = (
    Door(path="/unit/{unit}/sheet", handler=checklist),
    Door(path="/unit/{unit}/sheet/sensors", handler=sensor_sheet),
    Door(path="/unit/{unit}/sheet/running.css", handler=running),
)
