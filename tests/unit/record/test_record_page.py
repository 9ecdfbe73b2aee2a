"""The page about the record says what is true of the code."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs" / "explanation" / "record.md").read_text(encoding="utf-8")


def test_the_example_on_the_page_runs() -> None:
    (example,) = re.findall(r"```python\n(.*?)```", PAGE, flags=re.DOTALL)
    names: dict[str, object] = {}
    exec(compile(example, "docs/explanation/record.md", "exec"), names)
    assert "record" in names


def test_the_tests_that_the_page_names_exist() -> None:
    here = {path.name for path in (ROOT / "tests").rglob("test_*.py")}
    named = set(re.findall(r"`(test_\w+\.py)`", PAGE))
    assert len(named) >= 5
    assert named <= here
