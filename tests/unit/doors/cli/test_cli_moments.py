"""Times as they are typed: on the wall clock of the site, or with an offset."""

from __future__ import annotations

import pytest

from loopworthy.doors.cli.moments import read_moment
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-05-14T08:40:00+02:00", zone="Europe/Malta")


@pytest.mark.parametrize(
    ("text", "at"),
    [
        ("08:05", "2026-05-14T08:05:00+02:00"),
        ("8:05", "2026-05-14T08:05:00+02:00"),
        ("8:05:30", "2026-05-14T08:05:30+02:00"),
        ("2026-01-14T08:05", "2026-01-14T08:05:00+01:00"),
        ("2026-01-14 08:05", "2026-01-14T08:05:00+01:00"),
        ("2026-05-14T06:05:00Z", "2026-05-14T08:05:00+02:00"),
        ("2026-05-14T08:05-04:00", "2026-05-14T14:05:00+02:00"),
        ("2026-10-25T02:30+01:00", "2026-10-25T02:30:00+01:00"),
    ],
)
def test_a_time_is_read_on_the_clocks_of_the_site_unless_it_has_an_offset(text: str, at: str) -> None:
    found = read_moment("--at", text, NOW)
    assert (found.at, found.zone) == (at, "Europe/Malta")


@pytest.mark.parametrize("text", ["noon", "25:00", "2026-13-01T08:00", "2026-05-14", "", "08:60"])
def test_what_is_no_time_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(InputError, match=r"2026-05-14T08:40\+02:00"):
        read_moment("--at", text, NOW)


@pytest.mark.parametrize(
    ("text", "times"),
    [
        # Last Sundays of March and October: Directive 2000/84/EC, articles 2 and 3.
        ("2026-10-25T02:30", "twice"),
        ("2026-03-29T02:30", "never"),
    ],
)
def test_a_time_that_the_clocks_show_twice_or_never_needs_its_offset(text: str, times: str) -> None:
    with pytest.raises(InputError, match=f"they show it {times} that day.*with its offset"):
        read_moment("--at", text, NOW)
