"""Exchanging with a hub: what is not exchanged yet, doing it now, how it went, and joining one with the code it shows.

The exchange itself runs beside the pages; this page waits for it a moment and shows it under way after that.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from loopworthy.desk.devices import devices, not_sent
from loopworthy.doors.exchange.hubs import JoinedHub, address_in, hub_at, is_open_to_listeners, joined_hubs, leave_hub
from loopworthy.doors.exchange.joining import join_with_record
from loopworthy.doors.exchange.running import Exchanging
from loopworthy.doors.exchange.told import hub_title, note_text, offset_text
from loopworthy.doors.phone.served import ADDRESS as PHONE
from loopworthy.doors.phone.served import PAGES
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import Door
from loopworthy.vocabulary.errors import InputError, LoopworthyError, RecordError

PHONE_PAGES: Final = f"{PHONE}/{PAGES}"
"""Below it lie the pages of a phone that got its program from a hub."""
WAIT_S: Final = 3.0
"""So long a page waits for an exchange before it shows it under way. [s]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class HubShown:
    """A hub that was joined.

    Attributes
    ----------
    title, address : str
    last : str
        When the last whole exchange was and what it moved.
    not_exchanged : str
    notes : tuple of str
        What else came of it: clocks, what lies beside.
    problem, problem_step : str
        Why the last attempt did not come to its end.
    listened : bool
        Whether the way to it can be listened to.
    """

    title: str
    address: str
    last: str
    not_exchanged: str
    notes: tuple[str, ...]
    problem: str
    problem_step: str
    listened: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Exchange:
    """Hubs and joining one.

    Attributes
    ----------
    frame : Frame
    possible : bool
        Whether this program can exchange at all; the rehearsal on a phone cannot.
    running : bool
    hubs : tuple of HubShown
    address, code, device_name : Field
    by_itself : bool
        Whether this device also exchanges by itself.
    join_action, now_action, leave_action, devices_href, merges_href, carry_href, again_href : str
        `devices_href` is '' on a phone, which admits nobody.
    """

    frame: Frame
    possible: bool
    running: bool
    hubs: tuple[HubShown, ...]
    address: Field
    code: Field
    device_name: Field
    by_itself: bool
    join_action: str
    now_action: str
    leave_action: str
    devices_href: str
    merges_href: str
    carry_href: str
    again_href: str


def show(asked: Asked) -> Answer:
    """The page."""
    return _page(asked, asked.query)


def join(asked: Asked) -> Answer:
    """A hub was joined, or was not."""
    if isinstance(asked.prepared, LoopworthyError):
        return _page(asked, asked.form, asked.prepared)
    return SeeOther(address=asked.links.exchange())


def exchange_now(asked: Asked) -> Answer:
    """An exchange was begun."""
    if isinstance(asked.prepared, LoopworthyError):
        return _page(asked, Form(), asked.prepared)
    return SeeOther(address=asked.links.exchange())


def leave(asked: Asked) -> Answer:
    """Forget a hub."""
    store = asked.workplace.record.store
    leave_hub(store, hub_at(store, asked.form.get("hub")))
    return SeeOther(address=asked.links.exchange())


async def _join(asked: Asked) -> object:
    try:
        exchanging = _exchanging(asked)
        address, scanned = address_in(asked.form.get("address"))
        code = asked.form.get("code") or scanned
        if not code:
            raise InputError("code", "", asked.say("exchange.a_code"), next_step=asked.say("exchange.a_code_step"))
        hub = await join_with_record(
            asked.workplace.record.store,
            address=address,
            code=code,
            device_name=asked.form.get("device_name"),
            means=exchanging.means,
        )
        await _run(exchanging, hub)
    except LoopworthyError as error:
        return error
    return None


async def _now(asked: Asked) -> object:
    try:
        exchanging = _exchanging(asked)
        await _run(exchanging, hub_at(asked.workplace.record.store, asked.form.get("hub")))
    except LoopworthyError as error:
        return error
    return None


