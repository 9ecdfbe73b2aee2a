"""What a `World` is made of: things, who holds what since when, and stretches of time.

All of these are derived from events; none is written down itself. Each carries the event that it comes from, so that
a page can lead there.
"""

from __future__ import annotations

import msgspec

from loopworthy.unit.events import EpisodeKind
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

Order = tuple[int, int, str, int, str]
"""Place of an event in the total order, `Event.order`."""


class Thing(msgspec.Struct, frozen=True, kw_only=True):
    """A thing as it is known.

    Attributes
    ----------
    id : str
        Identity of the event that created it.
    kind : str
        Kind, `positions.PART_KINDS`.
    name, serial, batch, made_on, opened_on, maker_note, attributes, name_digest
        As in `events.ThingCreated`, with what was learned since.
    created : Moment
        When, as claimed.
    order : tuple
        Place of its creation in the total order.
    retired : bool
        Whether it is out of use for good.
    """

    id: ThingId
    kind: str
    name: str
    serial: str
    batch: str
    made_on: str
    opened_on: str
    maker_note: str
    attributes: dict[str, str | Reading]
    name_digest: str
    created: Moment
    order: Order
    retired: bool = False

    def completed_from(self, other: Thing) -> Thing:
        """The thing with gaps filled from what was written down about the same thing under another identity."""
        gaps = {
            field: getattr(other, field)
            for field in ("name", "serial", "batch", "made_on", "opened_on", "maker_note")
            if not getattr(self, field)
        }
        return msgspec.structs.replace(
            self,
            **gaps,
            attributes={**other.attributes, **self.attributes},
            retired=self.retired or other.retired,
        )


class Fitting(msgspec.Struct, frozen=True, kw_only=True):
    """A thing in its place now.

    Attributes
    ----------
    thing : str
        What is there.
    since : Moment
        When it came there, as claimed.
    event : str
        The event that put it there.
    order : tuple
        That event's place in the total order.
    span : int
        Place of this stay in `World.spans`.
    """

    thing: ThingId
    since: Moment
    event: EventId
    order: Order
    span: int


class FittingSpan(msgspec.Struct, frozen=True, kw_only=True):
    """A thing's stay in a place, over or not.

    Attributes
    ----------
    holder : str
        Unit, or container for a fill.
    position : str
        Position of the unit; `world.CONTENT` for a fill.
    thing : str
        What was there.
    fitted_at, fitted_by : Moment, str
        When and by which event it came.
    removed_at, removed_by : Moment or None, str
        When and by which event it left; None and empty while it is there.
    """

    holder: ThingId
    position: str
    thing: ThingId
    fitted_at: Moment
    fitted_by: EventId
    removed_at: Moment | None = None
    removed_by: EventId = ""


class SetConfiguration(msgspec.Struct, frozen=True, kw_only=True):
    """A unit's configuration as it was written down, and since when."""

    name: str
    title: str
    choices: tuple[tuple[str, tuple[str, ...]], ...]
    since: Moment
    event: EventId
    order: Order


class Episode(msgspec.Struct, frozen=True, kw_only=True):
    """A stretch of time of one unit.

    Attributes
    ----------
    kind, title : str
        Dive day, preparation, assembly or dive; what people call it.
    began, began_by, order : Moment, str, tuple
        When, by which event, and its place in the total order.
    details : dict
        What was said at its beginning.
    ended, ended_by, ended_order : Moment or None, str, tuple or None
        When, by which event, and its place; None and empty while it is open.
    end_details : dict
        What was said at its end.
    end_declared : bool
        Whether somebody said that it ended; False where the beginning of the next one ended it, for then the claimed
        end is only the latest that it can be.
    """

    kind: EpisodeKind
    title: str
    began: Moment
    began_by: EventId
    order: Order
    details: dict[str, str | Reading]
    ended: Moment | None = None
    ended_by: EventId = ""
    ended_order: Order | None = None
    end_details: dict[str, str | Reading] = msgspec.field(default_factory=dict)
    end_declared: bool = False

    @property
    def id(self) -> EventId:
        """Identity of the episode: that of the event that began it."""
        return self.began_by

    @property
    def is_open(self) -> bool:
        """Whether it goes on."""
        return self.ended is None

    def cut_by(self, following: Episode) -> Episode:
        """The episode as the beginning of the following one ends it; unchanged where it had ended before."""
        if not self.is_open:
            return self
        return msgspec.structs.replace(
            self, ended=following.began, ended_by=following.began_by, ended_order=following.order
        )


class Custody(msgspec.Struct, frozen=True, kw_only=True):
    """Who has a thing, and since when."""

    person: ThingId
    since: Moment
    event: EventId
    order: Order


class Misfit(msgspec.Struct, frozen=True, kw_only=True):
    """An event of this room that changed nothing, and why: shown, never swallowed."""

    event: EventId
    kind: str
    problem: str
