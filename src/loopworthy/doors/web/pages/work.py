"""Doing steps: one page for what is read together, with a row for each subject, and who read it at its end.

What counts already lies in a fold, so that it can be read again; what cannot be read yet leads to where that is mended.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import groupby
from urllib.parse import quote

from loopworthy.desk.late import LateMomentError
from loopworthy.desk.steps import StepEntry, WorkPage, needs_instrument, record_steps, work_page
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, Given, Who, given_by, who_fields
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.late import question_about
from loopworthy.doors.web.nexts import after_saving
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.resume import LastEntry, last_entry
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.work_aids import Aid, aid_for
from loopworthy.doors.web.work_form import (
    PRE_BREATHE,
    TESTS,
    Checked,
    check,
    entry_fields,
    errors_of_who,
    fineness_field,
    hold_name,
    minute_fields,
    step_limits,
)
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.standing import State
from loopworthy.vocabulary.errors import ConflictError, InputError, LoopworthyError, RefusedError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId, short

LOOKED_AGAIN = "looked_again"
IN_SIGHT = ("|start_mbar", "|end_mbar", "|start_c", "|end_c")
"""Fields of a pressure test that stand in sight; volume, held time and trace lie in a fold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prompt:
    """A field that falls due so many seconds after a hold began."""

    at_s: int
    field: Field


@dataclass(frozen=True, slots=True, kw_only=True)
class Timer:
    """A hold against the clock, as templates/parts/timer.html draws it."""

    id: str
    name: str
    title: str
    seconds: int
    what_to_do: str = ""
    prompts: tuple[Prompt, ...] = ()
    started: str = ""
    ended: str = ""
    given_up: str = ""
    clocks: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkRow:
    """One subject of a step.

    Attributes
    ----------
    label : str
        What it is about; '' for the whole unit.
    state : State
        The worst state of what it makes.
    why : str
        Why that does not count; '' where it counts or was never read.
    fields, more : tuple of Field
        Those in sight, those in a fold.
    more_open : bool
        Whether the fold is open, because something in it was typed or is wrong.
    barred, barred_href : str
        Why nothing can be entered, and where that is mended; '' where it can.
    timer : Timer or None
    """

    label: str
    state: State
    why: str
    fields: tuple[Field, ...]
    more: tuple[Field, ...] = ()
    more_open: bool = False
    barred: str = ""
    barred_href: str = ""
    timer: Timer | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkStep:
    """One step with its rows, as work.html draws it within templates/parts/step_card.html.

    Attributes
    ----------
    id, text, instruction, acceptance, why, proves_not : str
        `text` is the title.
    never_skipped, two_person : bool
    state : State or None
        For a step with one row.
    limits : tuple of (str, str)
        Limit and where it comes from, for the step as a whole.
    rows : tuple of WorkRow
    fineness : Field or None
        How finely the display shows what is judged.
    aid : Aid or None
        What to look at before it is entered.
    """

    id: str
    text: str
    instruction: str
    acceptance: str
    why: str
    proves_not: str
    never_skipped: bool
    two_person: bool
    state: State | None
    limits: tuple[tuple[str, str], ...]
    rows: tuple[WorkRow, ...]
    fineness: Field | None
    aid: Aid | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """A work page.

    Attributes
    ----------
    title, action, draft : str
        The page's title; where the form is sent; under what a draft is kept on the device.
    steps, counting : tuple of WorkStep
        What is outstanding; what counts already.
    has_fields : bool
        Whether anything can be entered.
    who : Who
    last : LastEntry or None
        What was recorded last, where work was interrupted.
    looked_again : Field or None
        Asks to look again at it.
    change_href : str
        Where to go when it is no longer so.
    all_href, page_href : str
        The page with steps on request too, '' where it is that already; the whole page, '' where it is that.
    has_files : bool
    """

    frame: Frame
    title: str
    action: str
    draft: str
    steps: tuple[WorkStep, ...]
    counting: tuple[WorkStep, ...]
    has_fields: bool
    who: Who
    last: LastEntry | None
    looked_again: Field | None
    change_href: str
    all_href: str
    page_href: str
    has_files: bool


