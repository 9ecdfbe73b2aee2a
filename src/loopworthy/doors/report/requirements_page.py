"""The reference page of requirements: holds, steps, evidence, changes and bounds, from the catalogue itself."""

from __future__ import annotations

from collections.abc import Iterable

from loopworthy.doors.report.markdown import anchor, code, codes, sections, table
from loopworthy.judgement.catalogue.model import (
    Catalogue,
    Change,
    Effect,
    EffectRule,
    EvidenceKind,
    Hold,
    Input,
    Limit,
    Origin,
    Page,
    Rule,
    Step,
)
from loopworthy.unit.condition import When

_OPENING = """# Requirements

This page is made from the catalogue, revision {revision}, by
`python -m loopworthy.doors.report.reference docs/reference`.

A hold asks for kinds of evidence; steps make evidence; changes, time and measured bounds take it away. What is
never skipped cannot be waived. What a step does not prove stands beside it, because a list that is done looks like more
than it is. The unit's manual, training and local rules come first; where they differ from this page, follow them and
set your own limits.

Steps {steps}, kinds of evidence {evidence}, changes {changes}, limits {limits}, hold points {holds}, work pages
{pages}.

- [Where limits come from](#where-limits-come-from)
- [Hold points](#hold-points)
- [Steps, page by page](#steps-page-by-page)
- [From step to evidence](#from-step-to-evidence)
- [Evidence](#evidence)
- [Changes](#changes)
- [Measured bounds](#measured-bounds)"""

_HOLDS = """## Hold points

Nobody goes on without each kind of evidence that applies, current, and that of every hold before."""

_STEPS = """## Steps, page by page

What is read together is entered together. Numbers are entered in the unit that stands beside them; *usual* is what is
asked about when it is not read, and no limit. A limit with a *guard* is near when the margin is smaller than that: then
a second reading has to agree."""

_LIMIT_HEAD = ("limit", "rule", "value", "guard", "stricter when", "origin")

_ORIGINS = {
    Origin.COMMON_PRACTICE: "the trade does it so; no single source",
    Origin.SOURCE: "a publication, named beside it",
    Origin.MEMORY: "known from memory only; hold it against your unit's manual before you rely on it",
    Origin.PROPOSAL: "a number that this catalogue proposes, because the list needs one; nobody has published it",
    Origin.OWNER: "the unit's owner has set it or held it against the manual",
}


def requirements_reference(catalogue: Catalogue) -> str:
    """The page as Markdown."""
    opening = _OPENING.format(
        revision=catalogue.revision,
        steps=len(catalogue.steps),
        evidence=len(catalogue.evidence),
        changes=len(catalogue.changes),
        limits=len(catalogue.limits),
        holds=len(catalogue.holds),
        pages=len(catalogue.pages),
    )
    return (
        sections(
            [
                opening,
                _origins(catalogue),
                _HOLDS,
                *(_hold(catalogue, hold) for hold in catalogue.holds),
                _STEPS,
                *(_page(catalogue, page) for page in catalogue.pages),
                _mapping(catalogue),
                "## Evidence",
                *(_evidence(catalogue, kind) for kind in catalogue.evidence.values()),
                _CHANGES,
                *(_change(catalogue, change) for change in catalogue.changes.values()),
                _bounds(catalogue),
            ]
        )
        + "\n"
    )


# --- limits and holds -------------------------------------------------------------------------------------------------


def _origins(catalogue: Catalogue) -> str:
    rows = [
        (origin.value, meaning, str(sum(limit.origin is origin for limit in catalogue.limits.values())))
        for origin, meaning in _ORIGINS.items()
    ]
    return (
        "## Where limits come from\n\nA limit of a never-skipped step counts only after the owner has held it against "
        f"the unit's manual.\n\n{table(('origin', 'means', 'limits here'), rows)}"
    )


def _hold(catalogue: Catalogue, hold: Hold) -> str:
    rows = [(_to_kind(catalogue, kind), codes(step.id for step in catalogue.steps_making[kind])) for kind in hold.needs]
    applies = f"Applies: {hold.when.describe()}." if hold.when != When() else ""
    return sections([f"### {hold.id} {hold.title}", applies, table(("asks for", "made by"), rows)])


# --- steps ------------------------------------------------------------------------------------------------------------


