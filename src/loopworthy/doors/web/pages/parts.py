"""Parts of a unit: what is in which position, what its label says, and what was there before.

A first naming takes nothing away. Whatever is exchanged goes through “I changed something”, to which each position
leads.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.changes import positions_for
from loopworthy.desk.parts import describe_thing
from loopworthy.desk.units import NewThing
from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.pages.labels import label_fields, label_in
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.unit.positions import Position, part_kind
from loopworthy.unit.things import Thing
from loopworthy.vocabulary.errors import InputError, LoopworthyError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.reading import Reading

# --- all positions --------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """One position.

    Attributes
    ----------
    id, title, href : str
    name : str
        What is in it; '' where nothing is recorded.
    label : str
        What its label says, in one line.
    since : str
        Since when; '' where nothing is there.
    content : str
        What it holds, where it holds something.
    """

    id: str
    title: str
    href: str
    name: str
    label: str
    since: str
    content: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Parts:
    """What is in which position.

    Attributes
    ----------
    frame : Frame
    configuration, configuration_href : str
        How the unit is built, and where that is changed.
    unnamed : tuple of PartRow
        Positions of which nobody has said what is in them.
    groups : tuple of (str, tuple of PartRow)
        All others by kind of part: with serial number first, then what is made with the unit.
    set_up_href, change_href, take_out_href : str
    """

    frame: Frame
    configuration: str
    configuration_href: str
    unnamed: tuple[PartRow, ...]
    groups: tuple[tuple[str, tuple[PartRow, ...]], ...]
    set_up_href: str
    change_href: str
    take_out_href: str


def parts(asked: Asked) -> Answer:
    """What is in which position."""
    unit, world = asked.unit, asked.workplace.world
    configuration = world.configuration(unit)
    rows = {place: _row(asked, unit, place) for place in world.positions(unit)}
    named = {place: row for place, row in rows.items() if row.name}
    own = tuple(row for place, row in named.items() if not part_kind(place.kind).built_in)
    built = tuple(row for place, row in named.items() if part_kind(place.kind).built_in)
    groups = ((asked.say("parts_page.own"), own), (asked.say("parts_page.built_in"), built))
    context = Parts(
        frame=page_frame(asked, asked.say("parts_page.title"), unit=unit, place="more"),
        configuration=configuration.title if configuration is not None else "",
        configuration_href=asked.links.configuration(unit),
        unnamed=tuple(row for place, row in rows.items() if place not in named),
        groups=tuple((title, found) for title, found in groups if found),
        set_up_href=asked.links.set_up(unit),
        change_href=asked.links.change(unit),
        take_out_href=asked.links.take_out(unit),
    )
    return Page(template="parts.html", context=context)


def _row(asked: Asked, unit: ThingId, place: Position) -> PartRow:
    world = asked.workplace.world
    fitting = world.fitted(unit).get(place.id)
    if fitting is None:
        return PartRow(
            id=place.id, title=place.title, href=asked.links.position(unit, place.id),
            name="", label="", since="", content="",
        )  # fmt: skip
    thing = world.thing(fitting.thing)
    content = world.content_of(thing.id)
    fill = world.thing(content) if content is not None else None
    name = Telling(asked.words).name(thing.id)
    return PartRow(
        id=place.id,
        title=place.title,
        href=asked.links.position(unit, place.id),
        name=asked.say("parts_page.serial_not_read") if name == place.title else name,
        label=label_line(asked, thing),
        since=asked.words.clock.when(fitting.since.epoch_ms),
        content=", ".join(one for one in (fill.name, fill.batch) if one) if fill is not None else "",
    )


def label_line(asked: Asked, thing: Thing) -> str:
    """What a thing's label says beside its serial number, in one line."""
    say = asked.say
    told = [
        say(f"parts_page.line_{name}", value=getattr(thing, name))
        for name in ("batch", "made_on", "opened_on")
        if getattr(thing, name)
    ]
    volume = thing.attributes.get("volume")
    if isinstance(volume, Reading):
        told.append(asked.words.reading(volume))
    return ", ".join(told)


# --- one position ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """A thing's stay in the position."""

    name: str
    from_text: str
    until_text: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePosition:
    """What is in one position, what its label says, and what was in it before.

    Attributes
    ----------
    frame : Frame
    title, name : str
        The position; what is in it, '' for nothing.
    facts : tuple of (str, str)
        What is known of it.
    fields : tuple of Field
        For writing down what its label says.
    signing : Signing
    exchanges : tuple of (str, str)
        Changes that exchange or fill what is here, each with its address.
    others : tuple of (str, str)
        Taking it out, and saying that it is another one; each with its address.
    stays : tuple of Stay
        Newest first.
    history_href : str
        Everything that was recorded about the thing.
    set_up_href, action, parts_href : str
    """

    frame: Frame
    title: str
    name: str
    facts: tuple[tuple[str, str], ...]
    fields: tuple[Field, ...]
    signing: Signing
    exchanges: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str], ...]
    stays: tuple[Stay, ...]
    set_up_href: str
    action: str
    parts_href: str


