"""What one sending of a form recorded: where a form leads that is sent a second time."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.doors.telling import Telling, Told
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.once import act_in
from loopworthy.doors.web.routes import Door
from loopworthy.vocabulary.errors import UnknownNameError


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedRow:
    """One event.

    Attributes
    ----------
    told : Told
    when, href : str
        When it was recorded, and its page.
    """

    told: Told
    when: str
    href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedBefore:
    """What a form recorded the first time that it was sent.

    Attributes
    ----------
    frame : Frame
    rows : tuple of RecordedRow
    on_href, on_text : str
        The unit that it was about, or the board.
    """

    frame: Frame
    rows: tuple[RecordedRow, ...]
    on_href: str
    on_text: str


def recorded(asked: Asked) -> Answer:
    """What an act recorded."""
    act = act_in(asked.values["act"])
    record, world = asked.workplace.record, asked.workplace.world
    events = [record.get(one) for one in record.events_of_act(act)]
    if not events:
        raise UnknownNameError("act", act[:12], next_step=asked.say("once.nothing"))
    telling, clock = Telling(asked.words), asked.words.clock
    units = {world.canonical(one) for event in events for one in (*event.envelope.subjects, event.id)}
    unit = next((one for one in world.units() if one in units), "")
    context = RecordedBefore(
        frame=page_frame(asked, asked.say("once.title"), unit=unit),
        rows=tuple(
            RecordedRow(
                told=telling.told(one),
                when=clock.when(one.envelope.recorded_at.epoch_ms),
                href=asked.links.event(one.id),
            )
            for one in events
        ),
        on_href=asked.links.unit(unit) if unit else asked.links.board(),
        on_text=asked.workplace.name(unit) if unit else asked.say("parts.home"),
    )
    return Page(template="recorded.html", context=context)


ROUTES = (Door(path="/recorded/{act}", handler=recorded),)
