"""The reference page says what the program does."""

from __future__ import annotations

from pathlib import Path

from loopworthy.unit.reference import configuration_reference

PAGE = Path(__file__).parents[3] / "docs" / "reference" / "configuration.md"


def test_the_page_of_configuration_is_current() -> None:
    # When this fails: python -m loopworthy.unit.reference > docs/reference/configuration.md
    assert PAGE.read_bytes().decode() == configuration_reference()
