"""Devices: who writes in the record, who may exchange through this computer, letting one in, letting one in no more."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

from loopworthy.desk import devices as desk
from loopworthy.doors.codes import Code, code_of
from loopworthy.doors.exchange.hubs import address_in, address_with_code, is_open_to_listeners
from loopworthy.doors.exchange.told import offset_text
from loopworthy.doors.web.answers import Answer, Page, SeeOther
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.refusal import status_of, told
from loopworthy.doors.web.routes import READ_AND_SEND, Door
from loopworthy.doors.web.signing import Signing, signed_by, signing_fields
from loopworthy.record.admissions import Admission
from loopworthy.vocabulary.errors import InputError, LoopworthyError
from loopworthy.vocabulary.identity import short


@dataclass(frozen=True, slots=True, kw_only=True)
class CodeShown:
    """A code that was made just now; it is on no other page.

    Attributes
    ----------
    code : str
    address : str
    until : str
    drawn : Code
        Address and code for a camera.
    listened : bool
        Whether the way there can be listened to.
    """

    code: str
    address: str
    until: str
    drawn: Code
    listened: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class WriterShown:
    """A device that has written in the record."""

    name: str
    device: str
    own: bool
    told: str
    offset: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AdmittedShown:
    """A device that was admitted here.

    Attributes
    ----------
    name, admission : str
    admitted, last, offset, writes_as, revoked : str
        Sentences; '' where there is nothing to say.
    reason : Field or None
        Why it is revoked; None where it is already.
    """

    name: str
    admission: str
    admitted: str
    last: str
    offset: str
    writes_as: str
    revoked: str
    reason: Field | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Devices:
    """Everything about devices.

    Attributes
    ----------
    frame : Frame
    made : CodeShown or None
    address : Field
        Under which the other device reaches this one.
    signing : Signing
    open_codes, wrong_codes : int
    writers : tuple of WriterShown
    admitted : tuple of AdmittedShown
    action, revoke_action, exchange_href, record_href : str
    """

    frame: Frame
    made: CodeShown | None
    address: Field
    signing: Signing
    open_codes: int
    wrong_codes: int
    writers: tuple[WriterShown, ...]
    admitted: tuple[AdmittedShown, ...]
    action: str
    revoke_action: str
    exchange_href: str
    record_href: str


def devices(asked: Asked) -> Answer:
    """The page; and making a code."""
    if not asked.posts:
        return _page(asked)
    try:
        signed = signed_by(asked)
        address, _ = address_in(asked.form.get("address") or _own_address(asked))
        made = desk.make_code(asked.workplace, person=signed.person, token=secrets.token_bytes)
    except LoopworthyError as error:
        return _page(asked, problem=error)
    # The code is drawn at once and stands in no address, so that it is neither logged nor found by going back.
    return _page(
        asked,
        made=CodeShown(
            code=made.code,
            address=address,
            until=asked.words.clock.when(made.until.epoch_ms),
            drawn=code_of(address_with_code(address, made.code.replace("-", ""))),
            listened=is_open_to_listeners(address),
        ),
    )


def revoke(asked: Asked) -> Answer:
    """Admit a device no more."""
    try:
        signed = signed_by(asked)
        admission, reason = asked.form.get("admission"), asked.form.get("reason")
        desk.revoke(asked.workplace, admission, person=signed.person, reason=reason)
    except LoopworthyError as error:
        return _page(asked, problem=error)
    return SeeOther(address=asked.links.devices())


def _page(asked: Asked, *, made: CodeShown | None = None, problem: LoopworthyError | None = None) -> Answer:
    say = asked.say
    form = asked.form if problem is not None else Form()
    wrong = {problem.name: told(asked, problem)} if isinstance(problem, InputError) else {}
    found = desk.devices(asked.workplace)
    context = Devices(
        frame=page_frame(asked, say("devices.title"), problem=problem),
        made=made,
        address=text_field(
            "address", say("devices.address"), form, required=True, value=_own_address(asked),
            error=wrong.get("address", ""), help=say("devices.address_help"),
        ),
        signing=signing_fields(asked, form, label=say("devices.by"), late=False, errors=wrong),
        open_codes=found.open_codes,
        wrong_codes=found.wrong_codes,
        writers=tuple(_writer(asked, one) for one in found.writers),
        admitted=tuple(_admitted(asked, one, form, wrong) for one in found.admitted),
        action=asked.links.devices(),
        revoke_action=asked.links.revoke_device(),
        exchange_href=asked.links.exchange(),
        record_href=asked.links.record(),
    )  # fmt: skip
    return Page(template="devices.html", context=context, status=status_of(problem) if problem is not None else 200)


def _own_address(asked: Asked) -> str:
    return f"{asked.origin}{asked.links.root}"


def _writer(asked: Asked, one: desk.Writer) -> WriterShown:
    say, clock = asked.say, asked.words.clock
    offset = ""
    if one.offset_ms is not None and one.measured_at is not None:
        at = clock.when(one.measured_at.epoch_ms)
        offset = say("devices.offset_at", offset=offset_text(asked.site.texts, one.offset_ms), when=at)
    values = {"count": one.events, "when": clock.when(one.last.epoch_ms)}
    return WriterShown(
        name=one.name or short(one.device),
        device=short(one.device),
        own=one.own,
        told=say("devices.one_entry", when=values["when"]) if one.events == 1 else say("devices.entries", **values),
        offset=offset,
    )


def _admitted(asked: Asked, one: Admission, form: Form, wrong: dict[str, str]) -> AdmittedShown:
    say, clock = asked.say, asked.words.clock
    when, by = clock.when(one.at.epoch_ms), asked.workplace.name(one.by)
    meant = form.get("admission") == one.id
    last = say("devices.last", when=clock.when(one.last.epoch_ms)) if one.last else say("devices.no_last")
    return AdmittedShown(
        name=one.name,
        admission=one.id,
        admitted=say("devices.admitted_by", when=when, by=by) if by else say("devices.admitted", when=when),
        last=last,
        offset=offset_text(asked.site.texts, one.offset_ms) if one.offset_ms is not None else "",
        writes_as=say("devices.writes_as", device=short(one.device)) if one.device else "",
        revoked=say("devices.revoked", when=clock.when(one.revoked.epoch_ms)) if one.revoked else "",
        reason=None
        if one.revoked
        else Field(
            name="reason",
            id=f"reason-{one.id}",
            label=say("devices.reason"),
            kind="text",
            value=form.get("reason") if meant else None,
            error=wrong.get("reason", "") if meant else "",
            required=True,
        ),
    )


ROUTES = (
    Door(path="/record/devices", handler=devices, methods=READ_AND_SEND),
    Door(path="/record/devices/revoke", handler=revoke, methods=("POST",)),
)
