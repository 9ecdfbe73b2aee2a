"""Answers for people: lines of plain text, the verdict's word first, every number with unit, limit, margin and origin.

The sentences come from `doors.words`, which the web uses as well; here they are only put in lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING

from loopworthy.doors.cli.base import say
from loopworthy.doors.quantities import zone_text
from loopworthy.doors.texts import Texts
from loopworthy.vocabulary.identity import short

if TYPE_CHECKING:
    from loopworthy.desk.history import HistoryEntry
    from loopworthy.desk.steps import StepEntry
    from loopworthy.doors.telling import Told
    from loopworthy.doors.words import Words
    from loopworthy.judgement.catalogue.model import Change, Input, Step
    from loopworthy.judgement.outcome import EffectiveLimit
    from loopworthy.judgement.outstanding import Task
    from loopworthy.judgement.preview import Preview
    from loopworthy.judgement.standing import Standing
    from loopworthy.judgement.verdict import Requirement, Verdict

FIRST_REASONS = 8
"""So many reasons are told at once; more are asked for with --all."""


def verdict_line(words: Words, one: Verdict) -> str:
    """The verdict in one line, its word first; in the end that something lies beside the record."""
    mark = words.caution_mark(one)
    return f"{_line(words, one)} [{mark}]" if mark else _line(words, one)


def _line(words: Words, one: Verdict) -> str:
    name = words.workplace.name(one.unit)
    if one.word.value == "ready" and one.until_ms is not None:
        left = (one.until_ms - words.clock.now.epoch_ms) // 60_000
        return say(
            "ready_until",
            word=one.word.value,
            unit=name,
            until=words.clock.when(one.until_ms),
            left=words.duration(max(0, left)),
            reason=words.until_reason(one),
        )
    return say("verdict", word=one.word.value, unit=name, sentence=words.verdict_sentence(one))


def cautions(words: Words, one: Verdict, indent: str = "  ") -> Iterator[str]:
    """What lies beside the record and may undo some of the evidence, and where to see it in full."""
    said = Texts.load().say
    for text in words.cautions(one):
        yield indent + said("apart.cli", caution=text)
    if one.cautions:
        yield indent + said("apart.more")


def verdict(words: Words, one: Verdict, *, everything: bool = False) -> Iterator[str]:
    """A verdict with its hold points and reasons."""
    yield verdict_line(words, one)
    yield from cautions(words, one)
    yield "  " + say("judged_at", when=words.clock.when(one.moment.epoch_ms), zone=zone_text(one.moment))
    for mark in words.verdict_marks(one):
        yield f"  {say('mark', mark=mark)}"
    for each in one.holds:
        line = say("hold", hold=each.hold.id, title=each.hold.title, word=each.word.value)
        yield f"  {line}; {words.hold_sentence(each)}"
    for blocking in one.open_holds:
        yield f"  {say('open_hold', sentence=words.open_hold_sentence(blocking), event=short(blocking.event))}"
    reasons = tuple(_each_once(one.reasons()))
    shown = reasons if everything else reasons[:FIRST_REASONS]
    if shown:
        yield say("because")
    for reason in shown:
        yield from requirement(words, reason)
    if len(shown) < len(reasons):
        yield f"  {say('more_reasons', count=len(reasons) - len(shown))}"
    if everything:
        counting = tuple(_each_once(each for each in one.requirements() if each.counts))
        if counting:
            yield say("counting")
        for each_one in counting:
            yield from requirement(words, each_one)
    if one.word.value == "ready":
        yield Texts.load().say("parts.caution_ready")


def _each_once(requirements: Iterable[Requirement]) -> Iterator[Requirement]:
    """A reading that is asked for as several kinds of evidence and stands alike in all is told once."""
    met = set()
    for one in requirements:
        key = (one.step.id, one.subject.key or one.subject.position, one.standing.state, one.standing.code)
        if key not in met:
            met.add(key)
            yield one


def requirement(words: Words, one: Requirement) -> Iterator[str]:
    """A requirement: its state, what it is about, why, and the reading with its limit."""
    never = say("never_skipped") if one.step.never_skipped else ""
    title = say("step_title", step=one.step.id, title=words.requirement_title(one))
    yield f"  {one.standing.state.value}: {title}{never}"
    yield from standing(words, one.standing, one.step, indent="    ")


def standing(words: Words, one: Standing, step: Step, *, indent: str) -> Iterator[str]:
    """Why evidence stands as it does, with its numbers."""
    yield indent + words.standing_sentence(one, step)
    facts = words.facts(one)
    pieces = [
        say("fact_reading", reading=facts.reading) if facts.reading else "",
        say("fact_limit", limit=facts.limit) if facts.limit else "",
        say("fact_margin", margin=facts.margin) if facts.margin else "",
        say("fact_origin", origin=facts.origin) if facts.origin else "",
    ]
    told = "; ".join(piece for piece in pieces if piece)
    if told:
        yield indent + told
    if one.until_ms is not None:
        yield indent + say("holds_until", until=words.clock.when(one.until_ms))
    for mark in words.marks(one.marks):
        yield indent + say("mark", mark=mark)
    if one.item is not None:
        yield indent + say(
            "read_by",
            event=short(one.item.event),
            who=words.workplace.name(one.item.read_by) or say("nobody"),
            when=words.clock.when(one.item.occurred_ms),
        )
    elif one.cause:
        yield indent + say("cause", event=short(one.cause))
    if one.mend and one.mend != step.id:
        yield indent + say("mended_by", step=one.mend, title=words.catalogue.steps[one.mend].title)


def outstanding(words: Words, tasks: Sequence[Task]) -> Iterator[str]:
    """What is outstanding, page by page."""
    if not tasks:
        yield Texts.load().say("parts.nothing_outstanding")
        return
    titles = {page.id: page.title for page in words.catalogue.pages}
    page = ""
    for one in tasks:
        if one.step.page != page:
            page = one.step.page
            yield say("page", page=page, title=titles[page])
        about = words.subject_label(one.subject)
        where = f" ({one.subject.position})" if one.subject.position else ""
        marks = [
            say("never_skipped") if one.step.never_skipped else "",
            say("two_people") if one.step.two_person else "",
            say("prepares") if one.prepares else "",
            say("mend_first", event=short(one.first_mend)) if one.first_mend else "",
        ]
        title = f"{one.step.title}, {about}{where}" if about else one.step.title
        yield f"  {one.step.id} {title}{''.join(marks)}"
    yield say("outstanding_count", count=len(tasks))


def step(words: Words | None, one: Step, limits: Iterable[EffectiveLimit] = ()) -> Iterator[str]:
    """A step as the catalogue has it: what to do, what to enter, what it proves and what not."""
    yield say("step_title", step=one.id, title=one.title)
    yield f"  {one.text}"
    yield f"  {say('accepted_when', accept=one.accept)}"
    if one.why:
        yield f"  {say('why', why=one.why)}"
    if one.not_proven:
        yield f"  {say('not_proven', not_proven=one.not_proven)}"
    yield f"  {say('applies', when=one.when.describe())}"
    yield f"  {say('is_about', about=about_text(one))}"
    marks = [
        say("mark_never_skipped") if one.never_skipped else "",
        say("mark_two_people") if one.two_person else "",
        say("mark_on_request") if one.on_request else "",
    ]
    for mark in marks:
        if mark:
            yield f"  {mark}"
    yield f"  {say('makes', kinds=', '.join(one.makes), page=one.page)}"
    if one.uses:
        yield f"  {say('rests_on', steps=', '.join(one.uses))}"
    if one.after:
        yield f"  {say('comes_after', kinds=', '.join(one.after))}"
    yield say("to_enter")
    for each in one.inputs:
        yield f"  {input_text(each)}"
    effective = {each.limit.id: each for each in limits}
    if one.limits:
        yield say("its_limits")
    for known in one.limits:
        held = effective.get(known.id)
        if held is not None and words is not None:
            yield f"  {limit(words, held)}"
        else:
            value = f"{known.value} {known.unit}".strip()
            origin = f"{known.origin.value} ({known.source})" if known.source else known.origin.value
            yield f"  {say('plain_limit', limit=known.id, rule=known.rule.value, value=value, origin=origin)}"


def about_text(one: Step) -> str:
    """What one reading of a step is about, in words."""
    if one.scope.each == "unit":
        return say("about_unit")
    places = f" ({', '.join(one.scope.places)})" if one.scope.places else ""
    bound = "" if one.scope.binds == "part" else say(f"about_{one.scope.binds}")
    return say("about_each", kind=one.scope.each, places=places, bound=bound)


def input_text(one: Input) -> str:
    """One field of a step: its name, what it is, its unit and what is usually read."""
    pieces = [one.kind.value]
    if one.unit and one.unit not in ("1", "count"):
        pieces.append(say("in_unit", unit=one.unit))
    if one.count > 1:
        pieces.append(say("so_many", count=one.count))
    if one.choices:
        pieces.append(say("choices", choices=", ".join(one.choices)))
    if one.usual_low or one.usual_high:
        pieces.append(say("usually", low=one.usual_low or "…", high=one.usual_high or "…", unit=one.unit))
    if not one.required:
        pieces.append(say("may_be_left_out"))
    return f"{one.name}: {one.label} ({'; '.join(pieces)})"


def entry(words: Words, one: StepEntry) -> Iterator[str]:
    """A step for one subject, with how it stands now."""
    about = words.subject_label(one.subject)
    where = (
        f", {about} ({one.subject.position})" if about else (f", {one.label}" if one.step.scope.each != "unit" else "")
    )
    states = dict.fromkeys(each.state.value for _, each in one.standings)
    last = f"; {say('last_time', value=words.item_text(one.last))}" if one.last is not None else ""
    yield f"  {' / '.join(states)}: {one.step.id} {one.step.title}{where}{last}"


def limit(words: Words, one: EffectiveLimit) -> str:
    """A limit as it holds for a unit."""
    told = say("limit", limit=one.limit.id, text=words.limit_text(one), origin=words.origin_text(one))
    return f"{told}; {say('limit_confirmed')}" if one.confirmed else told


def change(one: Change) -> Iterator[str]:
    """A change as the catalogue has it: its questions and its three columns."""
    yield say("change_title", change=one.id, title=one.title)
    if one.part:
        places = f" ({', '.join(one.places)})" if one.places else ""
        yield f"  {say('change_part', part=one.part + places)}"
    if one.does:
        yield f"  {say('change_does', does=one.does)}"
    for question in one.questions:
        answers = ", ".join(question.answers)
        yield f"  {say('question', id=question.id, text=question.text, answers=answers, worst=question.worst)}"
    for rule in one.rules:
        condition = " and ".join(f"{question}={answer}" for question, answer in rule.condition)
        told = say("effect", effect=rule.effect.value, kind=rule.evidence, scope=rule.scope)
        by = say("effect_by", step=rule.by) if rule.by and rule.effect.value == "re-check" else ""
        yield f"  {told}{by}{say('effect_if', condition=condition) if condition else ''}"
    if one.keeps:
        yield f"  {say('keeps', keeps=one.keeps)}"
    if one.hold:
        yield f"  {say('opens_hold', words=one.hold)}"
    yield f"  {say('source', source=one.source)}"


def preview(words: Words, one: Preview) -> Iterator[str]:
    """What a change would do, before it is recorded."""
    if not one.falls and not one.proved_wrong:
        yield say("nothing_falls", title=one.change.title)
    else:
        yield say("would_fall", title=one.change.title, count=len(one.falls) + len(one.proved_wrong))
    for fall in one.falls:
        title = words.step_title(fall.step, fall.subject)
        back = say("effect_by", step=fall.by) if fall.by else ""
        yield f"  {fall.effect.value}: {fall.step.id} {title}{back}"
    for item in one.proved_wrong:
        told = say("proved_wrong", step=item.step, when=words.clock.when(item.occurred_ms), event=short(item.event))
        yield f"  {told}"
    if one.change.keeps:
        yield f"  {say('keeps', keeps=one.change.keeps)}"
    if one.hold:
        yield f"  {say('opens_hold', words=one.hold)}"


def history_entry(words: Words, one: HistoryEntry, told: Told) -> str:
    """One event in one line."""
    pieces = [words.clock.when(one.occurred.epoch_ms), told.title]
    pieces += [piece for piece in (told.about, told.detail) if piece]
    if one.reader:
        pieces.append(say("by", who=one.reader))
    if one.late:
        pieces.append(say("written_late", when=words.clock.when(one.recorded.epoch_ms)))
    if one.withdrawn:
        pieces.append(say("withdrawn", reason=one.withdrawn))
    return f"{short(one.event)}  {'  '.join(pieces)}"
