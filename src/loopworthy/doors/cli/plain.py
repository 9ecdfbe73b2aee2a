"""Answers for other programs: what a workplace knows as plain dictionaries, and those as JSON.

Keys are words of the trade in snake_case, moments ISO 8601 with offset in the zone of the site, decimals strings as
they are compared. A key that means nothing is null, never left out; `docs/how-to/command-line.md` shows some.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import msgspec

if TYPE_CHECKING:
    from loopworthy.desk.history import HistoryEntry
    from loopworthy.desk.steps import StepEntry
    from loopworthy.desk.workplace import Workplace
    from loopworthy.doors.telling import Told
    from loopworthy.doors.words import Words
    from loopworthy.judgement.book import Item
    from loopworthy.judgement.catalogue.model import Change, Limit, Step
    from loopworthy.judgement.outcome import EffectiveLimit, Finding
    from loopworthy.judgement.outstanding import Task
    from loopworthy.judgement.preview import Preview
    from loopworthy.judgement.standing import Standing
    from loopworthy.judgement.subjects import Subject
    from loopworthy.judgement.verdict import HoldVerdict, OpenHold, Requirement, Verdict
    from loopworthy.vocabulary.identity import ThingId

Plain = dict[str, Any]


def to_json(data: Any) -> str:
    """Indented JSON, letters as they are."""
    return msgspec.json.format(msgspec.json.encode(data), indent=2).decode()


def verdict(words: Words, one: Verdict, *, all_requirements: bool = False) -> Plain:
    """A verdict with its reasons; with every requirement where asked."""
    told: Plain = {
        "unit": thing(words.workplace, one.unit),
        "at": one.moment.at,
        "zone": one.moment.zone,
        "verdict": one.word.value,
        "sentence": words.verdict_sentence(one),
        "until": _moment(words, one.until_ms) if one.word.value == "ready" else None,
        "ends_with": words.until_reason(one) or None,
        "code": one.code or None,
        "marks": list(one.marks),
        "cautions": cautions(words, one),
        "holds": [hold(words, each) for each in one.holds],
        "open_holds": [open_hold(words, each) for each in one.open_holds],
        "reasons": [requirement(words, each) for each in one.reasons()],
    }
    if all_requirements:
        told["requirements"] = [requirement(words, each) for each in one.requirements()]
    return told


def cautions(words: Words, one: Verdict) -> list[Plain]:
    """Entries beside the record that may undo some of the evidence: whose, how many, why, and whether they name it."""
    return [
        {
            "device": each.device,
            "device_name": words.workplace.device_name(each.device),
            "entries": each.count,
            "why": each.why.value,
            "names_unit": each.named,
            "sentence": sentence,
        }
        for each, sentence in zip(one.cautions, words.cautions(one), strict=True)
    ]


def hold(words: Words, one: HoldVerdict) -> Plain:
    """One hold point."""
    return {
        "hold": one.hold.id,
        "title": one.hold.title,
        "verdict": one.word.value,
        "sentence": words.hold_sentence(one),
        "waits_for": one.waits_for or None,
        "until": _moment(words, one.until_ms) if one.word.value == "ready" else None,
        "requirements": len(one.requirements),
        "missing": len(one.open_requirements),
    }


def open_hold(words: Words, one: OpenHold) -> Plain:
    """A fault or incident that nobody released."""
    return {
        "event": one.event,
        "change": one.change,
        "words": one.words,
        "note": one.note,
        "declared_by": words.workplace.name(one.person) or None,
        "declared_at": words.clock.iso(one.occurred_ms),
        "freezes": one.freezes,
    }


def requirement(words: Words, one: Requirement) -> Plain:
    """One requirement and how its evidence stands."""
    return {
        "step": one.step.id,
        "step_title": one.step.title,
        "evidence_kind": one.kind,
        "evidence_title": words.catalogue.evidence[one.kind].title,
        "about": subject(words, one.subject),
        "never_skipped": one.step.never_skipped,
        "two_person": one.step.two_person,
        **standing(words, one.standing, one.step),
    }


def standing(words: Words, one: Standing, step: Step) -> Plain:
    """How evidence stands, and why."""
    return {
        "state": one.state.value,
        "code": one.code or None,
        "reason": words.standing_sentence(one, step),
        "values": dict(one.values),
        "reading": item(words, one.item) if one.item is not None else None,
        "findings": [finding(each) for each in one.assessment.findings] if one.assessment is not None else [],
        "until": _moment(words, one.until_ms),
        "cause": one.cause or None,
        "mend": one.mend or None,
        "marks": list(one.marks),
    }


def subject(words: Words, one: Subject) -> Plain:
    """What a reading is about."""
    return {"key": one.key or None, "position": one.position or None, "label": words.subject_label(one) or None}


def item(words: Words, one: Item) -> Plain:
    """One piece of evidence as it was typed."""
    payload = one.payload
    return {
        "event": one.event,
        "step": one.step,
        "read_at": one.occurred.at,
        "read_by": words.workplace.name(one.read_by) or None,
        "typed_by": words.workplace.name(one.typed_by) or None,
        "second": words.workplace.name(payload.second) or None,
        "single_handed": payload.single_handed,
        "shown": words.item_text(one),
        "readings": msgspec.to_builtins(payload.readings),
        "answers": dict(payload.answers),
        "traces": {name: {"columns": trace.columns, "rows": trace.rows} for name, trace in payload.traces.items()},
        "files": dict(payload.files),
        "context": msgspec.to_builtins(payload.context),
        "instruments": [words.workplace.name(each) for each in payload.instruments],
        "used": list(payload.used),
        "confirmed_odd": list(payload.confirmed_odd),
        "note": payload.note,
    }


def finding(one: Finding) -> Plain:
    """A reading against one limit."""
    return {
        "about": one.about,
        "outcome": one.outcome.value,
        "shown": one.shown,
        "margin": None if one.margin is None else f"{one.margin:f}",
        "limit": None if one.limit is None else effective_limit(one.limit),
        "code": one.code or None,
        "values": dict(one.values),
    }


def limit(one: Limit) -> Plain:
    """A limit as the catalogue has it."""
    return {
        "limit": one.id,
        "rule": one.rule.value,
        "on": one.on or None,
        "of": one.of or None,
        "value": one.value,
        "unit": one.unit,
        "guard": one.guard or None,
        "stricter_when": one.tighter.value,
        "origin": one.origin.value,
        "source": one.source,
    }


def effective_limit(one: EffectiveLimit) -> Plain:
    """A limit as it holds for a unit."""
    return {
        **limit(one.limit),
        "value": one.value,
        "origin": one.origin.value,
        "source": one.source,
        "confirmed": one.confirmed,
        "loosened": one.loosened or None,
    }


def step(one: Step) -> Plain:
    """A step as the catalogue has it."""
    return {
        "step": one.id,
        "title": one.title,
        "text": one.text,
        "accept": one.accept,
        "page": one.page,
        "when": one.when.describe(),
        "about": {"each": one.scope.each, "places": one.scope.places, "binds": one.scope.binds},
        "inputs": msgspec.to_builtins(one.inputs),
        "limits": [limit(each) for each in one.limits],
        "makes": one.makes,
        "uses": one.uses,
        "after": one.after,
        "renews": one.renews,
        "judge": one.judge or None,
        "why": one.why,
        "not_proven": one.not_proven,
        "never_skipped": one.never_skipped,
        "on_request": one.on_request,
        "two_person": one.two_person,
    }


def entry(words: Words, one: StepEntry) -> Plain:
    """A step for one subject, as a work page asks for it."""
    return {
        "step": one.step.id,
        "title": one.step.title,
        "about": subject(words, one.subject),
        "standings": [{"evidence_kind": kind, **standing(words, each, one.step)} for kind, each in one.standings],
        "last": item(words, one.last) if one.last is not None else None,
    }


def task(words: Words, one: Task) -> Plain:
    """One step that is outstanding."""
    return {
        "step": one.step.id,
        "title": one.step.title,
        "page": one.step.page,
        "about": subject(words, one.subject),
        "mends": [
            {"step": each.step.id, "evidence_kind": each.kind, "state": each.standing.state.value} for each in one.mends
        ],
        "mend_first": one.first_mend or None,
        "prepares": one.prepares,
        "never_skipped": one.step.never_skipped,
        "two_person": one.step.two_person,
    }


def change(one: Change) -> Plain:
    """A change as the catalogue has it, with its effects in rows."""
    return {
        "change": one.id,
        "title": one.title,
        "group": one.group,
        "part": one.part or None,
        "places": one.places,
        "several": one.several,
        "does": one.does or None,
        "questions": msgspec.to_builtins(one.questions),
        "effects": [
            {
                "effect": rule.effect.value,
                "evidence_kind": rule.evidence,
                "scope": rule.scope,
                "by": rule.by or None,
                "if": dict(rule.condition),
            }
            for rule in one.rules
        ],
        "keeps": one.keeps,
        "hold": one.hold or None,
        "freezes": one.freezes,
        "source": one.source,
    }


def preview(words: Words, one: Preview) -> Plain:
    """What a change would do."""
    return {
        "change": one.change.id,
        "title": one.change.title,
        "falls": [
            {
                "effect": each.effect.value,
                "evidence_kind": each.kind,
                "evidence_title": words.catalogue.evidence[each.kind].title,
                "step": each.step.id,
                "about": subject(words, each.subject),
                "restored_by": each.by or each.step.id,
            }
            for each in one.falls
        ],
        "proved_wrong": [item(words, each) for each in one.proved_wrong],
        "keeps": one.change.keeps,
        "hold": one.hold or None,
    }


def history_entry(one: HistoryEntry, told: Told) -> Plain:
    """One event, told."""
    return {
        "event": one.event,
        "kind": one.kind,
        "family": one.family,
        "occurred_at": one.occurred.at,
        "recorded_at": one.recorded.at,
        "late": one.late,
        "read_by": one.reader or None,
        "typed_by": one.typist or None,
        "title": told.title,
        "detail": told.detail,
        "about": told.about,
        "withdrawn": one.withdrawn or None,
    }


def thing(workplace: Workplace, identity: ThingId) -> Plain:
    """A thing by identity and name."""
    world = workplace.world
    one = world.thing(identity)
    return {
        "id": one.id,
        "kind": one.kind,
        "name": workplace.name(identity),
        "serial": one.serial or None,
        "batch": one.batch or None,
        "made_on": one.made_on or None,
        "opened_on": one.opened_on or None,
        "attributes": msgspec.to_builtins(one.attributes),
        "retired": one.retired,
    }


def unit(workplace: Workplace, identity: ThingId) -> Plain:
    """A unit with its configuration and what is in each position."""
    world = workplace.world
    configuration = world.configuration(identity)
    holder = world.holder(identity)
    day = world.episode(identity, "dive-day")
    return {
        **thing(workplace, identity),
        "with": workplace.name(holder) if holder else None,
        "dive_day": {"title": day.title, "began": day.began.at} if day is not None else None,
        "configuration": None
        if configuration is None
        else {
            "name": configuration.name,
            "title": configuration.title,
            "revision": configuration.revision,
            "choices": {axis: list(chosen) for axis, chosen in configuration.choices.items()},
        },
        "positions": [
            {
                "position": one.id,
                "title": one.title,
                "kind": one.kind,
                "thing": thing(workplace, found) if (found := world.at(identity, one.id)) is not None else None,
                "content": thing(workplace, inside)
                if found is not None and (inside := world.content_of(found)) is not None
                else None,
            }
            for one in world.positions(identity)
        ],
    }


def recorded(events: Iterable[Any]) -> list[Plain]:
    """Events that were just recorded, by identity and kind."""
    return [{"event": event.id, "kind": event.envelope.kind} for event in events]


def _moment(words: Words, epoch_ms: int | None) -> str | None:
    return None if epoch_ms is None else words.clock.iso(epoch_ms)
