"""Readings stay as read; the other unit stands beside. Moments are told in the zone of the site."""

from __future__ import annotations

from decimal import Decimal

import pytest

from loopworthy.doors.quantities import (
    Clockface,
    converted,
    plain,
    preferred_unit,
    reading_text,
    unit_choices,
    zone_text,
)
from loopworthy.doors.texts import Texts
from loopworthy.judgement.catalogue.model import Input, InputKind
from loopworthy.vocabulary.reading import Reading
from loopworthy.vocabulary.time import Moment

NOW = Moment(at="2026-05-14T08:40:00+02:00", zone="Europe/Malta")


def face() -> Clockface:
    return Clockface(Texts.load(), NOW)


def ms(text: str) -> int:
    return Moment(at=text).epoch_ms


@pytest.mark.parametrize(
    ("value", "unit", "display_units", "shown"),
    [
        ("47.90", "mV", "us", "47.90 mV"),
        ("200", "bar", "metric", "200 bar"),
        ("200", "bar", "us", "200 bar (2901 psi)"),
        ("3000", "psi", "metric", "3000 psi (206.8 bar)"),
        ("3000", "psi", "us", "3000 psi"),
        ("0.21", "bar", "us", "0.21 bar"),  # a partial pressure stays in bar anywhere
        ("40", "m", "us", "40 m (131 ft)"),
        ("22", "C", "us", "22 °C (72 °F)"),
        ("3", "count", "us", "3"),
    ],
)
def test_a_reading_is_shown_as_read_with_the_readers_unit_beside(
    value: str, unit: str, display_units: str, shown: str
) -> None:
    assert reading_text(Reading(value=value, unit=unit), display_units) == shown


def test_units_convert_by_their_definitions() -> None:
    # 1 ft = 0.3048 m exactly (international yard and pound agreement, 1959); 1 psi = 6894.757 Pa (NIST SP 811, B.8).
    assert converted(Decimal("0.3048"), "m", "ft") == 1
    assert float(converted(Decimal(1), "bar", "psi")) == pytest.approx(14.50377, abs=0.00001)
    assert converted(Decimal(-40), "C", "F") == -40


def pressure(usual_high: str) -> Input:
    return Input(name="p", label="Pressure", kind=InputKind.NUMBER, unit="bar", usual_low="0", usual_high=usual_high)


def test_a_gauge_may_be_read_in_psi_and_a_partial_pressure_may_not() -> None:
    assert unit_choices(pressure("330")) == ("bar", "psi")
    assert unit_choices(pressure("1.6")) == ("bar",)
    assert preferred_unit(pressure("330"), "us") == "psi"
    assert preferred_unit(pressure("330"), "metric") == "bar"
    assert preferred_unit(pressure("1.6"), "us") == "bar"


@pytest.mark.parametrize(("value", "shown"), [("0.0514", "0.051"), ("-0.0001", "0"), ("1.500", "1.5"), ("100", "100")])
def test_worked_out_numbers_are_rounded_for_showing_only(value: str, shown: str) -> None:
    assert plain(Decimal(value)) == shown


@pytest.mark.parametrize(
    ("moment", "shown"),
    [
        ("2026-05-14T06:52:00+00:00", "08:52"),
        ("2026-05-14T22:30:00+00:00", "tomorrow 00:30"),
        ("2026-05-13T06:00:00+00:00", "yesterday 08:00"),
        ("2026-06-02T05:31:00+00:00", "2 Jun 07:31"),
        ("2027-01-02T05:31:00+00:00", "2 Jan 2027 06:31"),  # winter: another offset of the same zone
    ],
)
def test_moments_are_told_on_the_clocks_of_the_site(moment: str, shown: str) -> None:
    assert face().when(ms(moment)) == shown


def test_the_end_of_a_verdict_is_never_rounded_up() -> None:
    assert face().iso(ms("2026-05-14T08:51:59.999+02:00")) == "2026-05-14T08:51:59+02:00"


@pytest.mark.parametrize(
    ("moment", "shown"),
    [
        ("2026-05-14T08:39:40+02:00", "just now"),
        ("2026-05-14T08:17:00+02:00", "23 minutes ago"),
        ("2026-05-14T05:40:00+02:00", "3 hours ago"),
        ("2026-05-10T08:40:00+02:00", "4 days ago"),
        ("2026-05-14T08:45:00+02:00", "just now"),
    ],
)
def test_how_long_ago(moment: str, shown: str) -> None:
    assert face().ago(ms(moment)) == shown


def test_the_zone_is_named_with_its_offset() -> None:
    assert zone_text(NOW) == "Europe/Malta, UTC+02:00"
    assert zone_text(Moment(at="2026-05-14T06:40:00+00:00")) == "UTC+00:00"
    assert zone_text(Moment(at="2026-05-14T06:40:00+00:00", zone="America/St_Johns")) == "America/St_Johns, UTC-02:30"
