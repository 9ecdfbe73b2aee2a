"""The device's side of an exchange over HTTP: join, take a record over, send what the hub is missing, take what is new.

How a request is sent is a port, because a computer and a browser do that differently; everything else is the same. An
exchange may be cut at any byte: whatever was taken stays, and the next one begins with what both sides have by then.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Final, Protocol, TypeVar
from urllib.parse import urlencode

import msgspec

from loopworthy.doors.exchange.forms import (
    ADDRESS,
    JOIN,
    KNOWLEDGE,
    LARGEST_PACKED,
    LARGEST_UNPACKED,
    LEFT_OUT_HEADER,
    PACKED_TYPE,
    PROBLEM_TYPE,
    PULL,
    PUSH,
    REST_HEADER,
    Joined,
    Joining,
    Problem,
    Received,
    knowledge_in,
    packed_knowledge,
)
from loopworthy.doors.exchange.hubs import JoinedHub
from loopworthy.record.exchange import read_header
from loopworthy.record.merge import MergeReport, merge
from loopworthy.record.offers import Knowledge, chunk, knowledge, knowledge_of_nothing, packed, unpacked
from loopworthy.record.receiving import Peer, check_heads, record_heads_received, sign_own_heads
from loopworthy.record.record import Record
from loopworthy.record.registry import Registry
from loopworthy.record.signing import HeadVerifier
from loopworthy.record.store import Store
from loopworthy.vocabulary.errors import InputError, LoopworthyError, OutOfReachError
from loopworthy.vocabulary.identity import DeviceId, RecordId, short
from loopworthy.vocabulary.time import Moment

MOST_CHUNKS: Final = 10_000
"""A hub that still has more after so many does not tell the truth."""

_Told = TypeVar("_Told")


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What came back.

    Attributes
    ----------
    status : int
    headers : mapping
        By name in small letters.
    body : bytes
    """

    status: int
    headers: Mapping[str, str]
    body: bytes


class Send(Protocol):
    """Sends one request and waits for the whole answer."""

    async def __call__(self, address: str, *, headers: Mapping[str, str], body: bytes, most: int) -> Reply:
        """POST a body.

        Raises
        ------
        NotReachedError
            If nobody answered, the answer was cut short, or it was larger than `most` bytes.
        """
        ...


class NotReachedError(OutOfReachError):
    """The hub did not answer, or not to the end."""

    def __init__(self, address: str, why: str = "") -> None:
        told = f"The hub at {address.partition(ADDRESS)[0]} was not reached" + (f": {why}" if why else "")
        super().__init__(told, next_step="Go on working; exchange again when it is in range")


class NotGrantedError(LoopworthyError):
    """The hub answered that it will not.

    Attributes
    ----------
    status, code : int, str
        As in `forms.Problem`.
    """

    def __init__(self, problem: Problem) -> None:
        self.status = problem.status
        self.code = problem.code
        super().__init__(problem.title, next_step=problem.next_step)


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What an exchange did.

    Attributes
    ----------
    sent, taken : int
        Events that were new there, and here.
    known : dict
        How far both sides have each chain now.
    offset_ms : int
        How far the hub's clock is ahead, give or take half of `round_trip_ms`. [ms]
    round_trip_ms : int
        How long the answer took by which the offset was measured. [ms]
    left_out : int
        Items too large for an exchange, to be carried by file.
    apart_there, apart_here : int
        Events that the hub, or this device, keeps beside its record: not vouched for, missing something, or ahead.
    refused : tuple of str
        What either side did not take, and why.
    new_device : bool
        Whether this device turned out to be a copy, and writes as a new one from now on.
    """

    sent: int
    taken: int
    known: dict[DeviceId, int]
    offset_ms: int
    round_trip_ms: int
    left_out: int
    apart_there: int
    apart_here: int
    refused: tuple[str, ...]
    new_device: bool


async def _at_once() -> None:
    """Nothing has to be waited for until what was written is kept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Means:
    """With what an exchange is made.

    Attributes
    ----------
    send : Send
    verifier : HeadVerifier
        Checks signatures of heads.
    clock : callable
        Gives the moment that counts as now.
    settled : callable
        Waits until what was written is kept for good; a browser's store may take a moment.
    """

    send: Send
    verifier: HeadVerifier
    clock: Callable[[], Moment]
    settled: Callable[[], Awaitable[None]] = _at_once


