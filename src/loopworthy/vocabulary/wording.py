"""What people may write in their own words, and how much of it: one measure for every door and every use case.

Any script and any sign is welcome. Refused are only lengths that no page can show and signs that nobody can see:
control characters, and those that turn the direction of the text around them, so that words could read otherwise.
"""

from __future__ import annotations

import unicodedata
from typing import Final

from loopworthy.vocabulary.errors import InputError

LONGEST_NAME: Final = 80
"""Characters of what people call a person, a unit or an instrument."""
LONGEST_LINE: Final = 200
"""Characters of one line: a serial, a batch, a place, a title."""
LONGEST_NOTE: Final = 4000
"""Characters of several lines: a note, a cause, a reason. About two pages; our choice, no source."""

_TURNING: Final = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
_UNSEEN: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})


def line(name: str, text: str, *, most: int = LONGEST_LINE) -> str:
    """One line as it is recorded: without blanks around it, every kind of blank within as a plain one.

    Raises
    ------
    InputError
        If it is longer than `most` characters or holds a control character; a line break is one.
    """
    plain = "".join(" " if unicodedata.category(sign) == "Zs" else sign for sign in text.strip())
    return _measured(name, plain, most, also="")


def note(name: str, text: str, *, most: int = LONGEST_NOTE) -> str:
    """Several lines as they are recorded: without blanks around them, line breaks as one sign.

    Raises
    ------
    InputError
        If they are longer than `most` characters or hold a control character other than line break and tab.
    """
    return _measured(name, text.strip().replace("\r\n", "\n").replace("\r", "\n"), most, also="\n\t")


def title(name: str, text: str) -> str:
    """What something is called, in 1 to `LONGEST_NAME` characters.

    Raises
    ------
    InputError
        If nothing is said, or too much.
    """
    words = line(name, text, most=LONGEST_NAME)
    if not words:
        raise InputError(name, text, f"1 to {LONGEST_NAME} characters")
    return words


def said(name: str, text: str) -> str:
    """A note that must not be empty: a cause, a reason.

    Raises
    ------
    InputError
        If nothing is said, or too much.
    """
    words = note(name, text)
    if not words:
        raise InputError(name, text, "said in words")
    return words


def is_clean(text: str, *, also: str = "") -> bool:
    """Whether a text holds no sign that nobody can see, those in `also` left aside."""
    return _unseen(text, also) is None


def _unseen(text: str, also: str) -> int | None:
    if text.isascii() and text.isprintable():
        return None
    return next(
        (
            place
            for place, sign in enumerate(text)
            if sign not in also and (unicodedata.category(sign) in _UNSEEN or sign in _TURNING)
        ),
        None,
    )


def _measured(name: str, text: str, most: int, *, also: str) -> str:
    if len(text) > most:
        raise InputError(
            name,
            f"{len(text)} characters",
            f"at most {most} characters",
            next_step=f"Shorten it by {len(text) - most}, to {most} characters",
        )
    place = _unseen(text, also)
    if place is not None:
        sign = f"U+{ord(text[place]):04X}"
        raise InputError(
            name,
            f"{sign} at character {place + 1}",
            "written without control characters" + ("" if also else ", in one line"),
            next_step=f"Type it anew without {sign}; such control characters come with copied text",
        )
    return text