def work(asked: Asked) -> Answer:
    """Show a work page, or record what was typed on it."""
    unit, page_id = asked.unit, asked.values["page"]
    on_request = bool(asked.query.get("all") or asked.query.get("step"))
    page = work_page(asked.workplace, unit, page_id, on_request=on_request)
    entries = _wanted(asked, page)
    if not asked.posts:
        return Page(template="work.html", context=work_context(asked, unit, page, entries, Checked()))
    checked = check(asked, entries)
    if _outdated(asked, unit, page_id):
        problem = ConflictError(asked.say("work.changed_meanwhile"), next_step=asked.say("work.changed_step"))
        return _again(asked, unit, page, entries, checked, problem=problem)
    try:
        given = given_by(asked)
        wrong = _refused_again(asked, unit)
        if checked.is_right and not wrong:
            events = _record(asked, unit, checked, given)
            return SeeOther(address=_with_done(_onward(asked, unit, page_id, events), events))
    except LateMomentError as error:
        return _again(asked, unit, page, entries, checked, question=question_about(asked, error))
    except InputError as error:
        if error.name == "entries":  # nothing was typed
            return _again(asked, unit, page, entries, checked)
        wrong = errors_of_who(asked, error)
        if not wrong:
            return _again(asked, unit, page, entries, checked, problem=error)
    except (RefusedError, UnknownNameError, ConflictError) as error:
        return _again(asked, unit, page, entries, checked, problem=error)
    return _again(asked, unit, page, entries, checked, errors=wrong)


def _wanted(asked: Asked, page: WorkPage) -> tuple[StepEntry, ...]:
    """The entries of the page, or those of the one step and subject that the address names."""
    step, about = asked.query.get("step"), asked.query.get("about")
    found = tuple(
        one
        for one in page.entries
        if (not step or one.step.id == step) and (not about or about in (one.subject.key, one.subject.position))
    )
    if step and not found:
        found = tuple(one for one in page.entries if one.step.id == step)
    if step and not found:
        known = tuple(dict.fromkeys(one.step.id for one in page.entries))
        raise UnknownNameError("step on this page", step, known)
    return found


def _outdated(asked: Asked, unit: ThingId, page_id: str) -> bool:
    """Whether something was typed for a subject that the page no longer has: a part was exchanged meanwhile."""
    whole = work_page(asked.workplace, unit, page_id, on_request=True)
    known = {f"{one.step.id}|{one.about}" for one in whole.entries} | {one.step.id for one in whole.entries}
    typed = [name for name in asked.form.names() if "|" in name and asked.form.get(name)]
    return any(name.rpartition("|")[0] not in known for name in typed)


def _again(
    asked: Asked,
    unit: ThingId,
    page: WorkPage,
    entries: tuple[StepEntry, ...],
    checked: Checked,
    *,
    errors: Mapping[str, str] | None = None,
    problem: LoopworthyError | None = None,
    question: str = "",
) -> Page:
    """The page once more, with everything that was typed."""
    place = ""
    if problem is None:
        wrong = {**(errors or {}), **checked.errors, **checked.questions}
        if question:
            wrong["occurred_at"] = question
        place, count = _first_wrong(asked, wrong), len(wrong)
        key = {0: "work.nothing_typed", 1: "work.look_again_one"}.get(count, "work.look_again_many")
        said = asked.say(key, count=count) if count > 1 else asked.say(key)
        problem, status = LoopworthyError(said), 422
    else:
        # what the page no longer has is a conflict with what happened meanwhile, not a missing page
        status = 409 if isinstance(problem, UnknownNameError) else status_of(problem)
    context = work_context(
        asked, unit, page, entries, checked, errors=errors, problem=problem, problem_place=place, question=question
    )
    return Page(template="work.html", context=context, status=status)


def _first_wrong(asked: Asked, wrong: Mapping[str, str]) -> str:
    """The field to look at first: what stands at the head of the page, else the first that was sent."""
    if LOOKED_AGAIN in wrong:
        return LOOKED_AGAIN
    return next((name for name in asked.form.names() if name in wrong), next(iter(wrong), ""))


def _refused_again(asked: Asked, unit: ThingId) -> Mapping[str, str]:
    """After a pause the last thing done is looked at again before anything further is recorded."""
    last = last_entry(asked, unit)
    if last is None or not last.interrupted or asked.form.ticked(LOOKED_AGAIN) or asked.form.get("occurred_at"):
        return {}
    return {LOOKED_AGAIN: asked.say("work.look_at_last", title=last.title)}


