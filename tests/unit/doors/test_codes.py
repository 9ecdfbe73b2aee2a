"""A line goes into a code as an independent reader reads it; what was pasted comes apart into its lines."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from loopworthy.doors.codes import QUIET_MODULES, Code, code_of, lines_of
from loopworthy.record import base45
from loopworthy.record.scraps import END, MARK, MOST_CHARACTERS


def drawn(code: Code, *, scale: int = 4) -> NDArray[np.uint8]:
    """The code as its path draws it, black on white."""
    image = np.full((code.modules, code.modules), 255, dtype=np.uint8)
    for stroke in code.path.split("M")[1:]:
        place, length = stroke.split("h")
        x, y = place.split()
        image[int(float(y)), int(x) : int(x) + int(length)] = 0
    return np.kron(image, np.ones((scale, scale), dtype=np.uint8))


def line(length: int) -> str:
    """A line of that many characters that looks like a scrap."""
    chance = Random(length)
    return MARK + "".join(chance.choices(base45.ALPHABET, k=length - len(MARK) - len(END))) + END


@pytest.mark.parametrize("length", [8, 90, 611, MOST_CHARACTERS])
def test_another_reader_reads_what_the_program_draws(length: int) -> None:
    # Judge: zxing-cpp, which shares no code with the library that makes the symbols.
    (found,) = zxingcpp.read_barcodes(drawn(code_of(line(length))))
    assert found.format == zxingcpp.BarcodeFormat.QRCode
    assert found.text == line(length)


def test_nothing_is_drawn_in_the_quiet_zone() -> None:
    image = drawn(code_of(line(200)), scale=1)
    inside = slice(QUIET_MODULES, -QUIET_MODULES)
    assert image[QUIET_MODULES, QUIET_MODULES] == 0
    image[inside, inside] = 255
    assert image.min() == 255


def test_the_largest_code_has_modules_of_three_pixels_on_a_phone_of_360() -> None:
    assert 328 / code_of(line(MOST_CHARACTERS)).modules >= 3


def test_several_lines_come_apart_each_once() -> None:
    one, other = line(40), line(60)
    assert lines_of(f"\n{one}\r\n  {other}  \n\n{one}\n") == (one, other)


def test_a_line_that_was_broken_on_the_way_is_put_together() -> None:
    whole = line(90).replace(" ", "0")
    broken = "\n".join(whole[start : start + 30] for start in range(0, 90, 30))
    assert lines_of(f"{broken}\n{line(20)}") == (whole, line(20))


def test_small_letters_are_taken_for_large_ones() -> None:
    assert lines_of(line(50).lower()) == (line(50),)


@pytest.mark.parametrize("text", ["", " \n \n"])
def test_nothing_is_no_line(text: str) -> None:
    assert lines_of(text) == ()
