"""What the catalogue is made of: steps, evidence kinds, changes with their effects, bounds, holds and work pages.

Everything here is data read from TOML (see `load`); no verdict is made here. Identifiers are never reused: a step or
evidence kind that goes out of use keeps its identifier for the records that name it.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from functools import cached_property
from typing import Literal, TypeVar

import msgspec

from loopworthy.unit.condition import When
from loopworthy.unit.events import EpisodeKind
from loopworthy.vocabulary.errors import InputError, UnknownNameError

T = TypeVar("T")


class Origin(StrEnum):
    """Where a limit comes from; shown beside it wherever it is used."""

    COMMON_PRACTICE = "common practice"
    SOURCE = "published source"
    MEMORY = "from memory: confirm"
    PROPOSAL = "proposal of this catalogue"
    OWNER = "set by owner"


class InputKind(StrEnum):
    """What a person enters for a step."""

    TICK = "tick"
    NUMBER = "number"
    NUMBERS = "numbers"
    COUNT = "count"
    TEXT = "text"
    LIST = "list"
    CHOICE = "choice"
    DATE = "date"
    TIME = "time"
    TRACE = "trace"
    FILE = "file"


class Rule(StrEnum):
    """How a limit is compared with what was entered."""

    AT_LEAST = "at least"
    AT_MOST = "at most"
    BELOW = "below"
    WITHIN = "within"
    """The entry differs from the entry named by `of` by at most the value."""
    TIMES = "at least times"
    """The entry is at least the value times the entry named by `of`."""
    DAYS_LEFT = "days left at least"
    """The date entered lies at least so many days ahead."""
    DAYS_SINCE = "days since at most"
    """The date entered lies at most so many days back."""
    ONE_OF = "one of"
    """The choice entered is one of the values, separated by commas."""
    JUDGE = "for the judge"
    """A number that the step's own judge reads."""


TIGHTER_WHEN_HIGHER = frozenset({Rule.AT_LEAST, Rule.TIMES, Rule.DAYS_LEFT})


class Tighter(StrEnum):
    """Which way a limit for a judge becomes stricter."""

    LOWER = "lower"
    HIGHER = "higher"


class Limit(msgspec.Struct, frozen=True, kw_only=True):
    """A limit with its provenance.

    Attributes
    ----------
    id : str
        ``<step>.<name>``, for example ``C06.tolerance``.
    rule, on, of : Rule, str, str
        How to compare, the input it is about, the other input where the rule needs one.
    value, unit : str
        Decimal (or list of choices) and its unit.
    guard : str
        A reading inside the limit but nearer to it than this is near the limit; empty for none.
    tighter : Tighter
        Which way is stricter.
    origin, source : Origin, str
        Where it comes from, in one word and in full.
    """

    id: str
    rule: Rule
    on: str
    of: str
    value: str
    unit: str
    guard: str
    tighter: Tighter
    origin: Origin
    source: str

    def is_tightened_by(self, other: str) -> bool:
        """Whether another value is at least as strict as this one."""
        if self.rule is Rule.ONE_OF:
            return set(_choices(other)) <= set(_choices(self.value))
        mine, theirs = Decimal(self.value), Decimal(other)
        return theirs >= mine if self.tighter is Tighter.HIGHER else theirs <= mine


