"""Bytes go into codes and come out as they were; an independent reader of codes reads what the program draws."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
import zxingcpp
from numpy.typing import NDArray

from loopworthy.doors.codes import MOST_PARTS, PART_BYTES, QUIET_MODULES, Code, codes_of, joined, parts_of
from loopworthy.vocabulary.errors import InputError


def drawn(code: Code, *, scale: int = 4) -> NDArray[np.uint8]:
    """The code as its path draws it, black on white."""
    image = np.full((code.modules, code.modules), 255, dtype=np.uint8)
    for stroke in code.path.split("M")[1:]:
        place, length = stroke.split("h")
        x, y = place.split()
        image[int(float(y)), int(x) : int(x) + int(length)] = 0
    return np.kron(image, np.ones((scale, scale), dtype=np.uint8))


def some(size: int) -> bytes:
    return Random(size).randbytes(size)


@pytest.mark.parametrize("size", [1, 40, 399, PART_BYTES, PART_BYTES + 1, PART_BYTES * MOST_PARTS])
def test_another_reader_reads_what_the_program_draws(size: int) -> None:
    # Judge: zxing-cpp, which shares no code with the library that makes the symbols.
    read = []
    for code in codes_of(some(size)):
        (found,) = zxingcpp.read_barcodes(drawn(code))
        assert str(found.format) == "QR Code"
        read.append(found.text)
    assert joined(read) == some(size)


def test_nothing_is_drawn_in_the_quiet_zone() -> None:
    (code,) = codes_of(some(200))
    image = drawn(code, scale=1)
    inside = slice(QUIET_MODULES, -QUIET_MODULES)
    assert image[QUIET_MODULES, QUIET_MODULES] == 0
    image[inside, inside] = 255
    assert image.min() == 255


def test_a_code_is_coarse_enough_for_a_phone_of_360_pixels() -> None:
    assert max(code.modules for code in codes_of(some(PART_BYTES * MOST_PARTS))) <= 328 / 3.3


@pytest.mark.parametrize("size", [5, 1300])
def test_parts_come_together_in_any_order_broken_into_lines_and_in_small_letters(size: int) -> None:
    texts = [*reversed(parts_of(some(size))), parts_of(some(size))[0]]
    broken = "\n  ".join(text[start : start + 30] for text in texts for start in range(0, len(text), 30))
    assert joined([broken.lower()]) == some(size)


def test_a_part_that_is_missing_is_named() -> None:
    with pytest.raises(InputError, match=r"all of them.*2 of 3 parts") as refused:
        joined([parts_of(some(1300))[0], parts_of(some(1300))[2]])
    assert refused.value.next_step == "Scan 2 too"


def test_parts_of_two_things_are_not_mixed() -> None:
    with pytest.raises(InputError, match="a part of"):
        joined([parts_of(some(1300))[0], parts_of(some(1301))[1]])


def test_a_letter_misread_is_found() -> None:
    (text,) = parts_of(some(40))
    changed = text[:-3] + ("A" if text[-3] != "A" else "B") + text[-2:]
    with pytest.raises(InputError, match="arrived as it was sent"):
        joined([changed])


@pytest.mark.parametrize(
    "text", ["", "  ", "https://example.org", "4F-2201", "LW-1-1-ABCD-", "LW-0-1-ABCD-AAAA", "LW-1-1-ABCD-A"]
)
def test_what_is_no_code_of_this_program_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="code"):
        joined([text])


def test_what_needs_too_many_codes_is_refused() -> None:
    with pytest.raises(InputError, match=f"at most {PART_BYTES * MOST_PARTS} bytes"):
        codes_of(some(PART_BYTES * MOST_PARTS + 1))
