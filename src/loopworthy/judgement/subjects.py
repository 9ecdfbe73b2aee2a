"""What a step is about on a given unit: the unit, each part that is fitted, its contents, or a part on a channel.

A subject's key is built from the identities of things, so evidence follows the serial and the fill; only where
evidence belongs to a pair (a sensor on a controller's channel) the position is part of the key.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.judgement.catalogue.model import Step
from loopworthy.unit.world import World
from loopworthy.vocabulary.identity import ThingId

JOIN = "~"


@dataclass(frozen=True, slots=True, kw_only=True)
class Subject:
    """One thing that one reading of a step is about.

    Attributes
    ----------
    key : str
        Identity for matching evidence; empty where nothing is fitted, so that nothing can match.
    position : str
        The position it is at; empty for the unit itself.
    things : tuple of str
        The things that the key is made of.
    missing : str
        What is not recorded: ``part``, ``content``, ``channel``; empty when all is there.
    """

    key: str
    position: str
    things: tuple[ThingId, ...]
    missing: str = ""


def subjects(world: World, unit: ThingId, step: Step) -> tuple[Subject, ...]:
    """The subjects that a step has on a unit now, in the order of its positions.

    A step about instruments has none: its subject is whichever instrument was used.
    """
    scope = step.scope
    if scope.each == "unit":
        return (Subject(key=unit, position="", things=(unit,)),)
    if scope.each == "instrument":
        return ()
    found = []
    fitted = world.fitted(unit)
    for position in world.positions(unit):
        if position.kind != scope.each:
            continue
        if scope.places and not position.id.startswith(scope.places):
            continue
        fitting = fitted.get(position.id)
        if fitting is None:
            found.append(Subject(key="", position=position.id, things=(), missing="part"))
            continue
        thing = world.canonical(fitting.thing)
        if scope.binds == "content":
            content = world.content_of(thing)
            if content is None:
                found.append(Subject(key="", position=position.id, things=(thing,), missing="content"))
            else:
                content = world.canonical(content)
                found.append(Subject(key=content, position=position.id, things=(content, thing)))
        elif scope.binds == "channel":
            found.append(_on_channel(world, unit, step, position.id, thing))
        else:
            found.append(Subject(key=thing, position=position.id, things=(thing,)))
    return tuple(found)


def _on_channel(world: World, unit: ThingId, step: Step, position: str, thing: ThingId) -> Subject:
    fitted = world.fitted(unit)
    existing = {one.id for one in world.positions(unit)}
    for channel in step.scope.channel:
        if channel in existing:
            other = fitted.get(channel)
            if other is None:
                break
            reader = world.canonical(other.thing)
            return Subject(key=JOIN.join((thing, reader, position)), position=position, things=(thing, reader))
    return Subject(key="", position=position, things=(thing,), missing="channel")


def instrument_subject(world: World, instrument: ThingId) -> Subject:
    """The subject of a step about an instrument."""
    thing = world.canonical(instrument)
    return Subject(key=thing, position="", things=(thing,))


def touched(
    world: World, unit: ThingId, positions: tuple[str, ...], things: tuple[ThingId, ...]
) -> tuple[frozenset[ThingId], frozenset[ThingId]]:
    """What a change at these positions and to these things concerns.

    Returns
    -------
    tuple of frozenset
        The things themselves with what is in them and what they are in; and these together with the cylinder and the
        regulator on the same gas side.
    """
    fitted = world.fitted(unit)
    concerned = {world.canonical(thing) for thing in things}
    concerned |= {world.canonical(fitted[position].thing) for position in positions if position in fitted}
    for thing in tuple(concerned):
        for other in (world.content_of(thing), world.container_of(thing)):
            if other is not None:
                concerned.add(world.canonical(other))
    places = [world.place_of(thing) for thing in concerned]
    held = [place[1] for place in places if place is not None and place[0] == world.canonical(unit)]
    sides = {position.partition("-")[2] for position in (*positions, *held) if "-" in position}
    side = set(concerned)
    for position, fitting in fitted.items():
        part, _, gas = position.partition("-")
        if gas in sides and part in ("cylinder", "regulator"):
            side.add(world.canonical(fitting.thing))
    return frozenset(concerned), frozenset(side)


def key_things(key: str) -> tuple[ThingId, ...]:
    """The things that a subject's key is made of; the position in the key of a channel is none."""
    if JOIN not in key:
        return (key,) if key else ()
    return tuple(key.split(JOIN)[:2])
