"""What travels between a hub and a device over HTTP, the same for both: addresses, bodies, limits and problems."""

from __future__ import annotations

from typing import Final

import msgspec

from loopworthy.record.exchange import Limits
from loopworthy.record.offers import EXCHANGE, EXCHANGE_VERSIONS, Knowledge, from_bytes, packed, to_bytes, unpacked
from loopworthy.vocabulary.identity import RecordId
from loopworthy.vocabulary.time import Moment

ADDRESS: Final = "/exchange/"
"""Below the address of the hub."""

JOIN: Final = "join"
KNOWLEDGE: Final = "knowledge"
PULL: Final = "pull"
PUSH: Final = "push"

REST_HEADER: Final = "loopworthy-rest"
"""The mark with which the next chunk is asked for; absent with the last one."""
LEFT_OUT_HEADER: Final = "loopworthy-left-out"
"""How many items of this chunk are too large for an exchange and have to be carried by file."""

PACKED_TYPE: Final = "application/zlib"
"""Bodies that may be large are compressed as RFC 1950 says, each as a whole."""
PROBLEM_TYPE: Final = "application/problem+json"
"""RFC 9457."""

LARGEST_PACKED: Final = 20 * 1024 * 1024
"""Largest compressed body: a blob of the longest line, 24 MiB of base64, compresses by a quarter at least."""
LARGEST_UNPACKED: Final = Limits()
"""What one chunk may unpack to."""
LARGEST_KNOWLEDGE: Final = Limits(total_bytes=8 * 1024 * 1024)
"""What a knowledge may unpack to."""
LARGEST_JOIN: Final = 4 * 1024
"""Largest body that is read from somebody who is not admitted."""


class About(msgspec.Struct, frozen=True, kw_only=True):
    """What a hub tells anybody: that it is one. Which record it has is for admitted devices only."""

    format: str = EXCHANGE
    versions: tuple[int, ...] = EXCHANGE_VERSIONS


class Joining(msgspec.Struct, frozen=True, kw_only=True):
    """What a device sends that wants to be admitted."""

    code: str
    device_name: str
    versions: tuple[int, ...] = EXCHANGE_VERSIONS


class Joined(msgspec.Struct, frozen=True, kw_only=True):
    """What it is answered, once.

    Attributes
    ----------
    token : str
        What it shows from now on.
    admission : str
        What its admission is called in the record.
    record, title, hub : str
        Which record, what people call it, and what the hub calls itself.
    now : Moment
        The hub's clock.
    """

    token: str
    admission: str
    record: RecordId
    title: str
    hub: str
    now: Moment


class Refused(msgspec.Struct, frozen=True, kw_only=True):
    """Something in a chunk that the hub did not take, and why."""

    line: int
    event: str
    why: str


class Received(msgspec.Struct, frozen=True, kw_only=True):
    """What became of a chunk that was pushed; see `record.merge.MergeReport`."""

    taken: int
    already_here: int
    waiting: int
    not_vouched: int
    ahead: int
    refused: tuple[Refused, ...]
    whole: bool


class Problem(msgspec.Struct, frozen=True, kw_only=True):
    """Why something was not done.

    Attributes
    ----------
    status : int
        The HTTP status.
    code : str
        For programs; the list is in docs/reference/exchange.md.
    title, next_step : str
        For people.
    """

    status: int
    code: str
    title: str
    next_step: str = ""


def packed_knowledge(one: Knowledge) -> bytes:
    """Knowledge for the way."""
    return packed([to_bytes(one)])


def knowledge_in(body: bytes) -> Knowledge:
    """The knowledge in a body.

    Raises
    ------
    InputError
        If it is none, too large, or of a version that is not spoken here.
    """
    return from_bytes(b"".join(unpacked(body, limits=LARGEST_KNOWLEDGE)), limits=LARGEST_KNOWLEDGE)
