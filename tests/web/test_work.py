"""Work pages: fields as the catalogue has them, questions and errors at their field, everything typed kept."""

from __future__ import annotations

from typing import Any

import pytest

from loopworthy.desk import people
from loopworthy.desk.mending import failed_readings
from loopworthy.doors.web.asked import PERSON_COOKIE
from loopworthy.doors.web.fields import Field
from loopworthy.doors.web.pages.work import Work, WorkRow, WorkStep
from loopworthy.judgement.book import Item
from loopworthy.judgement.standing import State
from tests.web.conftest import Shop, make_shop
from tests.web.visitor import Answered, Visitor

AIR = {"C01__controller_hpa": "1008", "C01__barometer_hpa": "1009"}


def step_of(work: Work, step: str) -> WorkStep:
    return next(one for one in (*work.steps, *work.counting) if one.id == step)


def fields_of(row: WorkRow) -> dict[str, Field]:
    return {one.name.split("|")[2]: one for one in (*row.fields, *row.more)}


def latest(shop: Shop, step: str) -> Item:
    return [one for one in shop.workplace.book().items.values() if one.step == step][-1]


def fill(answered: Answered, **typed: str) -> Any:
    """The page's form with fields typed into, named ``STEP__input`` (about the whole unit)."""
    form = answered.form(answered.context.action)
    for name, value in typed.items():
        step, _, wanted = name.partition("__")
        (field,) = [one for one in form.names() if one.startswith(f"{step}|") and one.endswith(f"|{wanted}")]
        form.values[field] = [value]
    return form


# --- what a page shows ----------------------------------------------------------------------------------------------


def test_all_sensors_stand_on_one_page_with_their_serials_in_rows(shop: Shop, visitor: Visitor) -> None:
    work = visitor.get(f"{shop.at}/do/air").context
    step = step_of(work, "C03")
    assert [row.label for row in step.rows] == [f"oxygen sensor {n}: sensor 4F-220{n}" for n in (1, 2, 3)]
    for row in step.rows:
        fields = fields_of(row)
        assert (fields["air_mv"].unit, fields["air_mv"].kind, fields["air_mv"].compact) == ("mV", "number", True)
        assert (fields["air_mv"].usual_low, fields["air_mv"].usual_high) == ("8.5", "14")
        assert fields["change_mv"].signed


def test_a_number_field_asks_for_the_decimal_keypad(shop: Shop, visitor: Visitor) -> None:
    document = visitor.get(f"{shop.at}/do/air").document
    keypads = {one.get("name").split("|")[2]: one.get("inputmode") for one in document.all("input", type="text")}
    assert keypads["controller_hpa"] == "decimal"
    assert keypads["change_mv"] == "text"  # may be below zero, and some decimal keypads have no minus


def test_limit_and_where_it_comes_from_stand_beside_the_field(shop: Shop, visitor: Visitor) -> None:
    field = fields_of(step_of(visitor.get(f"{shop.at}/do/air").context, "C01").rows[0])["controller_hpa"]
    assert field.limit_text == "within 10 hPa of “Barometer reads”"
    assert field.origin == "proposal of this catalogue (two instruments within 10 hPa)"


def test_the_last_value_stands_beside_and_is_never_filled_in(shop: Shop, visitor: Visitor) -> None:
    visitor.send(fill(visitor.get(f"{shop.at}/do/air"), **AIR))
    shop.clock.advance(5)
    answered = visitor.get(f"{shop.at}/do/air")
    field = fields_of(step_of(answered.context, "C01").rows[0])["controller_hpa"]
    assert field.last_text == "1008 hPa, 05:30"
    assert field.value is None
    assert "last time: 1008 hPa, 05:30" in answered.text
    (box,) = answered.document.all("input", id=field.name)
    assert box.get("value") == ""


