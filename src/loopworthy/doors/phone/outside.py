"""What only the browser can do for the program: keep keys, sign and check with them, and send requests.

The browser does all of that in its own time, so it is asked with ``await``; what the program must know at once (which
keys there are, and one that nobody has used yet) is told when it starts and kept in step here.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from loopworthy.doors.exchange.client import Means, NotReachedError, Reply
from loopworthy.record.signing import HeldKey, device_of
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import DeviceId, RecordId
from loopworthy.vocabulary.time import Moment


class Answer(Protocol):
    """What came back from a request, as the browser's side hands it over."""

    @property
    def status(self) -> int:
        """The HTTP status; 0 where nobody answered."""
        ...

    @property
    def headers(self) -> str:
        """JSON: name in small letters to value."""
        ...

    @property
    def why(self) -> str:
        """Why nobody answered."""
        ...

    @property
    def body(self) -> Any:
        """The body; its ``to_bytes()`` gives it."""
        ...


class Outside(Protocol):
    """The browser's side; shell/kept/outside.js."""

    def known(self) -> str:
        """JSON: each key that is kept, ``[{"publicKey", "signed": null | {"sequence", "event"}}]``."""
        ...

    def spare(self) -> str:
        """The public half of a key that is kept and that nothing was signed with yet; '' where there is none."""
        ...

    def use(self, public_key: str) -> None:
        """The spare key is taken; another one is made."""
        ...

    async def sign(self, public_key: str, message: str) -> str:
        """Signature of a message, both in hexadecimal digits."""
        ...

    async def remember(self, public_key: str, sequence: int, event: str) -> None:
        """Keep, for good, that this head is about to leave."""
        ...

    async def verify(self, public_key: str, message: str, signature: str) -> bool:
        """Whether the signature fits; all in hexadecimal digits."""
        ...

    async def post(self, address: str, headers: str, body: bytes, most: int) -> Answer:
        """Send a request; `headers` in JSON."""
        ...

    async def written(self) -> None:
        """Returns when what was recorded is kept for good."""
        ...


class BrowserKeys:
    """The browser's keys, as far as they belong to one record; satisfies `record.signing.DeviceKeys`.

    Parameters
    ----------
    outside : Outside
    record : callable
        The identity of the record that is open; '' before there is one.
    """

    def __init__(self, outside: Outside, record: Callable[[], RecordId]) -> None:
        self._outside = outside
        self._record = record
        self._signed: dict[str, SeenHead | None] = {}
        self._devices: dict[DeviceId, str] = {}
        for one in json.loads(outside.known()):
            signed = one["signed"]
            head = SeenHead(sequence=int(signed["sequence"]), event=signed["event"]) if signed else None
            self._signed[one["publicKey"]] = head

    def fresh(self, record: RecordId) -> str:
        """A key that nobody has used yet; '' where the browser has not made one, and the chain is not signed then."""
        public_key = self._outside.spare()
        if public_key:
            self._outside.use(public_key)
            self._signed[public_key] = None
            self._devices[device_of(record, public_key)] = public_key
        return public_key

    def held(self, device: DeviceId) -> HeldKey | None:
        """What is kept for a device."""
        public_key = self._key_of(device)
        return HeldKey(public_key=public_key, signed=self._signed[public_key]) if public_key else None

    def sign_at_once(self, device: DeviceId, message: bytes) -> bytes | None:
        """None: a browser signs in its own time."""
        return None

    def signer(self, device: DeviceId) -> BrowserSigner | None:
        """Signs as that device."""
        public_key = self._key_of(device)
        return BrowserSigner(self, public_key) if public_key else None

    async def sign(self, public_key: str, message: bytes) -> bytes:
        """64 bytes."""
        return bytes.fromhex(await self._outside.sign(public_key, message.hex()))

    async def remember(self, public_key: str, head: SeenHead) -> None:
        """Kept for good when this returns, if it is farther than the one before."""
        before = self._signed[public_key]
        if before is None or before.sequence < head.sequence:
            await self._outside.remember(public_key, head.sequence, head.event)
            self._signed[public_key] = head

    def _key_of(self, device: DeviceId) -> str:
        if device not in self._devices:
            record = self._record()
            self._devices |= {device_of(record, one): one for one in self._signed}
        return self._devices.get(device, "")


class BrowserSigner:
    """Signs as one device; satisfies `record.signing.HeadSigner`."""

    def __init__(self, keys: BrowserKeys, public_key: str) -> None:
        self._keys = keys
        self._public_key = public_key

    @property
    def public_key(self) -> str:
        """64 hexadecimal digits."""
        return self._public_key

    async def sign(self, message: bytes) -> bytes:
        """64 bytes."""
        return await self._keys.sign(self._public_key, message)

    async def remember(self, head: SeenHead) -> None:
        """Kept for good when this returns."""
        await self._keys.remember(self._public_key, head)


class BrowserVerifier:
    """Checks signatures; satisfies `record.signing.HeadVerifier`."""

    def __init__(self, outside: Outside) -> None:
        self._outside = outside

    async def verify(self, public_key: str, message: bytes, signature: bytes) -> bool:
        """Whether the signature was made with the private half of this key."""
        return bool(await self._outside.verify(public_key, message.hex(), signature.hex()))


def means_of(outside: Outside, clock: Callable[[], Moment]) -> Means:
    """With what a phone exchanges."""

    async def send(address: str, *, headers: Mapping[str, str], body: bytes, most: int) -> Reply:
        answer = await outside.post(address, json.dumps(dict(headers)), body, most)
        if not answer.status:
            raise NotReachedError(address, answer.why)
        return Reply(status=int(answer.status), headers=json.loads(answer.headers), body=bytes(answer.body.to_bytes()))

    return Means(send=send, verifier=BrowserVerifier(outside), clock=clock, settled=outside.written)