async def join(address: str, code: str, *, device_name: str, means: Means) -> JoinedHub:
    """Ask to be admitted.

    Raises
    ------
    NotReachedError, NotGrantedError
        If there is no hub, or it does not admit this device.
    """
    body = msgspec.json.encode(Joining(code=code, device_name=device_name))
    headers = {"Content-Type": "application/json"}
    answer = await means.send(f"{address}{ADDRESS}{JOIN}", headers=headers, body=body, most=LARGEST_PACKED)
    joined = _told(address, answer, Joined)
    return JoinedHub(
        address=address,
        token=joined.token,
        admission=joined.admission,
        record=joined.record,
        title=joined.title,
        name=joined.hub,
        joined=means.clock(),
    )


async def take_over(store: Store, registry: Registry, hub: JoinedHub, *, means: Means) -> int:
    """Take the hub's whole record into a store that has none, or only a part of it yet; how many events were new.

    The store writes nothing of its own by that; it opens a chain, as a new device, when it first writes.

    Raises
    ------
    NotReachedError, NotGrantedError
        If it was cut short. What was taken stays; call it again.
    InputError
        If what came is not what this hub said it keeps.
    """
    now = means.clock()
    mine = knowledge(store, now=now) if store.record_id() else knowledge_of_nothing(hub.record, now=now)
    line = _Line(hub, means)
    await line.knowledge(mine)
    taken = 0
    async for lines, _ in line.chunks(mine):
        taken += (await _take(store, registry, lines, record=hub.record, means=means)).taken
    return taken


async def exchange(record: Record, hub: JoinedHub, *, means: Means) -> Outcome:
    """Send everything that the hub is missing, then take everything that is new there.

    Raises
    ------
    NotReachedError, NotGrantedError
        If it was cut short or refused. What was sent and taken until then stays.
    InputError
        If the hub keeps another record, or what it sent is not sound.
    """
    store = record.store
    if hub.record != record.id:
        raise InputError("record", short(hub.record), f"record {short(record.id)}, the one that is open here")
    record.become_keyed(means.clock())
    record.writer(means.clock()).append_all(())  # a chain of its own, so that the hub knows with whom it speaks
    if record.keys is not None:
        await sign_own_heads(store, record.keys)
    await means.settled()  # nothing leaves that a crash could still take back
    line = _Line(hub, means)
    asked_at = means.clock()
    mine = knowledge(store, now=asked_at)
    theirs = await line.knowledge(mine)
    answered_at = means.clock()
    round_trip_ms = max(0, answered_at.epoch_ms - asked_at.epoch_ms)
    offset_ms = theirs.now.epoch_ms - asked_at.epoch_ms - round_trip_ms // 2
    pushed = await _push_all(store, line, theirs, means)
    reports: list[MergeReport] = []
    left_out = pushed.left_out
    async for lines, too_large in line.chunks(mine):
        left_out += too_large
        reports.append(await _take(store, record.registry, lines, record=record.id, means=means))
    known = {device: head.sequence for device, head in store.heads().items()}
    peer = Peer(device=theirs.device, offset_ms=offset_ms) if theirs.device else None
    record_heads_received(record, now=means.clock(), peer=peer)
    await means.settled()
    last = reports[-1] if reports else None
    return Outcome(
        sent=pushed.taken,
        taken=sum(one.taken for one in reports),
        known=known,
        offset_ms=offset_ms,
        round_trip_ms=round_trip_ms,
        left_out=left_out,
        apart_there=pushed.apart,
        apart_here=len(last.waiting) + len(last.not_vouched) + len(last.ahead) if last else 0,
        refused=(*pushed.refused, *(one.why for report in reports for one in report.refused)),
        new_device=any(one.new_device for one in reports),
    )