def _page(catalogue: Catalogue, page: Page) -> str:
    steps = [step for step in catalogue.steps.values() if step.page == page.id]
    return sections(
        [
            f"### {page.title}\n\nPage `{page.id}`, first asked at {page.hold}.",
            *(_step(catalogue, one) for one in steps),
        ]
    )


def _step(catalogue: Catalogue, step: Step) -> str:
    facts = [
        ("applies", step.when.describe()),
        ("is about", _about(step)),
        ("accepted when", step.accept),
        ("makes", ", ".join(_to_kind(catalogue, kind) for kind in step.makes)),
        ("rests on", codes(step.uses)),
        ("comes after", ", ".join(_to_kind(catalogue, kind) for kind in step.after)),
        ("starts the clock anew of", ", ".join(_to_kind(catalogue, kind) for kind in step.renews)),
        ("judged by", code(step.judge)),
        ("why", step.why),
        ("does not prove", step.not_proven),
    ]
    marks = [
        "**Never skipped.**" if step.never_skipped else "",
        "Two people, or said to be single-handed." if step.two_person else "",
        "Asked only where nothing else makes its evidence." if step.on_request else "",
    ]
    return sections(
        [
            f"#### {step.id} {step.title}",
            " ".join(part for part in (step.text, *marks) if part),
            "\n".join(f"- *{name}*: {text}" for name, text in facts if text),
            table(("to enter", "is", "kind", "unit", "usual"), (_input(one) for one in step.inputs)),
            table(
                _LIMIT_HEAD,
                (_limit(step, one) for one in step.limits),
            )
            if step.limits
            else "",
        ]
    )


def _about(step: Step) -> str:
    scope = step.scope
    if scope.each == "unit":
        return "the whole unit"
    bound = {"part": "", "content": ", what is in it", "channel": f", on its channel of {codes(scope.channel)}"}
    places = f" at {codes(scope.places)}" if scope.places else ""
    return f"each {scope.each}{places}{bound.get(scope.binds, '')}"


def _input(one: Input) -> tuple[str, ...]:
    kind = one.kind.value
    if one.choices:
        kind += f": {', '.join(one.choices)}"
    if one.count > 1:
        kind += f", {one.count} of them"
    if not one.required:
        kind += ", may be left out"
    if one.context:
        kind += f"; measures the {one.context}"
    usual = f"{one.usual_low or '…'} to {one.usual_high or '…'}" if one.usual_low or one.usual_high else ""
    told = f"{one.label}. {one.help}" if one.help else one.label
    return (code(one.name), told, kind, one.unit, usual)


def _limit(step: Step, one: Limit) -> tuple[str, ...]:
    on, of = step.input(one.on), step.input(one.of)
    rule = "read by the judge" if one.rule is Rule.JUDGE else one.rule.value
    if on is not None:
        rule = f"“{on.label}” {rule}"
    value = f"{one.value} {one.unit}".strip() if one.unit not in ("1", "count") else one.value
    if of is not None:
        value += f" of “{of.label}”" if one.rule is Rule.WITHIN else f" “{of.label}”"
    origin = f"{one.origin.value}: {one.source}" if one.source else one.origin.value
    guard = f"{one.guard} {one.unit}".strip() if one.guard else ""
    return (code(one.id), rule, value, guard, one.tighter.value, origin)


def _mapping(catalogue: Catalogue) -> str:
    rows = [
        (
            f"{step.id} {step.title}",
            ", ".join(_to_kind(catalogue, kind) for kind in step.makes),
            step.not_proven,
        )
        for step in catalogue.steps.values()
    ]
    return f"## From step to evidence\n\n{table(('step', 'evidence that it makes', 'does not prove'), rows)}"


# --- evidence ---------------------------------------------------------------------------------------------------------


