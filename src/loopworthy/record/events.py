"""The few kinds of event that the record itself owns: about chains, witnesses, heads received, devices that a hub
admitted or revoked, withdrawals and erased texts."""

from __future__ import annotations

import re
from typing import Final

import msgspec

from loopworthy.record.registry import Registry
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import DeviceId, EventId, fingerprint, require_event_id

CHAIN_OPENED: Final = "record.chain-opened"
HEAD_WITNESSED: Final = "record.head-witnessed"
HEADS_RECEIVED: Final = "record.heads-received"
DEVICE_ADMITTED: Final = "record.device-admitted"
DEVICE_REVOKED: Final = "record.device-revoked"
EVENT_WITHDRAWN: Final = "record.event-withdrawn"
TEXT_ERASED: Final = "record.text-erased"


class ChainOpened(msgspec.Struct, frozen=True, kw_only=True):
    """A device begins to write: always the first event of a chain, and only there.

    Attributes
    ----------
    device_name : str
        What people call the device.
    public_key : str
        With which this device signs its heads; empty in chains that are not signed.
    record_title : str
        What people call the record.
    invented : bool
        Whether everything in this record is made up, for a rehearsal or a demonstration.
    continues : str
        The device whose store this one was copied or restored from; empty where it is not a copy or nobody knows.
    """

    device_name: str
    public_key: str = ""
    record_title: str = ""
    invented: bool = False
    continues: DeviceId = ""

    def __post_init__(self) -> None:
        if not self.device_name.strip():
            raise InputError("device_name", self.device_name, "a name that tells the device from the others")


class HeadWitnessed(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody compared a head that came by another way (a sheet, a voice) with this record.

    Attributes
    ----------
    device, sequence, event : str, int, str
        The chain, the place in it, and the identity of the event there.
    fingerprint : str
        What was printed or read aloud: the first 16 digits of `event`, in groups of four.
    """

    device: DeviceId
    sequence: int
    event: EventId
    fingerprint: str

    def __post_init__(self) -> None:
        require_event_id("event", self.event)
        if self.sequence < 1:
            raise InputError("sequence", self.sequence, "1 or more")
        if self.fingerprint != fingerprint(self.event):
            raise InputError("fingerprint", self.fingerprint, f"that of the event, {fingerprint(self.event)}")


class ReceivedHead(msgspec.Struct, frozen=True, kw_only=True):
    """The farthest place of a chain that had arrived, and its device's signature for it."""

    device: DeviceId
    sequence: int
    event: EventId
    signature: str

    def __post_init__(self) -> None:
        require_event_id("event", self.event)
        if self.sequence < 1:
            raise InputError("sequence", self.sequence, "1 or more")


class ClockOffset(msgspec.Struct, frozen=True, kw_only=True):
    """How far the clock of another device was ahead of the one here when the two exchanged. [ms]"""

    device: DeviceId
    offset_ms: int


class HeadsReceived(msgspec.Struct, frozen=True, kw_only=True):
    """What others had signed when an exchange brought it here, so that they cannot take it back.

    Attributes
    ----------
    heads : tuple of ReceivedHead
        One for each chain that brought something new.
    offsets : tuple of ClockOffset
        Of those with whom this device spoke directly.
    """

    heads: tuple[ReceivedHead, ...] = ()
    offsets: tuple[ClockOffset, ...] = ()


class DeviceAdmitted(msgspec.Struct, frozen=True, kw_only=True):
    """A hub lets another device exchange with it. Its token is no part of the record.

    Attributes
    ----------
    admission : str
        16 hexadecimal digits that name this admission.
    device_name : str
        What the device calls itself.
    """

    admission: str
    device_name: str

    def __post_init__(self) -> None:
        _require_admission(self.admission)
        if not self.device_name.strip():
            raise InputError("device_name", self.device_name, "a name that tells the device from the others")


class DeviceRevoked(msgspec.Struct, frozen=True, kw_only=True):
    """A device that was admitted is admitted no more, wherever this event arrives.

    Attributes
    ----------
    admission : str
        Which admission.
    reason : str
        Why.
    """

    admission: str
    reason: str

    def __post_init__(self) -> None:
        _require_admission(self.admission)
        if not self.reason.strip():
            raise InputError("reason", self.reason, "a few words that say why")


class EventWithdrawn(msgspec.Struct, frozen=True, kw_only=True):
    """Somebody says that an event should not have been recorded. It stays; others decide what follows."""

    event: EventId
    reason: str

    def __post_init__(self) -> None:
        require_event_id("event", self.event)
        if not self.reason.strip():
            raise InputError("reason", self.reason, "a few words that say why")


class TextErased(msgspec.Struct, frozen=True, kw_only=True):
    """A name or statement that lay beside the chain is gone on purpose, here and wherever this event arrives."""

    digest: str
    reason: str

    def __post_init__(self) -> None:
        require_event_id("digest", self.digest)


def _require_admission(text: str) -> None:
    if not _ADMISSION.match(text):
        raise InputError("admission", text, "16 hexadecimal digits")


_ADMISSION: Final = re.compile(r"[0-9a-f]{16}\Z")


def register_record_events(registry: Registry) -> None:
    """Make the kinds of this module known."""
    registry.register(CHAIN_OPENED, 1, ChainOpened)
    registry.register(HEAD_WITNESSED, 1, HeadWitnessed)
    registry.register(HEADS_RECEIVED, 1, HeadsReceived)
    registry.register(DEVICE_ADMITTED, 1, DeviceAdmitted)
    registry.register(DEVICE_REVOKED, 1, DeviceRevoked)
    registry.register(EVENT_WITHDRAWN, 1, EventWithdrawn)
    registry.register(TEXT_ERASED, 1, TextErased)
