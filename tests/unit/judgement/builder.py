"""Makes records by hand: several devices that write, meet and part, and the verdict that follows.

Minute 0 is eight in the morning of an invented day. The unit, its parts and its people are there before it. All names
and numbers are invented.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import copy

import msgspec

from loopworthy.judgement.book import Book
from loopworthy.judgement.catalogue.model import Catalogue, InputKind
from loopworthy.judgement.events import (
    EVENT_TYPES as JUDGEMENT_TYPES,
)
from loopworthy.judgement.events import (
    EvidenceRecorded,
    HoldPassed,
    HoldReleased,
    LimitConfirmed,
    LimitSet,
    RepairMade,
    WaiverGiven,
)
from loopworthy.judgement.replay import fold
from loopworthy.judgement.standing import Bench, Standing, State, View
from loopworthy.judgement.subjects import Subject, subjects
from loopworthy.judgement.verdict import Requirement, Verdict, judge_unit
from loopworthy.record.events import EVENT_WITHDRAWN, EventWithdrawn
from loopworthy.unit.configuration import Configuration, ready_configurations
from loopworthy.unit.events import EVENT_TYPES as UNIT_TYPES
from loopworthy.unit.events import (
    ChangeMade,
    ConfigurationSet,
    ContentPlaced,
    EpisodeBegan,
    EpisodeEnded,
    EpisodeKind,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingsSame,
)
from loopworthy.unit.positions import positions
from loopworthy.unit.world import World
from loopworthy.vocabulary.event import GENESIS, Envelope, Event, HybridTime, SeenHead, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms
from tests.unit.judgement.small_catalogue import small_catalogue

START_MS = 1_778_738_400_000  # 2026-05-14T06:00:00Z, eight in the morning in Malta
ZONE = "Europe/Malta"
DAY = 24 * 60
KINDS: dict[type, tuple[str, int]] = {
    payload: (kind, version) for kind, version, payload in (*UNIT_TYPES, *JUDGEMENT_TYPES)
}
KINDS[EventWithdrawn] = (EVENT_WITHDRAWN, 1)
CONFIGURATION = "electronic-back-three-sensors"
SENSORS = ("oxygen-sensor-1", "oxygen-sensor-2", "oxygen-sensor-3")


def minute(at: float) -> Moment:
    """So many minutes after the start."""
    return moment_from_epoch_ms(START_MS + round(at * 60_000), ZONE)


class Device:
    """One device that writes its chain and knows what it has seen."""

    def __init__(self, scene: Scene, name: str) -> None:
        self.scene = scene
        self.name = name
        self.chain: list[Event] = []
        self.seen: dict[str, SeenHead] = {}
        self.clock = HybridTime(wall_ms=0)

    # --- writing ----------------------------------------------------------------------------------------------------

    def write(
        self,
        payload: msgspec.Struct | None,
        *subjects: str,
        at: float,
        occurred: float | None = None,
        by: str | None = None,
        typed_by: str | None = None,
        kind: str = "",
        version: int = 0,
    ) -> str:
        """One more event of the chain; its identity."""
        known_kind, known_version = KINDS.get(type(payload), ("", 1))
        recorded, person = minute(at), self.scene.people["ada"] if by is None else by
        wall_ms = recorded.epoch_ms
        if wall_ms > self.clock.wall_ms:
            self.clock = HybridTime(wall_ms=wall_ms)
        else:
            self.clock = HybridTime(wall_ms=self.clock.wall_ms, counter=self.clock.counter + 1)
        envelope = Envelope(
            record="c0ffee" * 5,
            device=self.name,
            sequence=len(self.chain) + 1,
            clock=self.clock,
            occurred_at=minute(at if occurred is None else occurred),
            recorded_at=recorded,
            read_by=person,
            typed_by=person if typed_by is None else typed_by,
            kind=kind or known_kind,
            version=version or known_version,
            subjects=subjects,
            payload=msgspec.Raw(msgspec.json.encode(payload)),
            seen=dict(self.seen),
            previous=self.chain[-1].id if self.chain else GENESIS,
        )
        body = encode(envelope)
        event = Event(id=event_id(body), body=body, envelope=envelope, payload=payload)
        self.chain.append(event)
        self.scene.events.append(event)
        return event.id

    def meet(self, *others: Device) -> Device:
        """Take in all that other devices have written and seen."""
        for other in others:
            for name, head in other.seen.items():
                if name != self.name and (name not in self.seen or self.seen[name].sequence < head.sequence):
                    self.seen[name] = head
            if other.chain:
                self.seen[other.name] = SeenHead(sequence=len(other.chain), event=other.chain[-1].id)
            self.clock = max(self.clock, other.clock)
        return self

    def copied(self) -> Device:
        """The same device once more, from a copied store that went on writing under the old name."""
        twin = Device(self.scene, self.name)
        twin.chain, twin.seen, twin.clock = list(self.chain), dict(self.seen), self.clock
        return twin

    # --- what people do ---------------------------------------------------------------------------------------------

    def do(
        self,
        step: str,
        *,
        at: float,
        position: str = "",
        occurred: float | None = None,
        unit: str = "",
        subject: str | None = None,
        used: tuple[str, ...] | None = None,
        second: str = "bo",
        single_handed: bool = False,
        instruments: tuple[str, ...] | None = None,
        context: Mapping[str, str] | None = None,
        by: str | None = None,
        readings_of: Mapping[str, str] | None = None,
        **entries: str,
    ) -> str:
        """Do a step for the subject at a position and record what was read; what it rests on is looked up."""
        scene = self.scene
        entries = {**(readings_of or {}), **entries}
        known = scene.catalogue.step(step)
        unit = unit or scene.unit
        book = scene.book()
        about = scene.subject(book.world, step, position, unit)
        two = known.two_person
        if used is None:
            used = tuple(self._latest(book, unit, one, about) for one in known.uses)
        tools = instruments
        if tools is None:
            tools = (scene.analyser,) if step == "check" or known.after == ("CHECKED",) else ()
        readings: dict[str, tuple[Reading, ...]] = {}
        answers: dict[str, str] = {}
        for entered in known.inputs:
            value = entries.pop(entered.name, None)
            if value is None:
                continue
            if entered.kind in (InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT):
                readings[entered.name] = (Reading(value=value, unit=entered.unit),)
            else:
                answers[entered.name] = value
        assert not entries, entries
        if not (readings or answers):
            answers["done"] = "yes"
        return self.write(
            EvidenceRecorded(
                unit=unit,
                step=step,
                subject=about.key if subject is None else subject,
                position=about.position,
                readings=readings,
                answers=answers,
                instruments=tools,
                context=scene.context if context is None else _readings(context),
                used=tuple(one for one in used if one),
                second=scene.people[second] if two and not single_handed and second else "",
                single_handed=two and single_handed,
            ),
            *about.things,
            at=at,
            occurred=occurred,
            by=by,
        )

    def _latest(self, book: Book, unit: str, step: str, about: Subject) -> str:
        abouts = subjects(book.world, unit, self.scene.catalogue.step(step))
        own = [one for one in abouts if set(one.things) & set(about.things)] or list(abouts)
        items = [item for one in own for item in book.of(step, one.key) if item.event not in book.withdrawals]
        return max(items, key=lambda one: one.when).event if items else ""

    def change(
        self,
        change: str,
        *things: str,
        at: float,
        position: str = "",
        occurred: float | None = None,
        unit: str = "",
        by: str | None = None,
        typed_by: str | None = None,
        answers: Mapping[str, str] | None = None,
    ) -> str:
        """Say that something changed."""
        positions_named = (position,) if position else ()
        payload = ChangeMade(change=change, positions=positions_named, answers=dict(answers or {}))
        return self.write(payload, unit or self.scene.unit, *things, at=at, occurred=occurred, by=by, typed_by=typed_by)

    def withdraw(self, event: str, *, at: float) -> str:
        """Take an event back."""
        return self.write(EventWithdrawn(event=event, reason="entered wrongly"), at=at)

    def repair(self, *events: str, at: float, occurred: float | None = None) -> str:
        """Mend what was read outside its limit."""
        payload = RepairMade(unit=self.scene.unit, mends=events, cause="a worn seal", done="seal renewed")
        return self.write(payload, self.scene.unit, at=at, occurred=occurred)

    def release(self, hold: str, *, at: float, by: str = "bo", typed_by: str | None = None) -> str:
        """Lift a hold."""
        person = self.scene.people[by] if by else ""
        payload = HoldReleased(unit=self.scene.unit, hold=hold, cause="known", repair="done", test="passed")
        return self.write(payload, self.scene.unit, at=at, by=person, typed_by=typed_by)

    def waive(self, step: str, *, at: float, position: str = "", hearer: str = "bo", about: str | None = None) -> str:
        """Leave a requirement out, aloud."""
        if about is None:
            found = self.scene.subject(self.scene.book().world, step, position, self.scene.unit)
            about = found.key or found.position
        payload = WaiverGiven(
            unit=self.scene.unit, step=step, subject=about, reason="no time", hearer=self.scene.people[hearer]
        )
        return self.write(payload, self.scene.unit, at=at)

    def set_limit(
        self, limit: str, value: str, *, at: float, unit: str = "", reason: str = "", occurred: float | None = None
    ) -> str:
        """The owner's limit."""
        payload = LimitSet(unit=unit or self.scene.unit, limit=limit, value=value, source="manual", reason=reason)
        return self.write(payload, unit or self.scene.unit, at=at, occurred=occurred)

    def confirm(self, limit: str, value: str, *, at: float, unit: str = "") -> str:
        """The owner has held a limit against the manual."""
        payload = LimitConfirmed(unit=unit or self.scene.unit, limit=limit, value=value, source="manual")
        return self.write(payload, unit or self.scene.unit, at=at)

    def begin(self, episode: EpisodeKind, *, at: float, unit: str = "", occurred: float | None = None) -> str:
        """A dive day, assembly, preparation or dive begins."""
        return self.write(EpisodeBegan(episode=episode), unit or self.scene.unit, at=at, occurred=occurred)

    def end(self, episode: EpisodeKind, *, at: float) -> str:
        """It ends."""
        return self.write(EpisodeEnded(episode=episode), self.scene.unit, at=at)

    def create(self, kind: str, serial: str = "", *, at: float, **attributes: str) -> str:
        """A new thing."""
        digest = "ab" * 32 if kind == "person" else ""
        payload = ThingCreated(kind=kind, serial=serial, name_digest=digest, attributes=dict(attributes))
        return self.write(payload, at=at, by="")

    def fit(self, position: str, thing: str, *, at: float, unit: str = "") -> str:
        """Put a thing in a position."""
        return self.write(PartFitted(position=position), unit or self.scene.unit, thing, at=at)

    def configure(self, name: str, *, at: float) -> str:
        """The unit is built in another way from here on."""
        chosen = ready_configurations()[name]
        payload = ConfigurationSet(name=chosen.name, title=chosen.title, choices=dict(chosen.choices))
        return self.write(payload, self.scene.unit, at=at)

    def remove(self, position: str, thing: str, *, at: float, unit: str = "") -> str:
        """Take a thing out of a position."""
        return self.write(PartRemoved(position=position), unit or self.scene.unit, thing, at=at)

    def fill(self, container: str, *, at: float, kind: str = "gas-fill") -> str:
        """Another fill in a container; its identity."""
        content = self.create(kind, at=at)
        self.write(ContentPlaced(), container, content, at=at)
        return content

    def same(self, one: str, other: str, *, at: float) -> str:
        """Two identities turn out to be one thing."""
        return self.write(ThingsSame(), one, other, at=at)

    def passed(self, hold: str, word: str, *, at: float, catalogue: str = "") -> str:
        """Somebody passes a hold on a verdict."""
        digest = catalogue or self.scene.catalogue.digest
        payload = HoldPassed(unit=self.scene.unit, hold=hold, verdict=word, catalogue=digest, engine="1")
        return self.write(payload, self.scene.unit, at=at)

    # --- whole stretches --------------------------------------------------------------------------------------------

    def morning(self, *, at: float = 0, unit: str = "") -> dict[str, str]:
        """Everything, done well, a minute each; step (and position) to event. The last one is done at `at` + 30."""
        done = {"check": self.do("check", at=at, off="0.2", unit=unit)}
        done["gas"] = self.do("gas", at=at + 1, percent="98.5", unit=unit)
        done["stamp"] = self.do("stamp", at=at + 2, until="2027-05-01", unit=unit)
        done["barometer"] = self.do("barometer", at=at + 3, ambient="1013", warmth="20", unit=unit)
        for number, position in enumerate(SENSORS):
            minute_now = at + 4 + number
            done[f"air {position}"] = self.do("air", at=minute_now, position=position, mv="10.2", unit=unit)
        for number, position in enumerate(SENSORS):
            minute_now = at + 7 + number
            done[f"factor {position}"] = self.do("factor", at=minute_now, position=position, factor="49.1", unit=unit)
        for number, position in enumerate(SENSORS):
            minute_now = at + 10 + number
            done[f"known {position}"] = self.do("known", at=minute_now, position=position, po2="0.21", unit=unit)
        done["place"] = self.do("place", at=at + 14, unit=unit)
        done["service"] = self.do("service", at=at + 15, position="regulator-oxygen", bar="9.5", unit=unit)
        done["tight"] = self.do("tight", at=at + 16, loss="2", unit=unit)
        done["weight"] = self.do("weight", at=at + 20, unit=unit)
        done["valve"] = self.do("valve", at=at + 25, unit=unit)
        done["look"] = self.do("look", at=at + 30, unit=unit)
        return done


