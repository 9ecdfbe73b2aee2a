"""What undoes evidence: changes that it does not outlive, surroundings that moved too far, and the re-checks due.

A re-check falls due by a change that asks for it, and by one that was taken back: nothing revives by itself. It clears
when later evidence that still stands covers the same subjects.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from loopworthy.judgement.book import UNUSED_CHANGE, ContextReading, Item
from loopworthy.judgement.catalogue.model import Effect, EffectRule, Step
from loopworthy.judgement.changelog import EVERYTHING, NOT_UNDERSTOOD, ChangeEntry
from loopworthy.judgement.outcome import Outcome, in_unit
from loopworthy.judgement.states import AsOf
from loopworthy.judgement.subjects import Subject
from loopworthy.unit.events import PERSON
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.reading import Reading

if TYPE_CHECKING:
    from loopworthy.judgement.standing import Bench

_UNITS = {"ambient": "hPa", "temperature": "C", "humidity": "%"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """A re-check that is due: after what, and by which step."""

    entry: ChangeEntry
    by: str
    withdrawn: bool


class Undoing:
    """Answers for one bench."""

    def __init__(self, bench: Bench) -> None:
        self._bench = bench
        self._units: dict[tuple[ThingId, EventId], tuple[ThingId, ...]] = {}
        self._hit: dict[tuple[ThingId, EventId, str, AsOf], list[tuple[EffectRule, ChangeEntry]]] = {}
        self._due: dict[tuple[ThingId, EventId, str, AsOf], tuple[tuple[Due, ...], int | None]] = {}

    # --- void -------------------------------------------------------------------------------------------------------

    def voided(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> ChangeEntry | None:
        """The first change that took the evidence away."""
        found = [
            entry
            for rule, entry in self._hits(unit, item, kind, asof)
            if rule.effect is Effect.VOID and not self._taken_back(entry)
        ]
        return min(found, key=lambda entry: (entry.occurred_ms, entry.event)) if found else None

    def not_understood(self, unit: ThingId, item: Item, asof: AsOf) -> ChangeEntry | None:
        """A change that cannot be read here, and that the evidence does not outlive: what it did is not known."""
        book = self._bench.book
        concerned = {*self._units_of(unit, item), *item.things}
        hits = [
            entry
            for entry in book.changes.undoing(
                NOT_UNDERSTOOD,
                (EVERYTHING,),
                reader=item,
                lineage=book.lineage,
                until_ms=asof.changes_until_ms,
            )
            if (entry.unit == EVERYTHING or entry.unit in concerned or entry.things & concerned)
            and not self._over(entry, item)
        ]
        return min(hits, key=lambda entry: (entry.occurred_ms, entry.event)) if hits else None

    def condition_holds(self, rule: EffectRule, entry: ChangeEntry) -> bool:
        """Whether the answers given with a change meet a rule's condition.

        What was not answered, or answered with something that is no answer, counts as the worst answer.
        """
        if not rule.condition:
            return True
        questions = {question.id: question for question in self._bench.catalogue.changes[rule.change].questions}
        for name, wanted in rule.condition:
            given = entry.answers.get(name, "")
            if (given if given in questions[name].answers else questions[name].worst) != wanted:
                return False
        return True

    def _taken_back(self, entry: ChangeEntry) -> bool:
        return self._bench.withdrawn(entry.event) is not None and entry.change != UNUSED_CHANGE

    def _over(self, entry: ChangeEntry, item: Item) -> bool:
        return entry.change != UNUSED_CHANGE and self._bench.over(entry.event, item)

    # --- what hits it -----------------------------------------------------------------------------------------------

    def _hits(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> list[tuple[EffectRule, ChangeEntry]]:
        """Changes that the evidence does not outlive, declared or measured, with the rule by which they matter."""
        key = (unit, item.event, kind, asof)
        if key not in self._hit:
            self._hit[key] = list(self._find_hits(unit, item, kind, asof))
        return self._hit[key]

    def _find_hits(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> Iterator[tuple[EffectRule, ChangeEntry]]:
        for rule in self._bench.catalogue.rules_hitting[kind]:
            if rule.effect is not Effect.DISPROVE:
                for entry in self._declared(unit, item, rule, asof):
                    if self.condition_holds(rule, entry):
                        yield rule, entry
                if rule.change == UNUSED_CHANGE:
                    idle = self._idle(unit, item, asof)
                    if idle is not None and self.condition_holds(rule, idle):
                        yield rule, idle
        for rule, readings in self._excursions(unit, item, kind, asof):
            for reading in readings:
                yield rule, self._as_change(unit, item, rule.change, reading)

    def _declared(self, unit: ThingId, item: Item, rule: EffectRule, asof: AsOf) -> Iterator[ChangeEntry]:
        units = self._units_of(unit, item)
        instruments: tuple[ThingId, ...] = ()
        if rule.scope == "whole" and item.subject != item.unit:
            return
        if rule.scope in ("unit", "whole"):
            abouts: tuple[ThingId, ...] = units
        elif rule.scope == "record":
            abouts = (EVERYTHING,)
        elif rule.scope == "instrument":
            abouts = instruments = self._bench.instruments(item)
        else:
            abouts = item.things
        book = self._bench.book
        for entry in book.changes.undoing(
            rule.change, abouts, reader=item, lineage=book.lineage, until_ms=asof.changes_until_ms
        ):
            if self._over(entry, item):
                continue
            if rule.scope in ("unit", "whole"):
                if entry.unit in units:
                    yield entry
            elif rule.scope == "record":
                yield entry
            elif rule.scope == "instrument":
                if not self._bench.soundness.checked_good_between(item, entry, instruments):
                    yield entry
            elif (entry.side if rule.scope == "side" else entry.things).intersection(item.things):
                yield entry

    def _units_of(self, unit: ThingId, item: Item) -> tuple[ThingId, ...]:
        """The units whose changes concern the evidence: asked about, read on, and those its things have been in."""
        key = (unit, item.event)
        known = self._units.get(key)
        if known is None:
            found = {unit: None, item.unit: None}
            for thing in item.things:
                for holder in self._stays(thing, item.occurred_ms):
                    found[holder] = None
            known = self._units[key] = tuple(found)
        return known

    def _stays(self, thing: ThingId, since_ms: int) -> Iterator[ThingId]:
        world = self._bench.book.world
        one = world.things.get(thing)
        if one is None or one.kind == PERSON:
            return
        for number in world.spans_of.get(thing, ()):
            span = world.spans[number]
            if span.removed_at is None or span.removed_at.epoch_ms >= since_ms:
                holder = world.canonical(span.holder)
                yield holder
                yield from self._stays(holder, since_ms)

    def _idle(self, unit: ThingId, item: Item, asof: AsOf) -> ChangeEntry | None:
        """That a unit has stood unused until now, before the next dive day tells it."""
        until_ms = self._bench.idle_from_ms(unit, asof.ms)
        if until_ms is None or asof.ms <= until_ms or item.occurred_ms >= until_ms:
            return None
        return self._synthetic(unit, item, UNUSED_CHANGE, until_ms, event="", zone=item.occurred.zone)

    def _synthetic(
        self, unit: ThingId, item: Item, change: str, occurred_ms: int, *, event: EventId, zone: str
    ) -> ChangeEntry:
        return ChangeEntry(
            event=event,
            change=change,
            unit=unit,
            device=item.device,
            branch=item.branch,
            sequence=item.sequence,
            order=item.order,
            occurred_ms=occurred_ms,
            zone=zone,
            timed=True,
        )

    # --- surroundings -----------------------------------------------------------------------------------------------

    def unmeasured(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> str:
        """A condition of the surroundings that the evidence depends on and that nobody measured, then or since."""
        for name in self._bench.contexts_of(kind):
            now = self._bench.book.context_at(unit, name, asof.ms)
            if _measured(self._context(item, name), name) is None or now is None:
                return name
            if _measured(now.reading, name) is None:
                return name
        return ""

    def _context(self, item: Item, name: str) -> Reading | None:
        """The condition that it was read in: as it measured it itself, else as it was known then."""
        step = self._bench.catalogue.steps.get(item.step)
        for entered in step.inputs if step is not None else ():
            if entered.context == name and item.payload.readings.get(entered.name):
                return item.payload.readings[entered.name][0]
        return item.payload.context.get(name)

    def _excursions(
        self, unit: ThingId, item: Item, kind: str, asof: AsOf
    ) -> Iterator[tuple[EffectRule, list[ContextReading]]]:
        """Bounds that the surroundings have left since the evidence was read, with the readings that show it.

        Coming back does not undo that they were left. Of a re-check only the last such reading matters.
        """
        catalogue = self._bench.catalogue
        for bound in catalogue.bounds.values():
            rules = catalogue.rules_on.get(bound.acts_as, {}).get(kind, ())
            outside = self._outside(unit, item, bound.id, asof) if rules else []
            if not outside:
                continue
            nobody_answered = self._as_change(unit, item, bound.acts_as, outside[0])
            for rule in rules:
                if rule.effect is not Effect.DISPROVE and self.condition_holds(rule, nobody_answered):
                    yield rule, outside if rule.effect is Effect.VOID else outside[-1:]

    def _outside(self, unit: ThingId, item: Item, bound_id: str, asof: AsOf) -> list[ContextReading]:
        name = bound_id.partition("-")[0]
        then = _measured(self._context(item, name), name)
        if then is None:
            return []
        most = Decimal(self._bench.catalogue.bounds[bound_id].limit)
        found = []
        for reading in self._bench.book.contexts_from(unit, name, item.occurred_ms):
            if reading.occurred_ms > asof.changes_until_ms:
                break
            now = _measured(reading.reading, name)
            if now is not None and abs(now - then) > most and not self._bench.over(reading.event, item):
                found.append(reading)
        return found

    def _as_change(self, unit: ThingId, item: Item, change: str, reading: ContextReading) -> ChangeEntry:
        return self._synthetic(unit, item, change, reading.occurred_ms, event=reading.event, zone=item.occurred.zone)

    # --- re-checks --------------------------------------------------------------------------------------------------

    def due(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> tuple[tuple[Due, ...], int | None]:
        """The re-checks that are due, in the order of their causes, and how long those that were made hold.

        Returns
        -------
        tuple
            What is due; and the last moment at which every re-check made still stands, None where no clock runs.
        """
        key = (unit, item.event, kind, asof)
        if key not in self._due:
            self._due[key] = self._find_due(unit, item, kind, asof)
        return self._due[key]

    def _find_due(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> tuple[tuple[Due, ...], int | None]:
        asked: dict[tuple[EventId, str, str], tuple[ChangeEntry, str, bool, Item]] = {}

        def ask(entry: ChangeEntry, by: str, withdrawn: bool, about: Item) -> None:
            asked.setdefault((entry.event, entry.change, by), (entry, by, withdrawn, about))

        for rule, entry in self._hits(unit, item, kind, asof):
            withdrawn = self._taken_back(entry)
            if rule.effect is Effect.RECHECK or withdrawn:
                ask(entry, self._by(unit, item, rule.by, kind), withdrawn, item)
        for about, finding in self._bench.soundness.doubts(unit, item):
            if finding.occurred_ms > asof.changes_until_ms:
                continue
            step = self._bench.catalogue.steps.get(about.step)
            by = self._by(unit, about, "", step.makes[0] if step is not None else kind)
            if about.subject != item.subject and not self._still_asked(unit, by, about):
                by = item.step
            ask(self._finding(unit, item, finding), by, True, about if by != item.step else item)
        due, ends = [], []
        for entry, by, withdrawn, about in sorted(
            asked.values(), key=lambda one: (one[0].occurred_ms, one[0].event, one[1])
        ):
            cleared, until_ms = self._cleared(unit, about, by, entry, asof)
            if not cleared:
                due.append(Due(entry=entry, by=by, withdrawn=withdrawn))
            elif until_ms is not None:
                ends.append(until_ms)
        return tuple(due), min(ends, default=None)

    def _by(self, unit: ThingId, item: Item, by: str, kind: str) -> str:
        """The step that restores it: the rule's, the kind's own, or the same step again where that does not apply."""
        wanted = by or self._bench.catalogue.evidence[kind].recheck_by
        step = self._bench.catalogue.steps.get(wanted)
        configuration = self._bench.book.world.configuration(unit)
        if step is None or configuration is None or not step.when.holds(configuration):
            return item.step
        return wanted

    def _finding(self, unit: ThingId, item: Item, finding: ChangeEntry | Item) -> ChangeEntry:
        """A finding that was taken back, as the change that it would have been."""
        if isinstance(finding, ChangeEntry):
            return finding
        return ChangeEntry(
            event=finding.event,
            change="",
            unit=unit,
            device=finding.device,
            branch=finding.branch,
            sequence=finding.sequence,
            order=finding.order,
            occurred_ms=finding.occurred_ms,
            zone=finding.occurred.zone,
        )

    def _still_asked(self, unit: ThingId, by: str, about: Item) -> bool:
        step = self._bench.catalogue.steps[by]
        return by != about.step or about.subject in [one.key for one in self._bench.subjects_of(unit, step)]

    def _cleared(self, unit: ThingId, item: Item, by: str, entry: ChangeEntry, asof: AsOf) -> tuple[bool, int | None]:
        """Whether later evidence of the step `by` covers the same subjects, and how long all of it stands."""
        step = self._bench.catalogue.steps[by]
        abouts = self._bench.subjects_of(unit, step)
        if by == item.step:
            wanted: tuple[Subject, ...] = tuple(one for one in abouts if one.key == item.subject)
        else:
            own = tuple(one for one in abouts if set(one.things) & set(item.things))
            wanted = own if own and item.subject != unit else abouts
        if not wanted:
            return False, None
        ends = []
        for subject in wanted:
            confirmed, until_ms = self._confirmed(unit, step, subject, entry, asof)
            if not confirmed:
                return False, None
            if until_ms is not None:
                ends.append(until_ms)
        return True, min(ends, default=None)

    def _confirmed(
        self, unit: ThingId, step: Step, subject: Subject, entry: ChangeEntry, asof: AsOf
    ) -> tuple[bool, int | None]:
        bench = self._bench
        failed, sinces = bench.failures.as_of(unit, step.id, subject.key, asof)
        if failed is not None:
            return False, None
        for item in bench.window(step.id, subject.key, asof):
            if not self._read_after(item, entry) or not all(
                bench.book.lineage.outlives(item, since.place) for since in sinces
            ):
                continue
            if self._stands(unit, item, step, asof):
                ends = [bench.clocks.until(unit, item, kind, asof) for kind in step.makes]
                return True, min((one for one in ends if one is not None), default=None)
        return False, None

    def _read_after(self, item: Item, entry: ChangeEntry) -> bool:
        if self._over(entry, item):
            return True
        if entry.timed:
            return item.occurred_ms >= entry.occurred_ms
        return self._bench.book.lineage.outlives(item, entry)

    def _stands(self, unit: ThingId, item: Item, step: Step, asof: AsOf) -> bool:
        """Whether evidence can stand for other evidence: in every respect, and without a re-check of its own."""
        bench = self._bench
        if bench.assess(item, unit).outcome not in (Outcome.INSIDE, Outcome.NEAR):
            return False
        if bench.soundness.of(unit, item) is not None or bench.unconfirmed_limit(unit, step) is not None:
            return False
        if not bench.has_second(unit, item, step.makes[0]) or bench.in_order.broken(item, step) is not None:
            return False
        return not any(
            self._hits(unit, item, kind, asof) or bench.clocks.ended(unit, item, kind, asof) is not None
            for kind in step.makes
        ) and not any(True for _ in bench.soundness.doubts(unit, item))


def _measured(reading: Reading | None, name: str) -> Decimal | None:
    """The reading of a condition as a number in its own unit; None where there is none."""
    if reading is None:
        return None
    try:
        return in_unit(reading, _UNITS.get(name, reading.unit))
    except ValueError:
        return None
