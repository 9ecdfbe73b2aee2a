"""Reading the catalogue's TOML files and checking them as one.

Every error names file, entry and key. An owner's file may add steps of its own (their identifiers begin with `own:`)
and tighten limits; it can loosen none (that is an event with a reason, never a file).
"""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from importlib import resources
from typing import Any, Literal

import msgspec

from loopworthy.judgement.catalogue.model import (
    TIGHTER_WHEN_HIGHER,
    Bound,
    Catalogue,
    Change,
    Effect,
    EffectRule,
    EvidenceKind,
    Hold,
    Input,
    InputKind,
    Limit,
    Origin,
    Page,
    Question,
    Rule,
    Scope,
    Step,
    Tighter,
)
from loopworthy.unit.condition import When, parse_when
from loopworthy.unit.events import EpisodeKind
from loopworthy.vocabulary.errors import FileEntryError, InputError
from loopworthy.vocabulary.kept_tables import tables
from loopworthy.vocabulary.reading import UNITS

REVISION = "2026-11"
"""Revision of the catalogue that ships with this package; printed on every sheet."""

JUDGES = frozenset(
    {
        "",
        "air-reading",
        "oxygen-reading",
        "factor-history",
        "stored-factor",
        "factor-agreement",
        "return-to-air",
        "known-gas",
        "pressure-test",
        "pre-breathe",
    }
)
"""Names of the judges that a step may ask for; `judgement.judges` holds one function for each."""

OWNER_PREFIX = "own:"


class _RawLimit(msgspec.Struct, forbid_unknown_fields=True):
    rule: Rule
    value: str
    origin: Origin
    on: str = ""
    of: str = ""
    unit: str = ""
    guard: str = ""
    tighter: Tighter | None = None
    source: str = ""


class _RawStep(msgspec.Struct, forbid_unknown_fields=True):
    title: str
    text: str
    accept: str
    page: str
    makes: tuple[str, ...]
    when: Any = None
    unless: Any = None
    scope: Scope = Scope()
    inputs: tuple[Input, ...] = ()
    limits: dict[str, _RawLimit] = {}
    uses: tuple[str, ...] = ()
    after: tuple[str, ...] = ()
    renews: tuple[str, ...] = ()
    judge: str = ""
    why: str = ""
    not_proven: str = ""
    never_skipped: bool = False
    on_request: bool = False
    two_person: bool = False


class _RawEvidence(msgspec.Struct, forbid_unknown_fields=True):
    title: str
    produced_by: str
    voided_by: str
    expires: str
    origin: Origin
    expires_after_min: int | None = None
    episode: EpisodeKind | Literal[""] = ""
    recheck_by: str = ""
    momentary: bool = False
    context: tuple[str, ...] = ()
    not_proven: str = ""


class _RawRule(msgspec.Struct, forbid_unknown_fields=True):
    evidence: tuple[str, ...]
    scope: str = "unit"
    by: str = ""
    condition: dict[str, str] = msgspec.field(default_factory=dict, name="if")


class _RawChange(msgspec.Struct, forbid_unknown_fields=True):
    title: str
    group: str
    part: str = ""
    places: tuple[str, ...] = ()
    several: bool = False
    does: str = ""
    questions: tuple[Question, ...] = ()
    void: tuple[_RawRule, ...] = ()
    recheck: tuple[_RawRule, ...] = ()
    disprove: tuple[_RawRule, ...] = ()
    keeps: str = ""
    hold: str = ""
    freezes: bool = False
    source: str = ""


class _RawBound(msgspec.Struct, forbid_unknown_fields=True):
    limit: str
    unit: str
    acts_as: str
    origin: Origin
    source: str = ""


class _RawHold(msgspec.Struct, forbid_unknown_fields=True):
    title: str
    needs: tuple[str, ...]
    when: Any = None
    unless: Any = None


class _RawPage(msgspec.Struct, forbid_unknown_fields=True):
    title: str
    hold: str


class _Files:
    """The decoded tables of a set of files, with the file that each entry came from."""

    def __init__(self) -> None:
        self.tables: dict[str, dict[str, tuple[str, Any]]] = {}

    def add(self, file: str, text: str, *, shipped: bool) -> None:
        try:
            parsed = tables(f"catalogue-{file}", text) if shipped else tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise FileEntryError(file, "file", "syntax", str(error), next_step="Mend the line that it names") from error
        for section, entries in parsed.items():
            if section not in _SECTIONS:
                raise FileEntryError(
                    file, section, "section", "is not known here", next_step=f"Known: {', '.join(_SECTIONS)}"
                )
            for identifier, entry in entries.items():
                table = self.tables.setdefault(section, {})
                if identifier in table:
                    raise FileEntryError(
                        file,
                        identifier,
                        section,
                        f"is already defined in {table[identifier][0]}",
                        next_step="Identifiers are never used twice",
                    )
                table[identifier] = (file, _decode(file, identifier, entry, _SECTIONS[section]))

    def entries(self, section: str) -> Mapping[str, tuple[str, Any]]:
        return self.tables.get(section, {})