def test_what_counts_already_lies_in_a_fold_and_can_be_read_again(shop: Shop, visitor: Visitor) -> None:
    visitor.send(fill(visitor.get(f"{shop.at}/do/air"), **AIR))
    work = visitor.get(f"{shop.at}/do/air").context
    assert [one.id for one in work.counting] == ["C01"]
    assert "C01" not in [one.id for one in work.steps]
    visitor.send(fill(visitor.get(f"{shop.at}/do/air"), C01__controller_hpa="1010", C01__barometer_hpa="1010"))
    assert latest(shop, "C01").payload.readings["controller_hpa"][0].value == "1010"


def test_one_step_can_be_asked_for_alone(shop: Shop, visitor: Visitor) -> None:
    work = visitor.get(f"{shop.at}/do/air?step=C02").context
    assert [one.id for one in work.steps] == ["C02"]
    assert work.page_href == f"{shop.at}/do/air"


def test_a_position_without_a_part_cannot_be_read_and_leads_to_naming_it() -> None:
    shop = make_shop()
    position = "cylinder-bailout-1"
    from loopworthy.desk.units import create_unit
    from loopworthy.unit.configuration import ready_configurations

    configuration = ready_configurations()["electronic-back-three-sensors"]
    shop.unit = create_unit(shop.workplace, "Bare", configuration, typed_by=shop.reader)
    answered = Visitor(shop.app).get(f"{shop.at}/do/gas-analysis")
    (row,) = step_of(answered.context, "D04").rows
    assert row.fields == ()
    assert row.barred_href.startswith(f"{shop.at}/parts")
    assert position in row.barred_href


def test_expected_readings_are_shown_before_the_sensors_are_read_in_oxygen(shop: Shop, visitor: Visitor) -> None:
    aid = step_of(visitor.get(f"{shop.at}/do/oxygen").context, "C04").aid
    assert aid is not None
    assert aid.rows == ()
    assert "still missing: Each sensor in air" in aid.note
    shop.walk("air")
    aid = step_of(visitor.get(f"{shop.at}/do/oxygen").context, "C04").aid
    assert aid is not None
    assert [row[0] for row in aid.rows] == ["sensor 4F-2201", "sensor 4F-2202", "sensor 4F-2203"]
    assert all(row[2].endswith(" mV") and float(row[2].split()[0]) > 40 for row in aid.rows)


def test_earlier_leaks_of_the_unit_stand_beside_the_comparison(shop: Shop, visitor: Visitor) -> None:
    shop.walk("leak-tests", leave=frozenset({"L04"}))
    aid = step_of(visitor.get(f"{shop.at}/do/leak-tests").context, "L04").aid
    assert aid is not None
    assert [row[0] for row in aid.rows] == ["Negative test", "Positive test"]
    assert all("mL/min" in row[3] for row in aid.rows)


# --- recording ------------------------------------------------------------------------------------------------------


def test_a_saved_page_leads_on_and_says_how_each_reading_stands(shop: Shop, visitor: Visitor) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air"), **AIR)
    redirect = visitor.send(form, follow=False)
    assert redirect.status == 303
    answered = visitor.get(redirect.headers["location"])
    assert answered.context.title == "The day's air, and each sensor in it"  # two steps are left on it
    (said,) = answered.context.frame.notice
    assert said == "Ambient pressure, twice: 1008 hPa. Inside the limit: within 10 hPa of “Barometer reads” (1009 hPa)."
    item = latest(shop, "C01")
    assert item.read_by == shop.reader
    assert item.payload.readings["barometer_hpa"][0].value == "1009"


def test_a_decimal_comma_is_a_decimal_point_and_digits_stay_as_typed(shop: Shop, visitor: Visitor) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air?step=C01"), C01__controller_hpa="1008,0", C01__barometer_hpa="1008.50")
    visitor.send(form)
    readings = latest(shop, "C01").payload.readings
    assert [readings[name][0].value for name in ("controller_hpa", "barometer_hpa")] == ["1008.0", "1008.50"]