def _readings(context: Mapping[str, str]) -> dict[str, Reading]:
    units = {"ambient": "hPa", "temperature": "C", "humidity": "%"}
    return {name: Reading(value=value, unit=units[name]) for name, value in context.items()}


class Scene:
    """A unit with its parts, two people, an analyser, a confirmed limit and an open dive day."""

    def __init__(self, catalogue: Catalogue | None = None, *, dive_day: bool = True, confirmed: bool = True) -> None:
        self.catalogue = catalogue or small_catalogue()
        self.events: list[Event] = []
        self._folded: tuple[tuple[int, str], Book] | None = None
        self.people: dict[str, str] = {"ada": "", "bo": ""}
        self.context: dict[str, Reading] = _readings({"ambient": "1013", "temperature": "20"})
        self.pad = Device(self, "pad")
        before = -3 * DAY
        for name in tuple(self.people):
            self.people[name] = self.pad.create("person", at=before)
        self.analyser = self.pad.create("instrument", "A-1", at=before, instrument="analyser")
        self.unit = self.new_unit("Tern", at=before)
        if confirmed:
            self.pad.confirm("tight.loss", "10", at=before + 1)
        if dive_day:
            self.pad.begin("dive-day", at=-30)
            self.pad.begin("assembly", at=-30)

    def new_unit(self, name: str, *, at: float) -> str:
        """A unit with a part in each position, and a fill in what holds one."""
        unit = self.pad.write(ThingCreated(kind="unit", name=name), at=at)
        chosen = configuration()
        self.pad.write(
            ConfigurationSet(name=chosen.name, title=chosen.title, choices=dict(chosen.choices)), unit, at=at
        )
        for position in positions(chosen):
            thing = self.people["ada"] if position.kind == "person" else self.pad.create(position.kind, at=at)
            self.pad.fit(position.id, thing, at=at, unit=unit)
            if position.content_kind:
                self.pad.fill(thing, at=at, kind=position.content_kind)
        return unit

    def copy(self) -> Scene:
        """The same scene, to go on in another way; its devices are the pad and no other."""
        twin = copy(self)
        twin.events, twin._folded = list(self.events), None
        twin.pad = copy(self.pad)
        twin.pad.scene, twin.pad.chain, twin.pad.seen = twin, list(self.pad.chain), dict(self.pad.seen)
        return twin

    def device(self, name: str) -> Device:
        """Another device that has all that the pad has."""
        return Device(self, name).meet(self.pad)

    # --- asking -----------------------------------------------------------------------------------------------------

    def book(self) -> Book:
        """All events, folded anew where there are more than the last time."""
        now = (len(self.events), self.events[-1].id)
        if self._folded is None or self._folded[0] != now:
            self._folded = (now, fold(self.events, self.catalogue))
        return self._folded[1]

    def at(self, position: str, unit: str = "") -> str:
        """What is in a position."""
        thing = self.book().world.at(unit or self.unit, position)
        assert thing is not None
        return thing

    def subject(self, world: World, step: str, position: str, unit: str) -> Subject:
        """The subject of a step at a position; the analyser for a step about an instrument."""
        known = self.catalogue.step(step)
        if known.scope.each == "instrument":
            return Subject(key=self.analyser, position="", things=(self.analyser,))
        found = [one for one in subjects(world, unit, known) if position in ("", one.position)]
        assert found, (step, position)
        return found[0]

    def about(self, step: str, position: str = "") -> Subject:
        """The subject of a step on the unit now."""
        return self.subject(self.book().world, step, position, self.unit)

    def bench(self, at: float, *, view: View = View.LIVE) -> Bench:
        """Answers for a minute."""
        return Bench(self.book(), self.catalogue, minute(at), view)

    def verdict(self, at: float, *, view: View = View.LIVE, unit: str = "") -> Verdict:
        """The verdict at a minute."""
        return judge_unit(self.book(), self.catalogue, unit or self.unit, minute(at), view)

    def requirement(
        self, step: str, at: float, *, position: str = "", view: View = View.LIVE, unit: str = ""
    ) -> Requirement:
        """The first requirement of a step, at a position if one is named."""
        return next(
            one
            for one in self.verdict(at, view=view, unit=unit).requirements()
            if one.step.id == step and position in ("", one.subject.position)
        )

    def standing(self, step: str, at: float, *, position: str = "", view: View = View.LIVE, unit: str = "") -> Standing:
        """How the evidence of a step stands."""
        return self.requirement(step, at, position=position, view=view, unit=unit).standing

    def state(self, step: str, at: float, *, position: str = "", view: View = View.LIVE, unit: str = "") -> State:
        """The state of that."""
        return self.standing(step, at, position=position, view=view, unit=unit).state

    def states(self, at: float, *, unit: str = "") -> dict[tuple[str, str], State]:
        """Step and position to state, for every requirement."""
        return {
            (one.step.id, one.subject.position): one.standing.state
            for one in self.verdict(at, unit=unit).requirements()
        }


def configuration() -> Configuration:
    """The configuration of the units of these tests."""
    return ready_configurations()[CONFIGURATION]
