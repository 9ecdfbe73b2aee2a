"""How evidence stands at a moment: current, or in which of eight ways it does not count.

One `Bench` answers for one moment. It looks only at the book and the catalogue; asked twice, it says the same. What
was ever good is told by `soundness`, what undoes it by `undoing`, what ends it by `clocks`, what failed by `failures`,
whether it was made in order by `in_order`.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from functools import cached_property
from math import inf

from loopworthy.judgement.book import UNUSED_MS, Book, Item, Waiver, Withdrawal
from loopworthy.judgement.catalogue.model import Catalogue, Rule, Step
from loopworthy.judgement.changelog import EVERYTHING, NOT_UNDERSTOOD, ChangeEntry
from loopworthy.judgement.clocks import Clocks
from loopworthy.judgement.comparing import compared
from loopworthy.judgement.failures import Failures
from loopworthy.judgement.filed import Order
from loopworthy.judgement.in_order import InOrder
from loopworthy.judgement.lineage import Knowing
from loopworthy.judgement.outcome import Assessment, EffectiveLimit, Outcome, effective_limit
from loopworthy.judgement.soundness import Soundness, Unsound
from loopworthy.judgement.states import COUNTING, AsOf, Standing, State, View
from loopworthy.judgement.subjects import Subject, subjects
from loopworthy.judgement.undoing import Undoing
from loopworthy.vocabulary.identity import EventId, ThingId
from loopworthy.vocabulary.time import Moment

__all__ = ["COUNTING", "SURROUNDINGS_HOLD_MS", "WINDOW", "Bench", "Standing", "State", "View"]

WINDOW = 5
"""Of the readings of one step about one subject so many are looked at, newest first. An older one could count only if
all of these had fallen; then it is time to read anew."""

SURROUNDINGS_HOLD_MS = 120 * 60_000
"""A reading of the surroundings is taken to hold for evidence made within two hours of it (our choice)."""

WAIVER_KIND = "EV63"
"""The kind of evidence that a waiver is: what takes this kind away takes waivers away."""

_DEEPEST = 60
"""Longest chain of evidence that rests on evidence. An ordinary morning needs about six."""

_PASSING = (Outcome.INSIDE, Outcome.NEAR)


class Bench:
    """Answers for one moment how evidence stands.

    Parameters
    ----------
    book : Book
    catalogue : Catalogue
    moment : Moment
        The moment to answer for; its zone gives the date that date limits are held against.
    view : View
        Whether the moment is now, or past.
    """

    def __init__(self, book: Book, catalogue: Catalogue, moment: Moment, view: View = View.LIVE) -> None:
        self.book = book
        self.catalogue = catalogue
        self.moment = moment
        self.view = view
        self.at_ms = moment.epoch_ms
        self.today: date = moment.local().date()
        self.truth_until_ms: float = self.at_ms if view is View.THEN else inf
        """Withdrawals and findings about what was true count up to then."""
        self.now = AsOf(ms=self.at_ms, changes_until_ms=inf if view is View.LIVE else self.at_ms)
        self.soundness = Soundness(self)
        self.undoing = Undoing(self)
        self.clocks = Clocks(self)
        self.failures = Failures(self)
        self.in_order = InOrder(self)
        self._assessments: dict[tuple[ThingId, EventId], Assessment] = {}
        self._limits: dict[tuple[ThingId, str], dict[str, EffectiveLimit]] = {}
        self._alone: dict[tuple[ThingId, EventId, str, AsOf], Standing] = {}
        self._subjects: dict[tuple[ThingId, str], tuple[Subject, ...]] = {}
        self._applies: dict[tuple[ThingId, str], bool] = {}
        self._standings: dict[tuple[ThingId, str, str, str], Standing] = {}
        self._not_understood = NOT_UNDERSTOOD in book.changes.kinds(EVERYTHING)
        self._depth = 0

    # --- one requirement --------------------------------------------------------------------------------------------

    def standing(self, unit: ThingId, step: Step, kind: str, subject: Subject) -> Standing:
        """How the evidence of a step, as one kind, stands for a subject of a unit now."""
        key = (unit, step.id, kind, subject.key or subject.position)
        if key not in self._standings:
            self._standings[key] = self._standing(unit, step, kind, subject)
        return self._standings[key]

    def _standing(self, unit: ThingId, step: Step, kind: str, subject: Subject) -> Standing:
        since: Order | None = None
        if subject.missing:
            found = Standing(state=State.ABSENT, code=f"no-{subject.missing}", mend=step.id)
        else:
            found, since = self._decide(unit, step, kind, subject)
        if found.state not in (State.ABSENT, State.EXPIRED):
            return found
        waiver = self.waiver(unit, step, subject.key or subject.position, self.now)
        if waiver is None or (since is not None and waiver.order < since):
            return found
        if found.item is not None and self.undoing.due(unit, found.item, kind, self.now)[0]:
            return found  # it has run out, but something would have to be looked at even if it had not
        return replace(
            found,
            state=State.WAIVED,
            code="waived",
            cause=waiver.event,
            until_ms=None,
            values={"reason": waiver.given.reason, "hearer": waiver.given.hearer},
            marks=("waived",),
        )

    def _decide(self, unit: ThingId, step: Step, kind: str, subject: Subject) -> tuple[Standing, Order | None]:
        """The standing, and since when a waiver would have to be given to cover it."""
        failed, sinces = self.failures.now(unit, step.id, subject.key)
        if failed is not None:
            return self._failed(unit, failed, step), None
        withdrawn = self._withdrawn_of(step, subject)
        items = [
            item
            for item in self.window(step.id, subject.key, self.now)
            if all(self.book.lineage.outlives(item, since.place) for since in sinces)
            and all(item.when > one.when or self.over(one.event, item) for one in withdrawn)
        ]
        if not items:
            if sinces:
                last = max(sinces, key=lambda one: one.place.order)
                found = Standing(state=State.VOID, code=last.code, cause=last.cause, values=last.values, mend=step.id)
                return found, None
            if not withdrawn:
                return Standing(state=State.ABSENT, code="never-done", mend=step.id), None
            taken_back = self.book.withdrawals[max(withdrawn, key=lambda one: one.when).event]
            found = Standing(
                state=State.ABSENT,
                code="reading-withdrawn",
                cause=taken_back.by,
                mend=step.id,
                values={"reason": taken_back.reason},
            )
            return found, taken_back.order
        return self._first_that_counts(unit, items, kind), None

    def _first_that_counts(self, unit: ThingId, items: list[Item], kind: str) -> Standing:
        """The newest reading that stands; the newest of all where none does.

        A reading that something undid, or that was made out of order, says nothing against an older one that stands.
        One whose numbers cannot be told does, so does one that has ended by itself, and one near its limit that waits
        for a second: its numbers were the newer ones. Declaring more never brings an older reading forward by that.
        """
        first: Standing | None = None
        near = False
        ends: list[int] = []
        for item in items:
            found = self.alone(unit, item, kind, self.now)
            outcome = self.assess(item, unit).outcome
            near = near or outcome is Outcome.NEAR or self._near_before(unit, item)
            if found.state is State.CURRENT:
                ends += [] if found.until_ms is None else [found.until_ms]
                marks = (*found.marks, "near limit") if near else found.marks
                return replace(found, marks=marks, until_ms=min(ends, default=None))
            first = first or found
            if outcome not in _PASSING or self.clocks.ended(unit, item, kind, self.now) is not None:
                break
            if outcome is Outcome.NEAR and not self.has_second(unit, item, kind):
                break
            until_ms = self.clocks.until(unit, item, kind, self.now)
            ends += [] if until_ms is None else [until_ms]
        assert first is not None
        return first

    def _failed(self, unit: ThingId, item: Item, step: Step) -> Standing:
        return Standing(
            state=State.FAILED,
            item=item,
            code="outside-limit",
            assessment=self.assess(item, unit),
            mend=step.id,
            cause=item.event,
            marks=self._marks(unit, item, step),
        )

    def _withdrawn_of(self, step: Step, subject: Subject) -> list[Item]:
        events = self.book.withdrawn_of.get(f"{step.id} {subject.key}", ())
        return [self.book.items[one] for one in events if self.withdrawn(one) is not None]

    def waiver(self, unit: ThingId, step: Step, about: str, asof: AsOf) -> Waiver | None:
        """The waiver that covers a step about something as of a moment; None where none does."""
        if step.never_skipped:
            return None
        book = self.book
        until_ms = max(asof.ms, asof.changes_until_ms)
        day = book.episode_at(unit, "dive-day", asof.ms)
        for waiver in reversed(book.waivers.get(unit, [])):
            if (
                waiver.given.step == step.id
                and book.world.canonical(waiver.given.subject) == about
                and waiver.dives == self.dives_before(unit, waiver, until_ms)
                and waiver.dive_day == day
                and waiver.occurred_ms <= asof.ms
                and (asof.order is None or waiver.order < asof.order)
                and self.withdrawn(waiver.event) is None
                and not book.world.is_same(waiver.person, waiver.given.hearer)
                and not self._waiver_gone(unit, waiver, asof)
            ):
                return waiver
        return None

    def _waiver_gone(self, unit: ThingId, waiver: Waiver, asof: AsOf) -> bool:
        """Whether a change took away the reason of a waiver, or the team that heard it."""
        book = self.book
        return any(
            self.undoing.condition_holds(rule, entry) and entry.unit == unit
            for rule in self.catalogue.rules_hitting.get(WAIVER_KIND, ())
            for entry in book.changes.undoing(
                rule.change, (unit,), reader=waiver, lineage=book.lineage, until_ms=asof.changes_until_ms
            )
        )

    # --- one piece of evidence --------------------------------------------------------------------------------------

    def alone(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> Standing:
        """How one piece of evidence stood at a moment, whatever else was read."""
        key = (unit, item.event, kind, asof)
        known = self._alone.get(key)
        if known is None:
            if self._depth > _DEEPEST:
                return Standing(state=State.CANNOT_TELL, item=item, code="cannot-tell", mend=item.step)
            self._depth += 1
            try:
                known = self._alone[key] = self._judge_alone(unit, item, kind, asof)
            finally:
                self._depth -= 1
        return known

    def _judge_alone(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> Standing:
        step = self.catalogue.steps.get(item.step)
        if step is None:
            return Standing(state=State.CANNOT_TELL, item=item, code="step-unknown", values={"step": item.step})
        found = self.assess(item, unit)
        base = Standing(
            state=State.CURRENT, item=item, assessment=found, marks=self._marks(unit, item, step), mend=step.id
        )
        fallen = self._fallen(unit, item, kind, asof, base, found)
        if fallen is not None:
            return fallen
        disorder = self.in_order.broken(item, step)
        if disorder is not None:
            return replace(base, state=State.OUT_OF_ORDER, code=disorder[0], values=disorder[1])
        unclear = self._unclear(unit, item, kind, asof, step, found)
        if unclear is not None:
            return replace(base, state=State.CANNOT_TELL, code=unclear[0], values=unclear[1])
        ended = self.clocks.ended(unit, item, kind, asof)
        if ended is not None:
            return replace(base, state=State.EXPIRED, code=ended[0], values=ended[1])
        due, confirmed_until_ms = self.undoing.due(unit, item, kind, asof)
        if due:
            first = due[0]
            return replace(
                base,
                state=State.RECHECK,
                code="change-withdrawn" if first.withdrawn else "recheck-after-change",
                values={**self._change_values(first.entry), "by": first.by},
                cause=first.entry.event,
                mend=first.by,
            )
        ends = [one for one in (self.clocks.until(unit, item, kind, asof), confirmed_until_ms) if one is not None]
        return replace(base, until_ms=min(ends, default=None))

    def _fallen(
        self, unit: ThingId, item: Item, kind: str, asof: AsOf, base: Standing, found: Assessment
    ) -> Standing | None:
        withdrawal = self.withdrawn(item.event)
        if withdrawal is not None:
            return replace(base, state=State.ABSENT, code="reading-withdrawn", cause=withdrawal.by)
        unsound = self.soundness.of(unit, item)
        if unsound is not None:
            return replace(base, state=State.VOID, code=unsound.code, cause=unsound.cause)
        if found.outcome is Outcome.OUTSIDE:
            return replace(base, state=State.FAILED, code="outside-limit", cause=item.event)
        undone = self.undoing.voided(unit, item, kind, asof)
        if undone is not None:
            code = "undone-by-exchange" if undone.inferred else "undone-by-change"
            values = self._change_values(undone)
            return replace(base, state=State.VOID, code=code, cause=undone.event, values=values)
        strange = self.undoing.not_understood(unit, item, asof) if self._not_understood else None
        if strange is not None:
            return replace(
                base,
                state=State.CANNOT_TELL,
                code="change-not-understood",
                cause=strange.event,
                values=self._change_values(strange),
            )
        return None

    def _unclear(
        self, unit: ThingId, item: Item, kind: str, asof: AsOf, step: Step, found: Assessment
    ) -> tuple[str, dict[str, str]] | None:
        if found.outcome is Outcome.CANNOT_TELL:
            decisive = found.decisive
            return (decisive.code if decisive else "") or "cannot-tell", decisive.values if decisive else {}
        for other in self._used(item):
            first_kind = self.catalogue.steps[other.step].makes[0]
            if self.alone(item.unit, other, first_kind, AsOf.of(item)).state is State.CANNOT_TELL:
                return "rests-on-unclear", {"step": other.step}
        unconfirmed = self.unconfirmed_limit(unit, step)
        if unconfirmed is not None:
            return "limit-unconfirmed", {"limit": unconfirmed.limit.id, "value": unconfirmed.shown}
        if not self.has_second(unit, item, kind):
            return "near-needs-second", {}
        unmeasured = self.undoing.unmeasured(unit, item, kind, asof)
        if unmeasured:
            return "surroundings-unknown", {"what": unmeasured}
        return None

    def _change_values(self, entry: ChangeEntry) -> dict[str, str]:
        change = self.catalogue.changes.get(entry.change)
        title = change.title if change else entry.change
        return {"change": title, "at_ms": str(entry.occurred_ms), "zone": entry.zone}

    # --- a reading near its limit -----------------------------------------------------------------------------------

    def has_second(self, unit: ThingId, item: Item, kind: str) -> bool:
        """Whether a reading near its limit is the second in a row that is, the first standing when it was made.

        After one well inside it is the first: something has moved, and the next reading has to say what. One that was
        taken back between the two stands in the way as well: taking back helps nobody.
        """
        if self.assess(item, unit).outcome is not Outcome.NEAR:
            return True
        asof = AsOf.of(item)
        for before in self._newest(item.step, item.subject, asof):
            if self.withdrawn(before.event) is not None or self.assess(before, unit).outcome is not Outcome.NEAR:
                return False
            if before.when < item.when and self._stood(unit, before, kind, asof):
                return True
        return False

    def _stood(self, unit: ThingId, item: Item, kind: str, asof: AsOf) -> bool:
        """Whether evidence stood in every respect, though near its limit perhaps without a second reading."""
        step = self.catalogue.steps.get(item.step)
        return (
            step is not None
            and self.soundness.of(unit, item) is None
            and self.undoing.voided(unit, item, kind, asof) is None
            and self.in_order.broken(item, step) is None
            and self.clocks.ended(unit, item, kind, asof) is None
            and not self.undoing.due(unit, item, kind, asof)[0]
        )

    def _near_before(self, unit: ThingId, item: Item) -> bool:
        """Whether the reading before this one was near its limit; then this one is the second, and stays marked."""
        before = next(self.window(item.step, item.subject, AsOf.of(item)), None)
        return before is not None and self.assess(before, unit).outcome is Outcome.NEAR

    def stood_when_read(self, unit: ThingId, item: Item, step: Step) -> bool:
        """Whether evidence counted at the very moment at which it was read."""
        return (
            self.assess(item, unit).outcome in _PASSING
            and self.soundness.of(unit, item) is None
            and self.unconfirmed_limit(unit, step) is None
            and self.has_second(unit, item, step.makes[0])
            and self.in_order.broken(item, step) is None
        )

    # --- readings against limits ------------------------------------------------------------------------------------

    def assess(self, item: Item, unit: ThingId = "") -> Assessment:
        """The item's readings against the limits that hold now for a unit (its own, where none is named)."""
        unit = unit or item.unit
        known = self._assessments.get((unit, item.event))
        if known is None:
            step = self.catalogue.steps.get(item.step)
            known = (
                Assessment(outcome=Outcome.CANNOT_TELL, findings=())
                if step is None
                else self.compare(step, item, self.limits(unit, step), today=self.today)
            )
            self._assessments[unit, item.event] = known
        return known

    def unsound(self, item: Item, unit: ThingId = "") -> Unsound | None:
        """Why an item was never good; None where nothing says so."""
        return self.soundness.of(unit or item.unit, item)

    def compare(
        self, step: Step, item: Item, limits: Mapping[str, EffectiveLimit], *, today: date | None = None
    ) -> Assessment:
        """The item's readings against given limits; dates as of the day of reading where no other day is named."""
        return compared(self.book, self.catalogue, step, item, limits, today=today)

    def limits(self, unit: ThingId, step: Step) -> dict[str, EffectiveLimit]:
        """The step's limits as they hold for the unit now, by identifier."""
        key = (unit, step.id)
        if key not in self._limits:
            self._limits[key] = {
                limit.id: effective_limit(self.book, unit, limit, self.at_ms, known_until_ms=self.truth_until_ms)
                for limit in step.limits
            }
        return self._limits[key]

    def unconfirmed_limit(self, unit: ThingId, step: Step) -> EffectiveLimit | None:
        """A limit of a never-skipped step that the owner has not yet held against the unit's manual."""
        if not step.never_skipped:
            return None
        for limit in self.limits(unit, step).values():
            if limit.limit.rule not in (Rule.DAYS_LEFT, Rule.DAYS_SINCE, Rule.ONE_OF) and not limit.confirmed:
                return limit
        return None

    def _marks(self, unit: ThingId, item: Item, step: Step) -> tuple[str, ...]:
        marks = ["single-handed"] if item.payload.single_handed else []
        marks += [f"loosened {name}" for name, limit in self.limits(unit, step).items() if limit.loosened]
        return tuple(marks)

    def inherited_marks(self, unit: ThingId, item: Item) -> Iterator[tuple[str, str]]:
        """Marks of everything that evidence rests on, with the step that each belongs to."""
        for other in self.rests_on(item):
            step = self.catalogue.steps.get(other.step)
            if step is not None:
                near = ("near limit",) if self.assess(other, unit).outcome is Outcome.NEAR else ()
                for mark in (*self._marks(unit, other, step), *near):
                    yield mark, step.id

    # --- looking things up ------------------------------------------------------------------------------------------

    def window(self, step: str, subject: str, asof: AsOf) -> Iterator[Item]:
        """The newest readings of a step about a subject as of a moment, newest first, without those taken back.

        Those take their place in the window all the same: taking a reading back brings no older one into it.
        """
        return (one for one in self._newest(step, subject, asof) if self.withdrawn(one.event) is None)

    def _newest(self, step: str, subject: str, asof: AsOf) -> Iterator[Item]:
        if not subject:
            return
        items, key, found = self.book.items, f"{step} {subject}", 0
        filed = self.book.by_subject.get(key, [])
        for place in range(bisect_right(self.book.times_of.get(key, ()), asof.ms) - 1, -1, -1):
            item = items[filed[place]]
            if asof.order is not None and item.order >= asof.order:
                continue
            yield item
            found += 1
            if found == WINDOW:
                return

    def failed_items(self, step: str, subject: str) -> list[Item]:
        """Every reading of a step about a subject that was outside its limits when it was read."""
        return list(self.failures.failed(step, subject))

    def ask_everything(self, unit: ThingId, item: Item, step: Step) -> None:
        """Put every question about a piece of evidence that any later event may lead to (see `snapshot`)."""
        for one in (item, *self.rests_on(item)):
            self.assess(one, unit)
            self.soundness.of(unit, one)
            for instrument in self.instruments(one):
                self.soundness.first_good(one, instrument)
        list(self.soundness.doubts(unit, item))
        list(self.inherited_marks(unit, item))
        self.in_order.broken(item, step)
        self._near_before(unit, item)
        for kind in step.makes:
            self.has_second(unit, item, kind)
            self.undoing.voided(unit, item, kind, self.now)
            self.undoing.due(unit, item, kind, self.now)
            self.clocks.ended(unit, item, kind, self.now)
            self.alone(unit, item, kind, self.now)
            for used in self._used(item):
                self.alone(item.unit, used, self.catalogue.steps[used.step].makes[0], AsOf.of(item))

    def rests_on(self, item: Item) -> list[Item]:
        """Everything that an item rests on, directly or through other evidence."""
        found: dict[EventId, Item] = {}
        waiting = list(item.payload.used)
        while waiting:
            other = self.book.items.get(waiting.pop())
            if other is not None and other.event not in found:
                found[other.event] = other
                waiting.extend(other.payload.used)
        return sorted(found.values(), key=lambda one: one.order)

    def _used(self, item: Item) -> list[Item]:
        found = (self.book.items.get(used) for used in item.payload.used)
        return [one for one in found if one is not None and one.step in self.catalogue.steps]

    def withdrawn(self, event: EventId) -> Withdrawal | None:
        """The withdrawal of an event, if it is known from this point of view."""
        withdrawal = self.book.withdrawals.get(event)
        if withdrawal is None or withdrawal.occurred_ms > self.truth_until_ms:
            return None
        return withdrawal

    def over(self, event: EventId, reader: Knowing) -> bool:
        """Whether an event had been taken back before something was read, and its reader's device knew of it.

        Then it is past for that reading, even if a clock that was ahead claimed it for later.
        """
        withdrawal = self.withdrawn(event)
        return withdrawal is not None and self.book.lineage.outlives(reader, withdrawal)

    def dives_before(self, unit: ThingId, reader: Knowing, moment_ms: float) -> int:
        """How many dives of a unit had ended by a moment, without those that were over for a reading before it."""
        ended = self.book.dives_before(unit, moment_ms)
        since = self.book.dives_ended.get(unit, [])[self.book.dives_before(unit, reader.occurred_ms) : ended]
        return ended - sum(1 for dive in since if self.over(dive.event, reader))

    def instruments(self, item: Item) -> tuple[ThingId, ...]:
        """What an item was read with, under the identities that things have now."""
        return tuple(self.book.world.canonical(one) for one in item.payload.instruments)

    @cached_property
    def instrument_steps(self) -> tuple[str, ...]:
        """Steps that check an instrument."""
        return tuple(step.id for step in self.catalogue.steps.values() if step.scope.each == "instrument")

    @cached_property
    def _contexts(self) -> dict[str, tuple[str, ...]]:
        """Kind to the conditions of the surroundings that it depends on: named with it, or by a bound that hits it."""
        found = {kind.id: dict.fromkeys(kind.context) for kind in self.catalogue.evidence.values()}
        for bound in self.catalogue.bounds.values():
            for kind in self.catalogue.rules_on.get(bound.acts_as, {}):
                found[kind][bound.id.partition("-")[0]] = None
        return {kind: tuple(names) for kind, names in found.items()}

    def contexts_of(self, kind: str) -> tuple[str, ...]:
        """The conditions of the surroundings that a kind of evidence depends on."""
        return self._contexts[kind]

    def idle_from_ms(self, unit: ThingId, moment_ms: int) -> int | None:
        """From when on a unit counts as having stood unused, if no dive day begins before; None without a dive day."""
        began_ms = self.book.last_dive_day_ms(unit, moment_ms)
        return None if began_ms is None else began_ms + UNUSED_MS

    def subjects_of(self, unit: ThingId, step: Step) -> tuple[Subject, ...]:
        """`subjects`, remembered."""
        key = (unit, step.id)
        if key not in self._subjects:
            self._subjects[key] = subjects(self.book.world, unit, step)
        return self._subjects[key]

    def applies(self, unit: ThingId, step: Step) -> bool:
        """Whether a step applies to the unit's configuration."""
        key = (unit, step.id)
        if key not in self._applies:
            configuration = self.book.world.configuration(unit)
            self._applies[key] = configuration is not None and step.when.holds(configuration)
        return self._applies[key]
