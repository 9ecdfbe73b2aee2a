"""One piece of evidence: what was typed, what it says, how it stands now, who read it, and what it rests on."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.leaks import TEST_KINDS, HeldTest, earlier_tests, read_test
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.charts import Chart, LimitLine, Line, line_chart
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.doors.web.shown import by_whom, in_what, with_what
from loopworthy.doors.words import Facts
from loopworthy.judgement.book import Item
from loopworthy.judgement.standing import State
from loopworthy.judgement.subjects import instrument_subject
from loopworthy.science.loop.pressure_test import PressureTest, PressureTestAnswer
from loopworthy.science.loop.trace import PressureTestKind
from loopworthy.vocabulary.errors import UnknownNameError
from loopworthy.vocabulary.identity import ThingId, fingerprint

MOST_POINTS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeEvidence:
    """One kind of evidence that a reading makes.

    Attributes
    ----------
    kind : str
    state : State or None
        How it stands now; None where another reading decides, or its subject is not fitted.
    why, until_text, until_iso, not_proven : str
    another_href : str
        The reading that decides instead.
    """

    kind: str
    state: State | None = None
    why: str = ""
    until_text: str = ""
    until_iso: str = ""
    not_proven: str = ""
    another_href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """One comparison: sentence and facts."""

    about: str
    sentence: str
    facts: Facts


@dataclass(frozen=True, slots=True, kw_only=True)
class TestShown:
    """A pressure test in full, in words.

    Attributes
    ----------
    rows : tuple of (str, str)
        Name and value: loss, corrected loss, uncertainty, leak, what the uncorrected rule says.
    reasons : tuple of str
        Why, the deciding one first.
    why_not : str
        Why it cannot be worked out.
    chart, history : Chart or None
        Pressure over time; leak rates of the unit's own earlier tests.
    """

    rows: tuple[tuple[str, str], ...]
    reasons: tuple[str, ...]
    why_not: str
    chart: Chart | None
    history: Chart | None


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidencePage:
    """One piece of evidence.

    Attributes
    ----------
    title, about, read : str
        The step; what it is about; everything that was typed.
    made : tuple of MadeEvidence
    said : tuple of Said
    typed : tuple of (str, str)
        Field and what was typed.
    facts : tuple of (str, str)
        Who, when, with what, in what, which note.
    rests_on : tuple of (str, str)
        What it was judged with: title and address.
    test : TestShown or None
    minutes : Chart or None
        PO2 of a pre-breathe.
    withdrawn : str
        Why it was taken back; '' if it was not.
    single_handed : bool
    identity : str
        Its fingerprint, for comparing with another copy.
    repair_href, again_href, withdraw_href, sensors_href : str
    """

    frame: Frame
    title: str
    about: str
    read: str
    made: tuple[MadeEvidence, ...]
    said: tuple[Said, ...]
    typed: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]
    rests_on: tuple[tuple[str, str], ...]
    test: TestShown | None
    minutes: Chart | None
    withdrawn: str
    single_handed: bool
    identity: str
    repair_href: str
    again_href: str
    withdraw_href: str
    sensors_href: str


def evidence(asked: Asked) -> Answer:
    """The page of one piece of evidence."""
    unit, event = asked.unit, asked.event(asked.values["event"])
    item = asked.workplace.book().items.get(event)
    if item is None or item.unit != asked.workplace.world.canonical(unit):
        raise UnknownNameError("reading of this unit", asked.values["event"], next_step=asked.say("evidence.elsewhere"))
    return Page(template="evidence.html", context=evidence_context(asked, unit, item))


def evidence_context(asked: Asked, unit: ThingId, item: Item) -> EvidencePage:
    """Everything that the page of one piece of evidence shows."""
    words, links = asked.words, asked.links
    step = asked.workplace.catalogue.steps.get(item.step)
    found = asked.workplace.bench(asked.now).assess(item)
    withdrawal = asked.workplace.book().withdrawals.get(item.event)
    made = _made(asked, unit, item)
    failed = any(one.state is State.FAILED for one in made)
    place = next((one.title for one in asked.workplace.world.positions(unit) if one.id == item.position), "")
    title = step.title if step is not None else item.step
    again = links.work(unit, step.page, step=step.id, about=item.subject) if step is not None else ""
    return EvidencePage(
        frame=page_frame(asked, title, unit=unit, cautions=("current",)),
        title=title,
        about=f"{place}: {asked.workplace.world.label(item.things[0])}" if place and item.things else "",
        read=words.item_text(item),
        made=made,
        said=tuple(
            Said(about=one.about, sentence=words.finding_sentence(one), facts=words.finding_facts(one))
            for one in found.findings
        ),
        typed=_typed(asked, item),
        facts=_facts(asked, item),
        rests_on=_rests_on(asked, unit, item),
        test=_test(asked, unit, item) if item.step in TEST_KINDS else None,
        minutes=_minutes(asked, item),
        withdrawn=withdrawal.reason if withdrawal is not None else "",
        single_handed=item.payload.single_handed,
        identity=fingerprint(item.event),
        repair_href=links.repair(unit, item.event) if failed and withdrawal is None else "",
        again_href=again,
        withdraw_href=links.withdraw(unit, item.event) if withdrawal is None else "",
        sensors_href=links.sensors(unit) if item.step in ("C03", "C06", "C07", "C08") else "",
    )


def _made(asked: Asked, unit: ThingId, item: Item) -> tuple[MadeEvidence, ...]:
    """How each kind that the reading makes stands now; where another reading decides, where that is."""
    catalogue, words = asked.workplace.catalogue, asked.words
    step = catalogue.steps.get(item.step)
    if step is None:
        return ()
    bench = asked.workplace.bench(asked.now)
    subject = next((one for one in bench.subjects_of(unit, step) if one.key == item.subject), None)
    if subject is None and step.scope.each == "instrument":
        subject = instrument_subject(asked.workplace.world, item.subject)
    made = []
    for kind in step.makes:
        title, not_proven = catalogue.evidence[kind].title, catalogue.evidence[kind].not_proven
        if subject is None:
            made.append(MadeEvidence(kind=title, why=asked.say("evidence.not_fitted"), not_proven=not_proven))
            continue
        standing = bench.standing(unit, step, kind, subject)
        if standing.item is not None and standing.item.event != item.event:
            href = asked.links.evidence(unit, standing.item.event)
            made.append(MadeEvidence(kind=title, why=asked.say("evidence.another"), another_href=href))
            continue
        until = standing.until_ms
        made.append(
            MadeEvidence(
                kind=title,
                state=standing.state,
                why="" if standing.state is State.CURRENT else words.standing_sentence(standing, step),
                until_text=words.clock.when(until) if until is not None else "",
                until_iso=words.clock.iso(until) if until is not None else "",
                not_proven=not_proven,
            )
        )
    return tuple(made)


def _typed(asked: Asked, item: Item) -> tuple[tuple[str, str], ...]:
    step = asked.workplace.catalogue.steps.get(item.step)
    names = [one.name for one in step.inputs] if step is not None else []
    names += [name for name in (*item.payload.readings, *item.payload.answers) if name not in names]
    labels = {one.name: one.label for one in step.inputs} if step is not None else {}
    told = []
    for name in names:
        text = asked.words.input_text(item, name)
        if name in item.payload.traces:
            text = asked.say("words.points", points=len(item.payload.traces[name].rows))
        if name in item.payload.files:
            text = asked.say("words.file")
        fineness = next((one.resolution for one in item.payload.readings.get(name, ()) if one.resolution), "")
        if text and fineness:
            text = asked.say("evidence.fineness", read=text, step=fineness)
        if text and name in item.payload.confirmed_odd:
            text = asked.say("evidence.odd", read=text)
        if text:
            told.append((labels.get(name, name), text))
    return tuple(told)


def _facts(asked: Asked, item: Item) -> tuple[tuple[str, str], ...]:
    say, clock = asked.say, asked.words.clock
    late = item.recorded_ms - item.occurred_ms > 5 * 60_000
    typist = asked.workplace.name(item.typed_by) if item.typed_by != item.read_by else ""
    pairs = (
        (say("parts.done_by"), by_whom(asked, item)),
        (say("evidence.typed_by"), typist),
        (say("parts.done_at"), f"{clock.when(item.occurred_ms)} ({clock.ago(item.occurred_ms)})"),
        (say("evidence.written_at"), clock.when(item.recorded_ms) if late else ""),
        (say("parts.instrument"), with_what(asked, item)),
        (say("parts.context"), in_what(asked, item)),
        (say("evidence.note"), item.payload.note),
    )
    return tuple((name, value) for name, value in pairs if value)


def _rests_on(asked: Asked, unit: ThingId, item: Item) -> tuple[tuple[str, str], ...]:
    items, steps = asked.workplace.book().items, asked.workplace.catalogue.steps
    found = []
    for event in item.payload.used:
        other = items.get(event)
        if other is not None:
            title = steps[other.step].title if other.step in steps else other.step
            read = asked.words.item_text(other)
            told = asked.say(
                "evidence.rests_on_one", title=title, read=read, when=asked.words.clock.when(other.occurred_ms)
            )
            found.append((told, asked.links.evidence(unit, event)))
    return tuple(found)


# --- a pressure test, a pre-breathe ---------------------------------------------------------------------------------


def _test(asked: Asked, unit: ThingId, item: Item) -> TestShown:
    held = read_test(asked.workplace, item, asked.now)
    say = asked.say
    rows: tuple[tuple[str, str], ...] = ()
    reasons: tuple[str, ...] = ()
    test = held.test
    if test is not None:
        rows, reasons = _test_rows(asked, test), test.reasons
    why_not = ""
    if test is None:
        step = asked.workplace.catalogue.steps.get(held.why_not)
        why_not = say("reasons.needs_reading", what=step.title if step is not None else held.why_not)
    return TestShown(
        rows=rows,
        reasons=reasons,
        why_not=why_not,
        chart=_trace(asked, held),
        history=_leaks(asked, unit, item),
    )


def _test_rows(asked: Asked, test: PressureTest) -> tuple[tuple[str, str], ...]:
    """What science says of a test, a row each; what is not known is left out."""
    say, rule = asked.say, test.common_rule
    corrected, leak, leak_known = test.corrected_loss_mbar, test.leak_ml_per_min, test.leak_uncertainty_ml_per_min
    settled = test.settled_from_s is not None and test.settling_seen

    def answer(given: PressureTestAnswer) -> str:
        return say(f"evidence.answer_{given.value.replace(' ', '_')}")

    told = {
        "answer": answer(test.answer),
        "loss": say("evidence.in_hold", mbar=f"{test.loss_mbar:.1f}", seconds=f"{test.hold_s:g}"),
        "corrected": f"{corrected:.1f} mbar" if corrected is not None else "",
        "uncertainty": f"{test.uncertainty_mbar:.1f} mbar",
        "leak": say("evidence.leak_known", leak=f"{leak:.1f}", known=f"{leak_known:.1f}")
        if leak is not None and leak_known is not None
        else "",
        "start": f"{test.start_gauge_mbar:.1f} mbar",
        "settled": say("evidence.settled_from", seconds=f"{test.settled_from_s:g}")
        if settled
        else say("evidence.settled_not_seen"),
        "common_rule": say(
            "evidence.common_rule_says",
            loss=f"{rule.loss_mbar:.1f}",
            limit=f"{rule.limit_mbar:g}",
            answer=answer(rule.answer),
        ),
    }
    return tuple((say(f"evidence.{name}"), value) for name, value in told.items() if value)


def _trace(asked: Asked, held: HeldTest) -> Chart | None:
    """Pressure over time; where it was settled the hold is drawn as a line of its own, with the limit beneath it."""
    if len(held.samples) < 2:
        return None
    thinned = held.samples[:: max(1, len(held.samples) // MOST_POINTS)]
    whole = Line(name=asked.say("evidence.trace"), points=tuple((one.time_s, one.gauge_mbar) for one in thinned))
    series, limits = [whole], []
    test = held.test
    if test is not None and test.settled_from_s is not None:
        begun, ended = test.settled_from_s, test.settled_from_s + test.hold_s
        slope = test.loss_mbar / test.hold_s * (1 if test.kind is PressureTestKind.NEGATIVE else -1)
        end = test.start_gauge_mbar + slope * test.hold_s
        series.append(
            Line(
                name=asked.say("evidence.settled_part", start=f"{begun:g}", end=f"{ended:g}"),
                points=((begun, test.start_gauge_mbar), (ended, end)),
            )
        )
        furthest = test.start_gauge_mbar + test.limit_mbar * (1 if test.kind is PressureTestKind.NEGATIVE else -1)
        limits.append(LimitLine(y=furthest, text=asked.say("evidence.limit_line", mbar=f"{test.limit_mbar:g}")))
    step = asked.workplace.catalogue.steps[held.item.step]
    return line_chart(
        id="trace",
        title=asked.say("evidence.trace_title", title=step.title),
        summary=asked.say("evidence.trace_summary", points=len(held.samples)),
        x_label=asked.say("evidence.seconds"),
        y_label=asked.say("evidence.mbar"),
        series=series,
        limits=limits,
        least_span=2.0,
        table_head=(asked.say("evidence.seconds"), asked.say("evidence.mbar"), "°C"),
        table_rows=tuple(
            (f"{one.time_s:g}", f"{one.gauge_mbar:g}", "" if one.temperature_c is None else f"{one.temperature_c:g}")
            for one in thinned
        ),
    )


def _leaks(asked: Asked, unit: ThingId, item: Item) -> Chart | None:
    """Leak rates of the unit's own tests of this kind, oldest first."""
    known = [
        (one, one.test.leak_ml_per_min)
        for one in earlier_tests(asked.workplace, unit, item.step, most=20)
        if one.test is not None and one.test.leak_ml_per_min is not None
    ]
    if len(known) < 2:
        return None
    step = asked.workplace.catalogue.steps[item.step]
    clock = asked.words.clock
    return line_chart(
        id="leaks",
        title=asked.say("evidence.leaks_title", title=step.title),
        summary=asked.say("evidence.leaks_summary", count=len(known)),
        x_label=asked.say("evidence.test_number"),
        y_label="mL/min",
        series=(Line(name=step.title, points=tuple((n, leak) for n, (_, leak) in enumerate(known, start=1))),),
        least_span=10.0,
        whole_x=True,
        table_head=(asked.say("sensors.when"), "mL/min"),
        table_rows=tuple((clock.when(one.item.occurred_ms), f"{leak:.1f}") for one, leak in known),
    )