def _evidence(catalogue: Catalogue, kind: EvidenceKind) -> str:
    holds = [hold.id for hold in catalogue.holds if kind.id in hold.needs]
    asked = ", ".join(holds) or ("at the moment when other evidence is made on it" if kind.momentary else "")
    facts = [
        ("rests on", kind.produced_by),
        ("taken away by", kind.voided_by),
        ("stands for", f"{kind.expires} ({kind.origin.value})"),
        ("its clock", _clock(kind)),
        ("surroundings that are compared", ", ".join(kind.context)),
        ("one reading that restores it", code(kind.recheck_by)),
        ("made by", codes(step.id for step in catalogue.steps_making[kind.id])),
        ("clock started anew by", codes(step.id for step in catalogue.renewing.get(kind.id, ()))),
        ("asked at", asked),
        ("does not prove", kind.not_proven),
    ]
    rules = catalogue.rules_hitting[kind.id]
    rows = [(code(rule.change), rule.effect.value, _scope(rule), _condition(rule), code(rule.by)) for rule in rules]
    return sections(
        [
            f"### {kind.id} {kind.title}",
            "\n".join(f"- *{name}*: {text}" for name, text in facts if text),
            table(("change", "does", "to that of", "if", "restored by"), rows) if rows else "No change takes it away.",
        ]
    )


def _clock(kind: EvidenceKind) -> str:
    parts = [f"{kind.expires_after_min} min"] if kind.expires_after_min is not None else []
    if kind.episode:
        parts.append(f"ends with its {kind.episode}")
    return ", ".join(parts) or "none; it stands until something takes it away"


def _to_kind(catalogue: Catalogue, kind: str) -> str:
    title = f"{kind} {catalogue.evidence[kind].title}"
    return f"[{title}](#{anchor(title)})"


# --- changes and bounds -----------------------------------------------------------------------------------------------

_CHANGES = """## Changes

What happened, as a person would say it, in three columns: what it voids, what one reading restores, what it keeps. A
question that nobody answered counts as the answer marked *worst*. *Disprove* means that it was never true; what rests
on it falls with it. The scope says of what: *subject* the things changed and what is in them, *side* also the parts on
the same gas side, *unit* the whole unit, *instrument* what was read with it since its last good check, *record*
everywhere."""


def _change(catalogue: Catalogue, change: Change) -> str:
    facts = [
        ("picks", f"{change.part}{f' at {codes(change.places)}' if change.places else ''}" if change.part else ""),
        ("records as well", change.does),
        ("opens a hold", change.hold + (" Nothing may be changed until it is released." if change.freezes else "")),
        ("source", change.source),
    ]
    questions = "\n".join(
        f"- Question `{one.id}`: {one.text} "
        + ", ".join(f"{answer} (worst)" if answer == one.worst else answer for answer in one.answers)
        for one in change.questions
    )
    disproved = _column(catalogue, change, Effect.DISPROVE)
    head = ("voids", "one reading restores", "keeps", *(("disproves",) if disproved else ()))
    row = (
        _column(catalogue, change, Effect.VOID),
        _column(catalogue, change, Effect.RECHECK),
        change.keeps,
        *((disproved,) if disproved else ()),
    )
    return sections(
        [
            f"### {change.title}\n\n`{change.id}`, group {change.group}",
            questions,
            table(head, [row]),
            "\n".join(f"- *{name}*: {text.strip()}" for name, text in facts if text.strip()),
        ]
    )


def _column(catalogue: Catalogue, change: Change, effect: Effect) -> str:
    groups: dict[tuple[str, str, str], list[str]] = {}
    for rule in change.rules:
        if rule.effect is effect:
            by = rule.by if effect is Effect.RECHECK else ""
            groups.setdefault((_scope(rule), _condition(rule), by), []).append(rule.evidence)
    return "; ".join(_cell(kinds, *key) for key, kinds in groups.items())


def _cell(kinds: Iterable[str], scope: str, condition: str, by: str) -> str:
    text = f"{', '.join(kinds)} of the {scope}"
    if by:
        text += f" by `{by}`"
    return f"{text}, if {condition}" if condition else text


def _scope(rule: EffectRule) -> str:
    return rule.scope


def _condition(rule: EffectRule) -> str:
    return " and ".join(f"{question} = {answer}" for question, answer in rule.condition)


def _bounds(catalogue: Catalogue) -> str:
    rows = [
        (code(one.id), f"{one.limit} {one.unit}", code(one.acts_as), f"{one.origin.value}: {one.source}")
        for one in catalogue.bounds.values()
    ]
    return (
        "## Measured bounds\n\nEvidence remembers the surroundings in which it was made. Once they have moved by more "
        "than the bound, counted from there so that two small moves add up, that acts as the change named.\n\n"
        f"{table(('bound', 'more than', 'acts as', 'origin'), rows)}"
    )
