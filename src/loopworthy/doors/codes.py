"""A line of text as a QR code, and the lines in what somebody scanned or pasted.

The line is a scrap (`record.scraps`): letters, digits and a few signs that a code holds densely. Each stands for itself
and is checked when it is taken, so several are shown one after the other and read in any order.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import segno

from loopworthy.record.scraps import MARK

QUIET_MODULES: Final = 4
"""ISO/IEC 18004 asks for four modules of nothing around a symbol."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """One code.

    Attributes
    ----------
    text : str
        What it says.
    modules : int
        Its width with the quiet zone.
    path : str
        Its dark modules as strokes of an SVG path, one module wide, in units of a module.
    """

    text: str
    modules: int
    path: str


def code_of(text: str) -> Code:
    """The code that holds a line; more of it is corrected where the same size allows it."""
    rows = segno.make_qr(text, error="L", boost_error=True).matrix
    strokes = []
    for y, row in enumerate(rows, start=QUIET_MODULES):
        start = None
        for x, dark in enumerate((*row, 0), start=QUIET_MODULES):
            if dark and start is None:
                start = x
            elif not dark and start is not None:
                strokes.append(f"M{start} {y}.5h{x - start}")
                start = None
    return Code(text=text, modules=len(rows) + 2 * QUIET_MODULES, path="".join(strokes))


def lines_of(text: str) -> tuple[str, ...]:
    """The scraps in what was scanned or pasted, each once; one that was broken into lines is put together."""
    found: list[str] = []
    for line in text.splitlines():
        if line.strip().upper().startswith(MARK) or not found:
            found.append(line.strip())
        else:
            found[-1] += line.strip("\r\n")
    return tuple(dict.fromkeys(one.upper() for one in found if one.strip()))