def _record(asked: Asked, unit: ThingId, checked: Checked, given: Given) -> tuple[Event, ...]:
    return record_steps(
        asked.workplace,
        unit,
        checked.typed,
        read_by=given.reader,
        typed_by=given.typist,
        second="" if given.single_handed else given.second,
        single_handed=given.single_handed,
        instruments=given.instruments,
        occurred_at=given.occurred_at,
        moment_confirmed=given.moment_confirmed,
    )


def _onward(asked: Asked, unit: ThingId, page_id: str, events: tuple[Event, ...]) -> str:
    """To the repair of what was read outside its limit, else to what is outstanding next."""
    bench, items = asked.workplace.bench(asked.workplace.now()), asked.workplace.book().items
    for event in events:
        if bench.assess(items[event.id]).outcome is Outcome.OUTSIDE:
            return asked.links.repair(unit, event.id)
    return after_saving(asked, unit, page_id)


def _with_done(address: str, events: tuple[Event, ...]) -> str:
    done = quote(",".join(short(one.id) for one in events), safe=",")
    return f"{address}{'&' if '?' in address else '?'}done={done}"


# --- what the page shows --------------------------------------------------------------------------------------------


def work_context(
    asked: Asked,
    unit: ThingId,
    page: WorkPage,
    entries: tuple[StepEntry, ...],
    checked: Checked,
    *,
    errors: Mapping[str, str] | None = None,
    problem: LoopworthyError | None = None,
    problem_place: str = "",
    question: str = "",
) -> Work:
    """Everything that a work page shows."""
    wanted = {
        (task.step.id, task.subject.key or task.subject.position)
        for task in asked.workplace.outstanding(unit, asked.now)
    }
    touched = {(one.step, one.about) for one in checked.typed}
    narrowed = bool(asked.query.get("step"))

    def is_open(entry: StepEntry) -> bool:
        key = (entry.step.id, entry.about)
        instrument = entry.step.scope.each == "instrument" and not _counts(entry)
        return narrowed or key in wanted or key in touched or instrument

    open_entries = tuple(one for one in entries if is_open(one))
    rest = tuple(one for one in entries if not is_open(one))
    last = last_entry(asked, unit)
    again = _looked_again(asked, last, dict(errors or {})) if last is not None and last.interrupted else None
    links = asked.links
    on_request = bool(asked.query.get("all"))
    return Work(
        frame=page_frame(
            asked,
            page.page.title,
            unit=unit,
            place="steps",
            problem=problem,
            problem_place=problem_place,
            cautions=_cautions(page),
        ),
        title=page.page.title,
        action=links.work(
            unit, page.page.id, step=asked.query.get("step"), about=asked.query.get("about"), all_steps=on_request
        ),
        draft=f"{short(unit)}/{page.page.id}",
        steps=_steps(asked, unit, open_entries, checked),
        counting=_steps(asked, unit, rest, checked),
        has_fields=any(not one.subject.missing for one in entries),
        who=who_fields(
            asked,
            second=any(one.step.two_person for one in entries),
            instrument_uses=_instrument_uses(asked, entries),
            errors=errors,
            question=question,
        ),
        last=last if again is not None else None,
        looked_again=again,
        change_href=links.change(unit),
        all_href="" if on_request or narrowed else links.work(unit, page.page.id, all_steps=True),
        page_href=links.work(unit, page.page.id) if narrowed or on_request else "",
        has_files=any(one.kind == "file" for entry in entries for one in entry.step.inputs),
    )


def _counts(entry: StepEntry) -> bool:
    return all(standing.state is State.CURRENT for _, standing in entry.standings)


def _cautions(page: WorkPage) -> tuple[str, ...]:
    return {"pre-breathe": ("prebreathe",), "oxygen": ("calibration",), "incident": ("accident",)}.get(
        page.page.id, ()
    ) + (("schedule",) if page.page.id == "plan" else ())


def _instrument_uses(asked: Asked, entries: tuple[StepEntry, ...]) -> tuple[str, ...]:
    """Uses of the instruments that steps of the page rest on; a step about an instrument names its own."""
    uses: dict[str, None] = {}
    for entry in entries:
        if entry.step.scope.each == "instrument" or not needs_instrument(asked.workplace, entry.step):
            continue
        for kind in entry.step.after:
            for maker in asked.workplace.catalogue.steps_making[kind]:
                if maker.scope.each == "instrument":
                    uses.update(dict.fromkeys(maker.scope.places))
    return tuple(uses)