_SECTIONS: Mapping[str, type[msgspec.Struct]] = {
    "evidence": _RawEvidence,
    "changes": _RawChange,
    "bounds": _RawBound,
    "holds": _RawHold,
    "pages": _RawPage,
    "steps": _RawStep,
}


def _decode(file: str, entry: str, table: object, form: type[msgspec.Struct]) -> Any:
    try:
        return msgspec.convert(table, form)
    except msgspec.ValidationError as error:
        problem, _, path = str(error).partition(" - at `$")
        raise FileEntryError(file, entry, path.rstrip("`").lstrip(".") or "entry", problem) from error


def shipped_texts() -> dict[str, str]:
    """File name to text of the catalogue files in this package."""
    folder = resources.files("loopworthy.judgement.catalogue") / "data"
    return {
        file.name: file.read_text(encoding="utf-8")
        for file in sorted(folder.iterdir(), key=lambda file: file.name)
        if file.name.endswith(".toml")
    }


def load_catalogue(texts: Mapping[str, str] | None = None, owner: Mapping[str, str] | None = None) -> Catalogue:
    """The catalogue from its files.

    Parameters
    ----------
    texts : mapping, optional
        File name to text; the files of this package when left out.
    owner : mapping, optional
        The owner's files: `[steps."own:…"]` adds steps, `[tighten."C06.tolerance"]` tightens limits.

    Raises
    ------
    FileEntryError
        If anything in them is wrong; names file, entry and key.
    """
    shipped = texts is None
    texts = dict(shipped_texts() if texts is None else texts)
    files = _Files()
    for name, text in texts.items():
        files.add(name, text, shipped=shipped)
    tighten: list[tuple[str, str, Any]] = []
    for name, text in (owner or {}).items():
        try:
            parsed = tomllib.loads(text)
        except tomllib.TOMLDecodeError as error:
            raise FileEntryError(name, "file", "syntax", str(error)) from error
        for identifier, entry in parsed.pop("tighten", {}).items():
            tighten.append((name, identifier, entry))
        for section, entries in parsed.items():
            if section != "steps":
                raise FileEntryError(name, section, "section", "an owner's file holds only steps and tighten")
            for identifier, entry in entries.items():
                if not identifier.startswith(OWNER_PREFIX):
                    raise FileEntryError(
                        name,
                        identifier,
                        "identifier",
                        f"must begin with {OWNER_PREFIX!r}",
                        next_step=f'Write [steps."{OWNER_PREFIX}{identifier}"]',
                    )
                files.tables.setdefault("steps", {})[identifier] = (name, _decode(name, identifier, entry, _RawStep))
    catalogue = _build(files, {**texts, **(owner or {})})
    return _tightened(catalogue, tighten) if tighten else catalogue


def _build(files: _Files, texts: Mapping[str, str]) -> Catalogue:
    evidence = {
        identifier: EvidenceKind(id=identifier, **msgspec.structs.asdict(raw))
        for identifier, (_, raw) in files.entries("evidence").items()
    }
    pages = tuple(
        Page(id=identifier, title=raw.title, hold=raw.hold, order=order)
        for order, (identifier, (_, raw)) in enumerate(files.entries("pages").items())
    )
    steps = {
        identifier: _step(file, identifier, raw, evidence, {page.id for page in pages})
        for identifier, (file, raw) in files.entries("steps").items()
    }
    changes = {
        identifier: _change(file, identifier, raw, evidence, steps)
        for identifier, (file, raw) in files.entries("changes").items()
    }
    holds = tuple(_hold(file, identifier, raw, evidence) for identifier, (file, raw) in files.entries("holds").items())
    bounds = {}
    for identifier, (file, raw) in files.entries("bounds").items():
        _require(raw.acts_as in changes, file, identifier, "acts_as", f"there is no change {raw.acts_as!r}")
        _decimal(file, identifier, "limit", raw.limit)
        bounds[identifier] = Bound(id=identifier, **msgspec.structs.asdict(raw))
    _cross_check(files, steps, evidence, holds, pages)
    digest = hashlib.sha256("\0".join(f"{name}\0{texts[name]}" for name in sorted(texts)).encode()).hexdigest()
    catalogue = Catalogue(
        revision=REVISION,
        digest=digest,
        steps=steps,
        evidence=evidence,
        changes=changes,
        bounds=bounds,
        holds=holds,
        pages=pages,
        texts=texts,
    )
    try:
        catalogue.order  # noqa: B018 - works out the order of the day, which refuses a circle
    except InputError as error:
        raise FileEntryError("catalogue", str(error.value), "uses, after", error.message) from error
    return catalogue


