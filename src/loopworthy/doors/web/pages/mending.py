"""Setting things right, or saying aloud that they were left: repair, release, leaving out, taking back."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.mending import give_waiver, record_repair, release_hold, withdraw
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.fields import Field, given_by, person_field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.judgement.verdict import open_holds
from loopworthy.vocabulary.errors import ConflictError, InputError, LoopworthyError, RefusedError, UnknownNameError
from loopworthy.vocabulary.identity import short

FormErrors = dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class SmallForm:
    """A page with a few fields and one button, drawn by form.html.

    Attributes
    ----------
    title, action, button : str
    said : tuple of str
        What it is about, a paragraph each.
    fields : tuple of Field
    back_href : str
        Where to go when nothing is to be done.
    draft : str
        Under what a draft is kept on the device.
    """

    frame: Frame
    title: str
    action: str
    button: str
    said: tuple[str, ...]
    fields: tuple[Field, ...]
    back_href: str
    draft: str


def small_form(
    asked: Asked,
    *,
    title: str,
    action: str,
    button: str,
    said: tuple[str, ...],
    fields: tuple[Field, ...],
    problem: LoopworthyError | None = None,
    at_field: bool = False,
    back_href: str = "",
    draft: str = "",
    unit: str = "",
) -> Page:
    """The page of a small form; with the problem where it was refused, unless a field tells it."""
    status = status_of(problem) if problem is not None else 200
    shown = LoopworthyError(asked.say("work.look_again_one")) if problem is not None and at_field else problem
    context = SmallForm(
        frame=page_frame(asked, title, unit=unit, problem=shown),
        title=title,
        action=action,
        button=button,
        said=said,
        fields=fields,
        back_href=back_href or (asked.links.unit(unit) if unit else asked.links.board()),
        draft=draft,
    )
    return Page(template="form.html", context=context, status=status)


def errors_of(problem: LoopworthyError | None, names: tuple[str, ...]) -> FormErrors:
    """The problem at its own field, where it names one of these."""
    if isinstance(problem, InputError) and problem.name in names:
        return {problem.name: problem.next_step or problem.message}
    return {}


def require_words(asked: Asked, *names: str) -> None:
    """Refuse the form at the first of these fields that is empty.

    Raises
    ------
    InputError
        If one is.
    """
    for name in names:
        if not asked.form.get(name):
            raise InputError(name, "", "said in words", next_step=asked.say("mending.say_it"))


# --- repair ---------------------------------------------------------------------------------------------------------


def repair(asked: Asked) -> Answer:
    """Name what was mended after a reading outside its limit; then it is read again."""
    unit = asked.unit
    event = asked.event(asked.query.get("event"))
    item = asked.workplace.book().items.get(event)
    if item is None or item.unit != unit:
        raise UnknownNameError("reading of this unit", asked.query.get("event"))
    step = asked.workplace.catalogue.step(item.step)
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            require_words(asked, "cause", "action")
            given = given_by(asked)
            if not given.reader:
                raise InputError("read_by", "", "the person who mended it", next_step=asked.say("mending.name"))
            repaired = record_repair(
                asked.workplace,
                unit,
                (event,),
                cause=asked.form.get("cause"),
                done=asked.form.get("action"),
                place=asked.form.get("place"),
                person=given.reader,
            )
            again = asked.links.work(unit, step.page, step=step.id, about=item.subject)
            return SeeOther(address=f"{again}&done={short(repaired)}")
        except (InputError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("cause", "action", "done", "place", "read_by"))
    found = asked.workplace.bench(asked.now).assess(item)
    place = next((one.title for one in asked.workplace.world.positions(unit) if one.id == item.position), "")
    title = f"{step.title}, {place}" if place else step.title
    say = asked.say
    return small_form(
        asked,
        title=say("mending.repair_title"),
        action=asked.links.repair(unit, event),
        button=say("mending.repair_button"),
        said=(
            f"{title}: {asked.words.finding_sentence(found.decisive)}"
            if found.decisive is not None
            else f"{title}: {asked.words.item_text(item)}",
            say("mending.repair_said"),
        ),
        fields=(
            text_field("place", say("mending.place"), asked.form, error=wrong.get("place", "")),
            text_field("cause", say("mending.cause"), asked.form, required=True, error=wrong.get("cause", "")),
            text_field(
                "action",
                say("mending.done"),
                asked.form,
                kind="longtext",
                required=True,
                error=wrong.get("action", "") or wrong.get("done", ""),
            ),
            person_field(
                asked,
                "read_by",
                say("mending.by"),
                chosen=asked.person,
                required=True,
                error=wrong.get("read_by", ""),
            ),
        ),
        problem=problem,
        at_field=bool(wrong),
        draft=f"{short(unit)}/repair/{short(event)}",
        unit=unit,
    )


# --- release --------------------------------------------------------------------------------------------------------


def release(asked: Asked) -> Answer:
    """A second person lifts a hold: cause found, repair made, test done."""
    unit = asked.unit
    event = asked.event(asked.values["event"])
    workplace = asked.workplace
    holds = open_holds(workplace.book(), workplace.catalogue, unit, asked.now)
    hold = next((one for one in holds if one.event == event), None)
    if hold is None:
        raise UnknownNameError("open hold", asked.values["event"], next_step=asked.say("mending.no_such_hold"))
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            require_words(asked, "cause", "repair", "test")
            released = release_hold(
                workplace,
                unit,
                event,
                cause=asked.form.get("cause"),
                repair=asked.form.get("repair"),
                test=asked.form.get("test"),
                person=given_by(asked).reader,
            )
            return SeeOther(address=asked.links.unit(unit, done=(released,)))
        except (InputError, RefusedError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("cause", "repair", "test", "read_by"))
    say = asked.say
    return small_form(
        asked,
        title=say("mending.release_title"),
        action=asked.links.release(unit, event),
        button=say("mending.release_button"),
        said=(
            asked.words.open_hold_sentence(hold),
            *((say("unit.note", note=hold.note),) if hold.note else ()),
            say("mending.release_said", who=workplace.name(hold.person) or say("words.nobody_named")),
        ),
        fields=(
            text_field("cause", say("mending.cause"), asked.form, required=True, error=wrong.get("cause", "")),
            text_field("repair", say("mending.done"), asked.form, required=True, error=wrong.get("repair", "")),
            text_field("test", say("mending.test"), asked.form, required=True, error=wrong.get("test", "")),
            person_field(asked, "read_by", say("mending.releases"), required=True, error=wrong.get("read_by", "")),
        ),
        problem=problem,
        at_field=bool(wrong),
        draft=f"{short(unit)}/release/{short(event)}",
        unit=unit,
    )


# --- leaving out ----------------------------------------------------------------------------------------------------


def leave_out(asked: Asked) -> Answer:
    """One requirement is left out for one dive, aloud; never one of a never-skipped step."""
    unit = asked.unit
    step = asked.workplace.catalogue.step(asked.query.get("step"))
    about = asked.query.get("about")
    found = [one for one in asked.workplace.verdict(unit, asked.now).requirements() if one.key[1:] == (step.id, about)]
    if not found:
        raise UnknownNameError("requirement", f"{step.id} {about}", next_step=asked.say("mending.no_requirement"))
    if step.never_skipped:
        raise RefusedError(f"{step.id} {step.title} is never skipped", next_step=asked.say("mending.never_skipped"))
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            require_words(asked, "reason")
            person = given_by(asked).reader
            for name, who in (("read_by", person), ("hearer", asked.form.get("hearer"))):
                if not who:
                    raise InputError(name, "", "named", next_step=asked.say("mending.name"))
            reason, hearer = asked.form.get("reason"), asked.form.get("hearer")
            given = give_waiver(asked.workplace, unit, step.id, about, reason=reason, hearer=hearer, person=person)
            return SeeOther(address=asked.links.unit(unit, done=(given,)))
        except (InputError, RefusedError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("reason", "read_by", "hearer"))
    say, standing = asked.say, found[0].standing
    return small_form(
        asked,
        title=say("mending.leave_title"),
        action=asked.links.waive(unit, step.id, about),
        button=say("mending.leave_button"),
        said=(
            f"{asked.words.requirement_title(found[0])}: {asked.words.standing_sentence(standing, step)}",
            say("mending.leave_why", why=step.why) if step.why else say("mending.leave_said"),
            say("mending.leave_said"),
        ),
        fields=(
            text_field(
                "reason",
                say("mending.reason"),
                asked.form,
                kind="longtext",
                required=True,
                error=wrong.get("reason", ""),
            ),
            person_field(
                asked,
                "read_by",
                say("mending.says"),
                chosen=asked.person,
                required=True,
                error=wrong.get("read_by", ""),
            ),
            person_field(asked, "hearer", say("mending.hears"), required=True, error=wrong.get("hearer", "")),
        ),
        problem=problem,
        at_field=bool(wrong),
        draft=f"{short(unit)}/leave-out/{step.id}",
        unit=unit,
    )


# --- taking back ----------------------------------------------------------------------------------------------------


def take_back(asked: Asked) -> Answer:
    """Take back what was entered wrongly. It stays readable, and nothing comes back to life by it."""
    unit = asked.unit
    event = asked.workplace.record.get(asked.event(asked.values["event"]))
    problem: LoopworthyError | None = None
    if asked.posts:
        try:
            require_words(asked, "reason")
            person = given_by(asked).reader
            if not person:
                raise InputError("read_by", "", "named", next_step=asked.say("mending.name"))
            withdrawal = withdraw(asked.workplace, event.id, reason=asked.form.get("reason"), person=person)
            return SeeOther(address=asked.links.unit(unit, done=(withdrawal,)))
        except (InputError, RefusedError, ConflictError) as error:
            problem = error
    wrong = errors_of(problem, ("reason", "read_by"))
    item = asked.workplace.book().items.get(event.id)
    steps = asked.workplace.catalogue.steps
    told = asked.say("mending.take_back_event", when=asked.words.clock.when(event.envelope.occurred_at.epoch_ms))
    if item is not None:
        title = steps[item.step].title if item.step in steps else item.step
        told = f"{title}: {asked.words.item_text(item)} ({asked.words.clock.when(item.occurred_ms)})"
    say = asked.say
    return small_form(
        asked,
        title=say("mending.take_back_title"),
        action=asked.links.withdraw(unit, event.id),
        button=say("mending.take_back_button"),
        said=(told, say("mending.take_back_said")),
        fields=(
            text_field("reason", say("mending.reason"), asked.form, required=True, error=wrong.get("reason", "")),
            person_field(
                asked, "read_by", say("mending.by"), chosen=asked.person, required=True, error=wrong.get("read_by", "")
            ),
        ),
        problem=problem,
        at_field=bool(wrong),
        draft=f"{short(unit)}/take-back/{short(event.id)}",
        unit=unit,
    )


ROUTES = (
    Door(path="/unit/{unit}/repair", handler=repair, methods=READ_AND_SEND),
    Door(path="/unit/{unit}/release/{event}", handler=release, methods=READ_AND_SEND),
    Door(path="/unit/{unit}/leave-out", handler=leave_out, methods=READ_AND_SEND),
    Door(path="/unit/{unit}/withdraw/{event}", handler=take_back, methods=READ_AND_SEND),
)