async def _run(exchanging: Exchanging, hub: JoinedHub) -> None:
    exchanging.begin(hub)
    await exchanging.wait(WAIT_S)


def _exchanging(asked: Asked) -> Exchanging:
    if asked.site.exchanging is None:
        raise RecordError(asked.say("exchange.not_here"), next_step=asked.say("exchange.not_here_step"))
    return asked.site.exchanging


def _page(asked: Asked, form: Form, problem: LoopworthyError | None = None) -> Answer:
    say, exchanging = asked.say, asked.site.exchanging
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    place = next((name for name in ("address", "code", "device_name") if name in wrong), "")
    own = next((one.name for one in devices(asked.workplace).writers if one.own), "")
    context = Exchange(
        frame=page_frame(asked, say("exchange.title"), problem=problem, problem_place=place),
        possible=exchanging is not None,
        running=exchanging is not None and exchanging.running,
        hubs=tuple(_shown(asked, one) for one in joined_hubs(asked.workplace.record.store)),
        address=text_field(
            "address", say("exchange.address"), form, required=True, error=wrong.get("address", ""),
            help=say("exchange.address_help"), value=_hub_of_the_folder(asked),
        ),
        code=text_field(
            "code", say("exchange.code"), form, error=wrong.get("code", ""), help=say("exchange.code_help")
        ),
        device_name=text_field(
            "device_name", say("exchange.device_name"), form, required=True, value=own,
            error=wrong.get("device_name", ""), help=say("exchange.device_name_help"),
        ),
        by_itself=exchanging is not None and exchanging.by_itself,
        join_action=asked.links.join_hub(),
        now_action=asked.links.exchange_now(),
        leave_action=asked.links.leave_hub(),
        devices_href="" if asked.site.pocket else asked.links.devices(),
        merges_href=asked.links.merges(),
        carry_href=asked.links.carry(),
        again_href=asked.links.exchange(),
    )  # fmt: skip
    return Page(template="exchange.html", context=context, status=status_of(problem) if problem is not None else 200)


def _hub_of_the_folder(asked: Asked) -> str | None:
    """Where a phone got its program from there mostly is the hub as well."""
    root = asked.links.root
    return f"{asked.origin}{root.removesuffix(PHONE_PAGES)}" if root.endswith(PHONE_PAGES) else None


def _shown(asked: Asked, hub: JoinedHub) -> HubShown:
    say, clock = asked.say, asked.words.clock
    count = not_sent(asked.workplace, hub.known)
    last = say("exchange.never")
    notes: list[str] = []
    if hub.last is not None:
        last = say("exchange.last", when=clock.when(hub.last.epoch_ms), sent=hub.sent, taken=hub.taken)
        notes = [note_text(asked.site.texts, note) for note in hub.notes]
        if hub.offset_ms is not None:
            notes.insert(0, offset_text(asked.site.texts, hub.offset_ms))
    problem = hub.problem
    if problem and hub.tried is not None:
        problem = say("exchange.failed", when=clock.when(hub.tried.epoch_ms), why=problem)
    key = "nothing_new" if not count else "one_new" if count == 1 else "some_new"
    return HubShown(
        title=hub_title(hub.name, hub.address),
        address=hub.address,
        last=last,
        not_exchanged=say(f"exchange.{key}", **({"count": count} if count > 1 else {})),
        notes=tuple(notes),
        problem=problem,
        problem_step=hub.problem_step,
        listened=is_open_to_listeners(hub.address),
    )


ROUTES = (
    Door(path="/record/exchange", handler=show),
    Door(path="/record/exchange/join", handler=join, methods=("POST",), before=_join),
    Door(path="/record/exchange/now", handler=exchange_now, methods=("POST",), before=_now),
    Door(path="/record/exchange/leave", handler=leave, methods=("POST",)),
)
