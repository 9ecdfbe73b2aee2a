"""Makes events one after the other, as a device would write them, and lets a world take them in.

All things, serials and dates in these tests are invented.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import msgspec

from loopworthy.unit.configuration import Configuration, configuration_from_choices, ready_configurations
from loopworthy.unit.events import (
    EVENT_TYPES,
    ConfigurationSet,
    ContentPlaced,
    PartFitted,
    PartRemoved,
    ThingCreated,
)
from loopworthy.unit.world import World
from loopworthy.vocabulary.event import GENESIS, Envelope, Event, HybridTime, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.time import Moment, moment

START = datetime(2026, 5, 14, 6, 0, tzinfo=UTC)
KINDS: dict[type[msgspec.Struct], tuple[str, int]] = {
    payload: (kind, version) for kind, version, payload in EVENT_TYPES
}
DIGEST = "ab" * 32


class Storyteller:
    """One device that writes an event a minute."""

    def __init__(self) -> None:
        self.world = World.empty()
        self.events: list[Event] = []

    @property
    def now(self) -> Moment:
        """When the latest event happened."""
        return self.events[-1].envelope.occurred_at

    def tell(self, payload: msgspec.Struct, *subjects: str) -> Event:
        """Write the next event and let the world take it in."""
        kind, version = KINDS[type(payload)]
        return self.take(self.event(kind, version, msgspec.json.encode(payload), payload, subjects))

    def take(self, event: Event) -> Event:
        """Let the world take an event in."""
        self.events.append(event)
        self.world.apply(event)
        return event

    def event(
        self, kind: str, version: int, raw: bytes, payload: object | None, subjects: tuple[str, ...] = ()
    ) -> Event:
        """The next event of the chain, not yet taken in."""
        number = len(self.events) + 1
        at = moment(START + timedelta(minutes=number))
        envelope = Envelope(
            record="1" * 64,
            device="2" * 64,
            sequence=number,
            clock=HybridTime(wall_ms=at.epoch_ms),
            occurred_at=at,
            recorded_at=at,
            kind=kind,
            version=version,
            payload=msgspec.Raw(raw),
            previous=self.events[-1].id if self.events else GENESIS,
            subjects=subjects,
        )
        body = encode(envelope)
        return Event(id=event_id(body), body=body, envelope=envelope, payload=payload)

    def create(self, kind: str, serial: str = "", *, name: str = "") -> str:
        """A new thing; a person where the kind says so."""
        digest = DIGEST if kind == "person" else ""
        return self.tell(ThingCreated(kind=kind, serial=serial, name=name, name_digest=digest)).id

    def unit(self, name: str = "Grey Heron") -> str:
        """A new unit without configuration."""
        return self.create("unit", name=name)

    def configure(self, unit: str, configuration: Configuration) -> Event:
        """Say how a unit is configured."""
        choices = dict(configuration.choices)
        return self.tell(ConfigurationSet(name=configuration.name, title=configuration.title, choices=choices), unit)

    def fit(self, unit: str, position: str, thing: str) -> Event:
        """Put a thing into a position."""
        return self.tell(PartFitted(position=position), unit, thing)

    def remove(self, unit: str, position: str, thing: str) -> Event:
        """Take a thing out of a position."""
        return self.tell(PartRemoved(position=position), unit, thing)

    def fill(self, container: str, content: str) -> Event:
        """Put a fill into a container."""
        return self.tell(ContentPlaced(), container, content)


def plain() -> Configuration:
    """Electronic, on the back, three sensors."""
    return ready_configurations()["electronic-back-three-sensors"]


def changed(**answers: object) -> Configuration:
    """The plain configuration with other answers."""
    choices: dict[str, object] = {**plain().choices, **answers}
    return configuration_from_choices("changed", "Changed", choices)
