"""How evidence stands at a moment: current, or in which of eight ways it does not count.

One `Bench` answers for one moment. It looks only at the book and the catalogue; asked twice, it says the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from enum import StrEnum

from loopworthy.judgement.book import Book, Item, Waiver
from loopworthy.judgement.catalogue.model import Catalogue, Effect, EffectRule, Rule, Step
from loopworthy.judgement.changelog import ChangeEntry
from loopworthy.judgement.judges import Case, judge
from loopworthy.judgement.outcome import (
    Assessment,
    EffectiveLimit,
    Outcome,
    assessment,
    compare_plain_limits,
    effective_limit,
    in_unit,
)
from loopworthy.judgement.subjects import Subject, subjects
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

MINUTE_MS = 60_000
DAY_MS = 24 * 60 * MINUTE_MS
SURROUNDINGS_HOLD_MS = 120 * MINUTE_MS
"""A reading of the surroundings is taken to hold for evidence made within two hours of it (our choice)."""


class State(StrEnum):
    """The ways in which evidence can stand. Only the first two count."""

    CURRENT = "current"
    WAIVED = "waived"
    ABSENT = "absent"
    VOID = "void"
    EXPIRED = "expired"
    RECHECK = "re-check due"
    OUT_OF_ORDER = "out of order"
    CANNOT_TELL = "cannot tell"
    FAILED = "failed"


COUNTING = frozenset({State.CURRENT, State.WAIVED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How the evidence for one step, kind and subject stands, and why.

    Attributes
    ----------
    state : State
    item : Item or None
        The evidence that decided.
    code, values : str, dict
        The reason, for the doors to put in words.
    cause : str
        The event behind the reason (the change that voided it, the repair, the waiver).
    until_ms : int or None
        When it expires by itself; None where no clock runs.
    assessment : Assessment or None
        The reading against its limits.
    marks : tuple of str
        What has to be shown wherever it counts: ``single-handed``, ``near limit``, ``loosened <limit>``.
    mend : str
        The step that mends it in the shortest way.
    """

    state: State
    item: Item | None = None
    code: str = ""
    values: dict[str, str] = field(default_factory=dict)
    cause: EventId = ""
    until_ms: int | None = None
    assessment: Assessment | None = None
    marks: tuple[str, ...] = ()
    mend: str = ""