def _choices(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


class Input(msgspec.Struct, frozen=True, kw_only=True):
    """One field of a step.

    `usual_low` and `usual_high` bound what is usually read, so that an odd value is asked about at once; they are no
    limits. `context` names a condition of the surroundings that this field measures (``ambient``, ``temperature``,
    ``humidity``). `count` is how many numbers a ``numbers`` field takes.
    """

    name: str
    label: str
    kind: InputKind
    unit: str = ""
    usual_low: str = ""
    usual_high: str = ""
    choices: tuple[str, ...] = ()
    count: int = 1
    required: bool = True
    context: str = ""
    help: str = ""


class Scope(msgspec.Struct, frozen=True, kw_only=True):
    """What one reading of a step is about.

    Attributes
    ----------
    each : str
        ``unit``, or a part kind such as ``oxygen-sensor``: one reading for each such part that is fitted.
    places : tuple of str
        Only positions whose identity starts with one of these.
    binds : str
        ``part``: to the part itself. ``content``: to what is in it now (gas fill, absorbent fill). ``channel``: to
        the part, its position and the thing at the first existing position of `channel`.
    channel : tuple of str
        Positions, the first that exists counts.
    """

    each: str = "unit"
    places: tuple[str, ...] = ()
    binds: str = "part"
    channel: tuple[str, ...] = ()


class Step(msgspec.Struct, frozen=True, kw_only=True):
    """One step of the list: what to do, what to enter, what it proves and what it does not."""

    id: str
    title: str
    text: str
    accept: str
    when: When
    scope: Scope
    inputs: tuple[Input, ...]
    limits: tuple[Limit, ...]
    makes: tuple[str, ...]
    uses: tuple[str, ...]
    after: tuple[str, ...]
    renews: tuple[str, ...]
    """Evidence kinds whose clock this step starts anew, where they have expired but nothing has undone them."""
    judge: str
    page: str
    why: str
    not_proven: str
    never_skipped: bool
    on_request: bool
    """Option and bench rows: asked only where a hold names their evidence and no other step makes it."""
    two_person: bool

    def limit(self, name: str) -> Limit | None:
        """The limit of that name (without the step's identifier)."""
        wanted = f"{self.id}.{name}"
        return next((limit for limit in self.limits if limit.id == wanted), None)

    def input(self, name: str) -> Input | None:
        """The input of that name."""
        return next((one for one in self.inputs if one.name == name), None)


class EvidenceKind(msgspec.Struct, frozen=True, kw_only=True):
    """A kind of evidence: what it rests on, how long it stands, which one reading restores it."""

    id: str
    title: str
    produced_by: str
    voided_by: str
    expires: str
    """Its bounds in words."""
    expires_after_min: int | None
    episode: EpisodeKind | Literal[""]
    """Evidence ends with the episode it was made in: ``dive-day``, ``preparation``, ``assembly``, ``dive``; or ''."""
    origin: Origin
    recheck_by: str
    """Step whose one reading restores it after a re-check fell due."""
    momentary: bool
    """Needed at the moment when other evidence is made on it, not afterwards."""
    context: tuple[str, ...]
    not_proven: str


class Question(msgspec.Struct, frozen=True, kw_only=True):
    """What has to be known about a change; unanswered counts as `worst`."""

    id: str
    text: str
    answers: tuple[str, ...]
    worst: str


class Effect(StrEnum):
    """What a change does to evidence."""

    VOID = "void"
    RECHECK = "re-check"
    DISPROVE = "disprove"
    """It was never true: what rests on it falls with it."""


class EffectRule(msgspec.Struct, frozen=True, kw_only=True):
    """One cell of the table of changes: evidence of this kind, in this scope, under this condition."""

    change: str
    effect: Effect
    evidence: str
    scope: str
    """``subject``: of the things changed and what is in them; ``side``: also of the parts on the same gas side;
    ``whole``: read of the unit as one, not of one of its parts;
    ``unit``: of the unit and all that is fitted in it; ``instrument``: made with the instrument since its last good
    check; ``record``: everywhere."""
    by: str
    """For a re-check: the step whose one reading restores it."""
    condition: tuple[tuple[str, str], ...]
    """Question and answer pairs that must all hold."""


class Change(msgspec.Struct, frozen=True, kw_only=True):
    """Something that happened to a unit, as a person would say it, and what falls."""

    id: str
    title: str
    group: str
    part: str
    """Part kind that the person picks; '' when it concerns the whole unit."""
    places: tuple[str, ...]
    several: bool
    does: str
    """What else is recorded with it: ``replaces part``, ``swaps parts``, ``new gas``, ``new absorbent``, ``new diver``,
    ``reconfigures``, ``ends dive``, ``finds instrument bad``, or ''."""
    questions: tuple[Question, ...]
    rules: tuple[EffectRule, ...]
    keeps: str
    hold: str
    """Words of the hold that it opens; '' for none. A hold stays until a second person releases it."""
    freezes: bool
    """Nothing may change any more (incident)."""
    source: str


class Bound(msgspec.Struct, frozen=True, kw_only=True):
    """A measured condition that acts as a change once it has moved too far from the evidence's own context."""

    id: str
    limit: str
    unit: str
    acts_as: str
    origin: Origin
    source: str


class Hold(msgspec.Struct, frozen=True, kw_only=True):
    """A point that nobody passes without the evidence that it names."""

    id: str
    title: str
    needs: tuple[str, ...]
    when: When


class Page(msgspec.Struct, frozen=True, kw_only=True):
    """Steps that are done and entered together."""

    id: str
    title: str
    hold: str
    order: int


class Catalogue(msgspec.Struct, frozen=True, kw_only=True, dict=True):
    """The whole catalogue, checked as one."""

    revision: str
    digest: str
    steps: Mapping[str, Step]
    evidence: Mapping[str, EvidenceKind]
    changes: Mapping[str, Change]
    bounds: Mapping[str, Bound]
    holds: tuple[Hold, ...]
    pages: tuple[Page, ...]
    texts: Mapping[str, str]
    """File name to full text, as adopted."""

    def step(self, identifier: str) -> Step:
        """The step of that identifier.

        Raises
        ------
        UnknownNameError
            If the catalogue has none.
        """
        return _named("step", self.steps, identifier)

    def kind(self, identifier: str) -> EvidenceKind:
        """The evidence kind of that identifier."""
        return _named("kind of evidence", self.evidence, identifier)

    def change(self, identifier: str) -> Change:
        """The change of that identifier."""
        return _named("change", self.changes, identifier)

    @cached_property
    def steps_making(self) -> Mapping[str, tuple[Step, ...]]:
        """Evidence kind to the steps that make it, in catalogue order."""
        making: dict[str, list[Step]] = {kind: [] for kind in self.evidence}
        for step in self.steps.values():
            for kind in step.makes:
                making[kind].append(step)
        return {kind: tuple(steps) for kind, steps in making.items()}

    @cached_property
    def asked(self) -> dict[object, tuple[Step, ...]]:
        """What `asked.asked_steps` has worked out already for kinds, hold points and configurations."""
        return {}

    @cached_property
    def order(self) -> Mapping[str, int]:
        """Step to its place in the day: by page, and within a page what others rest on first."""
        placed: dict[str, int] = {}
        by_page: dict[str, list[Step]] = {page.id: [] for page in self.pages}
        for step in self.steps.values():
            by_page[step.page].append(step)
        for steps in by_page.values():
            for step in steps:
                self._place(step, {one.id for one in steps}, placed, ())
        return placed

    def _place(self, step: Step, page: set[str], placed: dict[str, int], path: tuple[str, ...]) -> None:
        if step.id in placed:
            return
        if step.id in path:
            raise InputError("order", " -> ".join((*path, step.id)), "without a circle: no step rests on itself")
        makers = [maker.id for kind in step.after for maker in self.steps_making[kind] if kind not in step.makes]
        for earlier in (*step.uses, *makers):
            if earlier in page:
                self._place(self.steps[earlier], page, placed, (*path, step.id))
        placed[step.id] = len(placed)

    @cached_property
    def rules_hitting(self) -> Mapping[str, tuple[EffectRule, ...]]:
        """Evidence kind to every rule that hits it."""
        table: dict[str, list[EffectRule]] = {kind: [] for kind in self.evidence}
        for change in self.changes.values():
            for rule in change.rules:
                table[rule.evidence].append(rule)
        return {kind: tuple(rules) for kind, rules in table.items()}

    @cached_property
    def renewing(self) -> Mapping[str, tuple[Step, ...]]:
        """Evidence kind to the steps that start its clock anew."""
        table: dict[str, list[Step]] = {}
        for step in self.steps.values():
            for kind in step.renews:
                table.setdefault(kind, []).append(step)
        return {kind: tuple(steps) for kind, steps in table.items()}

    @cached_property
    def rules_on(self) -> Mapping[str, Mapping[str, tuple[EffectRule, ...]]]:
        """Change to evidence kind to the rules that hit it."""
        table: dict[str, dict[str, list[EffectRule]]] = {}
        for change in self.changes.values():
            for rule in change.rules:
                table.setdefault(change.id, {}).setdefault(rule.evidence, []).append(rule)
        return {change: {kind: tuple(rules) for kind, rules in row.items()} for change, row in table.items()}

    @cached_property
    def limits(self) -> Mapping[str, Limit]:
        """Limit identifier to limit."""
        return {limit.id: limit for step in self.steps.values() for limit in step.limits}


def _named(what: str, table: Mapping[str, T], identifier: str) -> T:
    found = table.get(identifier)
    if found is None:
        raise UnknownNameError(what, identifier, tuple(difflib.get_close_matches(identifier, table, n=3, cutoff=0.5)))
    return found
