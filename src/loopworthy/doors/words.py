"""Verdicts, reasons, limits and margins in words, the same for every door.

Judgement gives codes and values; here they become sentences of the chosen language. No sentence says more than its
code does, and none calls a unit or a dive safe.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from loopworthy.desk.steps import label_of
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.quantities import METRIC, Clockface, plain, plain_margin, quantity_text, reading_text
from loopworthy.doors.texts import Texts
from loopworthy.judgement.apart import Caution
from loopworthy.judgement.book import Item
from loopworthy.judgement.catalogue.model import Rule, Step
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.outcome import EffectiveLimit, Finding, Outcome
from loopworthy.judgement.outstanding import Task
from loopworthy.judgement.standing import Standing, State
from loopworthy.judgement.subjects import Subject
from loopworthy.judgement.told import MOST_PLACES
from loopworthy.judgement.verdict import HoldVerdict, OpenHold, Requirement, Verdict, Word
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

_UNREAD_SINCE: Final = {
    "mended-needs-reading": "words.mended_unread",
    "failed-reading-withdrawn": "words.withdrawn_unread",
    "failed-reading-disproved": "words.disproved_unread",
}
"""What was outside its limit and has not been read since it was mended, taken back or found unsound."""

_CHANGED: Final = frozenset({"undone-by-change", "undone-by-exchange", "recheck-after-change", "change-withdrawn"})
"""What a change undid, or made a reading due for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """A reading beside its limit, in words; each part is '' where there is none.

    Attributes
    ----------
    reading, expected, limit, margin, uncertainty : str
        ``49.1 mV``; ``50.0 mV``; ``within 2 mV of the expected``; ``1.1 mV inside``; ``0.4 mV``.
    origin : str
        Where the limit comes from: ``common practice (three times or more)``.
    """

    reading: str = ""
    expected: str = ""
    limit: str = ""
    margin: str = ""
    uncertainty: str = ""
    origin: str = ""