class Bench:
    """Answers for one moment how evidence stands.

    Parameters
    ----------
    book : Book
    catalogue : Catalogue
    moment : Moment
        The moment to answer for; its zone gives the date that date limits are held against.
    """

    def __init__(self, book: Book, catalogue: Catalogue, moment: Moment) -> None:
        self.book = book
        self.catalogue = catalogue
        self.moment = moment
        self.at_ms = moment.epoch_ms
        self.today: date = moment.local().date()
        self._assessments: dict[EventId, Assessment] = {}
        self._limits: dict[tuple[ThingId, str], EffectiveLimit] = {}
        self._alone: dict[tuple[EventId, str, int], Standing] = {}
        self._unsound: dict[EventId, tuple[str, EventId] | None] = {}
        self._subjects: dict[tuple[ThingId, str], tuple[Subject, ...]] = {}

    # --- one requirement --------------------------------------------------------------------------------------------

    def standing(self, unit: ThingId, step: Step, kind: str, subject: Subject) -> Standing:
        """How the evidence of a step, as one kind, stands for a subject of a unit now."""
        if subject.missing:
            found = Standing(state=State.ABSENT, code=f"no-{subject.missing}", mend=step.id)
        else:
            found = self._candidates(unit, step, kind, subject)
        if found.state in (State.ABSENT, State.EXPIRED) and not step.never_skipped:
            waiver = self._waiver(unit, step, subject)
            if waiver is not None:
                return replace(
                    found,
                    state=State.WAIVED,
                    code="waived",
                    cause=waiver.event,
                    until_ms=None,
                    values={"reason": waiver.given.reason, "hearer": waiver.given.hearer},
                    marks=("waived",),
                )
        return found

    def _candidates(self, unit: ThingId, step: Step, kind: str, subject: Subject) -> Standing:
        items = [item for item in self.book.of(step.id, subject.key) if item.occurred_ms <= self.at_ms]
        withdrawn = [item for item in items if item.event in self.book.withdrawals]
        items = [item for item in items if item.event not in self.book.withdrawals]
        mended_after = None
        for item in items:
            if self.assess(item).outcome is not Outcome.OUTSIDE or self.unsound(item) is not None:
                continue
            repairs = [one for one in self.book.repairs.get(item.event, ()) if one.occurred_ms <= self.at_ms]
            if not repairs:
                return self._failed(item, step)
            latest = max(repairs, key=lambda one: one.order)
            if mended_after is None or latest.order > mended_after.order:
                mended_after = latest
        if mended_after is not None:
            items = [item for item in items if item.order > mended_after.order]
            if not items:
                return Standing(
                    state=State.VOID,
                    code="mended-needs-reading",
                    cause=mended_after.event,
                    mend=step.id,
                    values={"cause": mended_after.made.cause, "done": mended_after.made.done},
                )
        if withdrawn:
            last = max(withdrawn, key=lambda one: one.order)
            items = [item for item in items if item.order > last.order]
            if not items:
                taken_back = self.book.withdrawals[last.event]
                return Standing(
                    state=State.ABSENT,
                    code="reading-withdrawn",
                    cause=taken_back.by,
                    mend=step.id,
                    values={"reason": taken_back.reason},
                )
        if not items:
            return Standing(state=State.ABSENT, code="never-done", mend=step.id)
        items.sort(key=lambda one: (one.occurred_ms, one.order))
        refused: Standing | None = None
        for place in range(len(items) - 1, -1, -1):
            found = self.alone(unit, items[place], kind, self.at_ms)
            if found.state is State.OUT_OF_ORDER:
                refused = refused or found
                continue
            return self._with_second_reading(unit, found, items[:place], kind)
        return refused or Standing(state=State.ABSENT, code="never-done", mend=step.id)

    def _failed(self, item: Item, step: Step) -> Standing:
        return Standing(
            state=State.FAILED,
            item=item,
            code="outside-limit",
            assessment=self.assess(item),
            mend=step.id,
            cause=item.event,
            marks=self._marks(item, step),
        )

    def _with_second_reading(self, unit: ThingId, found: Standing, earlier: list[Item], kind: str) -> Standing:
        """A reading near its limit needs a second one that agrees; it stays marked."""
        if found.state is not State.CURRENT or found.assessment is None or found.item is None:
            return found
        before = None
        if earlier:
            alone = self.alone(unit, earlier[-1], kind, self.at_ms)
            if alone.state is State.CURRENT:
                before = alone
        near_before = before is not None and before.assessment is not None and before.assessment.outcome is Outcome.NEAR
        if found.assessment.outcome is Outcome.NEAR:
            if before is None:
                return replace(found, state=State.CANNOT_TELL, code="near-needs-second", until_ms=None)
            return replace(found, marks=(*found.marks, "near limit"))
        if near_before:
            return replace(found, marks=(*found.marks, "near limit"))
        return found

    def _waiver(self, unit: ThingId, step: Step, subject: Subject) -> Waiver | None:
        about = subject.key or subject.position
        dives = self.book.dives_before(unit, self.at_ms)
        for waiver in reversed(self.book.waivers.get(unit, [])):
            if (
                waiver.given.step == step.id
                and waiver.given.subject == about
                and waiver.dives == dives
                and waiver.occurred.epoch_ms <= self.at_ms
                and waiver.event not in self.book.withdrawals
            ):
                return waiver
        return None

    # --- one piece of evidence --------------------------------------------------------------------------------------

    def alone(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> Standing:
        """How one piece of evidence stood at a moment, whatever else was read."""
        key = (item.event, kind, at_ms)
        known = self._alone.get(key)
        if known is None:
            known = self._alone[key] = self._judge_alone(unit, item, kind, at_ms)
        return known

    def _judge_alone(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> Standing:
        step = self.catalogue.steps.get(item.step)
        if step is None:
            return Standing(state=State.CANNOT_TELL, item=item, code="step-unknown", values={"step": item.step})
        found = self.assess(item)
        marks = self._marks(item, step)
        base = Standing(state=State.CURRENT, item=item, assessment=found, marks=marks, mend=step.id)
        if item.event in self.book.withdrawals:
            return replace(
                base, state=State.ABSENT, code="reading-withdrawn", cause=self.book.withdrawals[item.event].by
            )
        unsound = self.unsound(item)
        if unsound is not None:
            return replace(base, state=State.VOID, code=unsound[0], cause=unsound[1])
        if found.outcome is Outcome.OUTSIDE:
            return replace(base, state=State.FAILED, code="outside-limit", cause=item.event)
        undone = self._voiding(unit, item, kind, at_ms)
        if undone is not None:
            return replace(
                base,
                state=State.VOID,
                code="undone-by-change",
                cause=undone.event,
                values=self._change_values(undone),
            )
        disorder = self._out_of_order(unit, item, step)
        if disorder is not None:
            return replace(base, state=State.OUT_OF_ORDER, code=disorder[0], values=disorder[1])
        if found.outcome is Outcome.CANNOT_TELL:
            decisive = found.decisive
            return replace(
                base,
                state=State.CANNOT_TELL,
                code=decisive.code if decisive else "cannot-tell",
                values=decisive.values if decisive else {},
            )
        unconfirmed = self.unconfirmed_limit(item.unit, step)
        if unconfirmed is not None:
            return replace(
                base,
                state=State.CANNOT_TELL,
                code="limit-unconfirmed",
                values={"limit": unconfirmed.limit.id, "value": unconfirmed.shown},
            )
        unmeasured = self._unmeasured(unit, item, kind, at_ms)
        if unmeasured:
            return replace(base, state=State.CANNOT_TELL, code="surroundings-unknown", values={"what": unmeasured})
        expired = self._expired(unit, item, kind, at_ms)
        if expired is not None:
            return replace(base, state=State.EXPIRED, code=expired[0], values=expired[1])
        recheck = self._recheck(unit, item, kind, at_ms)
        if recheck is not None:
            return replace(
                base, state=State.RECHECK, code=recheck[0], values=recheck[1], cause=recheck[2], mend=recheck[3]
            )
        return replace(base, until_ms=self._until(unit, item, kind, step))

    def assess(self, item: Item) -> Assessment:
        """The item's readings against the limits that hold for its unit now."""
        known = self._assessments.get(item.event)
        if known is None:
            step = self.catalogue.steps.get(item.step)
            if step is None:
                known = Assessment(outcome=Outcome.CANNOT_TELL, findings=())
            else:
                limits = self.limits(item.unit, step)
                read_on = item.occurred.local().date()
                plain = compare_plain_limits(step, item, limits, today=self.today, read_on=read_on)
                case = Case(book=self.book, catalogue=self.catalogue, item=item, step=step, limits=limits)
                known = assessment([*plain, *judge(case).findings])
            self._assessments[item.event] = known
        return known

    def limits(self, unit: ThingId, step: Step) -> dict[str, EffectiveLimit]:
        """The step's limits as they hold for the unit now, by identifier."""
        for limit in step.limits:
            if (unit, limit.id) not in self._limits:
                self._limits[unit, limit.id] = effective_limit(self.book, unit, limit, self.at_ms)
        return {limit.id: self._limits[unit, limit.id] for limit in step.limits}

    def unconfirmed_limit(self, unit: ThingId, step: Step) -> EffectiveLimit | None:
        """A limit of a never-skipped step that the owner has not yet held against the unit's manual."""
        if not step.never_skipped:
            return None
        for limit in self.limits(unit, step).values():
            if limit.limit.rule not in (Rule.DAYS_LEFT, Rule.DAYS_SINCE, Rule.ONE_OF) and not limit.confirmed:
                return limit
        return None

    def subjects_of(self, unit: ThingId, step: Step) -> tuple[Subject, ...]:
        """`subjects`, remembered."""
        key = (unit, step.id)
        if key not in self._subjects:
            self._subjects[key] = subjects(self.book.world, unit, step)
        return self._subjects[key]

    def _marks(self, item: Item, step: Step) -> tuple[str, ...]:
        marks = ["single-handed"] if item.payload.single_handed else []
        marks += [f"loosened {name}" for name, limit in self.limits(item.unit, step).items() if limit.loosened]
        return tuple(marks)

    # --- what undoes it ---------------------------------------------------------------------------------------------

    def _hits(self, unit: ThingId, item: Item, rule: EffectRule, at_ms: int) -> Iterator[ChangeEntry]:
        if rule.scope == "unit":
            abouts: tuple[str, ...] = (unit,) if unit == item.unit else (unit, item.unit)
        elif rule.scope == "record":
            abouts = ("",)
        else:
            abouts = item.things
        for entry in self.book.changes.undoing(
            rule.change,
            abouts,
            device=item.device,
            sequence=item.sequence,
            seen=item.seen,
            read_ms=item.occurred_ms,
            until_ms=at_ms,
        ):
            touched = entry.side if rule.scope == "side" else entry.things
            if rule.scope in ("subject", "side") and not touched.intersection(item.things):
                continue
            if rule.scope == "unit" and entry.unit not in abouts:
                continue
            if self._condition_holds(rule, entry):
                yield entry

    def _condition_holds(self, rule: EffectRule, entry: ChangeEntry) -> bool:
        if not rule.condition:
            return True
        worst = {question.id: question.worst for question in self.catalogue.changes[rule.change].questions}
        return all(entry.answers.get(question, worst[question]) == answer for question, answer in rule.condition)

    def _voiding(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> ChangeEntry | None:
        found = [
            entry
            for rule in self.catalogue.rules_hitting[kind]
            if rule.effect is Effect.VOID
            for entry in self._hits(unit, item, rule, at_ms)
            if entry.event not in self.book.withdrawals
        ]
        found += [
            entry
            for bound_change, entry in self._bound_hits(unit, item, kind, at_ms)
            for rule in self.catalogue.rules_on.get(bound_change, {}).get(kind, ())
            if rule.effect is Effect.VOID
        ]
        return min(found, key=lambda entry: (entry.occurred_ms, entry.event)) if found else None

    def _change_values(self, entry: ChangeEntry) -> dict[str, str]:
        change = self.catalogue.changes.get(entry.change)
        return {"change": change.title if change else entry.change, "at_ms": str(entry.occurred_ms), "zone": entry.zone}

    def _recheck(
        self, unit: ThingId, item: Item, kind: str, at_ms: int
    ) -> tuple[str, dict[str, str], EventId, str] | None:
        for rule in self.catalogue.rules_hitting[kind]:
            for entry in self._hits(unit, item, rule, at_ms) if rule.effect is not Effect.DISPROVE else ():
                withdrawn = entry.event in self.book.withdrawals
                if rule.effect is Effect.VOID and not withdrawn:
                    continue
                by = rule.by or self.catalogue.evidence[kind].recheck_by or item.step
                if not self._cleared(unit, item, by, entry, at_ms, bound=""):
                    code = "change-withdrawn" if withdrawn else "recheck-after-change"
                    return code, {**self._change_values(entry), "by": by}, entry.event, by
        for bound_change, entry in self._bound_hits(unit, item, kind, at_ms):
            for rule in self.catalogue.rules_on.get(bound_change, {}).get(kind, ()):
                if rule.effect is not Effect.RECHECK or not self._condition_holds(rule, entry):
                    continue
                if not self._cleared(unit, item, rule.by, entry, at_ms, bound=entry.note):
                    return "recheck-after-change", {**self._change_values(entry), "by": rule.by}, entry.event, rule.by
        return None

    def _cleared(self, unit: ThingId, item: Item, by: str, entry: ChangeEntry, at_ms: int, *, bound: str) -> bool:
        """Whether later evidence of the step `by` covers the same subjects."""
        step = self.catalogue.steps[by]
        abouts = self.subjects_of(unit, step)
        own = [one for one in abouts if set(one.things) & set(item.things)]
        wanted = own if own and item.subject != unit else list(abouts)
        return bool(wanted) and all(self._has_recheck(unit, step, one, entry, at_ms, bound) for one in wanted)

    def _has_recheck(
        self, unit: ThingId, step: Step, subject: Subject, entry: ChangeEntry, at_ms: int, bound: str
    ) -> bool:
        for item in reversed(self.book.of(step.id, subject.key)):
            if item.occurred_ms > at_ms or item.event in self.book.withdrawals:
                continue
            if bound:
                if not self._within_bound(unit, item, bound, at_ms):
                    continue
            elif not _outlives(item, entry):
                continue
            if self.assess(item).outcome not in (Outcome.INSIDE, Outcome.NEAR) or self.unsound(item) is not None:
                continue
            if self.unconfirmed_limit(item.unit, step) is not None:
                continue
            if all(self._voiding(unit, item, kind, at_ms) is None for kind in step.makes):
                return True
        return False

    # --- soundness --------------------------------------------------------------------------------------------------

    def unsound(self, item: Item) -> tuple[str, EventId] | None:
        """Why the item was never good: proved wrong, or resting on what was withdrawn, wrong, failed or unsound.

        What became of the things it used *afterwards* does not matter here: a calibration rests on the gas that was
        used then. Whether that gas's analysis was true matters for ever.
        """
        if item.event in self._unsound:
            return self._unsound[item.event]
        self._unsound[item.event] = None
        found = self._find_unsound(item)
        self._unsound[item.event] = found
        return found

    def _find_unsound(self, item: Item) -> tuple[str, EventId] | None:
        step = self.catalogue.steps.get(item.step)
        for kind in step.makes if step is not None else ():
            for rule in self.catalogue.rules_hitting[kind]:
                if rule.effect is Effect.DISPROVE:
                    entry = self._disproving(item, rule)
                    if entry is not None:
                        return "proved-wrong", entry.event
        for used in item.payload.used:
            other = self.book.items.get(used)
            if other is None:
                return "rests-on-unknown", used
            if used in self.book.withdrawals:
                return "rests-on-withdrawn", used
            if self.unsound(other) is not None:
                return "rests-on-unsound", used
            if self.assess(other).outcome is Outcome.OUTSIDE:
                return "rests-on-failed", used
        return None

    def _disproving(self, item: Item, rule: EffectRule) -> ChangeEntry | None:
        instruments = tuple(self.book.world.canonical(one) for one in item.payload.instruments)
        if rule.scope == "instrument":
            abouts: tuple[str, ...] = instruments
        elif rule.scope == "unit":
            abouts = (item.unit,)
        elif rule.scope == "record":
            abouts = ("",)
        else:
            abouts = item.things
        for entry in self.book.changes.about(rule.change, abouts):
            if entry.event in self.book.withdrawals or entry.occurred_ms < item.occurred_ms:
                continue
            if not self._condition_holds(rule, entry):
                continue
            if rule.scope in ("subject", "side") and not entry.things.intersection(item.things):
                continue
            if rule.scope == "instrument" and self._checked_good_after(instruments, item, entry):
                continue
            return entry
        return None

    def _checked_good_after(self, instruments: tuple[ThingId, ...], item: Item, entry: ChangeEntry) -> bool:
        """Whether a good check of the instrument lies between the reading and the finding that it is bad."""
        for step in self.catalogue.steps.values():
            if step.scope.each != "instrument":
                continue
            for instrument in instruments:
                if instrument not in entry.things:
                    continue
                for check in self.book.of(step.id, instrument):
                    # A check typed on the same page before the reading has the same moment: it is no later check.
                    later = (item.occurred_ms, item.order) < (check.occurred_ms, check.order)
                    between = later and check.occurred_ms < entry.occurred_ms
                    stands = check.event not in self.book.withdrawals
                    if between and stands and self.assess(check).outcome in (Outcome.INSIDE, Outcome.NEAR):
                        return True
        return False

    # --- order ------------------------------------------------------------------------------------------------------

    def _out_of_order(self, unit: ThingId, item: Item, step: Step) -> tuple[str, dict[str, str]] | None:
        for kind, event in item.prerequisites:
            other = self.book.items.get(event)
            if other is None:
                return "done-before-its-order", {"first": kind}
            if other.occurred_ms > item.occurred_ms:
                return "done-before-its-order", {"first": kind}
            if self.alone(unit, other, kind, item.occurred_ms).state is not State.CURRENT:
                return "done-before-its-order", {"first": kind}
        for used in item.payload.used:
            other = self.book.items.get(used)
            if other is None:
                continue
            other_step = self.catalogue.steps.get(other.step)
            if other_step is None or other.occurred_ms > item.occurred_ms:
                return "used-before-read", {"step": other.step}
            kind = other_step.makes[0]
            state = self.alone(unit, other, kind, item.occurred_ms).state
            if state not in (State.CURRENT, State.CANNOT_TELL):
                return "rested-on-stale", {"step": other.step, "state": state.value}
        return None

    # --- time and surroundings --------------------------------------------------------------------------------------

    def _clock_start(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> int:
        start = item.occurred_ms
        for step in self.catalogue.renewing.get(kind, ()):
            if step.id == item.step:
                continue
            for subject in self.subjects_of(unit, step):
                for other in self.book.of(step.id, subject.key):
                    renews = start < other.occurred_ms <= at_ms and other.event not in self.book.withdrawals
                    if renews and self._renews(unit, other, step, at_ms):
                        start = other.occurred_ms
        return start

    def _renews(self, unit: ThingId, item: Item, step: Step, at_ms: int) -> bool:
        if self.assess(item).outcome not in (Outcome.INSIDE, Outcome.NEAR) or self.unsound(item) is not None:
            return False
        return all(self._voiding(unit, item, kind, at_ms) is None for kind in step.makes)

    def _expired(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> tuple[str, dict[str, str]] | None:
        bounds = self.catalogue.evidence[kind]
        if bounds.expires_after_min is not None:
            ends = self._clock_start(unit, item, kind, at_ms) + bounds.expires_after_min * MINUTE_MS
            if at_ms > ends:
                return "aged", {"ended_ms": str(ends), "after_min": str(bounds.expires_after_min)}
        if bounds.episode == "dive":
            if self.book.dives_before(item.unit, at_ms) != item.dives:
                return "dive-over", {}
        elif bounds.episode:
            then = {"dive-day": item.dive_day, "assembly": item.assembly, "preparation": item.preparation}
            if self.book.episode_at(item.unit, bounds.episode, at_ms) != then[bounds.episode]:
                return f"{bounds.episode}-over", {}
        return None

    def _until(self, unit: ThingId, item: Item, kind: str, step: Step) -> int | None:
        ends = []
        minutes = self.catalogue.evidence[kind].expires_after_min
        if minutes is not None:
            ends.append(self._clock_start(unit, item, kind, self.at_ms) + minutes * MINUTE_MS)
        for finding in self.assess(item).findings:
            if finding.limit is not None and finding.limit.limit.rule is Rule.DAYS_LEFT and finding.margin is not None:
                midnight = self.moment.local().replace(hour=0, minute=0, second=0, microsecond=0)
                ends.append(round(midnight.timestamp() * 1000) + (int(finding.margin) + 1) * DAY_MS - 1)
        return min(ends) if ends else None

    def _context(self, item: Item, name: str) -> Reading | None:
        known = item.payload.context.get(name)
        if known is not None:
            return known
        step = self.catalogue.steps.get(item.step)
        for entered in step.inputs if step is not None else ():
            if entered.context == name and item.payload.readings.get(entered.name):
                return item.payload.readings[entered.name][0]
        return None

    def _unmeasured(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> str:
        for name in self.catalogue.evidence[kind].context:
            if self._context(item, name) is None or self.book.context_at(unit, name, at_ms) is None:
                return name
        return ""

    def _bound_hits(self, unit: ThingId, item: Item, kind: str, at_ms: int) -> Iterator[tuple[str, ChangeEntry]]:
        for bound in self.catalogue.bounds.values():
            if not self.catalogue.rules_on.get(bound.acts_as, {}).get(kind):
                continue
            if self._within_bound(unit, item, bound.id, at_ms):
                continue
            name = _measured(bound.id)
            now = self.book.context_at(unit, name, at_ms)
            if now is not None:
                yield (
                    bound.acts_as,
                    ChangeEntry(
                        event=now.event,
                        change=bound.acts_as,
                        unit=unit,
                        device=item.device,
                        sequence=item.sequence,
                        occurred_ms=now.occurred_ms,
                        things=frozenset(),
                        side=frozenset(),
                        answers={},
                        note=bound.id,
                        zone=item.occurred.zone,
                        timed=True,
                    ),
                )

    def _within_bound(self, unit: ThingId, item: Item, bound_id: str, at_ms: int) -> bool:
        bound = self.catalogue.bounds[bound_id]
        name = _measured(bound_id)
        then, now = self._context(item, name), self.book.context_at(unit, name, at_ms)
        if then is None or now is None:
            return True  # unknown is dealt with where the evidence kind asks for the surroundings
        unit_name = "hPa" if name == "ambient" else "C"
        return abs(in_unit(now.reading, unit_name) - in_unit(then, unit_name)) <= Decimal(bound.limit)


def _measured(bound_id: str) -> str:
    """Which condition a bound is about: the part of its identifier before any hyphen."""
    return bound_id.partition("-")[0]


def _outlives(item: Item, entry: ChangeEntry) -> bool:
    """Whether evidence was read after a change and by a device that knew of it."""
    if item.occurred_ms < entry.occurred_ms:
        return False
    if entry.timed:
        return True
    if item.device == entry.device:
        return entry.sequence < item.sequence
    head = item.seen.get(entry.device)
    return head is not None and head.sequence >= entry.sequence