@dataclass(slots=True)
class _Pushed:
    taken: int = 0
    apart: int = 0
    left_out: int = 0
    refused: tuple[str, ...] = ()


async def _push_all(store: Store, line: _Line, theirs: Knowledge, means: Means) -> _Pushed:
    pushed, rest = _Pushed(), ""
    for _ in range(MOST_CHUNKS):
        part = chunk(store, theirs, now=means.clock(), rest=rest)
        pushed.left_out += len(part.left_out)
        if not part.items and not rest:
            break
        received = await line.push(packed(part.lines), last=not part.rest)
        pushed.taken += received.taken
        pushed.apart = received.waiting + received.not_vouched + received.ahead
        pushed.refused += tuple(one.why for one in received.refused)
        rest = part.rest
        if not rest:
            break
    return pushed


async def _take(store: Store, registry: Registry, lines: list[bytes], *, record: RecordId, means: Means) -> MergeReport:
    told = read_header(lines[0] if lines else b"").record
    if told != record:
        raise InputError("record", short(told), f"record {short(record)}, which this hub said it keeps")
    checked = await check_heads(lines, means.verifier, limits=LARGEST_UNPACKED)
    report = merge(store, registry, checked.lines, now=means.clock(), vouched=checked.heads, adopt=True)
    await means.settled()
    if not report.whole:
        raise InputError("chunk", f"{len(lines)} lines", "whole", next_step="Exchange again")
    return report


class _Line:
    """Speaks with one hub."""

    def __init__(self, hub: JoinedHub, means: Means) -> None:
        self._hub = hub
        self._means = means

    async def knowledge(self, mine: Knowledge) -> Knowledge:
        theirs = knowledge_in((await self._ask(KNOWLEDGE, packed_knowledge(mine))).body)
        if theirs.record != self._hub.record:
            raise InputError(
                "record", short(theirs.record), f"record {short(self._hub.record)}, as the hub said before"
            )
        return theirs

    async def push(self, body: bytes, *, last: bool) -> Received:
        answer = await self._ask(PUSH, body, last="yes" if last else "")
        return _told(self._hub.address, answer, Received)

    async def chunks(self, mine: Knowledge) -> AsyncIterator[tuple[list[bytes], int]]:
        """The lines of each chunk that is missing here, and how many items of it were too large."""
        body, rest = packed_knowledge(mine), ""
        for _ in range(MOST_CHUNKS):
            answer = await self._ask(PULL, body, rest=rest)
            left_out = answer.headers.get(LEFT_OUT_HEADER, "0")
            yield unpacked(answer.body, limits=LARGEST_UNPACKED), int(left_out) if left_out.isdecimal() else 0
            before, rest = rest, answer.headers.get(REST_HEADER, "")
            if not rest:
                return
            if rest == before:
                break
        raise InputError("rest", rest, "another mark with each chunk", next_step="Bring the hub's program up to date")

    async def _ask(self, path: str, body: bytes, **query: str) -> Reply:
        asked = urlencode({name: value for name, value in query.items() if value})
        address = f"{self._hub.address}{ADDRESS}{path}" + (f"?{asked}" if asked else "")
        headers = {"Authorization": f"Bearer {self._hub.token}", "Content-Type": PACKED_TYPE}
        answer = await self._means.send(address, headers=headers, body=body, most=LARGEST_PACKED)
        if answer.status != 200:
            raise _refused(self._hub.address, answer)
        return answer


def _told(address: str, answer: Reply, form: type[_Told]) -> _Told:
    if answer.status != 200:
        raise _refused(address, answer)
    try:
        return msgspec.json.decode(answer.body, type=form)
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise NotReachedError(address, "what answers there is no hub of this program") from error


def _refused(address: str, answer: Reply) -> LoopworthyError:
    if answer.headers.get("content-type", "").partition(";")[0] == PROBLEM_TYPE:
        try:
            return NotGrantedError(msgspec.json.decode(answer.body, type=Problem))
        except (msgspec.MsgspecError, UnicodeDecodeError):
            pass
    return NotReachedError(address, f"it answered {answer.status}, which no hub of this program does")
