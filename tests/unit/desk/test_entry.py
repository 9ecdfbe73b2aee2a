"""What somebody types becomes a reading, one query or one clear error."""

from __future__ import annotations

import pytest

from loopworthy import bootstrap
from loopworthy.desk.entry import OddValueError, Typed, read_entry, read_trace
from loopworthy.vocabulary.errors import InputError

AIR = bootstrap.catalogue_for().step("C03")
LEAK = bootstrap.catalogue_for().step("L02")


def typed(**fields: str) -> Typed:
    return Typed(step="C03", about="x", fields=fields)


def test_a_decimal_comma_is_stored_as_a_point_with_its_digits_kept() -> None:
    entered = read_entry(AIR, typed(air_mv="10,40", change_mv="0.0"))
    assert entered.readings["air_mv"][0].value == "10.40"
    assert entered.readings["air_mv"][0].unit == "mV"


def test_a_shifted_decimal_point_is_asked_about_at_once_with_what_may_have_been_meant() -> None:
    with pytest.raises(OddValueError) as caught:
        read_entry(AIR, typed(air_mv="104", change_mv="0.0"))
    assert caught.value.query.perhaps == "10.4"
    assert caught.value.query.text == "104"


def test_an_odd_value_is_taken_once_it_is_confirmed_and_stays_marked() -> None:
    entry = Typed(step="C03", about="x", fields={"air_mv": "104", "change_mv": "0.0"}, confirmed=frozenset({"air_mv"}))
    entered = read_entry(AIR, entry)
    assert entered.readings["air_mv"][0].value == "104"
    assert entered.confirmed_odd == ("air_mv",)


@pytest.mark.parametrize("text", ["ten", "1.0.4", "1,0,4", "NaN", "inf", "1e3", "--3", "٣"])
def test_what_is_not_one_plain_number_is_refused_by_name(text: str) -> None:
    with pytest.raises(InputError) as caught:
        read_entry(AIR, typed(air_mv=text, change_mv="0.0"))
    assert "air_mv" in str(caught.value)


def test_a_required_field_left_empty_is_named() -> None:
    with pytest.raises(InputError) as caught:
        read_entry(AIR, typed(change_mv="0.0"))
    assert caught.value.name == "air_mv"


def test_a_field_that_the_step_does_not_have_is_refused() -> None:
    with pytest.raises(InputError, match="field of step C03"):
        read_entry(AIR, typed(air_mv="10.4", change_mv="0.0", air_kelvin="3"))


def test_a_reading_in_psi_stays_in_psi() -> None:
    step = bootstrap.catalogue_for().step("D01")
    name = next(one.name for one in step.inputs if one.unit == "bar")
    fields = {one.name: "20" for one in step.inputs if one.required and one.unit} | {name: "2900"}
    entered = read_entry(step, Typed(step="D01", about="x", fields=fields, units={name: "psi"}))
    assert str(entered.readings[name][0]) == "2900 psi"


def test_a_unit_that_the_field_cannot_have_is_refused() -> None:
    with pytest.raises(InputError, match="one of mV"):
        read_entry(
            AIR, Typed(step="C03", about="x", fields={"air_mv": "10", "change_mv": "0"}, units={"air_mv": "bar"})
        )


@pytest.mark.parametrize(
    "text",
    [
        "0 -40 20\n30 -39.5 20\n60 -39 20",
        "s;mbar;C\n0;-40;20\n30;-39,5;20\n60;-39;20",
        "0\t-40\t20\n30\t-39.5\t20\n60\t-39\t20",
    ],
)
def test_a_trace_is_read_from_blanks_semicolons_or_tabs(text: str) -> None:
    trace = read_trace("trace", text)
    assert trace.columns == ("s", "mbar", "C")
    assert trace.column("mbar") == ("-40", "-39.5", "-39")


def test_a_trace_line_with_one_number_is_named_by_its_place() -> None:
    with pytest.raises(InputError, match="trace line 2"):
        read_trace("trace", "0 -40\n30")


def test_a_trace_whose_lines_differ_in_length_is_refused() -> None:
    with pytest.raises(InputError, match="same number of columns"):
        read_trace("trace", "0 -40\n30 -39 20")


def test_an_empty_pressure_test_is_entered_without_readings() -> None:
    assert read_entry(LEAK, Typed(step="L02", about="x", fields={})).readings == {}