def test_an_odd_value_is_asked_about_and_recorded_only_when_confirmed(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/do/air?step=C03")
    form = answered.form(answered.context.action)
    rows = step_of(answered.context, "C03").rows
    for row, value in zip(rows, ("104", "10.6", "10.5"), strict=True):
        fields = fields_of(row)
        form.values[fields["air_mv"].name] = [value]
        form.values[fields["change_mv"].name] = ["0"]
    before = shop.workplace.book().count
    again = visitor.send(form)
    assert again.status == 422
    assert shop.workplace.book().count == before
    odd = fields_of(step_of(again.context, "C03").rows[0])["air_mv"]
    assert odd.odd_query == "The usual reading is 8.5 to 14 mV. You typed 104. Does the display read 10.4?"
    assert odd.value == "104"
    assert fields_of(step_of(again.context, "C03").rows[1])["air_mv"].value == "10.6"
    assert "One field needs a second look" in again.context.frame.problem
    form = again.form(again.context.action)
    assert f"{odd.name}_confirmed" in form.names()
    form.values[f"{odd.name}_confirmed"] = ["yes"]
    visitor.send(form)
    first = next(one for one in shop.workplace.book().items.values() if one.step == "C03")
    assert first.payload.readings["air_mv"][0].value == "104"
    assert first.payload.confirmed_odd == ("air_mv",)


def test_a_missing_minus_is_asked_about(shop: Shop, visitor: Visitor) -> None:
    form = fill(visitor.get(f"{shop.at}/do/leak-tests?step=L02"), L02__start_mbar="35", L02__end_mbar="-34")
    again = visitor.send(form)
    odd = fields_of(step_of(again.context, "L02").rows[0])["start_mbar"]
    assert odd.odd_query.endswith("You typed 35. Does the display read -35?")


@pytest.mark.parametrize("typed", ["about 1000", "10 08", "1.0.0", "--5", "1e3"])
def test_what_is_no_number_is_refused_at_its_field_with_everything_kept(
    shop: Shop, visitor: Visitor, typed: str
) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air"), C01__controller_hpa=typed, C01__barometer_hpa="1008")
    again = visitor.send(form)
    assert again.status == 422
    fields = fields_of(step_of(again.context, "C01").rows[0])
    assert fields["controller_hpa"].error.startswith(f"“{typed}” must be one number")
    assert fields["controller_hpa"].value == typed
    assert fields["barometer_hpa"].value == "1008"
    (box,) = again.document.all("input", id=fields["controller_hpa"].name)
    assert box.get("aria-invalid") == "true"
    assert box.get("value") == typed


def test_half_of_a_step_is_refused_at_the_empty_field(shop: Shop, visitor: Visitor) -> None:
    again = visitor.send(fill(visitor.get(f"{shop.at}/do/air"), C01__controller_hpa="1008"))
    assert fields_of(step_of(again.context, "C01").rows[0])["barometer_hpa"].error.startswith("Needed as well")


def test_an_empty_page_records_nothing_and_says_so(shop: Shop, visitor: Visitor) -> None:
    before = shop.workplace.book().count
    answered = visitor.get(f"{shop.at}/do/air")
    again = visitor.send(answered.form(answered.context.action))
    assert again.status == 422
    assert again.context.frame.problem.startswith("Nothing is typed here")
    assert shop.workplace.book().count == before


def test_ticks_choices_and_words_come_back_as_they_were(shop: Shop, visitor: Visitor) -> None:
    page = visitor.get(f"{shop.at}/do/oxygen")
    form = fill(page, C05__flushes="3", C05__steady_s="soon", C05__oxygen_is="humid", C04__done="yes")
    again = visitor.send(form)
    fields = fields_of(step_of(again.context, "C05").rows[0])
    assert fields["oxygen_is"].value == "humid"
    assert fields_of(step_of(again.context, "C04").rows[0])["done"].value == "yes"
    checked = [one.get("value") for one in again.document.all("input", type="radio") if "checked" in one.attributes]
    assert "humid" in checked


# --- who, with whom, with what, when --------------------------------------------------------------------------------


def test_without_a_chosen_person_the_form_asks_who_reads(shop: Shop) -> None:
    visitor = Visitor(shop.app)
    answered = visitor.get(f"{shop.at}/do/air")
    assert answered.context.who.reader.value == ""
    assert answered.context.who.reader.required
    again = visitor.send(fill(answered, **AIR))
    assert again.status == 422
    assert "Choose who you are" in again.context.who.reader.error
    form = again.form(again.context.action)
    form.values["read_by"] = [shop.second]
    visitor.send(form)
    assert latest(shop, "C01").read_by == shop.second


def test_a_two_person_step_takes_a_second_name_or_an_honest_single_handed(shop: Shop, visitor: Visitor) -> None:
    shop.walk("electronics")
    typed = {"E09__difference_percent": "0", "E09__done": "yes"}
    at = f"{shop.at}/do/settings-and-lists?step=E09"
    again = visitor.send(fill(visitor.get(at), **typed))
    assert "never invent a second name" in again.context.who.second.error
    form = again.form(again.context.action)
    form.values["second"] = [shop.reader]
    again = visitor.send(form)
    assert again.context.who.second.error
    form = again.form(again.context.action)
    form.values["second"] = [""]
    form.values["single_handed"] = ["yes"]
    visitor.send(form)
    item = latest(shop, "E09")
    assert (item.payload.second, item.payload.single_handed) == ("", True)
    assert "single-handed" in visitor.get(shop.at).text


def test_an_analysis_names_its_instrument(shop: Shop, visitor: Visitor) -> None:
    shop.walk("cylinders-and-cleaning")
    form = fill(visitor.get(f"{shop.at}/do/gas-analysis?step=D02"), D02__oxygen_percent="99.5", D02__labelled="yes")
    assert form.values["instrument"] == [shop.analyser]  # the only one there is
    form.values["instrument"] = [""]
    form.values["second"] = [shop.second]
    again = visitor.send(form)
    assert again.context.who.instrument.error
    form = again.form(again.context.action)
    form.values["instrument"] = [shop.analyser]
    visitor.send(form)
    assert latest(shop, "D02").payload.instruments == (shop.analyser,)


def test_what_was_written_on_paper_is_entered_with_its_own_time_and_typist(shop: Shop, visitor: Visitor) -> None:
    shop.clock.advance(60)
    form = fill(visitor.get(f"{shop.at}/do/air"), **AIR)
    form.values["occurred_at"] = ["2026-06-14T05:40"]
    form.values["typed_by"] = [shop.second]
    visitor.send(form)
    item = latest(shop, "C01")
    assert item.occurred.at == "2026-06-14T05:40:00+02:00"
    assert (item.read_by, item.typed_by) == (shop.reader, shop.second)


@pytest.mark.parametrize(
    ("typed", "why"), [("2026-06-14T09:40", "not later than now"), ("yesterday", "a date and a time")]
)
def test_a_time_that_cannot_be_is_refused_at_its_field(shop: Shop, visitor: Visitor, typed: str, why: str) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air"), **AIR)
    form.values["occurred_at"] = [typed]
    again = visitor.send(form)
    assert again.status == 422
    assert why in again.context.who.moment.error or "Write for example" in again.context.who.moment.error
    assert "occurred_at" not in again.context.who.moment.error
    assert again.context.who.open


def test_a_refused_page_leads_to_the_first_field_that_needs_a_second_look(shop: Shop, visitor: Visitor) -> None:
    again = visitor.send(fill(visitor.get(f"{shop.at}/do/air"), C01__controller_hpa="1008"))
    place = again.context.frame.problem_place
    assert place == fields_of(step_of(again.context, "C01").rows[0])["barometer_hpa"].name
    assert again.document.all("input", id=place)
    assert again.document.all("a", href=f"#{place}")


# --- units ----------------------------------------------------------------------------------------------------------


def test_a_person_with_us_units_reads_gauges_in_psi_and_the_record_keeps_psi(shop: Shop) -> None:
    person = people.add_person(shop.workplace, "Kit Example", display_units="us")
    visitor = Visitor(shop.app)
    visitor.cookies[PERSON_COOKIE] = person
    shop.walk("build")
    answered = visitor.get(f"{shop.at}/do/high-pressure?step=A14&about=cylinder-oxygen")
    fields = fields_of(step_of(answered.context, "A14").rows[0])
    assert fields["start_bar"].unit_value == "psi"
    assert [one[0] for one in fields["start_bar"].unit_choices] == ["bar", "psi"]
    form = fill(answered, A14__start_bar="2900", A14__end_bar="2890", A14__wait_min="5")
    visitor.send(form)
    reading = latest(shop, "A14").payload.readings["start_bar"][0]
    assert (reading.value, reading.unit) == ("2900", "psi")


def test_an_odd_value_in_psi_is_asked_about_in_psi(shop: Shop, visitor: Visitor) -> None:
    shop.walk("build")
    answered = visitor.get(f"{shop.at}/do/high-pressure?step=A14&about=cylinder-oxygen")
    form = fill(answered, A14__start_bar="290", A14__end_bar="2890", A14__wait_min="5")
    for name in form.names():
        if name.endswith(("start_bar_unit", "end_bar_unit")):
            form.values[name] = ["psi"]
    again = visitor.send(form)
    odd = fields_of(step_of(again.context, "A14").rows[0])["start_bar"]
    assert odd.odd_query == "The usual reading is 435 to 4786 psi. You typed 290. Does the display read 2900?"


# --- holds ----------------------------------------------------------------------------------------------------------

TEST = {"L02__start_mbar": "-35", "L02__end_mbar": "-34.5", "L02__start_c": "20", "L02__end_c": "20"}


def held(visitor: Visitor, shop: Shop, **timer: str) -> Item:
    answered = visitor.get(f"{shop.at}/do/leak-tests?step=L02")
    form = fill(answered, **TEST)
    name = step_of(answered.context, "L02").rows[0].timer.name  # type: ignore[union-attr]
    for part, value in timer.items():
        form.values[f"{name}_{part}"] = [value]
    visitor.send(form)
    return latest(shop, "L02")


def test_a_timed_hold_is_recorded_with_its_length_and_moments(shop: Shop, visitor: Visitor) -> None:
    shop.walk("back-in-air")
    item = held(visitor, shop, started="2026-06-14T07:10:02+02:00", ended="2026-06-14T07:11:02+02:00")
    assert item.payload.readings["hold_s"][0].value == "60"
    assert item.payload.note == "Held from 07:10:02 to 07:11:02."


def test_with_scripts_off_the_hold_is_timed_by_a_watch(shop: Shop, visitor: Visitor) -> None:
    shop.walk("back-in-air")
    item = held(visitor, shop, started="23:59:30", ended="00:00:35")
    assert item.payload.readings["hold_s"][0].value == "65"


def test_a_hold_that_was_given_up_and_clocks_that_differ_stay_in_the_record(shop: Shop, visitor: Visitor) -> None:
    shop.walk("back-in-air")
    item = held(
        visitor,
        shop,
        started="2026-06-14T07:12:00+02:00",
        ended="2026-06-14T07:13:10+02:00",
        given_up="2026-06-14T07:10:00+02:00/2026-06-14T07:10:25+02:00",
        clocks="70 35",
    )
    assert "An attempt from 07:10:00 was given up after 25 s." in item.payload.note
    assert "two clocks held 70 s and 35 s" in item.payload.note


def test_a_refused_test_gives_its_hold_back(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/do/leak-tests?step=L02")
    form = fill(answered, L02__start_mbar="x", L02__end_mbar="-34")
    timer = step_of(answered.context, "L02").rows[0].timer
    assert timer is not None
    form.values[f"{timer.name}_started"] = ["2026-06-14T05:10:02+02:00"]
    form.values[f"{timer.name}_ended"] = ["2026-06-14T05:11:02+02:00"]
    again = visitor.send(form)
    kept = step_of(again.context, "L02").rows[0].timer
    assert kept is not None
    assert (kept.started, kept.ended) == ("2026-06-14T05:10:02+02:00", "2026-06-14T05:11:02+02:00")


def test_a_typed_trace_is_recorded_and_drawn_with_its_settled_part(shop: Shop, visitor: Visitor) -> None:
    shop.walk("back-in-air")
    trace = "\n".join(f"{second}; {-35 + second * 0.01:.2f}".replace(".", ",") for second in range(0, 91, 5))
    answered = visitor.get(f"{shop.at}/do/leak-tests?step=L02")
    visitor.send(fill(answered, L02__trace=trace))
    item = latest(shop, "L02")
    assert item.payload.traces["trace"].rows[1] == ("5", "-34.95")
    shown = visitor.get(f"{shop.at}/evidence/{item.event[:12]}").context.test
    assert shown.chart is not None
    assert len(shown.chart.series) == 2
    assert dict(shown.rows)["loss"].startswith("0.6 mbar in 60 s")
    assert "the uncorrected rule" in dict(shown.rows)


def test_each_minute_of_a_pre_breathe_is_a_field_that_falls_due_in_its_minute(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/do/pre-breathe?step=B01")
    timer = step_of(answered.context, "B01").rows[0].timer
    assert timer is not None
    assert (timer.seconds, [prompt.at_s for prompt in timer.prompts]) == (300, [60, 120, 180, 240, 300])
    form = fill(answered, B01__set_point_bar="0.7")
    for prompt, value in zip(timer.prompts, ("0.62", "0,65", "6.6", "0.68", "0.70"), strict=True):
        form.values[prompt.field.name] = [value]
    form.values["second"] = [shop.second]
    again = visitor.send(form)
    prompts = step_of(again.context, "B01").rows[0].timer.prompts  # type: ignore[union-attr]
    assert [bool(prompt.field.odd_query) for prompt in prompts] == [False, False, True, False, False]
    assert prompts[1].field.value == "0,65"
    form = again.form(again.context.action)
    form.values[prompts[2].field.name] = ["0.66"]
    visitor.send(form)
    readings = latest(shop, "B01").payload.readings["po2_each_minute"]
    assert [one.value for one in readings] == ["0.62", "0.65", "0.66", "0.68", "0.70"]


# --- files ----------------------------------------------------------------------------------------------------------


def test_a_photo_is_kept_even_when_something_else_is_refused(shop: Shop, visitor: Visitor) -> None:
    answered = visitor.get(f"{shop.at}/do/gas-analysis?step=D02")
    form = fill(answered, D02__oxygen_percent="x", D02__labelled="yes")
    form.values["second"] = [shop.second]
    photo = next(name for name in form.names() if name.endswith("|photo"))
    assert form.element.get("enctype") == "multipart/form-data"
    again = visitor.post(form.action, form.pairs(), files={photo: ("label.jpg", b"not really a photo")})
    assert again.status == 422
    form = again.form(again.context.action)
    kept = form.values[f"{photo}_kept"][0]
    assert shop.workplace.record.blob(kept) == b"not really a photo"
    (number,) = [name for name in form.names() if name.endswith("|oxygen_percent")]
    form.values[number] = ["99.5"]
    visitor.send(form)
    assert latest(shop, "D02").payload.files["photo"] == kept


# --- interrupted ----------------------------------------------------------------------------------------------------


def test_after_a_pause_the_last_thing_done_is_looked_at_again(shop: Shop, visitor: Visitor) -> None:
    visitor.send(fill(visitor.get(f"{shop.at}/do/air?step=C01"), **AIR))
    shop.clock.advance(23)
    unit = visitor.get(shop.at)
    assert (unit.context.last.ago, unit.context.last.title) == ("23 minutes ago", "Ambient pressure, twice")
    assert "Last reading 05:30, 23 minutes ago: Ambient pressure, twice" in unit.text
    typed = {"C02__temperature_c": "22", "C02__humidity_percent": "60"}
    answered = visitor.get(f"{shop.at}/do/air?step=C02")
    assert answered.context.last.minutes == 23
    again = visitor.send(fill(answered, **typed))
    assert again.status == 422
    assert "Look again at “Ambient pressure, twice” first" in again.context.looked_again.error
    form = again.form(again.context.action)
    form.values[again.context.looked_again.name] = ["yes"]
    visitor.send(form)
    assert latest(shop, "C02").payload.readings["temperature_c"][0].value == "22"


def test_a_short_pause_asks_nothing(shop: Shop, visitor: Visitor) -> None:
    visitor.send(fill(visitor.get(f"{shop.at}/do/air?step=C01"), **AIR))
    shop.clock.advance(9)
    assert visitor.get(f"{shop.at}/do/air").context.looked_again is None


# --- outside, near, frozen ------------------------------------------------------------------------------------------


def test_a_reading_outside_its_limit_leads_to_the_repair_and_then_to_reading_again(
    shop: Shop, visitor: Visitor
) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air?step=C01"), C01__controller_hpa="1008", C01__barometer_hpa="1030")
    answered = visitor.send(form)
    assert answered.template == "form.html"
    assert answered.context.title == "Mend, then read again"
    assert answered.context.frame.notice[0].startswith(
        "Ambient pressure, twice: 1008 hPa. Outside the limit: within 10 hPa"
    )
    assert shop.workplace.verdict(shop.unit).word.value == "stop"
    refused = visitor.send(answered.form())
    assert refused.status == 422
    form = refused.form().fill(cause="height set wrongly", action="set anew", place="barometer")
    again = visitor.send(form)
    assert [one.id for one in again.context.steps] == ["C01"]
    assert "read it again" in again.context.frame.notice[0]
    visitor.send(fill(again, **AIR))
    assert failed_readings(shop.workplace.verdict(shop.unit).reasons()) == ()


def test_a_reading_near_its_limit_is_asked_for_a_second_time(shop: Shop, visitor: Visitor) -> None:
    form = fill(visitor.get(f"{shop.at}/do/air?step=C01"), C01__controller_hpa="1008", C01__barometer_hpa="1017")
    answered = visitor.send(form)
    assert answered.context.frame.notice[0].endswith("Read it a second time.")
    row = step_of(answered.context, "C01").rows[0]
    assert row.state is State.CANNOT_TELL
    assert "a second reading that agrees is needed" in row.why


def test_nothing_is_recorded_on_a_frozen_unit(shop: Shop, visitor: Visitor) -> None:
    from loopworthy.desk.changes import Declared, record_change

    frozen = next(one for one in shop.workplace.catalogue.changes.values() if one.freezes)
    record_change(shop.workplace, shop.unit, Declared(change=frozen.id), person=shop.reader)
    answered = visitor.send(fill(visitor.get(f"{shop.at}/do/air"), **AIR))
    assert answered.status == 403
    assert "is frozen" in answered.context.frame.problem
    assert fields_of(step_of(answered.context, "C01").rows[0])["controller_hpa"].value == "1008"


def test_a_part_that_was_exchanged_meanwhile_takes_no_reading_of_the_old_one(shop: Shop, visitor: Visitor) -> None:
    from loopworthy.desk.changes import Declared, record_change
    from loopworthy.desk.units import NewThing

    answered = visitor.get(f"{shop.at}/do/air?step=C03")
    form = answered.form(answered.context.action)
    for row in step_of(answered.context, "C03").rows:
        for name, value in (("air_mv", "10.4"), ("change_mv", "0")):
            form.values[fields_of(row)[name].name] = [value]
    position = "oxygen-sensor-1"
    declared = Declared(
        change="sensor-replaced", positions=(position,), arrivals={position: NewThing(serial="4F-9999")}
    )
    record_change(shop.workplace, shop.unit, declared, person=shop.reader)
    refused = visitor.send(form)
    assert refused.status == 409
    assert "A part was exchanged on this unit" in refused.context.frame.problem
    assert not [one for one in shop.workplace.book().items.values() if one.step == "C03"]
    assert step_of(refused.context, "C03").rows[0].label.endswith("4F-9999")
