"""The world as the events tell it: which things there are, where each one is, how units are configured, what is open.

A `World` is the fold of the events of this room in their total order, one after the other; bringing events into that
order is the caller's business. It can be kept as bytes and taken up again from there.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final, cast

import msgspec

from loopworthy.unit import positions as places_of_units
from loopworthy.unit.axes import Choices
from loopworthy.unit.configuration import Configuration
from loopworthy.unit.events import (
    EVENT_TYPES,
    PERSON,
    ConfigurationSet,
    EpisodeBegan,
    EpisodeEnded,
    EpisodeKind,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingDescribed,
)
from loopworthy.unit.positions import Position
from loopworthy.unit.things import (
    Custody,
    Episode,
    Fitting,
    FittingSpan,
    Misfit,
    SetConfiguration,
    Thing,
)
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId, short
from loopworthy.vocabulary.time import Moment

CONTENT: Final = ":content"
"""What stands for the position of a fill in its container; no position of a unit can be called so."""

UNIT: Final = "unit"


class World(msgspec.Struct, kw_only=True):
    """Fold of the events about units.

    The fields are the state; ask through the methods, which see two identities of one thing as one.

    Attributes
    ----------
    things : dict
        Every thing by the identity it was created with.
    same_as : dict
        Identity to that of the same thing which was created first; only for those that turned out to be another.
    held : dict
        Holder to position to what is there.
    where : dict
        Thing to holder and position. People are left out: one may be the diver of several units.
    spans : list
        Every stay of a thing in a place, in order of coming.
    spans_in, spans_of : dict
        Holder, and thing, to the places of its stays in `spans`.
    configured, stretches, custodies : dict
        Configuration, episodes and holder by unit or thing.
    misfits : list
        Events that changed nothing, and why.
    """

    things: dict[ThingId, Thing] = msgspec.field(default_factory=dict)
    same_as: dict[ThingId, ThingId] = msgspec.field(default_factory=dict)
    held: dict[ThingId, dict[str, Fitting]] = msgspec.field(default_factory=dict)
    where: dict[ThingId, tuple[ThingId, str]] = msgspec.field(default_factory=dict)
    spans: list[FittingSpan] = msgspec.field(default_factory=list)
    spans_in: dict[ThingId, list[int]] = msgspec.field(default_factory=dict)
    spans_of: dict[ThingId, list[int]] = msgspec.field(default_factory=dict)
    configured: dict[ThingId, SetConfiguration] = msgspec.field(default_factory=dict)
    stretches: dict[ThingId, dict[EpisodeKind, list[Episode]]] = msgspec.field(default_factory=dict)
    custodies: dict[ThingId, Custody] = msgspec.field(default_factory=dict)
    misfits: list[Misfit] = msgspec.field(default_factory=list)

    @classmethod
    def empty(cls) -> World:
        """A world before the first event."""
        return cls()

    @classmethod
    def from_bytes(cls, data: bytes) -> World:
        """A world taken up again from `to_bytes`.

        Raises
        ------
        InputError
            If the bytes are no world; fold the events anew then.
        """
        try:
            return msgspec.msgpack.decode(data, type=cls)
        except (msgspec.MsgspecError, InputError, UnicodeDecodeError) as error:
            raise InputError(
                "snapshot", f"{len(data)} bytes", "a world as it was kept", next_step="Fold the events anew"
            ) from error

    def to_bytes(self) -> bytes:
        """The world as bytes, to be taken up again."""
        return msgspec.msgpack.encode(self)

    # --- the fold ------------------------------------------------------------------------------------------------

    def apply(self, event: Event) -> None:
        """Take the next event in; kinds of other rooms change nothing."""
        handler = _HANDLERS.get(event.envelope.kind)
        if handler is None:
            return
        low, high = _SUBJECT_COUNTS[event.envelope.kind]
        if event.payload is None:
            self._misfit(event, f"version {event.envelope.version} is not understood here")
        elif not low <= len(event.envelope.subjects) <= high:
            self._misfit(event, f"has {len(event.envelope.subjects)} subjects, needs {low} to {high}")
        else:
            handler(self, event)

    # --- things --------------------------------------------------------------------------------------------------

    def canonical(self, thing: ThingId) -> ThingId:
        """The identity under which a thing is known: the first that it was created with."""
        return self.same_as.get(thing, thing)

    def is_same(self, one: ThingId, other: ThingId) -> bool:
        """Whether two identities are one thing."""
        return self.canonical(one) == self.canonical(other)

    def thing(self, thing: ThingId) -> Thing:
        """The thing of that identity.

        Raises
        ------
        UnknownNameError
            If the record holds no such thing.
        """
        known = self.things.get(self.canonical(thing))
        if known is None:
            raise UnknownNameError(
                "thing", thing, next_step="Look for it on the page of things, or bring in the record"
            )
        return known

    def of_kind(self, kind: str) -> tuple[Thing, ...]:
        """All things of a kind in order of creation, each once."""
        return tuple(one for one in self.things.values() if one.kind == kind and one.id not in self.same_as)

    def units(self) -> tuple[ThingId, ...]:
        """All units in order of creation, retired ones among them."""
        return tuple(one.id for one in self.of_kind(UNIT))

    def person_digest(self, person: ThingId) -> str:
        """Digest under which a person's name is kept beside the record.

        Raises
        ------
        UnknownNameError
            If there is no such person.
        """
        known = self.things.get(self.canonical(person))
        if known is None or known.kind != PERSON:
            raise UnknownNameError("person", person)
        return known.name_digest

    def label(self, thing: ThingId) -> str:
        """Short words for a page: ``sensor S-0412``, ``unit Grey Heron``, ``gas fill in cylinder C-7``.

        People are ``person`` and the first digits of their identity; names are put in by the desk.
        """
        known = self.things.get(self.canonical(thing))
        if known is None:
            return f"thing {short(thing)}"
        kind = places_of_units.PART_KINDS.get(known.kind)
        word = kind.label if kind else known.kind
        own = (known.name or known.serial) if known.kind == UNIT else (known.serial or known.name)
        if own:
            return f"{word} {own}"
        container = self.container_of(thing)
        if container is not None:
            return f"{word} in {self.label(container)}"
        place = self.place_of(thing)
        if place is not None:
            position = places_of_units.all_positions().get(place[1])
            return position.title if position else f"{word} at {place[1]}"
        return f"{word} {short(known.id)}"

    # --- places --------------------------------------------------------------------------------------------------

    def configuration(self, unit: ThingId) -> Configuration | None:
        """How a unit is configured; None where nobody said."""
        known = self.configured.get(self.canonical(unit))
        return None if known is None else _configuration(known.name, known.title, known.choices)

    def positions(self, unit: ThingId) -> tuple[Position, ...]:
        """Positions of a unit by its configuration; none where it has no configuration."""
        configuration = self.configuration(unit)
        return () if configuration is None else places_of_units.positions(configuration)

    def fitted(self, unit: ThingId) -> dict[str, Fitting]:
        """What is in each position of a unit that is not empty."""
        there = self.held.get(self.canonical(unit), {})
        return {position: fitting for position, fitting in there.items() if position != CONTENT}

    def at(self, unit: ThingId, position: str) -> ThingId | None:
        """What is in a position of a unit."""
        fitting = self.held.get(self.canonical(unit), {}).get(position)
        return None if fitting is None else fitting.thing

    def place_of(self, thing: ThingId) -> tuple[ThingId, str] | None:
        """Unit and position that a thing is in. For people see `units_of`, for fills `container_of`."""
        place = self.where.get(self.canonical(thing))
        return None if place is None or place[1] == CONTENT else place

    def units_of(self, person: ThingId) -> tuple[ThingId, ...]:
        """Units in which a person has a position, the diver's."""
        known = self.canonical(person)
        return tuple(holder for holder, there in self.held.items() if any(one.thing == known for one in there.values()))

    def content_of(self, container: ThingId) -> ThingId | None:
        """The fill that a container holds."""
        return self.at(container, CONTENT)

    def container_of(self, content: ThingId) -> ThingId | None:
        """The container that a fill is in."""
        place = self.where.get(self.canonical(content))
        return place[0] if place is not None and place[1] == CONTENT else None

    def content_placed(self, container: ThingId) -> Fitting | None:
        """The fill that a container holds, with since when."""
        return self.held.get(self.canonical(container), {}).get(CONTENT)

    def fitting_history(self, unit: ThingId, position: str = "") -> tuple[FittingSpan, ...]:
        """What was when in the positions of a unit (or in one of them), or in a container, in order of coming."""
        stays = (self._canonical_span(number) for number in self.spans_in.get(self.canonical(unit), ()))
        return tuple(span for span in stays if position in ("", span.position))

    def fitting_history_of(self, thing: ThingId) -> tuple[FittingSpan, ...]:
        """Where a thing was when, in order of coming."""
        return tuple(self._canonical_span(number) for number in self.spans_of.get(self.canonical(thing), ()))

    # --- time and custody ----------------------------------------------------------------------------------------

    def episodes(self, unit: ThingId, kind: EpisodeKind) -> tuple[Episode, ...]:
        """All episodes of a kind, in the order in which they began."""
        return tuple(self.stretches.get(self.canonical(unit), {}).get(kind, ()))

    def episode(self, unit: ThingId, kind: EpisodeKind) -> Episode | None:
        """The open episode of a kind."""
        known = self.stretches.get(self.canonical(unit), {}).get(kind)
        return known[-1] if known and known[-1].is_open else None

    def custody(self, thing: ThingId) -> Custody | None:
        """Who has a unit or a thing, and since when; None where nobody said."""
        known = self.custodies.get(self.canonical(thing))
        return None if known is None else msgspec.structs.replace(known, person=self.canonical(known.person))

    def holder(self, thing: ThingId) -> ThingId | None:
        """Who has a unit or a thing; None where nobody said."""
        known = self.custody(thing)
        return None if known is None else known.person

    # --- how each kind of event is taken in ----------------------------------------------------------------------

    def _create(self, event: Event) -> None:
        payload = cast(ThingCreated, event.payload)
        self.things[event.id] = Thing(
            id=event.id,
            kind=payload.kind,
            name=payload.name,
            serial=payload.serial,
            batch=payload.batch,
            made_on=payload.made_on,
            opened_on=payload.opened_on,
            maker_note=payload.maker_note,
            attributes=dict(payload.attributes),
            name_digest=payload.name_digest,
            created=event.envelope.occurred_at,
            order=event.order,
        )

    def _describe(self, event: Event) -> None:
        payload = cast(ThingDescribed, event.payload)
        known = self.things.get(self.canonical(event.envelope.subjects[0]))
        if known is None:
            self._misfit(event, "describes a thing that the record does not hold")
            return
        fields = payload.changed_fields()
        wrong = "name" if known.kind == PERSON else "name_digest"
        if fields.get(wrong):
            self._misfit(event, f"gives a {known.kind} a {wrong}")
            return
        attributes = {**known.attributes, **payload.attributes}
        changes: dict[str, Any] = {
            **fields,
            "attributes": {key: value for key, value in attributes.items() if value != ""},
        }
        if payload.retired is not None:
            changes["retired"] = payload.retired
        self.things[known.id] = msgspec.structs.replace(known, **changes)

    def _configure(self, event: Event) -> None:
        payload = cast(ConfigurationSet, event.payload)
        unit = self.canonical(event.envelope.subjects[0])
        self.configured[unit] = SetConfiguration(
            name=payload.name,
            title=payload.title,
            choices=tuple(payload.choices.items()),
            since=event.envelope.occurred_at,
            event=event.id,
            order=event.order,
        )
        self._clear_lost_positions(unit, event)

    def _clear_lost_positions(self, unit: ThingId, event: Event) -> None:
        # Nothing can be in a position that the unit no longer has. A configuration that is not fully understood here
        # (a later version wrote it) takes nothing away.
        configuration = self.configuration(unit)
        if configuration is None or not configuration.is_understood:
            return
        there = {one.id for one in places_of_units.positions(configuration)}
        for position in [one for one in self.held.get(unit, {}) if one in places_of_units.all_positions()]:
            if position not in there:
                self._vacate(unit, position, event.envelope.occurred_at, event.id)

    def _fit(self, event: Event) -> None:
        unit, thing = event.envelope.subjects
        self._place(event, unit, cast(PartFitted, event.payload).position, thing)

    def _remove(self, event: Event) -> None:
        unit, thing = event.envelope.subjects
        self._take_out(event, unit, cast(PartRemoved, event.payload).position, thing)

    def _place_content(self, event: Event) -> None:
        container, content = event.envelope.subjects
        self._place(event, container, CONTENT, content)

    def _remove_content(self, event: Event) -> None:
        container, content = event.envelope.subjects
        self._take_out(event, container, CONTENT, content)

    def _begin(self, event: Event) -> None:
        payload = cast(EpisodeBegan, event.payload)
        for unit in dict.fromkeys(self.canonical(one) for one in event.envelope.subjects):
            known = self.stretches.setdefault(unit, {}).setdefault(payload.episode, [])
            begun = Episode(
                kind=payload.episode,
                title=payload.title,
                began=event.envelope.occurred_at,
                began_by=event.id,
                order=event.order,
                details=payload.details,
            )
            if known:
                known[-1] = known[-1].cut_by(begun)
            known.append(begun)

    def _end(self, event: Event) -> None:
        payload = cast(EpisodeEnded, event.payload)
        for unit in dict.fromkeys(self.canonical(one) for one in event.envelope.subjects):
            if self.episode(unit, payload.episode) is None:
                self._misfit(event, f"ends a {payload.episode} of {self.label(unit)}, and none is open")
                continue
            known = self.stretches[unit][payload.episode]
            known[-1] = msgspec.structs.replace(
                known[-1],
                ended=event.envelope.occurred_at,
                ended_by=event.id,
                ended_order=event.order,
                end_details=payload.details,
                end_declared=True,
            )

    def _give(self, event: Event) -> None:
        thing, person = event.envelope.subjects
        self.custodies[self.canonical(thing)] = Custody(
            person=self.canonical(person), since=event.envelope.occurred_at, event=event.id, order=event.order
        )

    def _merge(self, event: Event) -> None:
        one, other = (self.things.get(self.canonical(subject)) for subject in event.envelope.subjects)
        if one is None or other is None:
            self._misfit(event, "names a thing that the record does not hold")
        elif one.kind != other.kind:
            self._misfit(event, f"{self.label(one.id)} and {self.label(other.id)} are of different kinds")
        elif one.id != other.id:
            first, second = sorted((one, other), key=lambda thing: thing.order)
            self._become_one(first, second, event)

    # --- two identities of one thing -----------------------------------------------------------------------------

    def _become_one(self, first: Thing, second: Thing, event: Event) -> None:
        root, other = first.id, second.id
        self.same_as.update({identity: root for identity, known in self.same_as.items() if known == other})
        self.same_as[other] = root
        self.things[root] = first.completed_from(second)
        for index in (self.spans_in, self.spans_of):
            if other in index:
                index[root] = sorted(index.get(root, []) + index.pop(other))
        self._join_whereabouts(root, other, event)
        self._join_contents(root, other, event)
        for latest in (self.configured, self.custodies):
            _keep_latest(latest, root, other)
        for kind, episodes in self.stretches.pop(other, {}).items():
            mine = self.stretches.setdefault(root, {})
            mine[kind] = _in_sequence([*mine.get(kind, []), *episodes])
        self._clear_lost_positions(root, event)

    def _join_whereabouts(self, root: ThingId, other: ThingId, event: Event) -> None:
        if self._is_person(root):
            for there in self.held.values():
                for position, fitting in there.items():
                    if fitting.thing == other:
                        there[position] = msgspec.structs.replace(fitting, thing=root)
            return
        theirs = self.where.get(other)
        if theirs is None:
            return
        mine = self.where.get(root)
        if mine is not None:
            # One thing cannot be in two places: where it was put last is where it is.
            earlier = min(mine, theirs, key=lambda place: self.held[place[0]][place[1]].order)
            self._vacate(*earlier, event.envelope.occurred_at, event.id)
            if earlier == theirs:
                return
        holder, position = theirs
        del self.where[other]
        self.where[root] = theirs
        self.held[holder][position] = msgspec.structs.replace(self.held[holder][position], thing=root)

    def _join_contents(self, root: ThingId, other: ThingId, event: Event) -> None:
        mine = self.held.setdefault(root, {})
        theirs = self.held.get(other, {})
        for position in sorted(set(mine) & set(theirs)):
            loser = root if mine[position].order < theirs[position].order else other
            self._vacate(loser, position, event.envelope.occurred_at, event.id)
        for position, fitting in self.held.pop(other, {}).items():
            mine[position] = fitting
            if fitting.thing in self.where:
                self.where[fitting.thing] = (root, position)
        if root in self.where and self._lies_in(self.where[root][0], root):
            self._vacate(*self.where[root], event.envelope.occurred_at, event.id)

    # --- moving things -------------------------------------------------------------------------------------------

    def _place(self, event: Event, holder: ThingId, position: str, thing: ThingId) -> None:
        holder, thing = self.canonical(holder), self.canonical(thing)
        if self._lies_in(holder, thing):
            inside = "itself" if holder == thing else f"{self.label(holder)}, which lies in it"
            self._misfit(event, f"puts {self.label(thing)} into {inside}")
            return
        moment = event.envelope.occurred_at
        self._vacate(holder, position, moment, event.id)
        alone = not self._is_person(thing)
        if alone and thing in self.where:
            self._vacate(*self.where[thing], moment, event.id)
        number = len(self.spans)
        self.spans_in.setdefault(holder, []).append(number)
        self.spans_of.setdefault(thing, []).append(number)
        self.spans.append(
            FittingSpan(holder=holder, position=position, thing=thing, fitted_at=moment, fitted_by=event.id)
        )
        self.held.setdefault(holder, {})[position] = Fitting(
            thing=thing, since=moment, event=event.id, order=event.order, span=number
        )
        if alone:
            self.where[thing] = (holder, position)

    def _take_out(self, event: Event, holder: ThingId, position: str, thing: ThingId) -> None:
        holder, thing = self.canonical(holder), self.canonical(thing)
        if self.at(holder, position) != thing:
            place = "it" if position == CONTENT else position
            self._misfit(event, f"takes {self.label(thing)} out of {place} of {self.label(holder)}, where it is not")
            return
        self._vacate(holder, position, event.envelope.occurred_at, event.id)

    def _vacate(self, holder: ThingId, position: str, moment: Moment, event: EventId) -> None:
        fitting = self.held.get(holder, {}).pop(position, None)
        if fitting is None:
            return
        self.where.pop(fitting.thing, None)
        self.spans[fitting.span] = msgspec.structs.replace(
            self.spans[fitting.span], removed_at=moment, removed_by=event
        )

    def _lies_in(self, inner: ThingId, outer: ThingId) -> bool:
        # Places never go round in a circle, but for one through `outer` while it is being looked for.
        while inner != outer:
            if inner not in self.where:
                return False
            inner = self.where[inner][0]
        return True

    def _is_person(self, thing: ThingId) -> bool:
        known = self.things.get(thing)
        return known is not None and known.kind == PERSON

    def _canonical_span(self, number: int) -> FittingSpan:
        span = self.spans[number]
        return msgspec.structs.replace(span, holder=self.canonical(span.holder), thing=self.canonical(span.thing))

    def _misfit(self, event: Event, problem: str) -> None:
        self.misfits.append(Misfit(event=event.id, kind=event.envelope.kind, problem=problem))


