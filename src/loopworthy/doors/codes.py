"""A few bytes as QR codes, and back: for handing small things from one phone to another without any network.

What a code holds is letters and digits only (base 32), so that a phone's own camera program shows it as a text that can
be copied or even typed. What does not fit into one code is divided; each part says which it is, of how many, of what.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

import segno

from loopworthy.vocabulary.errors import InputError

PART_BYTES: Final = 620
"""Bytes in one code: 992 letters of base 32 and a head fit a symbol of 85 modules at its lowest correction, so that on
a phone 360 px wide with the quiet zone a module is 3.5 px."""

MOST_PARTS: Final = 4
"""So many codes are shown one after the other; what is larger goes by file."""

QUIET_MODULES: Final = 4
"""ISO/IEC 18004 asks for four modules of nothing around a symbol."""

_PART: Final = re.compile(r"LW-(?P<number>[1-9])-(?P<of>[1-9])-(?P<mark>[A-Z2-7]{4})-(?P<body>[A-Z2-7]+)\Z")
_BLANKS: Final = re.compile(r"\s+")


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """One code.

    Attributes
    ----------
    number, of : int, int
        Which part it is, of how many.
    text : str
        What it says, for typing where no camera reads it.
    modules : int
        Its width with the quiet zone.
    path : str
        Its dark modules as strokes of an SVG path, one module wide, in units of a module.
    """

    number: int
    of: int
    text: str
    modules: int
    path: str


def codes_of(body: bytes) -> tuple[Code, ...]:
    """The codes that hold these bytes.

    Raises
    ------
    InputError
        If it were too many.
    """
    most = PART_BYTES * MOST_PARTS
    if len(body) > most:
        raise InputError("codes", f"{len(body)} bytes", f"at most {most} bytes in {MOST_PARTS} codes")
    texts = parts_of(body)
    return tuple(_code(number, len(texts), text) for number, text in enumerate(texts, start=1))


def parts_of(body: bytes) -> tuple[str, ...]:
    """The texts of the codes that hold these bytes."""
    pieces = [body[start : start + PART_BYTES] for start in range(0, len(body), PART_BYTES)]
    mark = _mark(body)
    return tuple(f"LW-{number}-{len(pieces)}-{mark}-{_base32(piece)}" for number, piece in enumerate(pieces, start=1))


def joined(texts: Iterable[str]) -> bytes:
    """The bytes in the texts of codes: all parts, in any order, blanks between them and within.

    Raises
    ------
    InputError
        If a text is none of these, parts of several things are mixed, or parts are missing; the message says which.
    """
    # A text may have been broken into lines on the way: everything before the next beginning belongs to a part.
    whole = _BLANKS.sub("", "".join(texts)).upper()
    found: dict[int, str] = {}
    of, mark = 0, ""
    for text in re.split(r"(?=LW-)", whole):
        if not text:
            continue
        one = _PART.match(text)
        if one is None:
            raise InputError(
                "code", text[:24], "what a code of this program says", next_step="Scan or copy it once more"
            )
        if mark and (one["mark"], int(one["of"])) != (mark, of):
            raise InputError(
                "code", one["mark"], f"a part of {mark}, like the others", next_step="Take one thing at once"
            )
        of, mark = int(one["of"]), one["mark"]
        found[int(one["number"])] = one["body"]
    if not found:
        raise InputError("code", "", "what a code of this program says", next_step="Scan a code, or copy its text here")
    missing = [str(number) for number in range(1, of + 1) if number not in found]
    if missing:
        raise InputError(
            "code", f"{len(found)} of {of} parts", "all of them", next_step=f"Scan {', '.join(missing)} too"
        )
    body = b"".join(_bytes(found[number]) for number in range(1, of + 1))
    if _mark(body) != mark:
        raise InputError("code", mark, "text that arrived as it was sent", next_step="Scan or copy it once more")
    return body


def _code(number: int, of: int, text: str) -> Code:
    symbol = segno.make_qr(text, error="L", mode="alphanumeric", boost_error=True)
    size = len(symbol.matrix) + 2 * QUIET_MODULES
    strokes = []
    for y, row in enumerate(symbol.matrix):
        start = None
        for x, dark in enumerate((*row, 0)):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                strokes.append(f"M{start + QUIET_MODULES} {y + QUIET_MODULES}.5h{x - start}")
                start = None
    return Code(number=number, of=of, text=text, modules=size, path="".join(strokes))


def _mark(body: bytes) -> str:
    return _base32(hashlib.sha256(body).digest())[:4]


def _base32(body: bytes) -> str:
    return base64.b32encode(body).decode().rstrip("=")


def _bytes(text: str) -> bytes:
    try:
        return base64.b32decode(text + "=" * (-len(text) % 8))
    except binascii.Error as error:
        raise InputError("code", text[:24], "letters and digits of base 32", next_step="Scan it once more") from error
