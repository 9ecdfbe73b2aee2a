"""The frame of a page: title, unit in hand, its five places, the clock, and what was just recorded."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.doors.quantities import zone_text
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.refusal import told
from loopworthy.judgement.events import EvidenceRecorded
from loopworthy.judgement.outcome import Outcome
from loopworthy.judgement.verdict import Verdict, Word
from loopworthy.unit.events import ChangeMade
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import ThingId

PLACES = ("verdict", "steps", "sensors", "change", "more")


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """What base.html draws around a page; see the sheet at its head.

    Attributes
    ----------
    title, lang, now_iso, zone : str
        Title; language; the moment the page was made; the zone that all its times are in.
    demo, clock_fixed : bool
        Whether the record is invented; whether the clock stands.
    root, home_href : str
        What every address begins with; the board.
    person, person_href : str
        Who reads on this device, '' for nobody; where to change it.
    unit_name : str
    nav : tuple of (str, str, bool)
        Label, address and whether it is this page's.
    until_seconds : int or None
        When the page must be read again with scripts off.
    cautions : tuple of str
    notice : tuple of str
        What was done, a sentence each.
    hand_on_href : str
        Where a change that was just recorded is shown to another phone; '' where none was.
    problem, problem_step : str
        What was refused, and what to do.
    problem_place : str
        The id of the first field that it is about; '' where it is about none.
    """

    title: str
    lang: str
    now_iso: str
    zone: str
    demo: bool
    clock_fixed: bool
    root: str
    home_href: str
    person: str = ""
    person_href: str = ""
    unit_name: str = ""
    nav: tuple[tuple[str, str, bool], ...] = ()
    until_seconds: int | None = None
    cautions: tuple[str, ...] = ()
    notice: tuple[str, ...] = ()
    hand_on_href: str = ""
    problem: str = ""
    problem_step: str = ""
    problem_place: str = ""


TOLD_ONE_BY_ONE = 3
"""More good readings than this are told by their number, so that the next page's title stays in sight."""


def page_frame(
    asked: Asked,
    title: str,
    *,
    unit: ThingId = "",
    place: str = "",
    verdict: Verdict | None = None,
    until_ms: int | None = None,
    cautions: tuple[str, ...] = (),
    problem: LoopworthyError | None = None,
    problem_place: str = "",
    notice: tuple[str, ...] = (),
) -> Frame:
    """The frame of a page.

    Parameters
    ----------
    title : str
        For the tab and for finding the page again.
    unit : str
        The unit in hand; its places are shown then.
    place : str
        Which of `PLACES` the page is.
    verdict : Verdict, optional
        The verdict that the page shows: where it is ready, the page must be read again when it ends.
    until_ms : int, optional
        The same for a page that shows several; the earliest end.
    notice : tuple of str
        What was done, beside what the address says was recorded (``done``).
    """
    ends = [until_ms] if until_ms is not None else []
    if verdict is not None and verdict.word is Word.READY and verdict.until_ms is not None:
        ends.append(verdict.until_ms)
    done = done_events(asked)
    return Frame(
        title=title,
        lang=asked.site.texts.language,
        now_iso=asked.now.local().isoformat(timespec="milliseconds"),
        zone=zone_text(asked.now),
        demo=asked.workplace.record.invented,
        clock_fixed=asked.site.clock_fixed,
        root=asked.links.root,
        home_href=asked.links.board(),
        person=asked.workplace.name(asked.person),
        person_href=asked.links.people(back=asked.path if asked.method == "GET" else ""),
        unit_name=asked.workplace.name(unit),
        nav=_nav(asked, unit, place) if unit else (),
        until_seconds=max(0, (min(ends) - asked.now.epoch_ms) // 1000) if ends else None,
        cautions=cautions,
        notice=(*notice, *done_sentences(asked, done)),
        hand_on_href=_hand_on(asked, done),
        problem=told(asked, problem) if problem is not None else "",
        problem_step=problem.next_step if problem is not None else "",
        problem_place=problem_place,
    )


def _nav(asked: Asked, unit: ThingId, place: str) -> tuple[tuple[str, str, bool], ...]:
    links = asked.links
    addresses = {
        "verdict": links.unit(unit),
        "steps": links.steps(unit),
        "sensors": links.sensors(unit),
        "change": links.change(unit),
        "more": links.more(unit),
    }
    if not any(one.kind == "oxygen-sensor" for one in asked.workplace.world.positions(unit)):
        del addresses["sensors"]
    return tuple((asked.say(f"nav.{name}"), address, name == place) for name, address in addresses.items())


def done_events(asked: Asked) -> tuple[Event, ...]:
    """What the address says was just recorded."""
    found = []
    for text in asked.query.get("done").split(",")[:40]:
        try:
            event = asked.workplace.record.get(text) if text else None
        except LoopworthyError:
            continue  # an old or mistyped address; a notice is no reason to refuse the page
        if event is not None:
            found.append(event)
    return tuple(found)


def done_sentences(asked: Asked, done: tuple[Event, ...]) -> tuple[str, ...]:
    """What was just recorded in words: each that needs a look by itself, the others by their number."""
    sentences: list[str] = []
    quiet: list[str] = []
    for event in done:
        (quiet if _is_quiet(asked, event) else sentences).append(recorded_sentence(asked, event))
    if len(quiet) > TOLD_ONE_BY_ONE:
        quiet = [asked.say("recorded.quiet", count=len(quiet))]
    return (*sentences, *quiet)


def _hand_on(asked: Asked, done: tuple[Event, ...]) -> str:
    """Where a change is shown to another phone, with all that it rests on and that nobody else has seen."""
    return asked.links.latest_code() if any(isinstance(event.payload, ChangeMade) for event in done) else ""


def _is_quiet(asked: Asked, event: Event) -> bool:
    """Whether a reading lies well inside its limit, or has none."""
    if not isinstance(event.payload, EvidenceRecorded):
        return False
    item = asked.workplace.book().items[event.id]
    return asked.workplace.bench(asked.now).assess(item).outcome is Outcome.INSIDE


def recorded_sentence(asked: Asked, event: Event) -> str:
    """One recorded event: for a reading what it says against its limit."""
    payload = event.payload
    if not isinstance(payload, EvidenceRecorded):
        name = event.envelope.kind.partition(".")[2].replace("-", "_")
        return asked.say(f"recorded.{name}")
    item = asked.workplace.book().items[event.id]
    step = asked.workplace.catalogue.steps.get(payload.step)
    about = next((one for one in asked.workplace.world.positions(payload.unit) if one.id == payload.position), None)
    title = step.title if step is not None else payload.step
    values = {"title": f"{title}, {about.title}" if about is not None else title}
    found = asked.workplace.bench(asked.now).assess(item)
    if not found.findings:
        return asked.say("recorded.entered", **values, read=asked.words.item_text(item))
    decisive = found.decisive
    facts = asked.words.finding_facts(decisive, item=item) if decisive is not None else None
    key = {
        Outcome.INSIDE: "inside",
        Outcome.NEAR: "near",
        Outcome.OUTSIDE: "outside",
        Outcome.CANNOT_TELL: "cannot_tell",
    }[found.outcome]
    if facts is None or found.outcome is Outcome.CANNOT_TELL:
        why = asked.words.finding_sentence(decisive) if decisive is not None else ""
        return asked.say("recorded.cannot_tell", **values, why=why)
    return asked.say(f"recorded.{key}", **values, read=facts.reading or "—", limit=facts.limit or "—")
