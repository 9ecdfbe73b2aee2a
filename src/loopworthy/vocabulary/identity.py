"""Who and what: identities of events, things, devices and records.

An event's identity is the hash of its stored bytes. A thing's identity is the identity of the event that created it;
serial numbers are only attributes, for they are misread, shared and worn away.
"""

from __future__ import annotations

import hashlib
import re
from typing import Final

from loopworthy.vocabulary.errors import InputError

EventId = str
ThingId = str
DeviceId = str
RecordId = str

_HASH: Final = re.compile(r"[0-9a-f]{64}\Z")
SHORT_LENGTH: Final = 12
"""Digits of an identity that are shown in addresses and on sheets."""


def event_id(body: bytes) -> EventId:
    """SHA-256 of the stored bytes of an event, 64 lower-case hexadecimal digits."""
    return hashlib.sha256(body).hexdigest()


def is_event_id(text: str) -> bool:
    """Whether the text has the form of an event's identity."""
    return bool(_HASH.match(text))


def require_event_id(name: str, text: str) -> EventId:
    """The text, if it is an event's identity.

    Raises
    ------
    InputError
        If it is not 64 lower-case hexadecimal digits.
    """
    if not is_event_id(text):
        raise InputError(name, text, "the 64 hexadecimal digits of an event's identity")
    return text


def short(identity: str) -> str:
    """The first digits of an identity, enough to tell things apart on a page."""
    return identity[:SHORT_LENGTH]


def fingerprint(head: EventId) -> str:
    """A head's short fingerprint for sheets and reading aloud: four groups of four digits.

    Examples
    --------
    >>> fingerprint("9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08")
    '9f86 d081 884c 7d65'
    """
    return " ".join(head[start : start + 4] for start in range(0, 16, 4))
