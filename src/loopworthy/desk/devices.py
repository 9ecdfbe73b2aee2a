"""Devices that exchange through this one: admitting them by a code, listing them, admitting them no more.

Admission and revocation stand in the record as well, without any secret, so that everybody sees who let whom in.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.record import admissions
from loopworthy.record.admissions import CODE_LIFE_S, Admission
from loopworthy.record.events import (
    CHAIN_OPENED,
    DEVICE_ADMITTED,
    DEVICE_REVOKED,
    HEADS_RECEIVED,
    ChainOpened,
    DeviceAdmitted,
    DeviceRevoked,
    HeadsReceived,
)
from loopworthy.record.store import Token
from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError, RefusedError
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeCode:
    """A code that was made just now.

    Attributes
    ----------
    code : str
        As it is shown and typed.
    until : Moment
        When it ends.
    """

    code: str
    until: Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Admitted:
    """What a device that was admitted is told, once.

    Attributes
    ----------
    token : str
        What it shows from now on.
    admission : str
        What the admission is called in the record.
    """

    token: str
    admission: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Writer:
    """A device that has written in the record.

    Attributes
    ----------
    device, name : str
    events : int
        Here in the record.
    own : bool
        Whether this device writes as it.
    last : Moment
        When it wrote its last event that is here, by its own clock.
    offset_ms : int or None
        How far its clock was ahead when it last spoke with some device directly. [ms]
    measured_at : Moment or None
        When that was.
    """

    device: DeviceId
    name: str
    events: int
    own: bool
    last: Moment
    offset_ms: int | None
    measured_at: Moment | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Devices:
    """Who writes in the record and who may exchange through this device.

    Attributes
    ----------
    writers : tuple of Writer
        This device first.
    admitted : tuple of Admission
        The revoked ones too, newest first; `revoked` is set also where another device revoked it.
    open_codes, wrong_codes : int
        Codes that may still be used; wrong ones that came since one was made.
    """

    writers: tuple[Writer, ...]
    admitted: tuple[Admission, ...]
    open_codes: int
    wrong_codes: int


def make_code(workplace: Workplace, *, person: ThingId, token: Token) -> MadeCode:
    """A code that admits one device, made by a person who is named.

    Raises
    ------
    InputError
        If nobody is named.
    """
    if not person:
        raise InputError("person", person, "the person who admits the device", next_step="Choose who you are")
    now = workplace.now()
    code = admissions.make_code(workplace.record.store, now=now, token=token, by=person)
    return MadeCode(code=code, until=now.plus(seconds=CODE_LIFE_S))


def admit(workplace: Workplace, code: str, *, name: str, token: Token) -> Admitted:
    """Admit the device that has the code.

    Raises
    ------
    RefusedError
        If the code is wrong, used, or too old. Which of these is not told.
    InputError
        If the device has no name.
    """
    called = wording.title("device_name", name)
    record, now = workplace.record, workplace.now()
    store = record.store
    found = admissions.use_code(store, code, now=now)
    if found is None:
        raise RefusedError("This code admits nobody", next_step="Make a new one at the hub; it lives ten minutes")
    with store.transaction():
        made, secret = admissions.admit(store, name=called, by=found.by, now=now, token=token)
        event = DeviceAdmitted(admission=made.id, device_name=called)
        record.writer(now).append(DEVICE_ADMITTED, event, typed_by=found.by)
    return Admitted(token=secret, admission=made.id)


def revoke(workplace: Workplace, text: str, *, person: ThingId, reason: str) -> Admission:
    """Admit a device no more.

    Parameters
    ----------
    text : str
        Its name, or the identity of its admission.

    Raises
    ------
    InputError
        If nobody or no reason is named, or several devices are meant.
    UnknownNameError
        If no such device was admitted.
    """
    if not person:
        raise InputError("person", person, "the person who says so", next_step="Choose who you are")
    why = wording.said("reason", reason)
    record, now = workplace.record, workplace.now()
    with record.store.transaction():
        found = admissions.find(record.store, text)
        if found.revoked is not None or found.id in admissions.revoked_in(record):
            return found
        revoked = admissions.revoke(record.store, found.id, now=now)
        record.writer(now).append(DEVICE_REVOKED, DeviceRevoked(admission=found.id, reason=why), typed_by=person)
    return revoked


def devices(workplace: Workplace) -> Devices:
    """Who writes in the record and who may exchange through this device."""
    record, now = workplace.record, workplace.now()
    store = record.store
    return Devices(
        writers=_writers(workplace),
        admitted=tuple(_with_revocations(workplace)),
        open_codes=admissions.open_codes(store, now=now),
        wrong_codes=admissions.wrong_codes(store),
    )


def not_sent(workplace: Workplace, known: dict[DeviceId, int]) -> int:
    """How many events another side does not have, which has these chains up to these places.

    What is recorded about an exchange itself is not counted: it travels with the next one that has something to say.
    """
    about = {CHAIN_OPENED, HEADS_RECEIVED}
    entries = workplace.record.store.index()
    return sum(one.sequence > known.get(one.device, 0) and one.kind not in about for one in entries)


def _writers(workplace: Workplace) -> tuple[Writer, ...]:
    record = workplace.record
    names = {
        event.envelope.device: event.payload.device_name
        for event in record.events_of_kind(CHAIN_OPENED)
        if isinstance(event.payload, ChainOpened)
    }
    offsets: dict[DeviceId, tuple[int, Moment]] = {}
    for event in record.events_of_kind(HEADS_RECEIVED):
        if isinstance(event.payload, HeadsReceived):
            for one in event.payload.offsets:
                offsets[one.device] = (one.offset_ms, event.envelope.recorded_at)
    counts = Counter(one.device for one in record.store.index())
    found = []
    for device, head in record.heads().items():
        offset = offsets.get(device)
        found.append(
            Writer(
                device=device,
                name=names.get(device, ""),
                events=counts[device],
                own=device == record.device,
                last=record.get(head.event).envelope.recorded_at,
                offset_ms=offset[0] if offset else None,
                measured_at=offset[1] if offset else None,
            )
        )
    return tuple(sorted(found, key=lambda one: (not one.own, one.name, one.device)))


def _with_revocations(workplace: Workplace) -> list[Admission]:
    record = workplace.record
    elsewhere: dict[EventId, Moment] = {
        event.payload.admission: event.envelope.recorded_at
        for event in record.events_of_kind(DEVICE_REVOKED)
        if isinstance(event.payload, DeviceRevoked)
    }
    found = []
    for one in reversed(admissions.admissions(record.store)):
        since = one.revoked or elsewhere.get(one.id)
        found.append(one if since == one.revoked else admissions.with_revocation(one, since))
    return found
