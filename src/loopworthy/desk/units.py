"""Units and their parts: making a unit from a configuration, and saying which things are in its positions.

The first time a position is filled nothing falls: there was no evidence yet. Exchanging what is there is a change
and goes through `changes`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from loopworthy.desk.late import check_moment
from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.events import CatalogueAdopted
from loopworthy.record.chain import Batch, Draft
from loopworthy.unit.configuration import Configuration
from loopworthy.unit.events import ConfigurationSet, ContentPlaced, PartFitted, ThingCreated
from loopworthy.unit.positions import part_kind, positions
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class NewThing:
    """What is known of a thing that comes into the record."""

    serial: str = ""
    name: str = ""
    batch: str = ""
    made_on: str = ""
    opened_on: str = ""
    attributes: Mapping[str, str | Reading] = field(default_factory=dict)

    def created(self, kind: str) -> ThingCreated:
        """The payload that creates it."""
        return ThingCreated(
            kind=kind,
            name=wording.line("name", self.name),
            serial=wording.line("serial", self.serial),
            batch=wording.line("batch", self.batch),
            made_on=self.made_on,
            opened_on=self.opened_on,
            attributes={
                key: wording.note(key, value) if isinstance(value, str) else value
                for key, value in self.attributes.items()
            },
        )


def adopt_catalogue(workplace: Workplace, *, typed_by: ThingId = "") -> None:
    """Record which catalogue holds from here on, with its full text; nothing if it is the one already adopted."""
    adopted = workplace.book().adopted
    if adopted and adopted[-1][1].digest == workplace.catalogue.digest:
        return
    catalogue = workplace.catalogue
    workplace.writer().append(
        "judgement.catalogue-adopted",
        CatalogueAdopted(revision=catalogue.revision, digest=catalogue.digest, texts=dict(catalogue.texts)),
        typed_by=typed_by,
    )


def create_unit(
    workplace: Workplace,
    name: str,
    configuration: Configuration,
    *,
    serial: str = "",
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> ThingId:
    """A unit with its configuration; parts that are built in are there at once, their serials not read yet.

    A built-in canister comes with a fill of its own, so that what is read of its absorbent has something to be about.

    Raises
    ------
    InputError
        If the name is empty or another unit has it.
    """
    words = wording.title("name", name)
    if any(workplace.name(known).lower() == words.lower() for known in workplace.world.units()):
        raise InputError("name", words, "a name that no other unit has", next_step="Add a number to it")
    check_moment(workplace, occurred_at, confirmed=moment_confirmed)
    adopt_catalogue(workplace, typed_by=typed_by)
    chosen = ConfigurationSet(name=configuration.name, title=configuration.title, choices=dict(configuration.choices))
    with workplace.writer().batch() as batch:
        created = NewThing(name=words, serial=serial).created("unit")
        unit = batch.add(
            Draft(
                kind="unit.thing-created",
                payload=created,
                occurred_at=occurred_at,
                read_by=typed_by,
                typed_by=typed_by,
            )
        )
        batch.add(
            Draft(
                kind="unit.configured",
                payload=chosen,
                subjects=(unit,),
                occurred_at=occurred_at,
                read_by=typed_by,
                typed_by=typed_by,
            )
        )
        for position in positions(configuration):
            if part_kind(position.kind).built_in:
                part = fit_new(
                    batch, unit, position.id, position.kind, NewThing(), typed_by=typed_by, occurred_at=occurred_at
                )
                if position.content_kind:
                    place_content(
                        batch, part, position.content_kind, NewThing(), typed_by=typed_by, occurred_at=occurred_at
                    )
    return unit


def fit_new(
    batch: Batch,
    unit: ThingId,
    position: str,
    kind: str,
    thing: NewThing,
    *,
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
) -> ThingId:
    """Create a thing and put it in a position, in a batch that is being written."""
    made = batch.add(
        Draft(
            kind="unit.thing-created",
            payload=thing.created(kind),
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
    )
    fit(batch, unit, position, made, typed_by=typed_by, occurred_at=occurred_at)
    return made


def fit(
    batch: Batch, unit: ThingId, position: str, thing: ThingId, *, typed_by: ThingId, occurred_at: Moment | None = None
) -> EventId:
    """Put a thing in a position, in a batch that is being written."""
    return batch.add(
        Draft(
            kind="unit.part-fitted",
            payload=PartFitted(position=position),
            subjects=(unit, thing),
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
    )


def place_content(
    batch: Batch,
    container: ThingId,
    kind: str,
    content: NewThing,
    *,
    typed_by: ThingId,
    occurred_at: Moment | None = None,
) -> ThingId:
    """Create a fill and put it in its cylinder or canister, in a batch that is being written."""
    made = batch.add(
        Draft(
            kind="unit.thing-created",
            payload=content.created(kind),
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
    )
    batch.add(
        Draft(
            kind="unit.content-placed",
            payload=ContentPlaced(),
            subjects=(container, made),
            occurred_at=occurred_at,
            read_by=typed_by,
            typed_by=typed_by,
        )
    )
    return made


def identify_part(
    workplace: Workplace,
    unit: ThingId,
    position_id: str,
    thing: NewThing | ThingId,
    *,
    typed_by: ThingId = "",
    occurred_at: Moment | None = None,
    moment_confirmed: bool = False,
) -> ThingId:
    """Say which thing is in an empty position, for the first time.

    A cylinder or canister comes with a fill of its own, so that its analysis has something to be about.

    Raises
    ------
    UnknownNameError
        If the unit has no such position.
    RefusedError
        If something is in it: exchanging it is a change that evidence may not survive.
    """
    world = workplace.world
    place = next((one for one in world.positions(unit) if one.id == position_id), None)
    if place is None:
        raise UnknownNameError("position", position_id, tuple(one.id for one in world.positions(unit)))
    known = world.at(unit, position_id)
    if known is not None:
        raise RefusedError(
            f"{place.title} holds {world.label(known)} already",
            next_step="Record the exchange under “I changed something”, so that what rested on it falls",
        )
    if place.kind == "unit" and isinstance(thing, NewThing) and not thing.name.strip():
        # A second loop is a unit of its own; it would stand on the board without a name.
        thing = replace(thing, name=f"{workplace.name(unit)}, second loop")
    check_moment(workplace, occurred_at, units=(unit,), confirmed=moment_confirmed)
    with workplace.writer().batch() as batch:
        if isinstance(thing, NewThing):
            made = fit_new(batch, unit, position_id, place.kind, thing, typed_by=typed_by, occurred_at=occurred_at)
        else:
            made = thing
            fit(batch, unit, position_id, made, typed_by=typed_by, occurred_at=occurred_at)
        if place.content_kind and world.content_of(made) is None:
            place_content(batch, made, place.content_kind, NewThing(), typed_by=typed_by, occurred_at=occurred_at)
    return made


def add_instrument(workplace: Workplace, name: str, use: str, *, serial: str = "", typed_by: ThingId = "") -> ThingId:
    """An instrument (analyser, barometer, manometer, scale …) that readings are made with."""
    created = NewThing(name=wording.title("name", name), serial=serial, attributes={"instrument": use}).created(
        "instrument"
    )
    return workplace.writer().append("unit.thing-created", created, read_by=typed_by, typed_by=typed_by).id


def empty_positions(workplace: Workplace, unit: ThingId) -> tuple[str, ...]:
    """Positions of the unit in which nothing is recorded."""
    world = workplace.world
    fitted = world.fitted(unit)
    return tuple(one.id for one in world.positions(unit) if one.id not in fitted)
