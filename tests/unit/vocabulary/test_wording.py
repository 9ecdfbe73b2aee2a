"""What people may write in their own words: any script, no more than a page can show, nothing that nobody can see."""

from __future__ import annotations

import pytest

from loopworthy.vocabulary import wording
from loopworthy.vocabulary.errors import InputError

SCRIPTS = (
    "Łódź, żółw 3",
    "Müller–Straße 7",
    "Καρχαρίας",
    "Озеро Байкал",
    "深度計",
    "مقياس",
    "ভোলা",
    "naïve 🐚 shell",
    "👩\u200d🔧 fixed it",  # joined signs belong to their script
    "e\u0301",  # an accent of its own
)


@pytest.mark.parametrize("text", SCRIPTS)
def test_any_script_and_sign_is_kept_as_it_was_written(text: str) -> None:
    assert wording.line("place", text) == wording.note("cause", text) == text


def test_blanks_around_go_and_blanks_within_become_plain_ones() -> None:
    assert wording.line("place", "  pump\u00a0room\u202f2 ") == "pump room 2"


def test_line_breaks_stay_in_a_note_as_one_sign() -> None:
    assert wording.note("cause", "seal\r\nworn\rflat\n\tand dry ") == "seal\nworn\nflat\n\tand dry"


@pytest.mark.parametrize("sign", ["\x00", "\x07", "\x1b", "\x7f", "\x85", "\u2028", "\u202e", "\u2066", "\ud800"])
def test_signs_that_nobody_can_see_are_refused_with_their_place(sign: str) -> None:
    for write in (wording.line, wording.note):
        with pytest.raises(InputError, match=f"U\\+{ord(sign):04X} at character 3") as told:
            write("cause", f"ab{sign}c")
        assert told.value.name == "cause"
        assert told.value.next_step


@pytest.mark.parametrize("text", ["two\nlines", "a\ttab"])
def test_a_line_is_one_line(text: str) -> None:
    with pytest.raises(InputError, match="in one line"):
        wording.line("serial", text)


@pytest.mark.parametrize(
    ("write", "most"),
    [(wording.line, wording.LONGEST_LINE), (wording.note, wording.LONGEST_NOTE), (wording.title, wording.LONGEST_NAME)],
)
def test_what_is_too_long_is_told_with_its_length_the_limit_and_by_how_much(write, most: int) -> None:  # type: ignore[no-untyped-def]
    assert write("cause", "ä" * most) == "ä" * most
    with pytest.raises(InputError) as told:
        write("cause", "ä" * (most + 7))
    assert told.value.message == f"cause must be at most {most} characters, got cause='{most + 7} characters'"
    assert told.value.next_step == f"Shorten it by 7, to {most} characters"


@pytest.mark.parametrize("text", ["", "  ", "\u00a0\n"])
def test_a_cause_and_a_title_must_say_something(text: str) -> None:
    for write in (wording.said, wording.title):
        with pytest.raises(InputError):
            write("cause", text)
