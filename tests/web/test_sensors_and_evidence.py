"""The sensor chart, one piece of evidence in full, and what is set right: repair, release, leaving out, taking back."""

from __future__ import annotations

import pytest

from loopworthy.desk.changes import Declared, record_change
from loopworthy.doors.web.charts import Chart, LimitLine, Line, line_chart
from loopworthy.judgement.book import Item
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word
from tests.web.conftest import Shop
from tests.web.visitor import Visitor


def latest(shop: Shop, step: str) -> Item:
    return [one for one in shop.workplace.book().items.values() if one.step == step][-1]


def evidence_at(shop: Shop, step: str) -> str:
    return f"{shop.at}/evidence/{latest(shop, step).event[:12]}"


# --- sensors --------------------------------------------------------------------------------------------------------


def test_each_serial_has_a_row_with_reading_expected_difference_limit_and_margin(shop: Shop, visitor: Visitor) -> None:
    shop.walk("oxygen")
    rows = visitor.get(f"{shop.at}/sensors").context.rows
    assert [row.serial for row in rows] == ["sensor 4F-2201", "sensor 4F-2202", "sensor 4F-2203"]
    for row in rows:
        expected, read = float(row.expected.split()[0]), float(row.oxygen.split()[0])
        assert float(row.difference.split()[0]) == pytest.approx(read - expected, abs=0.051)
        assert row.percent.endswith("%")
        assert row.at_set_point.endswith("bar at 1.3 bar")
        assert (row.limit, row.margin.split()[-1]) == ("within 2 mV of the expected", "inside")
        assert row.state is State.CURRENT
        assert row.until_iso
        assert len(row.budget) >= 4
        assert sum(float(line.contribution.split()[0]) ** 2 for line in row.budget) ** 0.5 * 2 == pytest.approx(
            float(row.uncertainty.split()[0]), abs=0.06
        )


def test_before_the_oxygen_is_read_the_row_foretells_it(shop: Shop, visitor: Visitor) -> None:
    shop.walk("air")
    row = visitor.get(f"{shop.at}/sensors").context.rows[0]
    assert row.oxygen == ""
    assert row.foretold.startswith("Expected in oxygen: ")
    assert row.air.endswith(" mV")


def test_from_the_second_day_on_a_serial_has_a_history_to_look_at(shop: Shop, visitor: Visitor) -> None:
    shop.walk("oxygen")
    assert visitor.get(f"{shop.at}/sensors").context.rows[0].chart is None
    shop.clock.advance(25 * 60)
    shop.walk("oxygen")
    chart = visitor.get(f"{shop.at}/sensors").context.rows[0].chart
    assert chart is not None
    assert len(chart.series[0].points) == 2
    assert chart.y_max - chart.y_min >= 6


# --- evidence -------------------------------------------------------------------------------------------------------


def test_evidence_tells_what_was_typed_by_whom_with_what_and_what_it_rests_on(shop: Shop, visitor: Visitor) -> None:
    shop.walk("oxygen")
    context = visitor.get(evidence_at(shop, "D02")).context
    assert context.title == "Oxygen analysed"
    assert dict(context.typed)["Oxygen"].endswith(" %")
    facts = dict(context.facts)
    assert facts["read by"] == "Pim Example, with Juno Example"
    assert facts["with"] == "Analyser A1"
    oxygen = visitor.get(evidence_at(shop, "C06")).context
    rests_on = " / ".join(text for text, _ in oxygen.rests_on)
    for title in ("Ambient pressure, twice", "Temperature and humidity", "Each sensor in air", "Oxygen analysed"):
        assert title in rests_on
    assert all(visitor.get(href).status == 200 for _, href in oxygen.rests_on)
    assert oxygen.sensors_href == f"{shop.at}/sensors"
    assert len(oxygen.identity.split()) == 4


def test_evidence_that_another_reading_replaced_says_so(shop: Shop, visitor: Visitor) -> None:
    shop.walk("air")
    first = evidence_at(shop, "C02")
    form = visitor.get(f"{shop.at}/do/air?step=C02").form(f"{shop.at}/do/air?step=C02")
    visitor.send(form.fill(temperature_c="23", humidity_percent="61"))
    (made,) = visitor.get(first).context.made
    assert made.state is None
    assert made.another_href == evidence_at(shop, "C02")


