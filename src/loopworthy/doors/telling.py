"""Any event of a record told in words: what happened, about what, and everything that was written down with it.

The history, the page of a single event and the lists of what rests on what all tell events in the same way.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from loopworthy.doors.words import Words
from loopworthy.judgement.events import (
    CatalogueAdopted,
    EvidenceRecorded,
    HoldPassed,
    HoldReleased,
    LimitConfirmed,
    LimitSet,
    RepairMade,
    WaiverGiven,
)
from loopworthy.record.events import (
    DEVICE_ADMITTED,
    ChainOpened,
    DeviceAdmitted,
    DeviceRevoked,
    EventWithdrawn,
    HeadsReceived,
    HeadWitnessed,
    TextErased,
)
from loopworthy.unit.events import (
    ChangeMade,
    ConfigurationSet,
    ContentPlaced,
    ContentRemoved,
    CustodyGiven,
    EpisodeBegan,
    EpisodeEnded,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingDescribed,
    ThingsSame,
)
from loopworthy.unit.positions import PART_KINDS, all_positions
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import EventId, ThingId, short
from loopworthy.vocabulary.reading import Reading

Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An event in one or two lines.

    Attributes
    ----------
    title : str
        What happened.
    about : str
        What it is about, '' where that is the whole unit.
    detail : str
        What was read or said, in one line; '' for nothing.
    """

    title: str
    about: str = ""
    detail: str = ""