def position(asked: Asked) -> Answer:
    """One position; writes down what a label says."""
    unit, world = asked.unit, asked.workplace.world
    place = next((one for one in world.positions(unit) if one.id == asked.values["position"]), None)
    if place is None:
        raise UnknownNameError("position", asked.values["position"], tuple(one.id for one in world.positions(unit)))
    there = world.at(unit, place.id)
    problem = None
    if asked.posts:
        try:
            _describe(asked, place, there)
            return SeeOther(address=asked.links.position(unit, place.id))
        except LoopworthyError as error:
            problem = error
    context = _one_position(asked, unit, place, there, problem)
    return Page(template="position.html", context=context, status=status_of(problem) if problem is not None else 200)


def _describe(asked: Asked, place: Position, there: ThingId | None) -> None:
    if there is None or place.kind == "person":
        raise InputError("position", place.title, asked.say("parts_page.nothing_there"))
    signed = signed_by(asked)
    described = label_in(asked.form, "")
    known = asked.workplace.world.thing(there)
    if known.kind == "cylinder":  # its label has no batch and no opening; what is known stays
        described = NewThing(
            serial=described.serial, made_on=described.made_on, attributes=described.attributes,
            batch=known.batch, opened_on=known.opened_on,
        )  # fmt: skip
    describe_thing(
        asked.workplace,
        there,
        serial=described.serial,
        name=known.name,
        batch=described.batch,
        made_on=described.made_on,
        opened_on=described.opened_on,
        attributes=described.attributes,
        typed_by=signed.person,
    )


def _one_position(
    asked: Asked, unit: ThingId, place: Position, there: ThingId | None, problem: LoopworthyError | None
) -> OnePosition:
    world, links = asked.workplace.world, asked.links
    form = asked.form if asked.posts else Form()
    thing = world.thing(there) if there is not None else None
    fields: list[Field] = []
    if thing is not None and place.kind != "person":
        serial = text_field("serial", asked.say("parts_page.serial"), form, value=thing.serial or None, scan=True)
        fields = [serial, *label_fields(asked, place.kind, form, "", thing)]
    return OnePosition(
        frame=page_frame(asked, place.title, unit=unit, place="more", problem=problem),
        title=place.title,
        name=Telling(asked.words).name(there) if there is not None else "",
        facts=_facts(asked, unit, place, thing) if thing is not None else (),
        fields=tuple(fields),
        signing=signing_fields(asked, form, label=asked.say("parts_page.named_by"), late=False),
        exchanges=tuple(
            (one.title, links.change(unit, one.id, (place.id,)))
            for one in asked.workplace.catalogue.changes.values()
            if one.part and place.id in {other.id for other in positions_for(asked.workplace, unit, one)}
        ),
        others=(
            (
                (asked.say("taking_out.link"), links.take_out(unit, place.id)),
                (asked.say("same.link"), links.same(thing.id)),
            )
            if thing is not None and place.kind != "person"
            else ()
        ),
        stays=tuple(
            Stay(
                name=Telling(asked.words).name(span.thing),
                from_text=asked.words.clock.when(span.fitted_at.epoch_ms),
                until_text=asked.words.clock.when(span.removed_at.epoch_ms) if span.removed_at is not None else "",
                href=links.event(span.fitted_by),
            )
            for span in reversed(world.fitting_history(unit, place.id))
        ),
        set_up_href=links.set_up(unit),
        action=links.position(unit, place.id),
        parts_href=links.parts(unit),
    )


def _facts(asked: Asked, unit: ThingId, place: Position, thing: Thing) -> tuple[tuple[str, str], ...]:
    world, say = asked.workplace.world, asked.say
    telling = Telling(asked.words)
    found = [(say("told.name_kind"), part_kind(place.kind).title)]
    if thing.kind != "person":
        found.append((say("parts_page.serial"), thing.serial or say("parts_page.serial_not_read")))
        found += [
            (say(f"parts_page.{name}"), getattr(thing, name))
            for name in ("batch", "made_on", "opened_on")
            if getattr(thing, name)
        ]
        found += [
            (telling.fact(name), asked.words.reading(value) if isinstance(value, Reading) else value)
            for name, value in thing.attributes.items()
        ]
    fitting = world.fitted(unit)[place.id]
    found.append((say("parts_page.since"), asked.words.clock.when(fitting.since.epoch_ms)))
    fill = world.content_placed(thing.id)
    if fill is not None:
        content = world.thing(fill.thing)
        said = ", ".join(one for one in (content.name, content.batch) if one)
        found.append((say("parts_page.holds"), said or say("parts_page.fill_unnamed")))
        found.append((say("parts_page.filled"), asked.words.clock.when(fill.since.epoch_ms)))
    return tuple(found)


ROUTES = (
    Door(path="/unit/{unit}/parts", handler=parts),
    Door(path="/unit/{unit}/parts/{position}", handler=position, methods=READ_AND_SEND),
)