def test_evidence_of_another_unit_is_not_shown_under_this_one(shop: Shop, visitor: Visitor) -> None:
    from loopworthy.desk.units import create_unit
    from loopworthy.unit.configuration import ready_configurations

    shop.walk("cylinders-and-cleaning")
    event = latest(shop, "W06").event
    other = create_unit(shop.workplace, "Other", ready_configurations()["hybrid-chest"], typed_by=shop.reader)
    assert visitor.get(f"/unit/{other[:12]}/evidence/{event[:12]}").status == 404


def test_a_pre_breathe_is_drawn_with_its_floor_and_set_point(shop: Shop, visitor: Visitor) -> None:
    shop.walk("pre-breathe")
    chart = visitor.get(evidence_at(shop, "B01")).context.minutes
    assert len(chart.series[0].points) == 5
    assert [limit.text for limit in chart.limits] == ["never below 0.4 bar", "set point"]
    assert [text for _, text in chart.x_ticks] == ["1", "2", "3", "4", "5"]


def test_two_readings_are_a_test_that_cannot_show_settling(shop: Shop, visitor: Visitor) -> None:
    shop.walk("leak-tests")
    test = visitor.get(evidence_at(shop, "L02")).context.test
    rows = dict(test.rows)
    assert rows["answer"] == "holds"
    assert rows["settled"] == "two readings cannot show it"
    assert "mL/min, known to" in rows["leak"]
    assert any("known to" in reason for reason in test.reasons)


# --- charts ---------------------------------------------------------------------------------------------------------


def chart_of(*points: tuple[float, float | None], limit: float | None = None, least: float = 1.0) -> Chart:
    limits = [LimitLine(y=limit, text="limit")] if limit is not None else []
    return line_chart(
        id="c", title="t", summary="s", x_label="x", y_label="y", series=[Line(name="l", points=points)],
        limits=limits, least_span=least,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("points", "limit"),
    [
        (((0, 1.0), (10, 2.0)), None),
        (((0, -35.2), (61, -34.1)), -25.2),
        (((0, 5.0),), None),
        (((0, None), (1, 3.0)), 4.0),
        ((), None),
        (((0, 1e-6), (1, 2e-6)), None),
    ],
)
def test_axes_hold_every_point_and_limit_and_have_round_ticks(
    points: tuple[tuple[float, float | None], ...], limit: float | None
) -> None:
    chart = chart_of(*points, limit=limit)
    for x, y in points:
        assert chart.x_min <= x <= chart.x_max
        assert y is None or chart.y_min <= y <= chart.y_max
    assert limit is None or chart.y_min <= limit <= chart.y_max
    assert chart.y_max - chart.y_min >= 1.0 - 1e-9
    assert 2 <= len(chart.y_ticks) <= 8
    assert len({text for _, text in chart.y_ticks}) == len(chart.y_ticks)
    assert chart.y_ticks[0][0] == pytest.approx(chart.y_min)
    assert chart.y_ticks[-1][0] == pytest.approx(chart.y_max)


# --- setting things right -------------------------------------------------------------------------------------------


def test_a_hold_is_released_by_a_second_person_with_cause_repair_and_test(shop: Shop, visitor: Visitor) -> None:
    hold = record_change(
        shop.workplace, shop.unit, Declared(change="fault-written-down", note="whistles"), person=shop.reader
    )[0]
    unit = visitor.get(shop.at)
    assert unit.context.verdict.word is Word.STOP
    (reason,) = unit.context.verdict.reasons
    assert (reason.mend_href, reason.note) == (f"{shop.at}/release/{hold.id[:12]}", "Note: whistles")
    assert [link.text for link in unit.document.all("a", href=reason.mend_href)] == ["Release the hold"]
    answered = visitor.get(reason.mend_href)
    assert "Note: whistles" in answered.text
    again = visitor.send(answered.form().fill(read_by=shop.second))
    assert again.status == 422
    form = again.form().fill(cause="worn seal", repair="exchanged", test="held 60 s", read_by=shop.reader)
    refused = visitor.send(form)
    assert refused.status == 403
    assert "not by the one who declared it" in refused.context.frame.problem
    assert {one.name: one.value for one in refused.context.fields}["cause"] == "worn seal"
    released = visitor.send(refused.form().fill(read_by=shop.second))
    assert released.context.frame.notice == ("The hold is released.",)
    assert released.context.verdict.word is Word.UNPROVEN