def _require(condition: bool, file: str, entry: str, key: str, problem: str, next_step: str = "") -> None:
    if not condition:
        raise FileEntryError(file, entry, key, problem, next_step=next_step)


def _decimal(file: str, entry: str, key: str, text: str) -> Decimal:
    try:
        value = Decimal(text)
    except InvalidOperation as error:
        raise FileEntryError(file, entry, key, f"{text!r} is not a decimal number") from error
    _require(value.is_finite(), file, entry, key, f"{text!r} is not finite")
    return value


def _when(file: str, entry: str, raw: _RawStep | _RawHold) -> When:
    stated = {"when": raw.when, "unless": raw.unless}
    return parse_when({key: value for key, value in stated.items() if value is not None}, file=file, entry=entry)


def _step(file: str, identifier: str, raw: _RawStep, evidence: Mapping[str, EvidenceKind], pages: set[str]) -> Step:
    for kind in raw.makes:
        _require(kind in evidence, file, identifier, "makes", f"there is no kind of evidence {kind!r}")
    for kind in raw.after:
        _require(kind in evidence, file, identifier, "after", f"there is no kind of evidence {kind!r}")
    for kind in raw.renews:
        _require(kind in evidence, file, identifier, "renews", f"there is no kind of evidence {kind!r}")
    _require(bool(raw.makes), file, identifier, "makes", "must name the evidence that it makes")
    _require(raw.page in pages, file, identifier, "page", f"there is no page {raw.page!r}", f"Known: {sorted(pages)}")
    _require(raw.judge in JUDGES, file, identifier, "judge", f"there is no judge {raw.judge!r}")
    _require(bool(raw.inputs), file, identifier, "inputs", "must ask for something")
    names: dict[str, Input] = {}
    for one in raw.inputs:
        key = f"inputs.{one.name}"
        _require(one.name not in names, file, identifier, key, "is there twice")
        _require(not one.unit or one.unit in UNITS, file, identifier, key, f"{one.unit!r} is not a unit known here")
        needs_unit = one.kind in (InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT)
        _require(bool(one.unit) == needs_unit, file, identifier, key, "a number needs a unit, nothing else has one")
        _require((one.kind is InputKind.CHOICE) == bool(one.choices), file, identifier, key, "choices go with a choice")
        for bound in ("usual_low", "usual_high"):
            if getattr(one, bound):
                _decimal(file, identifier, f"{key}.{bound}", getattr(one, bound))
        names[one.name] = one
    limits = tuple(_limit(file, identifier, name, limit, names) for name, limit in raw.limits.items())
    fields = msgspec.structs.asdict(raw)
    for used in ("when", "unless", "limits"):
        fields.pop(used)
    return Step(id=identifier, when=_when(file, identifier, raw), limits=limits, **fields)


def _limit(file: str, step: str, name: str, raw: _RawLimit, inputs: Mapping[str, Input]) -> Limit:
    key = f"limits.{name}"
    if raw.rule is Rule.JUDGE:
        _require(raw.tighter is not None, file, step, key, "a limit for the judge says which way is tighter")
    else:
        _require(raw.on in inputs, file, step, key, f"there is no input {raw.on!r} to compare")
    needs_other = raw.rule in (Rule.WITHIN, Rule.TIMES)
    _require(not needs_other or raw.of in inputs, file, step, key, f"there is no input {raw.of!r} to compare with")
    if raw.rule is Rule.ONE_OF:
        _require(bool(raw.value.strip()), file, step, key, "must name at least one choice")
    else:
        _decimal(file, step, key, raw.value)
    if raw.guard:
        _require(_decimal(file, step, key, raw.guard) >= 0, file, step, key, "guard must be 0 or more")
    needs_source = raw.origin is Origin.SOURCE
    _require(not needs_source or bool(raw.source), file, step, key, "a published source must be named")
    tighter = raw.tighter or (Tighter.HIGHER if raw.rule in TIGHTER_WHEN_HIGHER else Tighter.LOWER)
    return Limit(
        id=f"{step}.{name}",
        rule=raw.rule,
        on=raw.on,
        of=raw.of,
        value=raw.value,
        unit=raw.unit,
        guard=raw.guard,
        tighter=tighter,
        origin=raw.origin,
        source=raw.source,
    )


_SCOPES = ("subject", "side", "whole", "unit", "instrument", "record")


