"""Looking after the record: its heads for sheets, comparing a head that came from outside, checking every byte.

What can be said is that a chain is unaltered since it was witnessed, and no more.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.verify import VerifyReport, verify
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId, fingerprint


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The last event of one device's chain, as it is printed and read aloud.

    Attributes
    ----------
    device, device_name : str
    sequence, event : int, str
        Place in the chain, and the event there.
    own : bool
        Whether it is the chain of the device that answers.
    """

    device: DeviceId
    device_name: str
    sequence: int
    event: EventId
    own: bool

    @property
    def fingerprint(self) -> str:
        """Four groups of four digits."""
        return fingerprint(self.event)


def heads(workplace: Workplace) -> tuple[Head, ...]:
    """The head of each chain, this device's first."""
    record = workplace.record
    names = {
        event.envelope.device: event.payload.device_name
        for event in record.events_of_kind(CHAIN_OPENED)
        if isinstance(event.payload, ChainOpened)
    }
    found = (
        Head(
            device=device,
            device_name=names.get(device, ""),
            sequence=head.sequence,
            event=head.event,
            own=device == record.device,
        )
        for device, head in record.heads().items()
    )
    return tuple(sorted(found, key=lambda one: (not one.own, one.device_name, one.device)))


def check_record(workplace: Workplace, *, sheets: tuple[str, ...] = ()) -> VerifyReport:
    """Read every byte of the record again and compare it with fingerprints from outside.

    Raises
    ------
    InputError
        If a fingerprint is not 16 hexadecimal digits.
    """
    return verify(workplace.record.store, workplace.record.registry, sheets=sheets)


def witness(workplace: Workplace, text: str, *, person: ThingId) -> Event:
    """Record that somebody compared a fingerprint from a sheet, or one that was read aloud, and found its event here.

    Raises
    ------
    InputError
        If nobody is named, or it is no fingerprint.
    UnknownNameError
        If no event of this record has it: the other copy is ahead, or one of the two was altered.
    """
    if not person:
        raise InputError("person", person, "the person who compared it", next_step="Choose who you are")
    return workplace.record.witness(text, now=workplace.now(), read_by=person, typed_by=person)
