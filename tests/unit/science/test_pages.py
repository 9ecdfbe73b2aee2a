"""The pages about the science of a morning say what the code does."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[3]
EXPLANATION = ROOT / "docs" / "explanation" / "morning-science.md"
NOMENCLATURE = ROOT / "docs" / "nomenclature.md"
SOURCE = "\n".join(path.read_text(encoding="utf-8") for path in sorted((ROOT / "src" / "loopworthy").rglob("*.py")))
NAME = re.compile(r"`([a-z]+(?:_[a-z0-9]+)+)`")


def test_the_example_of_the_explanation_prints_what_it_says() -> None:
    (block,) = re.findall(r"```python\n(.*?)```", EXPLANATION.read_text(encoding="utf-8"), flags=re.DOTALL)
    promised = re.findall(r"print\(.*\)  # (.*)", block)
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(block, {})
    assert promised
    assert printed.getvalue().splitlines() == promised


@pytest.mark.parametrize("row", [line for line in NOMENCLATURE.read_text(encoding="utf-8").splitlines() if "`" in line])
def test_every_name_of_the_nomenclature_is_used_in_the_code(row: str) -> None:
    unknown = [name for name in NAME.findall(row) if not re.search(rf"\b{name}\b", SOURCE)]
    assert unknown == []


def test_every_calculation_that_judges_is_explained() -> None:
    text = EXPLANATION.read_text(encoding="utf-8").lower()
    for subject in ("return to air", "known gas", "agreement", "history", "stability", "settling", "temperature"):
        assert subject in text
    assert text.count("not proved") >= 7
