"""Single entries of the catalogue: a step, a kind of evidence, a hold point, and a change with its three columns."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.doors.telling import Telling
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.catalogue.model import Change, Effect, EffectRule, InputKind, Step
from loopworthy.judgement.outcome import EffectiveLimit
from loopworthy.unit.condition import Condition, When
from loopworthy.vocabulary.errors import UnknownNameError

LATE_GROUP = "more"
"""The group of changes for which the trade's table has no row."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """An entry in a list: its identifier, its words, its address, and a mark where it has one."""

    id: str
    title: str
    href: str
    never_skipped: bool = False


def named(asked: Asked, kind: str, identifier: str, title: str, *, never_skipped: bool = False) -> Named:
    return Named(
        id=identifier,
        title=title,
        href=asked.links.catalogue_entry(kind, identifier),
        never_skipped=never_skipped,
    )


# --- one entry ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A part of an entry: a heading, pairs of name and words, and links.

    Attributes
    ----------
    title : str
        '' for the part that stands first.
    pairs : tuple of (str, str)
    links : tuple of Named
    """

    title: str
    pairs: tuple[tuple[str, str], ...] = ()
    links: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class EntryPage:
    """One entry of the catalogue.

    Attributes
    ----------
    frame : Frame
    kind, id, title, lead : str
        What it is; its identifier; its words; the sentence beneath.
    never_skipped, two_person : bool
    blocks : tuple of Block
    file_href, file_text : str
        A file of it to take, '' where there is none.
    back_href : str
    """

    frame: Frame
    kind: str
    id: str
    title: str
    lead: str
    blocks: tuple[Block, ...]
    back_href: str
    never_skipped: bool = False
    two_person: bool = False
    file_href: str = ""


def step(asked: Asked) -> Answer:
    """One step: what to do, what is entered, its limits with their origin, what it proves and does not."""
    one = asked.workplace.catalogue.step(asked.values["step"])
    return Page(template="catalogue_entry.html", context=_entry_of_step(asked, one))


def _entry_of_step(asked: Asked, one: Step) -> EntryPage:
    say, catalogue = asked.say, asked.workplace.catalogue
    page = next(page for page in catalogue.pages if page.id == one.page)
    about = [(say("catalogue.accept"), one.accept), (say("catalogue.asked_when"), when_text(asked, one.when))]
    about += [
        (say(f"catalogue.{key}"), text) for key, text in (("why", one.why), ("not_proven", one.not_proven)) if text
    ]
    about.append((say("catalogue.page"), page.title))
    if one.on_request:
        about.append((say("catalogue.on_request"), say("catalogue.on_request_means")))
    entered = tuple(
        (each.label, " ".join(part for part in (_entered(asked, each.kind), each.unit) if part)) for each in one.inputs
    )
    limits = tuple(
        (
            name_of(one, held),
            f"{asked.words.limit_text(held)}. {limit.origin.value} ({limit.source})",
        )
        for limit in one.limits
        for held in (
            EffectiveLimit(limit=limit, value=limit.value, origin=limit.origin, source=limit.source, confirmed=True),
        )
    )
    blocks = [
        Block(title="", pairs=tuple(about)),
        Block(title=say("catalogue.entered"), pairs=entered),
        Block(title=say("catalogue.limits"), pairs=limits),
        Block(title=say("catalogue.makes"), links=_kinds(asked, one.makes)),
        Block(title=say("catalogue.after"), links=_kinds(asked, one.after)),
        Block(title=say("catalogue.uses"), links=_steps(asked, one.uses)),
        Block(title=say("catalogue.renews"), links=_kinds(asked, one.renews)),
    ]
    return EntryPage(
        frame=page_frame(asked, f"{one.id} {one.title}"),
        kind=say("catalogue.a_step"),
        id=one.id,
        title=one.title,
        lead=one.text,
        blocks=filled(blocks),
        back_href=asked.links.catalogue("steps"),
        never_skipped=one.never_skipped,
        two_person=one.two_person,
    )


def name_of(one: Step, held: EffectiveLimit) -> str:
    """What of a step a limit is about."""
    entered = one.input(held.limit.on)
    return entered.label if entered is not None else held.limit.id.partition(".")[2].replace("_", " ")


def _entered(asked: Asked, kind: InputKind) -> str:
    return asked.say(f"catalogue.input_{kind.value}")


def evidence(asked: Asked) -> Answer:
    """One kind of evidence: what makes it, what takes it away, how long it stands, which reading restores it."""
    say, catalogue = asked.say, asked.workplace.catalogue
    one = catalogue.kind(asked.values["kind"])
    pairs = [
        (say("catalogue.produced_by"), one.produced_by),
        (say("catalogue.voided_by"), one.voided_by),
        (say("catalogue.expires"), f"{one.expires}. {one.origin.value}"),
    ]
    if one.recheck_by:
        pairs.append((say("catalogue.recheck_by"), Telling(asked.words).step(one.recheck_by)))
    if one.context:
        names = ", ".join(say(f"event.context_{name}") for name in one.context)
        pairs.append((say("catalogue.context"), names))
    if one.momentary:
        pairs.append((say("catalogue.momentary"), say("catalogue.momentary_means")))
    if one.not_proven:
        pairs.append((say("catalogue.not_proven"), one.not_proven))
    hitting = catalogue.rules_hitting[one.id]
    blocks = [
        Block(title="", pairs=tuple(pairs)),
        Block(title=say("catalogue.made_by"), links=_steps(asked, tuple(s.id for s in catalogue.steps_making[one.id]))),
        Block(
            title=say("catalogue.needed_at"),
            links=tuple(named(asked, "holds", h.id, h.title) for h in catalogue.holds if one.id in h.needs),
        ),
        *(
            Block(
                title=say(f"catalogue.by_effect_{effect.name.lower()}"),
                links=tuple(
                    named(asked, "changes", change, catalogue.changes[change].title)
                    for change in dict.fromkeys(rule.change for rule in hitting if rule.effect is effect)
                ),
            )
            for effect in Effect
        ),
    ]
    context = EntryPage(
        frame=page_frame(asked, f"{one.id} {one.title}"),
        kind=say("catalogue.a_kind"),
        id=one.id,
        title=one.title,
        lead="",
        blocks=filled(blocks),
        back_href=asked.links.catalogue("evidence"),
    )
    return Page(template="catalogue_entry.html", context=context)


def hold(asked: Asked) -> Answer:
    """One hold point: the evidence that it asks for, and the steps that make it."""
    say, catalogue = asked.say, asked.workplace.catalogue
    one = next((each for each in catalogue.holds if each.id == asked.values["hold"]), None)
    if one is None:
        raise UnknownNameError("hold point", asked.values["hold"], tuple(each.id for each in catalogue.holds))
    blocks = [
        Block(title="", pairs=((say("catalogue.asked_when"), when_text(asked, one.when)),)),
        Block(title=say("catalogue.needs"), links=_kinds(asked, one.needs)),
        Block(
            title=say("catalogue.pages"),
            pairs=tuple((page.title, "") for page in catalogue.pages if page.hold == one.id),
        ),
    ]
    context = EntryPage(
        frame=page_frame(asked, f"{one.id} {one.title}"),
        kind=say("catalogue.a_hold"),
        id=one.id,
        title=one.title,
        lead=say("catalogue.hold_means"),
        blocks=filled(blocks),
        back_href=asked.links.catalogue("holds"),
    )
    return Page(template="catalogue_entry.html", context=context)


# --- a change with its three columns --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """One effect: the evidence, under which condition, of what, and for a re-check the step that restores it."""

    title: str
    href: str
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangePage:
    """One change of the catalogue with its three columns.

    Attributes
    ----------
    frame : Frame
    id, title, group, source : str
    questions : tuple of (str, str)
        What has to be known, and the answer that counts where it is not.
    void, recheck, disproved : tuple of Cell
    keeps, hold : str
    back_href : str
    """

    frame: Frame
    id: str
    title: str
    group: str
    source: str
    questions: tuple[tuple[str, str], ...]
    void: tuple[Cell, ...]
    recheck: tuple[Cell, ...]
    disproved: tuple[Cell, ...]
    keeps: str
    hold: str
    back_href: str


def change(asked: Asked) -> Answer:
    """One change: what it takes away, what one reading restores, what stays."""
    say = asked.say
    one = asked.workplace.catalogue.change(asked.values["change"])
    cells = {effect: tuple(_cell(asked, one, rule) for rule in one.rules if rule.effect is effect) for effect in Effect}
    context = ChangePage(
        frame=page_frame(asked, one.title),
        id=one.id,
        title=one.title,
        group=say("catalogue.more_changes") if one.group == LATE_GROUP else say(f"change.group_{one.group}"),
        source=one.source,
        questions=tuple(
            (each.text, say("catalogue.worst", answers=" / ".join(each.answers), worst=each.worst))
            for each in one.questions
        ),
        void=cells[Effect.VOID],
        recheck=cells[Effect.RECHECK],
        disproved=cells[Effect.DISPROVE],
        keeps=one.keeps,
        hold=one.hold,
        back_href=asked.links.catalogue("changes"),
    )
    return Page(template="catalogue_change.html", context=context)


def _cell(asked: Asked, one: Change, rule: EffectRule) -> Cell:
    say, kind = asked.say, asked.workplace.catalogue.kind(rule.evidence)
    questions = {each.id: each.text for each in one.questions}
    told = [
        say("catalogue.if_answer", question=questions.get(name, name), answer=answer) for name, answer in rule.condition
    ]
    told.append(say(f"catalogue.scope_{rule.scope}"))
    if rule.effect is Effect.RECHECK and rule.by:
        told.append(say("catalogue.restored_by", step=Telling(asked.words).step(rule.by)))
    return Cell(
        title=f"{kind.id} {kind.title}", href=asked.links.catalogue_entry("evidence", kind.id), told="; ".join(told)
    )


# --- inside ---------------------------------------------------------------------------------------------------------


def when_text(asked: Asked, when: When) -> str:
    """Of which units something is asked, in words."""
    if not when.any_of and not when.none_of:
        return asked.say("catalogue.always")
    told = []
    if when.any_of:
        told.append(asked.say("catalogue.when_any", options=_listed(asked, when.any_of)))
    if when.none_of:
        told.append(asked.say("catalogue.when_none", options=_listed(asked, when.none_of)))
    return " ".join(told)


def _listed(asked: Asked, conditions: tuple[Condition, ...]) -> str:
    return asked.say("catalogue.or").join(one.describe() for one in conditions)


def _kinds(asked: Asked, kinds: tuple[str, ...]) -> tuple[Named, ...]:
    known = asked.workplace.catalogue.evidence
    return tuple(named(asked, "evidence", kind, known[kind].title) for kind in kinds)


def _steps(asked: Asked, steps: tuple[str, ...]) -> tuple[Named, ...]:
    known = asked.workplace.catalogue.steps
    return tuple(named(asked, "steps", one, known[one].title, never_skipped=known[one].never_skipped) for one in steps)


def filled(blocks: list[Block]) -> tuple[Block, ...]:
    return tuple(one for one in blocks if one.pairs or one.links)


ROUTES = (
    Door(path="/catalogue/steps/{step}", handler=step),
    Door(path="/catalogue/evidence/{kind}", handler=evidence),
    Door(path="/catalogue/changes/{change}", handler=change),
    Door(path="/catalogue/holds/{hold}", handler=hold),
)