def _minutes(asked: Asked, item: Item) -> Chart | None:
    """PO2 of a pre-breathe, minute by minute, with the floor and the set point."""
    readings = item.payload.readings.get("po2_each_minute", ())
    if not readings:
        return None
    step = asked.workplace.catalogue.steps[item.step]
    limits = asked.workplace.bench(asked.now).limits(item.unit, step)
    floor = limits.get(f"{item.step}.floor")
    set_point = item.payload.readings.get("set_point_bar", ())
    lines = [LimitLine(y=float(floor.value), text=asked.words.limit_text(floor))] if floor is not None else []
    lines += [LimitLine(y=one.number, text=asked.say("evidence.set_point")) for one in set_point[:1]]
    return line_chart(
        id="minutes",
        title=asked.say("evidence.minutes_title"),
        summary=asked.say("evidence.minutes_summary", count=len(readings)),
        x_label=asked.say("evidence.minute"),
        y_label=asked.say("evidence.po2"),
        series=(Line(name="PO2", points=tuple((minute, one.number) for minute, one in enumerate(readings, start=1))),),
        limits=lines,
        least_span=0.5,
        whole_x=True,
        table_head=(asked.say("evidence.minute"), "PO2"),
        table_rows=tuple((str(minute), asked.words.reading(one)) for minute, one in enumerate(readings, start=1)),
    )


ROUTES = (Door(path="/unit/{unit}/evidence/{event}", handler=evidence),)
