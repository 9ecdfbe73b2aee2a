"""Base45 (RFC 9285): bytes as the characters that a QR code's alphanumeric mode packs most densely."""

from __future__ import annotations

from typing import Final

from loopworthy.vocabulary.errors import InputError

ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
_VALUE: Final = {character: value for value, character in enumerate(ALPHABET)}


def encode(body: bytes) -> str:
    """Three characters for two bytes, two for a last one.

    Examples
    --------
    >>> encode(b"ietf!")
    'QED8WEX0'
    """
    text: list[str] = []
    for start in range(0, len(body), 2):
        pair = body[start : start + 2]
        number = int.from_bytes(pair, "big")
        for _ in range(len(pair) + 1):
            number, digit = divmod(number, 45)
            text.append(ALPHABET[digit])
    return "".join(text)


def decode(text: str) -> bytes:
    """The bytes in a text that `encode` made.

    Raises
    ------
    InputError
        If it is not such a text.
    """
    body = bytearray()
    for start in range(0, len(text), 3):
        group = text[start : start + 3]
        try:
            number = sum(_VALUE[character] * 45**place for place, character in enumerate(group))
        except KeyError as error:
            raise InputError("text", group, "of the 45 characters of RFC 9285") from error
        length = len(group) - 1
        if length < 1 or number >= 256**length:
            raise InputError("text", group, "base45 as in RFC 9285")
        body += number.to_bytes(length, "big")
    return bytes(body)