class Words:
    """Puts what a workplace knows into the words of one language, for a reader with these display units, at a moment.

    Parameters
    ----------
    workplace : Workplace
    texts : Texts
    now : Moment, optional
        The moment that "today" and "ago" are told from; the workplace's present one by default.
    display_units : str
        ``metric`` or ``us``.
    """

    def __init__(
        self, workplace: Workplace, texts: Texts, *, now: Moment | None = None, display_units: str = METRIC
    ) -> None:
        self.workplace = workplace
        self.catalogue = workplace.catalogue
        self.say = texts.say
        self.display_units = display_units
        self.clock = Clockface(texts, now or workplace.now())
        self._keys = frozenset(texts.keys())
        self._texts = texts

    # --- the verdict ------------------------------------------------------------------------------------------------

    def verdict_sentence(self, verdict: Verdict) -> str:
        """The verdict in one sentence, for beneath its word."""
        if verdict.open_holds:
            return self.open_hold_sentence(verdict.open_holds[0])
        failed = {one.key[1:]: one for one in verdict.reasons() if one.standing.state is State.FAILED}
        if failed:
            return self._failed_sentence(tuple(failed.values()))
        if verdict.code == "no-configuration":
            return self.say("reasons.no_configuration")
        if verdict.word is Word.READY:
            return self.say("words.all_counts_here" if verdict.cautions else "words.all_counts")
        missing = len({one.key[1:] for one in verdict.reasons()})
        if verdict.code == "no-dive-day":
            return self.say("reasons.no_dive_day") if not missing else self.say("words.no_day_and", missing=missing)
        return " ".join(filter(None, (self._last_undoing(verdict), self._counted("words.missing", missing))))

    def _failed_sentence(self, failed: tuple[Requirement, ...]) -> str:
        """Which reading is outside its limit: the first by name, the others by their number."""
        first = failed[0]
        shown = self.facts(first.standing).reading or self.say("words.not_shown")
        values = {"what": self.requirement_title(first), "shown": shown}
        if len(failed) == 1:
            return self.say("words.failed_one", **values)
        return self.say("words.failed_many", **values, more=len(failed) - 1)

    def _last_undoing(self, verdict: Verdict) -> str:
        """The newest act after which something has to be read again that still is not; '' where there is none.

        Acts are mends of a failed reading (or taking it back) and changes, told or inferred, that undid something or
        made one reading due. The newest goes first, for it is what the reader has just done or heard of; what was
        outside its limit goes before a change of the same moment. Clocks that ran out are no acts.
        """
        failed, undone = self._last_failed(verdict), self._last_change(verdict)
        if failed is not None and (undone is None or failed[0] >= undone[0]):
            return failed[1]
        return undone[1] if undone is not None else ""

    def _last_failed(self, verdict: Verdict) -> tuple[int, str] | None:
        """The failed reading that was mended or taken back last and not read since: when, and in words."""
        found = []
        for one in verdict.reasons():
            key = _UNREAD_SINCE.get(one.standing.code)
            if key is None or not one.standing.cause:
                continue
            at_ms = self.workplace.record.get(one.standing.cause).envelope.occurred_at.epoch_ms
            what = self.requirement_title(one)
            found.append((at_ms, self.say(key, what=what, when=self.clock.when(at_ms))))
        return max(found, key=lambda act: act[0], default=None)

    def _last_change(self, verdict: Verdict) -> tuple[int, str] | None:
        """The change made last that undid something which is missing now: when, and in words.

        Changes told of this unit go first. One told of another (its diver dived there) is named only where everything
        that is missing here was read once: it is not why a unit is new.
        """
        reasons = verdict.reasons()
        undone = [one.standing for one in reasons if one.standing.code in _CHANGED]
        own = [one for one in undone if self._told_of(one.cause, verdict.unit)]
        if not own and any(one.standing.state is State.ABSENT for one in reasons):
            return None
        latest = max(own or undone, key=lambda one: int(one.values["at_ms"]), default=None)
        if latest is None:
            return None
        at_ms = int(latest.values["at_ms"])
        return at_ms, self.say("words.last_undoing", change=latest.values["change"], when=self.clock.when(at_ms))

    def _told_of(self, event: EventId, unit: ThingId) -> bool:
        """Whether an event is not one of another unit: a change names its unit first."""
        subjects = self.workplace.record.get(event).envelope.subjects if event else ()
        world = self.workplace.world
        first = world.canonical(subjects[0]) if subjects else ""
        return first not in world.units() or first == world.canonical(unit)

    def short_reason(self, verdict: Verdict) -> str:
        """Why a unit is not ready, in a few words for a board of many; '' for a ready unit."""
        if verdict.word is Word.READY:
            return ""
        if verdict.open_holds:
            hold = verdict.open_holds[0]
            title = self.catalogue.changes[hold.change].title
            return self.say("words.short_hold", change=title, when=self.clock.when(hold.occurred_ms))
        if verdict.code == "no-configuration":
            return self.verdict_sentence(verdict)
        failed = {one.standing.cause: one for one in verdict.reasons() if one.standing.state is State.FAILED}
        if failed:
            return self._short_failed(tuple(failed.values()))
        missing = len({one.key[1:] for one in verdict.reasons()})
        if verdict.code == "no-dive-day":
            return self.say("words.short_no_day", missing=missing) if missing else self.say("words.short_no_day_only")
        act = self._last_undoing(verdict)
        return f"{act} {self.say('words.short_missing', missing=missing)}" if act else self._missing_by_state(verdict)

    def _short_failed(self, failed: tuple[Requirement, ...]) -> str:
        first, more = failed[0], len(failed) - 1
        facts = self.facts(first.standing)
        shown = facts.reading or self.say("words.not_shown")
        key = "words.short_failed_expected" if facts.expected else "words.short_failed"
        told = self.say(key, title=first.step.title, shown=shown, **_given(expected=facts.expected))
        return f"{told} {self.say('words.short_failed_more', more=more)}" if more else told

    def _missing_by_state(self, verdict: Verdict) -> str:
        """``12 void, 3 expired``: what is missing, each requirement once, in the order of the states."""
        first: dict[tuple[str, str], State] = {}
        for one in verdict.reasons():
            first.setdefault(one.key[1:], one.standing.state)
        counts = Counter(first.values())
        told = [
            self.say("shown.counted", count=counts[state], state=self.say(f"states.{_key(state.value)}"))
            for state in State
            if counts[state]
        ]
        return f"{', '.join(told)}." if told else ""

    def first_reason(self, verdict: Verdict) -> str:
        """The reason that comes first, in one line, for a board or a terminal; '' for a ready unit."""
        if verdict.open_holds or verdict.code == "no-configuration":
            return self.verdict_sentence(verdict)
        reasons = verdict.reasons()
        if reasons:
            first = reasons[0]
            return f"{self.requirement_title(first)}: {self.standing_sentence(first.standing, first.step)}"
        return "" if verdict.word is Word.READY else self.verdict_sentence(verdict)

    def until_reason(self, verdict: Verdict) -> str:
        """What ends a ready verdict: the evidence whose clock runs out first."""
        return self.catalogue.evidence[verdict.first_to_end.kind].title if verdict.first_to_end is not None else ""

    def open_hold_sentence(self, hold: OpenHold) -> str:
        """An open hold with who declared it and when."""
        values = {"words": hold.words, "when": self.clock.when(hold.occurred_ms), "who": self._who(hold.person)}
        return self.say("words.open_hold", **values)

    def hold_sentence(self, hold: HoldVerdict) -> str:
        """A hold point in one line: how many of its requirements count, and what it waits for."""
        total = len({one.key[1:] for one in hold.requirements})
        missing = len({one.key[1:] for one in hold.open_requirements})
        if missing:
            return self.say("words.hold_missing", missing=missing, total=total)
        if hold.word is Word.READY:
            return self.say("words.hold_complete", total=total)
        if hold.waits_for:
            waits = next(one.title for one in self.catalogue.holds if one.id == hold.waits_for)
            return self.say("words.hold_waits", total=total, hold=waits)
        return self.say("words.hold_stopped", total=total)

    # --- a requirement ----------------------------------------------------------------------------------------------

    def requirement_title(self, requirement: Requirement) -> str:
        """``Oxygen against expected, oxygen sensor 1: sensor S-0412``."""
        return self.step_title(requirement.step, requirement.subject)

    def step_title(self, step: Step, subject: Subject | None = None) -> str:
        """The step's title, with what it is about where that is not the whole unit."""
        about = self.subject_label(subject) if subject is not None else ""
        return f"{step.title}, {about}" if about else step.title

    def subject_label(self, subject: Subject) -> str:
        """``oxygen sensor 1: sensor S-0412``; '' for a whole unit."""
        if not subject.position or (not subject.things and not subject.missing):
            return ""
        place = self.workplace.world.place_of(subject.things[-1]) if subject.things else None
        unit = place[0] if place is not None else self._unit_with(subject)
        return label_of(self.workplace, unit, subject) if unit else subject.position

    def task_title(self, task: Task) -> str:
        """What to do next: the step's title, with what it is about."""
        return self.step_title(task.step, task.subject)

    def standing_sentence(self, standing: Standing, step: Step) -> str:
        """Why evidence stands as it does, in one sentence."""
        decisive = standing.assessment.decisive if standing.assessment is not None else None
        if standing.state is State.CURRENT:
            return self.say("reasons.current")
        if decisive is not None and (standing.state is State.FAILED or standing.code == decisive.code):
            return self.finding_sentence(decisive)
        if decisive is not None and standing.code == "near-needs-second":
            return f"{self.finding_sentence(decisive)} {self.say('reasons.near_needs_second')}"
        return self._reason(standing.code, standing.values, step=step)

    def finding_sentence(self, finding: Finding) -> str:
        """What a reading says against its limit, in one sentence."""
        if finding.code:
            return self._reason(finding.code, {**finding.values, "about": finding.about, "shown": finding.shown})
        limit = self.limit_text(finding.limit, finding.values.get("reference", "")) if finding.limit is not None else ""
        key = {
            Outcome.OUTSIDE: "reasons.outside_limit",
            Outcome.NEAR: "words.near_limit",
            Outcome.CANNOT_TELL: "reasons.cannot_tell",
        }.get(finding.outcome, "words.inside_limit")
        if key == "reasons.cannot_tell":
            return self.say(key)
        return self.say(key, about=finding.about, shown=finding.shown or "—", limit=limit or "—")

    def facts(self, standing: Standing) -> Facts:
        """The reading that decided, with its limit, margin and where the limit comes from."""
        decisive = standing.assessment.decisive if standing.assessment is not None else None
        if decisive is None:
            return Facts(reading=self.item_text(standing.item) if standing.item is not None else "")
        return self.finding_facts(decisive, item=standing.item)

    def finding_facts(self, finding: Finding, *, item: Item | None = None) -> Facts:
        """One comparison as facts."""
        limit = finding.limit
        reading = finding.shown or (self.item_text(item) if item is not None else "")
        return Facts(
            reading=reading,
            limit=self.limit_text(limit, finding.values.get("reference", "")) if limit is not None else "",
            expected=self._of_finding(finding, "expected"),
            margin=self.margin_text(finding),
            uncertainty=self._of_finding(finding, "uncertainty"),
            origin=self.origin_text(limit) if limit is not None else "",
        )

    def marks(self, marks: tuple[str, ...]) -> tuple[str, ...]:
        """Marks as they are shown: ``loosened C06.tolerance`` becomes ``loosened limit``; each once."""
        return tuple(dict.fromkeys("loosened limit" if one.startswith("loosened ") else one for one in marks))

    def verdict_marks(self, verdict: Verdict) -> tuple[str, ...]:
        """The marks of a verdict with the step each belongs to: ``single-handed: Oxygen analysed``."""
        shown = []
        for mark in verdict.marks:
            name, _, step = mark.rpartition(": ")
            (words,) = self.marks((name,))
            title = self.catalogue.steps[step].title if step in self.catalogue.steps else step
            shown.append(f"{words}: {title}")
        return tuple(dict.fromkeys(shown))

    def cautions(self, verdict: Verdict) -> tuple[str, ...]:
        """What lies beside the record and may undo some of the evidence: whose, how many, and why."""
        return tuple(self._caution(one) for one in verdict.cautions)

    def _caution(self, one: Caution) -> str:
        what = self._counted("apart.entry", one.count)
        values = {"what": what, "device": self.workplace.device_name(one.device)}
        why = self.say(f"apart.why_{_key(one.why.value)}")
        return self.say("apart.names_unit" if one.named else "apart.any_unit", **values, why=why)

    def caution_mark(self, verdict: Verdict) -> str:
        """The same in a few words for a board; '' where nothing lies beside the record."""
        count = sum(one.count for one in verdict.cautions)
        return self._counted("apart.mark", count) if count else ""

    # --- limits -----------------------------------------------------------------------------------------------------

    def limit_text(self, limit: EffectiveLimit, reference: str = "") -> str:
        """A limit in words: ``at least 98 %``, ``within 10 hPa of “Barometer reads”``; the other value where known."""
        rule = limit.limit.rule
        value = limit.value if rule is Rule.ONE_OF else quantity_text(limit.value, limit.limit.unit, self.display_units)
        if rule in (Rule.WITHIN, Rule.TIMES):
            label = self._input_label(limit, limit.limit.of)
            other = self.say(
                "limits.other_read" if reference else "limits.other", label=label, **_given(value=reference)
            )
            if rule is Rule.TIMES and limit.decimal == 1:
                return self.say("limits.at_least", value=other)
            return self.say(f"limits.{_key(rule.value)}", value=value, other=other)
        if rule is Rule.JUDGE:
            name = limit.limit.id.partition(".")[2]
            special = f"limits.judge_{name}"
            return self.say(special if special in self._keys else f"limits.judge_{limit.limit.tighter}", value=value)
        if rule in (Rule.DAYS_LEFT, Rule.DAYS_SINCE):
            if rule is Rule.DAYS_LEFT and limit.decimal <= 0:
                return self.say("limits.not_passed")
            return self.say(f"limits.{_key(rule.value)}", days=limit.value)
        return self.say(f"limits.{_key(rule.value)}", value=value)

    def origin_text(self, limit: EffectiveLimit) -> str:
        """Where a limit comes from, and whether the owner has held it against the manual."""
        origin = f"{limit.origin.value} ({limit.source})" if limit.source else limit.origin.value
        if limit.loosened:
            return self.say("limits.loosened", origin=origin, reason=limit.loosened)
        return (
            origin
            if limit.confirmed or not self._wants_confirming(limit)
            else self.say("limits.unconfirmed", origin=origin)
        )

    def margin_text(self, finding: Finding) -> str:
        """How far inside or outside a reading lies; '' where a margin means nothing."""
        limit = finding.limit
        if limit is None or finding.margin is None:
            return ""
        margin = finding.margin if finding.told_margin is None else finding.told_margin
        if limit.limit.rule in (Rule.DAYS_LEFT, Rule.DAYS_SINCE):
            size = self.say("limits.days", days=plain(abs(margin)))
        else:
            unit = self._margin_unit(limit)
            told = finding.told_margin
            number = plain_margin(margin, 3 if unit == "bar" else 2) if told is None else plain(abs(told), MOST_PLACES)
            size = quantity_text(number, unit, METRIC)
        inside = finding.margin > 0 or (finding.margin == 0 and finding.outcome is not Outcome.OUTSIDE)
        return self.say("limits.margin_inside" if inside else "limits.margin_outside", size=size)

    # --- what was typed ---------------------------------------------------------------------------------------------

    def reading(self, reading: Reading) -> str:
        """A reading as it was read, with the reader's other unit beside."""
        return reading_text(reading, self.display_units)

    def item_text(self, item: Item) -> str:
        """Everything that was typed for a step, in one line."""
        return self.evidence_text(item.payload)

    def evidence_text(self, payload: EvidenceRecorded) -> str:
        """Everything that was typed for a step, in the order of its fields: ``In air 10.4 mV · Change in 60 s 0 mV``.

        A single value stands without its label; ticks are told only where there is nothing else.
        """
        step = self.catalogue.steps.get(payload.step)
        labels = {one.name: one.label for one in step.inputs} if step is not None else {}
        told: dict[str, str] = {}
        for name, readings in payload.readings.items():
            told[name] = ", ".join(self.reading(one) for one in readings)
        told |= {name: answer for name, answer in payload.answers.items() if answer != "yes"}
        for name, trace in payload.traces.items():
            told[name] = self.say("words.points", points=len(trace.rows))
        told |= dict.fromkeys(payload.files, self.say("words.file"))
        if not told:
            return self.say("words.ticked")
        order = {name: place for place, name in enumerate(labels)}
        names = sorted(told, key=lambda name: order.get(name, len(order)))
        if len(names) == 1:
            return told[names[0]]
        return " · ".join(f"{labels.get(name, name)} {told[name]}" for name in names)

    def input_text(self, item: Item, name: str) -> str:
        """What was typed for one input, '' where nothing was."""
        readings = item.payload.readings.get(name)
        if readings:
            return ", ".join(self.reading(one) for one in readings)
        answer = item.payload.answers.get(name, "")
        return self.say("words.ticked") if answer == "yes" else answer

    def _of_finding(self, finding: Finding, name: str) -> str:
        """A number that was computed for a comparison, in the unit of its margin; '' where there is none."""
        value = finding.values.get(name, "")
        if not value or finding.limit is None:
            return ""
        return quantity_text(value, self._margin_unit(finding.limit), METRIC)

    # --- inside -----------------------------------------------------------------------------------------------------

    def _reason(self, code: str, values: dict[str, str], *, step: Step | None = None) -> str:
        key = f"reasons.{_key(code or 'cannot-tell')}"
        told = self._values(values)
        told.setdefault("title", step.title if step is not None else "")
        wanted = self._texts.placeholders(key)
        return self.say(key, **{name: told.get(name, "—") or "—" for name in wanted})

    def _values(self, values: dict[str, str]) -> dict[str, str]:
        told = dict(values)
        for name in ("at_ms", "ended_ms"):
            if name in values:
                told[name.removesuffix("_ms")] = self.clock.when(int(values[name]))
        for name in ("by", "step"):
            if values.get(name) in self.catalogue.steps:
                told[name] = self.catalogue.steps[values[name]].title
        if values.get("what") in self.catalogue.steps:
            told["what"] = self.catalogue.steps[values["what"]].title
        elif f"words.surroundings_{values.get('what', '')}" in self._keys:
            told["what"] = self.say(f"words.surroundings_{values['what']}")
        if values.get("first") in self.catalogue.evidence:
            told["first"] = self.catalogue.evidence[values["first"]].title
        if "hearer" in values:
            told["hearer"] = self._who(values["hearer"])
        if values.get("after_min", "").isdigit():
            told["after"] = self.duration(int(values["after_min"]))
        if "limit" in values and values["limit"] in self.catalogue.limits:
            limit = self.catalogue.limits[values["limit"]]
            told["limit"] = self.catalogue.steps[values["limit"].partition(".")[0]].title
            told["source"] = limit.source
        return told

    def duration(self, minutes: int) -> str:
        """A length of time: ``10 min``, ``12 h``, ``30 days``."""
        if minutes < 120:
            return self.say("when.minutes", minutes=minutes)
        if minutes < 48 * 60:
            return self.say("when.hours", hours=plain(Decimal(minutes) / 60, 1))
        return self.say("when.days", days=plain(Decimal(minutes) / 1440, 1))

    def _counted(self, key: str, count: int) -> str:
        return self.say(f"{key}_one") if count == 1 else self.say(f"{key}_many", count=count)

    def _who(self, person: ThingId) -> str:
        return self.workplace.name(person) or self.say("words.nobody_named")

    def _unit_with(self, subject: Subject) -> ThingId:
        world = self.workplace.world
        wanted = subject.things[-1] if subject.things else ""
        for unit in world.units():
            there = world.fitted(unit).get(subject.position)
            if wanted and there is not None and world.canonical(there.thing) == world.canonical(wanted):
                return unit
        with_place = (u for u in world.units() if any(one.id == subject.position for one in world.positions(u)))
        return next(with_place, "")

    def _input_label(self, limit: EffectiveLimit, name: str) -> str:
        step = self.catalogue.steps.get(limit.limit.id.partition(".")[0])
        one = step.input(name) if step is not None else None
        return one.label if one is not None else name

    def _margin_unit(self, limit: EffectiveLimit) -> str:
        if limit.limit.rule not in (Rule.WITHIN, Rule.TIMES):
            return limit.limit.unit
        step = self.catalogue.steps.get(limit.limit.id.partition(".")[0])
        one = step.input(limit.limit.on) if step is not None else None
        return one.unit if one is not None else limit.limit.unit

    def _wants_confirming(self, limit: EffectiveLimit) -> bool:
        step = self.catalogue.steps.get(limit.limit.id.partition(".")[0])
        by_owner = limit.limit.rule not in (Rule.DAYS_LEFT, Rule.DAYS_SINCE, Rule.ONE_OF)
        return step is not None and step.never_skipped and by_owner


def _given(**values: str) -> dict[str, str]:
    return {name: value for name, value in values.items() if value}


def _key(code: str) -> str:
    return code.replace("-", "_").replace(" ", "_")
