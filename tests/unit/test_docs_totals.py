"""Totals that readers are told in README, change log and docs are those of what ships."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import pytest

from loopworthy.bootstrap import catalogue_for
from loopworthy.unit.configuration import ready_configurations

ROOT = Path(__file__).parents[2]
PAGES = (
    ROOT / "README.md",
    ROOT / "CHANGELOG.md",
    *(one for one in sorted((ROOT / "docs").rglob("*.md")) if "reference" not in one.parts),
)
NUMBERS = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"]


def totals() -> dict[str, int]:
    """What a total is called, and what it is."""
    catalogue = catalogue_for()
    origins = Counter(limit.origin.value for limit in catalogue.limits.values())
    return {
        r"(?<!only )steps(?= it is asked|, \d+ kinds of evidence)": len(catalogue.steps),
        r"kinds of evidence": len(catalogue.evidence),
        r"limits(?=, each with| are common practice)": len(catalogue.limits),
        r"changes(?= say what)": len(catalogue.changes),
        r"hold points": len(catalogue.holds),
        r"ready\s+configurations": len(ready_configurations()),
        r"of the catalogue's \d+ limits are common practice": origins["common practice"],
        r"proposals of its own": origins["proposal of this catalogue"],
        r"from memory(?=,\s+\d+ from a source)": origins["from memory: confirm"],
        r"from a source": origins["published source"],
    }


@pytest.mark.parametrize("called", totals())
def test_a_total_that_is_told_is_the_true_one(called: str) -> None:
    wanted = totals()[called]
    told = [
        (page.relative_to(ROOT).as_posix(), found[1])
        for page in PAGES
        for found in re.finditer(rf"\b(\d+|{'|'.join(NUMBERS)})\s+{called}", page.read_text("utf-8"), re.IGNORECASE)
    ]
    assert told, "nobody tells it any more: take it out of here"
    wrong = [(page, number) for page, number in told if _value(number) != wanted]
    assert wrong == [], f"it is {wanted}"


def _value(number: str) -> int:
    return int(number) if number.isdigit() else NUMBERS.index(number.lower())
