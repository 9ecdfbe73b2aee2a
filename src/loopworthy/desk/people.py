"""People: who reads, who types, who hears. A name lies beside the record, so that it can be erased."""

from __future__ import annotations

from loopworthy.desk.workplace import Workplace
from loopworthy.unit.events import CustodyGiven, ThingCreated, ThingDescribed
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import EventId, ThingId

DISPLAY_UNITS = ("metric", "us")


def add_person(workplace: Workplace, name: str, *, display_units: str = "metric", typed_by: ThingId = "") -> ThingId:
    """A person by name.

    Raises
    ------
    InputError
        If the name is empty or somebody of that name is there already.
    """
    words = wording.title("name", name)
    if display_units not in DISPLAY_UNITS:
        raise InputError("display_units", display_units, f"one of {', '.join(DISPLAY_UNITS)}")
    for known in people(workplace):
        if workplace.name(known).lower() == words.lower():
            raise InputError("name", words, "a name that nobody has here yet", next_step="Add a second name")
    digest = workplace.record.put_text(words)
    created = ThingCreated(kind="person", name_digest=digest, attributes={"display_units": display_units})
    return workplace.writer().append("unit.thing-created", created, typed_by=typed_by).id


def people(workplace: Workplace) -> tuple[ThingId, ...]:
    """Everybody in the record who has not been retired, in the order of joining."""
    return tuple(one.id for one in workplace.world.of_kind("person") if not one.retired)


def display_units(workplace: Workplace, person: ThingId) -> str:
    """``metric`` or ``us``: how this person wants quantities shown."""
    world = workplace.world
    if world.canonical(person) not in world.things:
        return "metric"
    chosen = world.thing(person).attributes.get("display_units", "metric")
    return chosen if isinstance(chosen, str) and chosen in DISPLAY_UNITS else "metric"


def set_display_units(workplace: Workplace, person: ThingId, wanted: str, *, typed_by: ThingId = "") -> EventId:
    """How this person wants quantities shown from now on; what was typed stays as it was typed.

    Raises
    ------
    InputError
        If it is neither of `DISPLAY_UNITS`.
    """
    if wanted not in DISPLAY_UNITS:
        raise InputError("display_units", wanted, f"one of {', '.join(DISPLAY_UNITS)}")
    payload = ThingDescribed(attributes={"display_units": wanted})
    return (
        workplace.writer()
        .append("unit.thing-described", payload, subjects=(person,), read_by=typed_by, typed_by=typed_by)
        .id
    )


def erase_name(workplace: Workplace, person: ThingId, *, reason: str, typed_by: ThingId) -> EventId:
    """Erase a person's name here and wherever this record arrives; what they read stays, without their name.

    Raises
    ------
    InputError
        If no reason is given.
    """
    words = wording.said("reason", reason)
    digest = workplace.world.person_digest(person)
    return workplace.record.erase_text(digest, reason=words, now=workplace.now(), typed_by=typed_by).id


def give_custody(workplace: Workplace, unit: ThingId, person: ThingId, *, typed_by: ThingId, note: str = "") -> None:
    """Somebody has the unit from now on."""
    workplace.writer().append(
        "unit.custody-given",
        CustodyGiven(note=wording.note("note", note)),
        subjects=(unit, person),
        read_by=typed_by,
        typed_by=typed_by,
    )