def _looked_again(asked: Asked, last: LastEntry, errors: Mapping[str, str]) -> Field:
    return Field(
        name=LOOKED_AGAIN,
        label=asked.say("work.still_so", title=last.title, read=last.read),
        kind="tick",
        value="yes" if asked.form.ticked(LOOKED_AGAIN) else None,
        error=errors.get(LOOKED_AGAIN, ""),
    )


def _steps(asked: Asked, unit: ThingId, entries: tuple[StepEntry, ...], checked: Checked) -> tuple[WorkStep, ...]:
    return tuple(
        _step(asked, unit, tuple(group), checked) for _, group in groupby(entries, key=lambda one: one.step.id)
    )


def _step(asked: Asked, unit: ThingId, entries: tuple[StepEntry, ...], checked: Checked) -> WorkStep:
    first = entries[0]
    step, several = first.step, len(entries) > 1
    rows = tuple(_row(asked, unit, one, checked, compact=several) for one in entries)
    return WorkStep(
        id=step.id,
        text=step.title,
        instruction=step.text,
        acceptance=step.accept,
        why=step.why,
        proves_not=step.not_proven,
        never_skipped=step.never_skipped,
        two_person=step.two_person,
        state=rows[0].state if not several else None,
        limits=step_limits(asked, first, all_of_them=several),
        rows=rows,
        fineness=fineness_field(asked, step),
        aid=aid_for(asked, unit, step),
    )


def _row(asked: Asked, unit: ThingId, entry: StepEntry, checked: Checked, *, compact: bool) -> WorkRow:
    worst = _worst(entry)
    subject = entry.subject
    label = entry.label if subject.position or entry.step.scope.each == "instrument" else ""
    if subject.missing:
        href = asked.links.change(unit) if subject.missing == "content" else asked.links.parts(unit, subject.position)
        barred = asked.say(f"reasons.no_{subject.missing}")
        return WorkRow(label=label, state=worst, why="", fields=(), barred=barred, barred_href=href)
    standing = next((standing for _, standing in entry.standings if standing.state is worst), None)
    told = standing is not None and worst not in (State.CURRENT, State.ABSENT)
    fields = entry_fields(asked, entry, checked, compact=compact)
    folded = tuple(one for one in fields if entry.step.judge == TESTS and not one.name.endswith(IN_SIGHT))
    return WorkRow(
        label=label,
        state=worst,
        why=asked.words.standing_sentence(standing, entry.step) if told and standing is not None else "",
        fields=tuple(one for one in fields if one not in folded),
        more=folded,
        more_open=any(one.value or one.error or one.odd_query for one in folded),
        timer=_timer(asked, entry, checked),
    )


def _worst(entry: StepEntry) -> State:
    states = [standing.state for _, standing in entry.standings]
    return next((one for one in states if one is not State.CURRENT), State.CURRENT)


def _timer(asked: Asked, entry: StepEntry, checked: Checked) -> Timer | None:
    """The hold of a pressure test, or the five minutes of a pre-breathe."""
    if entry.step.judge not in (TESTS, PRE_BREATHE):
        return None
    name, form = hold_name(entry), asked.form
    started, ended, given_up, clocks = (
        form.get(f"{name}_{part}") for part in ("started", "ended", "given_up", "clocks")
    )
    if entry.step.judge == PRE_BREATHE:
        fields = minute_fields(asked, entry, checked)
        return Timer(
            id=f"hold-{entry.step.id}",
            name=name,
            title=asked.say("work.pre_breathe_title", minutes=len(fields)),
            seconds=60 * len(fields),
            what_to_do=asked.say("work.pre_breathe_what"),
            prompts=tuple(Prompt(at_s=60 * number, field=one) for number, one in enumerate(fields, start=1)),
            started=started,
            ended=ended,
            given_up=given_up,
            clocks=clocks,
        )
    hold = next(one for one in entry.limits if one.limit.id == f"{entry.step.id}.hold")
    return Timer(
        id=f"hold-{entry.step.id}",
        name=name,
        title=asked.say("work.hold_title", seconds=hold.value),
        seconds=int(float(hold.value)),
        what_to_do=asked.say("work.hold_what"),
        started=started,
        ended=ended,
        given_up=given_up,
        clocks=clocks,
    )


ROUTES = (Door(path="/unit/{unit}/do/{page}", handler=work, methods=READ_AND_SEND),)