def test_leaving_out_takes_a_reason_a_speaker_and_a_hearer(shop: Shop, visitor: Visitor) -> None:
    href = f"{shop.at}/leave-out?step=C02&about={shop.unit}"
    answered = visitor.get(href)
    assert answered.context.action == href
    again = visitor.send(answered.form().fill(reason="no thermometer"))
    assert {one.name: one.error for one in again.context.fields}["hearer"] == "Choose a name."
    refused = visitor.send(again.form().fill(hearer=shop.reader))
    assert refused.status == 403
    done = visitor.send(refused.form().fill(hearer=shop.second))
    assert done.context.frame.notice == ("Left out, aloud, for this dive.",)
    row = next(row for hold in done.context.holds for row in hold.rows if row.title == "Temperature and humidity")
    assert row.state is State.WAIVED
    assert "no thermometer" in row.state_reason
    assert "Juno Example" in row.state_reason


def test_what_was_taken_back_stays_readable_with_its_reason(shop: Shop, visitor: Visitor) -> None:
    shop.walk("air")
    at = evidence_at(shop, "C02")
    answered = visitor.get(visitor.get(at).context.withdraw_href)
    done = visitor.send(answered.form().fill(reason="read in the sun"))
    assert "Taken back." in done.context.frame.notice[0]
    shown = visitor.get(at).context
    assert shown.withdrawn == "read in the sun"
    assert shown.withdraw_href == ""
    assert dict(shown.typed)["Air"].endswith("°C")


# --- people and instruments -----------------------------------------------------------------------------------------


def test_who_reads_is_chosen_on_the_device_and_remembered_by_a_cookie_that_scripts_cannot_read(shop: Shop) -> None:
    visitor = Visitor(shop.app)
    redirect = visitor.post("/people/me", {"person": shop.second, "back": f"{shop.at}/do/air"}, follow=False)
    assert redirect.headers["location"] == f"{shop.at}/do/air"
    cookie = redirect.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=strict" in cookie
    assert visitor.get(f"{shop.at}/do/air").context.who.reader.value == shop.second
    visitor.post("/people/me", {"person": ""})
    assert visitor.get("/").context.frame.person == ""


@pytest.mark.parametrize("back", ["https://elsewhere.example/", "//elsewhere.example/", "/\\elsewhere.example", "x"])
def test_after_choosing_nobody_is_sent_elsewhere(shop: Shop, back: str) -> None:
    redirect = Visitor(shop.app).post("/people/me", {"person": shop.reader, "back": back}, follow=False)
    assert redirect.headers["location"] == "/"


def test_the_first_person_on_a_device_is_taken_to_be_the_one_reading(shop: Shop) -> None:
    visitor = Visitor(shop.app)
    visitor.post("/people", {"name": "Kit Example", "display_units": "us"})
    context = visitor.get("/people").context
    assert [(one.name, one.units) for one in context.people if one.here] == [("Kit Example", "psi, ft, °F")]


def test_a_name_that_somebody_has_is_refused_at_its_field(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.post("/people", {"name": "pim example", "display_units": "metric"})
    assert answered.status == 422
    assert answered.context.name.error
    assert answered.context.name.value == "pim example"


def test_an_unknown_cookie_is_nobody(shop: Shop) -> None:
    visitor = Visitor(shop.app)
    visitor.cookies["person"] = "0" * 64
    assert visitor.get("/").context.frame.person == ""


def test_an_instrument_is_added_and_offered_where_readings_rest_on_it(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.post("/instruments", {"name": "", "use": "analyser"})
    assert answered.status == 422
    visitor.post("/instruments", {"name": "Analyser B2", "use": "analyser", "serial": "B-2"})
    assert ("Analyser B2", "analyser", "B-2") in [one[:3] for one in visitor.get("/instruments").context.instruments]
    choices = visitor.get(f"{shop.at}/do/gas-analysis").context.who.instrument.choices
    assert [name for _, name in choices] == ["Analyser A1", "Analyser B2"]