class Telling:
    """Tells events.

    Parameters
    ----------
    words : Words
        Of the language, the reader's display units and the moment.
    """

    def __init__(self, words: Words) -> None:
        self.words = words
        self.workplace = words.workplace
        self.say = words.say

    def event(self, identity: EventId) -> Told:
        """An event by its identity; one that is not here is told as such."""
        try:
            return self.told(self.workplace.record.get(identity))
        except LoopworthyError:
            return Told(title=self.say("told.not_here", event=short(identity)))

    def told(self, event: Event) -> Told:
        """An event in one or two lines."""
        payload = event.payload
        match payload:
            case EvidenceRecorded():
                return self._evidence(event, payload)
            case ChangeMade():
                return self._change(payload)
            case LimitSet():
                detail = self.say("told.value_source", value=payload.value, source=payload.source)
                return Told(title=self.say("told.limit_set", limit=self.limit(payload.limit)), detail=detail)
            case LimitConfirmed():
                detail = self.say("told.value_source", value=payload.value, source=payload.source)
                return Told(title=self.say("told.limit_confirmed", limit=self.limit(payload.limit)), detail=detail)
            case RepairMade():
                return Told(
                    title=self.say("told.repair"), about=payload.place, detail=f"{payload.cause}: {payload.done}"
                )
            case WaiverGiven():
                return Told(title=self.say("told.waiver", step=self.step(payload.step)), detail=payload.reason)
            case HoldReleased():
                return Told(title=self.say("told.hold_released"), detail=f"{payload.cause}; {payload.repair}")
            case HoldPassed():
                return Told(title=self.say("told.hold_passed", hold=self.hold(payload.hold)), detail=payload.verdict)
            case CatalogueAdopted():
                return Told(title=self.say("told.catalogue_adopted"), detail=payload.revision)
        return self._about_units(event) or self._about_the_record(event)

    def _evidence(self, event: Event, payload: EvidenceRecorded) -> Told:
        item = self.workplace.book().items.get(event.id)
        things = item.things if item is not None else event.envelope.subjects
        about = ""
        if payload.position:
            label = self.name(things[0]) if things else ""
            place = self.position(payload.position)
            about = place if label in ("", place) else f"{place}: {label}"
        elif things and things[0] != payload.unit:
            about = self.name(things[0])
        return Told(title=self.step(payload.step), about=about, detail=self.words.evidence_text(payload))

    def _change(self, payload: ChangeMade) -> Told:
        change = self.workplace.catalogue.changes.get(payload.change)
        title = change.title if change is not None else payload.change
        return Told(title=title, about=", ".join(self.position(one) for one in payload.positions), detail=payload.note)

    def _about_units(self, event: Event) -> Told | None:
        payload, subjects = event.payload, event.envelope.subjects
        thing = self.name(subjects[-1]) if subjects else ""
        match payload:
            case ThingCreated():
                kind = PART_KINDS[payload.kind].title if payload.kind in PART_KINDS else payload.kind
                detail = ", ".join(
                    value for value in (payload.serial, payload.batch, payload.made_on, payload.opened_on) if value
                )
                title = self.say("told.thing_created", kind=kind, name=self.name(event.id))
                return Told(title=title, detail=detail)
            case ThingDescribed():
                changed = [value for value in payload.changed_fields().values() if value]
                key = {True: "retired", False: "taken_up_again", None: "described"}[payload.retired]
                return Told(title=self.say(f"told.{key}", name=thing), detail=", ".join(changed) or payload.note)
            case ThingsSame():
                both = " = ".join(self.name(one) for one in subjects)
                return Told(title=self.say("told.things_same"), about=both, detail=payload.note)
            case ConfigurationSet():
                return Told(title=self.say("told.configured"), detail=payload.title)
            case PartFitted():
                place = self.position(payload.position)
                return Told(title=self.say("told.part_fitted", name=thing, place=place))
            case PartRemoved():
                place = self.position(payload.position)
                return Told(title=self.say("told.part_removed", name=thing, place=place))
            case ContentPlaced():
                return Told(title=self.say("told.content_placed"), about=self.name(subjects[0]) if subjects else "")
            case ContentRemoved():
                return Told(title=self.say("told.content_removed"), about=thing, detail=payload.note)
            case EpisodeBegan():
                return Told(title=self.say(f"told.{_key(payload.episode)}_began"), detail=payload.title)
            case EpisodeEnded():
                return Told(title=self.say(f"told.{_key(payload.episode)}_ended"))
            case CustodyGiven():
                return Told(title=self.say("told.custody_given", who=thing), detail=payload.note)
        return None

    def _about_the_record(self, event: Event) -> Told:
        match event.payload:
            case ChainOpened() as opened:
                return Told(title=self.say("told.chain_opened", device=opened.device_name))
            case HeadWitnessed() as seen:
                return Told(title=self.say("told.head_witnessed"), detail=seen.fingerprint)
            case HeadsReceived() as received:
                return Told(title=self.say("told.heads_received", count=len(received.heads)))
            case DeviceAdmitted() as admitted:
                return Told(title=self.say("told.device_admitted", device=admitted.device_name))
            case DeviceRevoked() as revoked:
                title = self.say("told.device_revoked", device=self._admitted(revoked))
                return Told(title=title, detail=revoked.reason)
            case EventWithdrawn() as taken:
                return Told(title=self.say("told.withdrawn", what=self.event(taken.event).title), detail=taken.reason)
            case TextErased() as erased:
                return Told(title=self.say("told.text_erased"), detail=erased.reason)
        kind = f"{event.envelope.kind} {event.envelope.version}"
        return Told(title=self.say("told.unknown", kind=kind))

    def _admitted(self, revoked: DeviceRevoked) -> str:
        for event in self.workplace.record.events_of_kind(DEVICE_ADMITTED):
            if isinstance(event.payload, DeviceAdmitted) and event.payload.admission == revoked.admission:
                return event.payload.device_name
        return revoked.admission

    # --- everything that was written down ---------------------------------------------------------------------------

    def facts(self, event: Event) -> Facts:
        """Everything that was typed or chosen, name by name, in the order of the form."""
        payload = event.payload
        if isinstance(payload, EvidenceRecorded):
            return tuple(self._typed(payload))
        if isinstance(payload, ChangeMade):
            return tuple(self._declared(payload))
        if isinstance(payload, ThingCreated | ThingDescribed):
            return tuple(self._described(payload))
        named: list[tuple[str, str]] = []
        for name in ("limit", "hold", "step", "cause", "done", "place", "repair", "test", "verdict"):
            value = getattr(payload, name, "")
            if isinstance(value, str) and value:
                named.append((self.say(f"told.name_{name}"), self._shown(name, value)))
        for name in ("value", "source", "reason", "revision", "title", "note", "fingerprint", "device_name"):
            value = getattr(payload, name, "")
            if isinstance(value, str) and value:
                named.append((self.say(f"told.name_{name}"), value))
        if isinstance(payload, WaiverGiven):
            named.append((self.say("told.name_hearer"), self.person(payload.hearer)))
        return tuple(named)

    def _shown(self, name: str, value: str) -> str:
        if name == "limit":
            return self.limit(value)
        if name == "step":
            return self.step(value)
        if name == "hold":
            return self.hold(value) if value in {one.id for one in self.workplace.catalogue.holds} else short(value)
        return value

    def _typed(self, payload: EvidenceRecorded) -> Iterator[tuple[str, str]]:
        step = self.workplace.catalogue.steps.get(payload.step)
        labels = {one.name: one.label for one in step.inputs} if step is not None else {}
        names = [*labels, *sorted({*payload.readings, *payload.answers, *payload.traces, *payload.files} - set(labels))]
        for name in names:
            label = labels.get(name, name)
            if name in payload.readings:
                shown = ", ".join(self._read(one) for one in payload.readings[name])
                if name in payload.confirmed_odd:
                    shown = self.say("told.odd_confirmed", value=shown)
                yield label, shown
            if name in payload.answers:
                answer = payload.answers[name]
                yield label, self.say("words.ticked") if answer == "yes" else answer
            if name in payload.traces:
                yield label, self.say("words.points", points=len(payload.traces[name].rows))
            if name in payload.files:
                yield label, self.say("told.file", digest=short(payload.files[name]))
        if payload.second:
            yield self.say("told.name_second"), self.person(payload.second)
        if payload.single_handed:
            yield self.say("told.name_second"), self.say("parts.mark_single_handed")
        if payload.note:
            yield self.say("told.name_note"), payload.note

    def _read(self, reading: Reading) -> str:
        shown = self.words.reading(reading)
        return self.say("told.with_step", value=shown, step=reading.resolution) if reading.resolution else shown

    def _declared(self, payload: ChangeMade) -> Iterator[tuple[str, str]]:
        change = self.workplace.catalogue.changes.get(payload.change)
        for position in payload.positions:
            yield self.say("told.name_position"), self.position(position)
        questions = {one.id: one for one in change.questions} if change is not None else {}
        for name, question in questions.items():
            worst = self.say("told.taken_as_worst", answer=question.worst)
            yield question.text, payload.answers.get(name, "") or worst
        for name, answer in payload.answers.items():
            if name not in questions:
                yield name, answer
        for name, reading in payload.readings.items():
            yield name, self._read(reading)
        if payload.note:
            yield self.say("told.name_note"), payload.note

    def _described(self, payload: ThingCreated | ThingDescribed) -> Iterator[tuple[str, str]]:
        if isinstance(payload, ThingCreated) and payload.kind in PART_KINDS:
            yield self.say("told.name_kind"), PART_KINDS[payload.kind].title
        for name in ("name", "serial", "batch", "made_on", "opened_on", "maker_note", "note"):
            value = getattr(payload, name, "")
            if value:
                yield self.say(f"told.name_{name}"), value
        for fact, value in payload.attributes.items():
            yield self.fact(fact), self.words.reading(value) if isinstance(value, Reading) else value

    # --- names ------------------------------------------------------------------------------------------------------

    def step(self, identifier: str) -> str:
        """``C06 Oxygen against expected``."""
        step = self.workplace.catalogue.steps.get(identifier)
        return f"{identifier} {step.title}" if step is not None else identifier

    def limit(self, identifier: str) -> str:
        """A limit by the step that it belongs to and its own name."""
        step, _, name = identifier.partition(".")
        return f"{self.step(step)}, {name.replace('_', ' ')}" if name else identifier

    def hold(self, identifier: str) -> str:
        """A hold point by its title."""
        return next((one.title for one in self.workplace.catalogue.holds if one.id == identifier), identifier)

    def position(self, identifier: str) -> str:
        """A position by its title."""
        known = all_positions().get(identifier)
        return known.title if known is not None else identifier

    def name(self, thing: ThingId) -> str:
        """What people call a thing."""
        world = self.workplace.world
        known = world.things.get(world.canonical(thing))
        if known is None:
            return short(thing)
        return self.workplace.name(thing) if known.kind in ("person", "unit") else world.label(thing)

    def person(self, person: ThingId) -> str:
        """A person's name, or that nobody was named."""
        return self.workplace.name(person) or self.say("words.nobody_named")

    def fact(self, name: str) -> str:
        """A further fact about a thing, by its label where it has one."""
        labels = {
            "volume": "told.name_volume",
            "display_units": "told.name_display_units",
            "instrument": "told.name_use",
            "gas": "told.name_gas",
        }
        return self.say(labels[name]) if name in labels else name.replace("_", " ")


def _key(episode: str) -> str:
    return episode.replace("-", "_")