def _change(
    file: str, identifier: str, raw: _RawChange, evidence: Mapping[str, EvidenceKind], steps: Mapping[str, Step]
) -> Change:
    questions = {question.id: question for question in raw.questions}
    for question in raw.questions:
        _require(
            question.worst in question.answers,
            file,
            identifier,
            f"questions.{question.id}",
            f"the worst answer {question.worst!r} is none of {question.answers}",
        )
    rules: list[EffectRule] = []
    for effect, rows in ((Effect.VOID, raw.void), (Effect.RECHECK, raw.recheck), (Effect.DISPROVE, raw.disprove)):
        for row in rows:
            key = effect.value
            _require(row.scope in _SCOPES, file, identifier, key, f"scope {row.scope!r} is none of {_SCOPES}")
            _require(
                row.scope != "whole" or effect is not Effect.DISPROVE,
                file,
                identifier,
                key,
                "scope 'whole' is only for evidence that falls, not for evidence that was never true",
            )
            for question_id, answer in row.condition.items():
                known = questions.get(question_id)
                _require(known is not None, file, identifier, key, f"there is no question {question_id!r}")
                if known is not None:
                    _require(answer in known.answers, file, identifier, key, f"{answer!r} is no answer to it")
            for kind in row.evidence:
                _require(kind in evidence, file, identifier, key, f"there is no kind of evidence {kind!r}")
                by = row.by or (evidence[kind].recheck_by if effect is Effect.RECHECK else "")
                _require(
                    effect is not Effect.RECHECK or by in steps,
                    file,
                    identifier,
                    key,
                    f"no step restores {kind} (by = {by!r})",
                    "Name a step in by, or recheck_by of the evidence",
                )
                rules.append(
                    EffectRule(
                        change=identifier,
                        effect=effect,
                        evidence=kind,
                        scope=row.scope,
                        by=by,
                        condition=tuple(sorted(row.condition.items())),
                    )
                )
    fields = msgspec.structs.asdict(raw)
    for used in ("void", "recheck", "disprove"):
        fields.pop(used)
    return Change(id=identifier, rules=tuple(rules), **fields)


def _hold(file: str, identifier: str, raw: _RawHold, evidence: Mapping[str, EvidenceKind]) -> Hold:
    for kind in raw.needs:
        _require(kind in evidence, file, identifier, "needs", f"there is no kind of evidence {kind!r}")
    return Hold(id=identifier, title=raw.title, needs=raw.needs, when=_when(file, identifier, raw))


def _cross_check(
    files: _Files,
    steps: Mapping[str, Step],
    evidence: Mapping[str, EvidenceKind],
    holds: tuple[Hold, ...],
    pages: tuple[Page, ...],
) -> None:
    def at(section: str, identifier: str) -> str:
        return str(files.entries(section)[identifier][0])

    for step in steps.values():
        for used in step.uses:
            _require(used in steps, at("steps", step.id), step.id, "uses", f"there is no step {used!r}")
    made = {kind for step in steps.values() for kind in step.makes}
    for kind in evidence.values():
        file = at("evidence", kind.id)
        _require(kind.id in made, file, kind.id, "evidence", "no step makes it")
        if kind.recheck_by:
            _require(kind.recheck_by in steps, file, kind.id, "recheck_by", f"there is no step {kind.recheck_by!r}")
    known_holds = {hold.id for hold in holds}
    for page in pages:
        _require(page.hold in known_holds, at("pages", page.id), page.id, "hold", f"there is no hold {page.hold!r}")


def _tightened(catalogue: Catalogue, rows: list[tuple[str, str, Any]]) -> Catalogue:
    steps = dict(catalogue.steps)
    for file, identifier, row in rows:
        known = catalogue.limits.get(identifier)
        _require(known is not None, file, identifier, "tighten", "there is no limit of that name")
        _require(
            isinstance(row, dict) and isinstance(row.get("value"), str) and set(row) <= {"value", "source"},
            file,
            identifier,
            "tighten",
            'takes value (a text such as "8") and source',
        )
        if known is None:
            continue
        if known.rule is not Rule.ONE_OF:
            _decimal(file, identifier, "value", row["value"])
        _require(
            known.is_tightened_by(row["value"]),
            file,
            identifier,
            "value",
            f"{row['value']!r} is looser than {known.value} {known.unit}",
            "A file can only tighten; loosening is recorded as an event with its reason",
        )
        step_id = identifier.rpartition(".")[0]
        step = steps[step_id]
        stricter = msgspec.structs.replace(
            known, value=row["value"], origin=Origin.OWNER, source=row.get("source", f"owner's file {file}")
        )
        steps[step_id] = msgspec.structs.replace(
            step, limits=tuple(stricter if limit.id == identifier else limit for limit in step.limits)
        )
    return msgspec.structs.replace(catalogue, steps=steps)
