"""Writes the reference pages that are made from the program itself, so that they cannot fall behind it.

``python -m loopworthy.doors.report.reference docs/reference`` writes ``events.md`` and ``requirements.md``; a test
compares the committed pages with what is written now.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from loopworthy.doors.report.events_page import events_reference
from loopworthy.doors.report.requirements_page import requirements_reference
from loopworthy.judgement import events as judgement_events
from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.record.events import register_record_events
from loopworthy.record.registry import Registry
from loopworthy.unit import events as unit_events

__all__ = ["events_reference", "known_events", "pages", "requirements_reference"]


def known_events() -> Registry:
    """Every kind of event that this version knows; the same as the program is wired with (a test compares the two)."""
    known = Registry()
    register_record_events(known)
    for kinds in (unit_events.EVENT_TYPES, judgement_events.EVENT_TYPES):
        for kind, version, payload in kinds:
            known.register(kind, version, payload)
    return known


def pages() -> dict[str, str]:
    """File name to Markdown of every page that is made here."""
    return {
        "events.md": events_reference(known_events()),
        "requirements.md": requirements_reference(load_catalogue()),
    }


def main(arguments: Sequence[str]) -> int:
    """Write the pages into a folder."""
    if len(arguments) != 1 or not Path(arguments[0]).is_dir():
        sys.stderr.write("Name the folder to write to: python -m loopworthy.doors.report.reference docs/reference\n")
        return 2
    for name, text in pages().items():
        (Path(arguments[0]) / name).write_text(text, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
