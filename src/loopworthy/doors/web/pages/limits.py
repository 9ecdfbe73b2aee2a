"""The owner's limits: holding several against the manual in one form, setting one otherwise, and where each is from.

What still has to be confirmed comes first, because it keeps the unit from being ready.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk import limits as desk
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.judgement.catalogue.model import InputKind, Rule, Step
from loopworthy.judgement.outcome import EffectiveLimit
from loopworthy.vocabulary.errors import InputError, LoopworthyError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import ThingId, short


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitRow:
    """One limit as it holds now.

    Attributes
    ----------
    id, title, href : str
        Its identifier; the step and what is compared; its own page.
    text, origin : str
        The limit and where it comes from.
    confirmed : bool
        Whether the owner held it against the manual, or set it.
    loosened : str
        The reason, where the owner's value is looser than the catalogue's.
    ticked : bool
        Whether it was ticked in a form that was refused.
    """

    id: str
    title: str
    href: str
    text: str
    origin: str
    confirmed: bool
    loosened: str
    ticked: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """All limits that a unit meets.

    Attributes
    ----------
    frame : Frame
    unconfirmed : tuple of LimitRow
        Of never-skipped steps, still to be held against the manual.
    groups : tuple of (str, tuple of LimitRow)
        All others, by work page.
    source : Field
    signing : Signing
    action : str
    """

    frame: Frame
    unconfirmed: tuple[LimitRow, ...]
    groups: tuple[tuple[str, tuple[LimitRow, ...]], ...]
    source: Field
    signing: Signing
    action: str


def limits(asked: Asked) -> Answer:
    """Every limit of the unit; confirms several at once."""
    unit, say = asked.unit, asked.say
    problem = None
    if asked.posts:
        try:
            count = _confirm(asked, unit)
            return SeeOther(address=asked.links.to("unit", short(unit), "limits", confirmed=str(count)))
        except LoopworthyError as error:
            problem = error
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    waiting = {limit.limit.id for _, limit in desk.unconfirmed(asked.workplace, unit)}
    all_of_them = desk.limits_of(asked.workplace, unit)
    groups: dict[str, list[LimitRow]] = {}
    titles = {one.id: one.title for one in asked.workplace.catalogue.pages}
    for step, limit in sorted(all_of_them, key=lambda one: asked.workplace.catalogue.order[one[0].id]):
        if limit.limit.id not in waiting:
            groups.setdefault(titles[step.page], []).append(limit_row(asked, unit, step, limit, form))
    done = asked.query.get("confirmed")
    context = Limits(
        frame=page_frame(
            asked,
            say("owner_limits.title"),
            unit=unit,
            place="more",
            problem=problem,
            notice=(say("owner_limits.confirmed_notice", count=done),) if done.isdigit() else (),
        ),
        unconfirmed=tuple(
            limit_row(asked, unit, step, limit, form) for step, limit in all_of_them if limit.limit.id in waiting
        ),
        groups=tuple((title, tuple(rows)) for title, rows in groups.items()),
        source=_source_field(asked, form, wrong.get("source", "")),
        signing=signing_fields(asked, form, label=say("owner_limits.by"), late=False, errors=wrong),
        action=asked.links.limits(unit),
    )
    return Page(template="limits.html", context=context, status=status_of(problem) if problem is not None else 200)


def _confirm(asked: Asked, unit: ThingId) -> int:
    signed = signed_by(asked)
    known = {limit.limit.id for _, limit in desk.limits_of(asked.workplace, unit)}
    chosen = tuple(dict.fromkeys(asked.form.all("limit")))
    for one in chosen:
        if one not in known:
            raise UnknownNameError("limit of this unit", one)
    if not chosen:
        raise InputError(
            "limit", "none", asked.say("owner_limits.tick_one"), next_step=asked.say("owner_limits.tick_one_step")
        )
    desk.confirm_limits(asked.workplace, unit, chosen, source=asked.form.get("source"), owner=signed.person)
    return len(chosen)


def limit_row(asked: Asked, unit: ThingId, step: Step, limit: EffectiveLimit, form: Form) -> LimitRow:
    """One limit in words."""
    return LimitRow(
        id=limit.limit.id,
        title=limit_title(step, limit),
        href=asked.links.limit(unit, limit.limit.id),
        text=asked.words.limit_text(limit),
        origin=asked.words.origin_text(limit) if limit.confirmed or limit.loosened else plain_origin(limit),
        confirmed=limit.confirmed,
        loosened=limit.loosened,
        ticked=limit.limit.id in form.all("limit"),
    )


def plain_origin(limit: EffectiveLimit) -> str:
    """Where a limit comes from, without whether anybody has confirmed it: its place on the page says that."""
    return f"{limit.origin.value} ({limit.source})" if limit.source else limit.origin.value


def limit_title(step: Step, limit: EffectiveLimit) -> str:
    """The step, and what of it is compared where that is more than one thing."""
    entered = step.input(limit.limit.on)
    name = limit.limit.id.partition(".")[2].replace("_", " ")
    about = entered.label if entered is not None and entered.kind is not InputKind.TICK else name
    return f"{step.id} {step.title}: {about}"


def _source_field(asked: Asked, form: Form, error: str) -> Field:
    say = asked.say
    return text_field(
        "source", say("owner_limits.source"), form, required=True, error=error, help=say("owner_limits.source_help")
    )


# --- one limit ------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitEvent:
    """What the owner once said about a limit."""

    at_text: str
    text: str
    source: str
    reason: str
    withdrawn: bool
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OneLimit:
    """One limit of a unit.

    Attributes
    ----------
    frame : Frame
    row : LimitRow
    shipped, shipped_origin : str
        What the catalogue says, and from where.
    accept, why : str
        The step in words: when it is accepted, and why.
    stricter : str
        Which way is stricter, in words.
    said : tuple of LimitEvent
        Newest first.
    value, source, reason : Field
        For setting another.
    signing : Signing
    action, back_href, step_href : str
    """

    frame: Frame
    row: LimitRow
    shipped: str
    shipped_origin: str
    accept: str
    why: str
    stricter: str
    said: tuple[LimitEvent, ...]
    value: Field
    source: Field
    reason: Field
    signing: Signing
    action: str
    back_href: str
    step_href: str


def one_limit(asked: Asked) -> Answer:
    """One limit; confirms it, or sets another value."""
    unit = asked.unit
    found = {limit.limit.id: (step, limit) for step, limit in desk.limits_of(asked.workplace, unit)}
    if asked.values["limit"] not in found:
        raise UnknownNameError(
            "limit of this unit", asked.values["limit"], next_step=asked.say("owner_limits.see_list")
        )
    step, limit = found[asked.values["limit"]]
    problem = None
    if asked.posts:
        try:
            _set(asked, unit, limit)
            return SeeOther(address=asked.links.limit(unit, limit.limit.id))
        except LoopworthyError as error:
            problem = error
    context = _one_limit(asked, unit, step, limit, problem)
    return Page(template="limit.html", context=context, status=status_of(problem) if problem is not None else 200)


def _set(asked: Asked, unit: ThingId, limit: EffectiveLimit) -> None:
    signed = signed_by(asked)
    source = asked.form.get("source")
    if asked.form.get("act") == "confirm":
        desk.confirm_limits(asked.workplace, unit, (limit.limit.id,), source=source, owner=signed.person)
        return
    if not source:
        raise InputError("source", "", asked.say("owner_limits.source_needed"))
    desk.set_limit(
        asked.workplace,
        unit,
        limit.limit.id,
        _value(limit, asked.form.get("value")),
        source=source,
        owner=signed.person,
        reason=asked.form.get("reason"),
    )


def _value(limit: EffectiveLimit, typed: str) -> str:
    if limit.limit.rule is not Rule.ONE_OF:
        if limit.limit.rule in (Rule.DAYS_LEFT, Rule.DAYS_SINCE) and not typed.isdigit():
            raise InputError("value", typed, "a whole number of days")
        return typed
    known = [part.strip() for part in limit.limit.value.split(",")]
    chosen = [part.strip() for part in typed.split(",") if part.strip()]
    if not chosen:
        raise InputError("value", typed, f"one or more of {', '.join(known)}")
    return ", ".join(chosen)


def _one_limit(
    asked: Asked, unit: ThingId, step: Step, limit: EffectiveLimit, problem: LoopworthyError | None
) -> OneLimit:
    say, words = asked.say, asked.words
    form = asked.form if asked.posts else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    shipped = EffectiveLimit(
        limit=limit.limit,
        value=limit.limit.value,
        origin=limit.limit.origin,
        source=limit.limit.source,
        confirmed=True,
    )
    loosens = isinstance(problem, RefusedError)
    number = limit.limit.rule is not Rule.ONE_OF
    return OneLimit(
        frame=page_frame(asked, limit_title(step, limit), unit=unit, place="more", problem=problem),
        row=limit_row(asked, unit, step, limit, Form()),
        shipped=words.limit_text(shipped),
        shipped_origin=words.origin_text(shipped),
        accept=step.accept,
        why=step.why,
        stricter=say(f"owner_limits.stricter_{limit.limit.tighter.value}") if number else "",
        said=_said(asked, unit, limit),
        value=Field(
            name="value",
            label=say("owner_limits.value"),
            kind="number" if number else "text",
            unit=limit.limit.unit if limit.limit.unit not in ("1", "count") else "",
            value=form.get("value") or None,
            required=True,
            error=wrong.get("value", ""),
        ),
        source=_source_field(asked, form, wrong.get("source", "")),
        reason=text_field(
            "reason",
            say("owner_limits.reason"),
            form,
            kind="longtext",
            help=say("owner_limits.reason_help"),
            error=problem.message if problem is not None and loosens else "",
        ),
        signing=signing_fields(asked, form, label=say("owner_limits.by"), late=False, errors=wrong),
        action=asked.links.limit(unit, limit.limit.id),
        back_href=asked.links.limits(unit),
        step_href=asked.links.catalogue_entry("steps", step.id),
    )


def _said(asked: Asked, unit: ThingId, limit: EffectiveLimit) -> tuple[LimitEvent, ...]:
    book, found = asked.workplace.book(), []
    for entry in reversed(book.limits.get(f"{unit} {limit.limit.id}", ())):
        held = EffectiveLimit(
            limit=limit.limit, value=entry.value, origin=limit.origin, source=entry.source, confirmed=True
        )
        key = "owner_limits.was_confirmed" if entry.confirmed else "owner_limits.was_set"
        found.append(
            LimitEvent(
                at_text=asked.words.clock.when(entry.occurred_ms),
                text=asked.say(key, limit=asked.words.limit_text(held)),
                source=entry.source,
                reason=entry.reason,
                withdrawn=entry.event in book.withdrawals,
                href=asked.links.event(entry.event),
            )
        )
    return tuple(found)


ROUTES = (
    Door(path="/unit/{unit}/limits", handler=limits, methods=READ_AND_SEND),
    Door(path="/unit/{unit}/limits/{limit}", handler=one_limit, methods=READ_AND_SEND),
)