_HANDLERS: Final[dict[str, Callable[[World, Event], None]]] = {
    "unit.thing-created": World._create,
    "unit.thing-described": World._describe,
    "unit.things-same": World._merge,
    "unit.configured": World._configure,
    "unit.part-fitted": World._fit,
    "unit.part-removed": World._remove,
    "unit.content-placed": World._place_content,
    "unit.content-removed": World._remove_content,
    "unit.episode-began": World._begin,
    "unit.episode-ended": World._end,
    "unit.custody-given": World._give,
}
"""How each kind is taken in. `unit.change-made` moves nothing: what a change does to evidence is judged elsewhere."""

_SUBJECT_COUNTS: Final[dict[str, tuple[int, int]]] = {kind: payload.subject_count for kind, _, payload in EVENT_TYPES}


@lru_cache(maxsize=64)
def _configuration(name: str, title: str, choices: tuple[tuple[str, tuple[str, ...]], ...]) -> Configuration:
    return Configuration(name=name, title=title, choices=Choices(dict(choices)))


def _keep_latest(known: dict[ThingId, Any], root: ThingId, other: ThingId) -> None:
    theirs = known.pop(other, None)
    if theirs is not None and (root not in known or known[root].order < theirs.order):
        known[root] = theirs


def _in_sequence(episodes: list[Episode]) -> list[Episode]:
    ordered = sorted(episodes, key=lambda one: one.order)
    return [one.cut_by(following) for one, following in pairwise(ordered)] + ordered[-1:]
