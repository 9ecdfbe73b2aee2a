"""Signed heads, checked against RFC 8032 and a general library for Ed25519."""

from __future__ import annotations

import hashlib
from random import Random

import msgspec
import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey

from loopworthy.record.signing import SignedHead, device_of, head_message, is_genuine, is_keyed, signed_head
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.event import SeenHead
from tests.world.people import Checker, PocketKeys, at_once

RECORD = "c0ffee00" * 4
EVENT = "ab" * 32


@pytest.fixture
def head() -> SignedHead:
    keys = PocketKeys(Random(1), at_once=False)
    device = device_of(RECORD, keys.fresh(RECORD))
    signer = keys.signer(device)
    assert signer is not None
    return at_once(signed_head(RECORD, SeenHead(sequence=7, event=EVENT), signer))


def test_what_is_signed_is_five_lines_that_anybody_can_write_down() -> None:
    assert head_message(RECORD, "d" * 32, 7, EVENT) == (
        b"loopworthy record: signed head, form 1\n"
        + RECORD.encode() + b"\n" + b"d" * 32 + b"\n7\n" + EVENT.encode() + b"\n"
    )  # fmt: skip


def test_a_signature_can_be_checked_with_any_ed25519(head: SignedHead) -> None:
    public_key = Ed25519PublicKey.from_public_bytes(bytes.fromhex(head.public_key))
    public_key.verify(bytes.fromhex(head.signature), head.message)
    assert at_once(is_genuine(head, Checker()))


def test_the_library_makes_the_signature_of_the_published_example() -> None:
    # RFC 8032, section 7.1, TEST 2.
    private = Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb")
    )
    public_key = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    assert private.public_key().public_bytes_raw().hex() == public_key
    signature = private.sign(b"\x72")
    assert signature.hex() == (
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
        "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"
    )
    assert at_once(Checker().verify(public_key, b"\x72", signature))


@pytest.mark.parametrize("changes", [{"sequence": 8}, {"event": "cd" * 32}, {"signature": "0" * 128}])
def test_a_head_with_anything_changed_is_not_genuine(head: SignedHead, changes: dict[str, object]) -> None:
    assert not at_once(is_genuine(msgspec.structs.replace(head, **changes), Checker()))


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"device": "0" * 32}, "that of the public key"),
        ({"record": "0" * 32}, "that of the public key"),
        ({"public_key": "0" * 64}, "that of the public key"),
        ({"public_key": "x"}, "64 hexadecimal digits"),
        ({"signature": "0"}, "128 hexadecimal digits"),
        ({"sequence": 0}, "1 or more"),
        ({"event": "0"}, "64 hexadecimal digits"),
    ],
)
def test_a_head_that_cannot_be_one_is_not_made(head: SignedHead, changes: dict[str, object], why: str) -> None:
    with pytest.raises(InputError, match=why):
        msgspec.structs.replace(head, **changes)


def test_the_identity_of_a_keyed_device_is_the_hash_of_record_and_key(head: SignedHead) -> None:
    text = f"loopworthy record: keyed device, form 1\n{RECORD}\n{head.public_key}"
    assert head.device == hashlib.sha256(text.encode()).hexdigest()[:32]
    assert is_keyed(head.device)
    assert not is_keyed("0123456789abcdef")


def test_a_head_is_remembered_beside_the_key_before_it_is_signed() -> None:
    told: list[str] = []

    class Telling:
        public_key = "12" * 32

        async def sign(self, message: bytes) -> bytes:
            told.append("signed")
            return bytes(64)

        async def remember(self, head: SeenHead) -> None:
            told.append(f"remembered {head.sequence}")

    at_once(signed_head(RECORD, SeenHead(sequence=3, event=EVENT), Telling()))
    assert told == ["remembered 3", "signed"]
