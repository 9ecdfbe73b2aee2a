"""Signed heads: what a device says about its own chain when it hands it on, and how anybody can check it.

The identity of a keyed device is the hash of its public key within one record, so that no other key can be put in
its place. Keys and ciphers lie behind ports: natively a library signs, in a browser the browser does, which is why
both ports are asynchronous. All that uses their answers is not.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from typing import Final, Protocol

import msgspec

from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, RecordId, require_event_id, short

HEAD_DOMAIN: Final = "loopworthy record: signed head, form 1"
"""First line of what is signed, so that a signature made here means nothing anywhere else."""
DEVICE_DOMAIN: Final = "loopworthy record: keyed device, form 1"
"""First line of what a keyed device's identity is the hash of."""

PUBLIC_KEY_BYTES: Final = 32
SIGNATURE_BYTES: Final = 64
"""Lengths of Ed25519 (RFC 8032, section 5.1)."""

_KEYED: Final = re.compile(r"[0-9a-f]{32}\Z")
_PUBLIC_KEY: Final = re.compile(rf"[0-9a-f]{{{2 * PUBLIC_KEY_BYTES}}}\Z")
_SIGNATURE: Final = re.compile(rf"[0-9a-f]{{{2 * SIGNATURE_BYTES}}}\Z")


class SignedHead(msgspec.Struct, frozen=True, kw_only=True, order=True, forbid_unknown_fields=True):
    """A device's word that an event, with all that its chain has before it, is its own.

    Attributes
    ----------
    record, device : str
        The record and the chain.
    sequence, event : int, str
        The place in the chain, and the identity of the event there.
    public_key : str
        The device's key, 64 hexadecimal digits; `device_of` ties it to `device`.
    signature : str
        Ed25519 over `message`, 128 hexadecimal digits.
    """

    record: RecordId
    device: DeviceId
    sequence: int
    event: EventId
    public_key: str
    signature: str

    def __post_init__(self) -> None:
        require_event_id("event", self.event)
        if self.sequence < 1:
            raise InputError("sequence", self.sequence, "1 or more")
        if not _PUBLIC_KEY.match(self.public_key):
            raise InputError("public_key", self.public_key[:12], f"{2 * PUBLIC_KEY_BYTES} hexadecimal digits")
        if not _SIGNATURE.match(self.signature):
            raise InputError("signature", self.signature[:12], f"{2 * SIGNATURE_BYTES} hexadecimal digits")
        if self.device != device_of(self.record, self.public_key):
            raise InputError("device", short(self.device), "that of the public key in this record")

    @property
    def message(self) -> bytes:
        """The bytes that were signed."""
        return head_message(self.record, self.device, self.sequence, self.event)


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldKey:
    """What lies outside the record about a key: the public half, and the farthest head that was signed with it."""

    public_key: str
    signed: SeenHead | None = None


class HeadSigner(Protocol):
    """Signs as one device."""

    @property
    def public_key(self) -> str:
        """64 hexadecimal digits."""
        ...

    async def sign(self, message: bytes) -> bytes:
        """The 64 bytes of an Ed25519 signature."""
        ...

    async def remember(self, head: SeenHead) -> None:
        """Keep, durably and beside the key, that this head is about to leave the device."""
        ...


class HeadVerifier(Protocol):
    """Checks signatures of anybody."""

    async def verify(self, public_key: str, message: bytes, signature: bytes) -> bool:
        """Whether the signature over the message was made with the private half of this key."""
        ...


class DeviceKeys(Protocol):
    """The keys of this computer or phone, kept outside every record file, its backups and exports."""

    def fresh(self, record: RecordId) -> str:
        """Make a key for a new device in a record and keep its private half; the public half."""
        ...

    def held(self, device: DeviceId) -> HeldKey | None:
        """What is kept for a device; None where its private key is not here."""
        ...

    def sign_at_once(self, device: DeviceId, message: bytes) -> bytes | None:
        """A signature with the device's key; None where that takes waiting for (a browser) or the key is not here."""
        ...

    def signer(self, device: DeviceId) -> HeadSigner | None:
        """Signs as that device; None where its private key is not here."""
        ...


def device_of(record: RecordId, public_key: str) -> DeviceId:
    """The identity that a key has in a record: 32 hexadecimal digits."""
    return hashlib.sha256(f"{DEVICE_DOMAIN}\n{record}\n{public_key}".encode()).hexdigest()[:32]


def is_keyed(device: DeviceId) -> bool:
    """Whether a device's identity is that of a key, so that its chain can be vouched for; older ones are shorter."""
    return bool(_KEYED.match(device))


def head_message(record: RecordId, device: DeviceId, sequence: int, event: EventId) -> bytes:
    """The exact bytes that a device signs."""
    return f"{HEAD_DOMAIN}\n{record}\n{device}\n{sequence}\n{event}\n".encode()


async def signed_head(record: RecordId, place: SeenHead, signer: HeadSigner) -> SignedHead:
    """Sign one place of the signer's own chain. The signer has remembered it before the signature exists."""
    device = device_of(record, signer.public_key)
    await signer.remember(place)
    signature = await signer.sign(head_message(record, device, place.sequence, place.event))
    return SignedHead(
        record=record,
        device=device,
        sequence=place.sequence,
        event=place.event,
        public_key=signer.public_key,
        signature=signature.hex(),
    )


async def is_genuine(head: SignedHead, verifier: HeadVerifier) -> bool:
    """Whether a signed head was made with the key that it names (which its form ties to its device)."""
    return await verifier.verify(head.public_key, head.message, bytes.fromhex(head.signature))
