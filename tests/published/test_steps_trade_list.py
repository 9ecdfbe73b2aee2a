"""The catalogue's steps against the trade's list of a diving day.

Source of every table here: trade practice as collected by the project; common practice, no published source, unless a
limit names one. The rows are typed as that collection prints them (identifier, marks, what kind of reading it asks
for, limits with the mark of where they come from, what each option of a unit adds and takes away); where the
catalogue says it otherwise, the decision stands beside the row with its reason.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Final, NamedTuple

import pytest

from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue, InputKind, Limit, Origin, Rule, Step
from loopworthy.judgement.verdict import required_steps
from loopworthy.unit.configuration import Configuration, configuration_from_choices, ready_configurations

# Identifier and what the row asks for. K: never skipped. o: option or bench row. 2P: two people.
# CALC a computed number, NUM a number, GAS an analysis, TRC a timed pressure trace, DAT a date, PHO a photo or file,
# TICK a tick; what else is printed ("list", "time", "from record") stands as it is.
PRINTED: Final = """
W01 DAT            | W02 DAT            | W03 TICK           | W04 NUM            | W05 o PHO
W06 DAT            | W07 DAT            | W08 NUM            | W09 TICK TICK      | W10 o TICK
W11 o TICK         | W12 NUM            | W13 o NUM          | W14 o NUM          | W15 list 2P
W16 NUM TICK       | W17 NUM            | W18 o DAT          | W19 DAT
D01 NUM NUM        | D02 K GAS 2P       | D03 K GAS 2P       | D04 K GAS 2P       | D05 NUM
D06 CALC 2P        | D07 CALC           | D08 CALC           | D09 CALC           | D10 NUM NUM
D11 TICK PHO       | D12 TICK           | D13 NUM            | D14 o TICK         | D15 K PHO
D16 o TICK serial  | D17 NUM NUM        | D18 DAT            | D19 o NUM          | D20 o TICK NUM
A01 ID             | A02 K 2P PHO       | A03 K ID TICK      | A04 K TICK TICK    | A05 TICK
A06 K 2P           | A07 2P             | A08 TICK           | A09 TICK           | A10 o TICK
A11 o TICK         | A12 o TICK         | A13 TICK           | A14 NUM            | A15 time
C01 NUM            | C02 NUM NUM        | C03 NUM            | C04 CALC           | C05 NUM NUM
C06 K NUM          | C07 NUM            | C08 K NUM          | C09 NUM            | C10 K NUM
C11 o NUM          | C12 o NUM          | C13 o NUM          | C14 o NUM
L01 NUM            | L02 K TRC          | L03 K TRC          | L04 CALC           | L05 TICK
L06 o TICK place   | L07 TRC            | L08 fault
E01 K TICK         | E02 o NUM          | E03 NUM            | E04 K TICK NUM     | E05 o TICK
E06 TICK           | E07 TICK           | E08 o NUM          | E09 K 2P           | E10 2P
E11 NUM            | E12 o TICK         | E13 o 2P           | E14 NUM
F01 K list 2P      | F02 K NUM 2P       | F03 K NUM          | F04 K NUM 2P       | F05 TICK
F06 TICK           | F07 TICK           | F08 o TICK         | F09 K NUM          | F10 NUM
F11 o TICK         | F12 TICK           | F13 o TICK         | F14 NUM            | F15 K NUM NUM NUM NUM 2P
B01 K NUM 2P       | B02 K TICK NUM     | B03 NUM            | B04 TICK           | B05 time
T01 K 2P           | T02 TICK           | T03 CALC 2P        | T04 NUM            | T05 o TICK
U01 TICK           | U02 NUM            | U03 K record       | U04 o record       | U05 NUM
U06 o NUM          | U07 record         | U08 K 2P
P01 NUM            | P02 NUM            | P03 PHO            | P04 NUM            | P05 o PHO
P06 CALC           | P07 fault          | P08 NUM            | P09 o NUM          | P10 release
R01 list           | R02 NUM            | R03 NUM            | R04 TRC            | R05 there
S01 o NUM          | S02 o DAT          | S03 o NUM          | S04 there
X01 PHO 2P         | X02 PHO
"""

ROWS: Final[Mapping[str, tuple[str, ...]]] = {
    row.split()[0]: tuple(row.split()[1:]) for row in re.split(r"[|\n]", PRINTED) if row.strip()
}
NEVER_SKIPPED: Final = frozenset(one for one, marks in ROWS.items() if "K" in marks)
OPTION_OR_BENCH: Final = frozenset(one for one, marks in ROWS.items() if "o" in marks)
TWO_PEOPLE: Final = frozenset(one for one, marks in ROWS.items() if "2P" in marks)

# Option rows that are asked of every unit that has the thing: on request they would never be asked, for other steps
# make the same kind of evidence, and the thing itself would stay unproven.
ASKED_WHERE_FITTED: Final = {
    "D16": "solid element",
    "A11": "automatic diluent valve",
    "A12": "heating",
    "C12": "helium sensor on the analysed diluent",
    "E05": "second solenoid alone",
    "E12": "temperature probe and water sensor",
}
# Core rows that are on request: rows of a bad day or of a second dive. Asked on every day they would be asked for
# nothing, and a reading that comes after their kind of evidence would wait for a dive that was not made.
ON_A_DAY_THAT_ASKS: Final = {
    "L08": "after any failure",
    "U05": "in doubt, or once",
    "R02": "the return to air asks for it by itself once a dive was made",
    "R03": "plan and ledger ask for it by themselves once a dive was made",
    "R04": "the leak tests ask for it by themselves once the loop was opened",
    "R05": "their own clocks ask for it",
    "S04": "after travel",
    "X01": "incident",
    "X02": "incident",
}
# Kinds of readings that are not asked in the printed form, and why.
OTHERWISE_ASKED: Final = {
    "C04": "the program computes the expected value; the person says that it was read first",
    "C07": "the program keeps the history; the person says that it was looked at",
    "L04": "the program computes the leak rate; the person says that it was read beside the last ones",
    "B05": "the clock of the pre-breathe keeps the time",
    "R04": "the traces are entered on the page of the leak tests",
}


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def unit(**answers: object) -> Configuration:
    """The plain electronic unit with other answers."""
    plain = ready_configurations()["electronic-back-three-sensors"]
    return configuration_from_choices("changed", "Changed", {**plain.choices, **answers})


def limit_of(catalogue: Catalogue, identifier: str) -> Limit:
    assert identifier in catalogue.limits, f"no limit {identifier}"
    return catalogue.limits[identifier]


# --- the rows --------------------------------------------------------------------------------------------------------


def test_the_table_has_the_printed_counts() -> None:
    assert len(ROWS) == 144
    assert len(ROWS) - len(OPTION_OR_BENCH) == 110
    assert len(OPTION_OR_BENCH) == 34
    assert len(NEVER_SKIPPED) == 27
    assert not NEVER_SKIPPED & OPTION_OR_BENCH


def test_every_printed_row_is_a_step(catalogue: Catalogue) -> None:
    assert set(ROWS) - set(catalogue.steps) == set()


def test_further_steps_carry_on_the_numbers_of_their_letter(catalogue: Catalogue) -> None:
    last = {letter: max(one for one in ROWS if one[0] == letter) for letter in {one[0] for one in ROWS}}
    further = set(catalogue.steps) - set(ROWS)
    assert further
    assert [one for one in further if not one > last[one[0]]] == []


def test_a_page_lists_its_steps_as_they_are_done(catalogue: Catalogue) -> None:
    # The order of the trade: flaps and canister before closing, analyser before gas, own device before the other one.
    def listed(page: str) -> list[str]:
        return [one.id for one in catalogue.steps.values() if one.page == page]

    build = listed("build")
    assert build.index("W09") < build.index("A02") < build.index("A05") < build.index("A15")
    gas = listed("gas-analysis")
    assert gas.index("D21") < gas.index("D02") < gas.index("D03") < gas.index("D04") < gas.index("D22")
    assert listed("second-controller") == ["C09", "C16"]
    assert [one for one in listed("oxygen") if one in ROWS] == ["C04", "C05", "C06", "C07", "C08"]
    pre_breathe = listed("pre-breathe")
    assert pre_breathe.index("B06") < pre_breathe.index("B01") < pre_breathe.index("B04")
    assert listed("final-check")[0] == "F01"


@pytest.mark.parametrize("identifier", ROWS)
def test_the_never_skipped_rows_are_the_printed_ones(catalogue: Catalogue, identifier: str) -> None:
    assert catalogue.step(identifier).never_skipped == (identifier in NEVER_SKIPPED)


def test_a_further_step_is_never_skipped_only_as_a_variant_of_one_that_is(catalogue: Catalogue) -> None:
    variants = {
        "D23": "D02",  # oxygen that stands beside the unit
        "E17": "E01",  # displays that are no controller
        "F18": "F04",  # bailout that is a second loop
        "F20": "F15",  # last look with one gas
        "B06": "B01",  # without sensors
        "B07": "B01",
    }
    further = {one.id for one in catalogue.steps.values() if one.never_skipped and one.id not in ROWS}
    assert further == set(variants)
    assert set(variants.values()) <= NEVER_SKIPPED


@pytest.mark.parametrize("identifier", ROWS)
def test_the_rows_for_two_people_are_the_printed_ones(catalogue: Catalogue, identifier: str) -> None:
    # P10 prints two people "for release after fault": that is the release of a hold, which only a second person makes.
    assert catalogue.step(identifier).two_person == (identifier in TWO_PEOPLE)


@pytest.mark.parametrize("identifier", ROWS)
def test_option_and_bench_rows_are_asked_on_request_or_where_fitted(catalogue: Catalogue, identifier: str) -> None:
    step = catalogue.step(identifier)
    if identifier in ASKED_WHERE_FITTED:
        assert identifier in OPTION_OR_BENCH
        assert not step.on_request
        assert step.when.any_of, "nothing says what has to be fitted"
    else:
        assert step.on_request == (identifier in OPTION_OR_BENCH or identifier in ON_A_DAY_THAT_ASKS)


_ASKED_BY: Final[Mapping[str, frozenset[InputKind]]] = {
    "NUM": frozenset({InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT}),
    "CALC": frozenset({InputKind.NUMBER, InputKind.NUMBERS, InputKind.COUNT}),
    "GAS": frozenset({InputKind.NUMBER}),
    "TRC": frozenset({InputKind.TRACE}),
    "DAT": frozenset({InputKind.DATE}),
    "PHO": frozenset({InputKind.FILE}),
    "TICK": frozenset({InputKind.TICK}),
    "ID": frozenset({InputKind.TEXT}),
    "serial": frozenset({InputKind.TEXT}),
    "place": frozenset({InputKind.TEXT}),
    "time": frozenset({InputKind.TIME}),
}


@pytest.mark.parametrize("identifier", [one for one in ROWS if one not in OTHERWISE_ASKED])
def test_each_row_asks_for_what_is_printed(catalogue: Catalogue, identifier: str) -> None:
    step, marks = catalogue.step(identifier), ROWS[identifier]
    for mark in dict.fromkeys(marks):
        if mark in _ASKED_BY:
            found = [one for one in step.inputs if one.kind in _ASKED_BY[mark]]
            assert len(found) >= marks.count(mark), mark


# Numbers that need not be entered, and what stands in their place when they are not.
NUMBER_MAY_BE_LEFT_OUT: Final = {
    "W17": "two sensors share the step, each has its own number",
    "D05": "a certificate in date, which is then written",
    "D13": "no scale at hand, which is then written",
    "B03": "not measured, which is then written",
    "C08": "a device that shows no factor; the program computes it from the reading",
    "C09": "a device that shows no factor",
}


@pytest.mark.parametrize("identifier", [one for one in ROWS if one not in OTHERWISE_ASKED])
def test_where_a_number_is_printed_no_tick_will_do(catalogue: Catalogue, identifier: str) -> None:
    if not {"NUM", "CALC", "GAS"} & set(ROWS[identifier]):
        return
    numbers = [one for one in catalogue.step(identifier).inputs if one.unit]
    assert any(one.required for one in numbers) == (identifier not in NUMBER_MAY_BE_LEFT_OUT)


def test_every_step_says_what_to_do_when_it_is_good_and_why(catalogue: Catalogue) -> None:
    for step in catalogue.steps.values():
        assert 2 <= len(step.title.split()) <= 5, step.id
        assert step.text.endswith("."), step.id
        assert step.accept, step.id
        assert step.why.endswith("."), step.id


def test_no_text_promises_safety_or_speaks_in_codes(catalogue: Catalogue) -> None:
    forbidden = re.compile(r"\b(?:safe|safely|unsafe|killer|killers|NUM|TICK|TRC|CALC|2P|OK)\b")
    for step in catalogue.steps.values():
        texts = [step.title, step.text, step.accept, step.why, step.not_proven]
        texts += [text for one in step.inputs for text in (one.label, one.help, *one.choices)]
        assert [text for text in texts if forbidden.search(text)] == [], step.id
    for page in catalogue.pages:
        assert not forbidden.search(page.title)


# What a check does not prove, in the words that have to be there.
NOT_PROVEN: Final = {
    "B01": "CO2 removal is not proven",
    "B02": "CO2 removal is not proven",
    "B03": "Not measured means",
    "A02": "how much CO2",
    "D17": "spread, not a number",
    "C03": "oxygen",
    "C06": "above 1 bar",
    "C08": "by construction",
    "C10": "higher PO2",
    "W04": "highest pressure that was tried",
    "W17": "reads low at small breaths",
    "L02": "another pressure difference",
    "L03": "another pressure difference",
    "E04": "valve may be shut",
    "E12": "at the surface",
    "F02": "stays open",
    "D06": "No model is proof against decompression sickness",
    "B04": "often not felt",
}


@pytest.mark.parametrize("identifier", NOT_PROVEN)
def test_a_check_says_what_it_does_not_prove(catalogue: Catalogue, identifier: str) -> None:
    assert NOT_PROVEN[identifier].lower() in catalogue.step(identifier).not_proven.lower()


# --- limits ----------------------------------------------------------------------------------------------------------


class Printed(NamedTuple):
    """A limit as printed: value, unit, and its mark."""

    value: str
    unit: str
    mark: str


MARKS: Final = {
    "CP": Origin.COMMON_PRACTICE,
    "FM": Origin.MEMORY,
    "PR": Origin.PROPOSAL,
    "S": Origin.SOURCE,
    # Printed without a mark: the catalogue claims no more than a proposal, unless another table of the collection marks
    # the same number.
    "": Origin.PROPOSAL,
}

LIMITS: Final[Mapping[str, Printed]] = {
    "W01.age": Printed("365", "d", "CP"),  # 12 months
    "W02.in_use": Printed("365", "d", "CP"),
    "W02.made": Printed("548", "d", "CP"),  # 18 months
    "W06.tested": Printed("1826", "d", "S"),  # 5 years
    "W06.inside": Printed("365", "d", "S"),  # 1 to 2.5 years: the stricter end
    "W07.age": Printed("365", "d", "CP"),
    "W08.low": Printed("7", "bar", "FM"),
    "W08.high": Printed("10", "bar", "FM"),
    "W08.creep": Printed("0.3", "bar", "FM"),
    "W13.low": Printed("20", "mbar", "FM"),
    "W13.high": Printed("40", "mbar", "FM"),
    "W14.spare": Printed("1", "count", "CP"),  # plan plus one
    "W18.age": Printed("183", "d", "CP"),  # 3 to 6 months, with a refresher
    "D02.purity": Printed("98", "%", "CP"),
    "D03.oxygen": Printed("1", "%", "CP"),
    "D03.helium": Printed("2", "%", "CP"),
    "D05.co": Printed("5", "ppm", "S"),
    "D08.most": Printed("6.2", "g/L", "FM"),
    "D09.below": Printed("0.2", "bar", "CP"),
    "D10.need": Printed("2", "1", "CP"),
    "D17.minutes": Printed("1.5", "1", "CP"),
    "D17.litres": Printed("1.5", "1", "CP"),
    "A14.drop": Printed("5", "bar", "PR"),
    "A14.wait": Printed("5", "min", "PR"),
    "C01.agree": Printed("10", "hPa", "PR"),
    "C03.low": Printed("8.5", "mV", "FM"),
    "C03.high": Printed("14", "mV", "FM"),
    "C03.drift": Printed("0.1", "mV", "PR"),
    "C05.flushes": Printed("3", "count", "CP"),
    "C06.tolerance": Printed("2", "mV", "CP"),
    "C07.step": Printed("5", "%", "PR"),
    "C08.step": Printed("5", "%", "PR"),
    "C09.difference": Printed("3", "%", "PR"),
    "C10.tolerance": Printed("0.02", "bar", "PR"),
    "C10.spread": Printed("0.02", "bar", "PR"),
    "C12.diluent": Printed("2", "%", ""),
    "C14.slowest": Printed("15", "s", "FM"),
    "L01.settled": Printed("10", "min", "PR"),
    "L01.change": Printed("0.2", "K/min", "PR"),
    "L02.loss": Printed("10", "mbar", "CP"),
    "L02.hold": Printed("60", "s", "CP"),
    "L03.loss": Printed("10", "mbar", "CP"),
    "L03.hold": Printed("60", "s", "CP"),
    "L07.loss": Printed("10", "mbar", "CP"),
    "L07.hold": Printed("60", "s", "CP"),
    "E02.off": Printed("2", "min", ""),
    "E03.left": Printed("2", "1", "CP"),
    "E07.low": Printed("0.4", "bar", "CP"),
    "E07.high": Printed("1.6", "bar", "CP"),
    "E08.above": Printed("-0.2", "m", ""),
    "E08.below": Printed("0.2", "m", ""),
    "E09.difference": Printed("1", "%", ""),
    "E14.agree": Printed("0.05", "bar", ""),
    "F10.scrubber": Printed("1.5", "1", "CP"),
    "F10.battery": Printed("2", "1", "CP"),
    "F17.surface": Printed("0.7", "bar", "CP"),  # low set point at the surface
    "B01.floor": Printed("0.4", "bar", "PR"),
    "B01.minutes": Printed("5", "min", "CP"),
    "B02.returns": Printed("0.1", "bar", ""),
    "B03.co2": Printed("0.5", "kPa", "FM"),
    "T03.team": Printed("1.5", "1", "CP"),
    "U05.tolerance": Printed("0.1", "bar", ""),
    "U07.floor": Printed("0.4", "bar", ""),
    "P04.usual": Printed("20", "mL", "FM"),
    "R02.air": Printed("0.02", "bar", "CP"),
    "R02.oxygen": Printed("0.05", "bar", ""),
    "R03.scrubber": Printed("1.5", "1", "CP"),
    "R03.oxygen": Printed("2", "1", "CP"),
    "S03.heat": Printed("45", "C", "FM"),
    "D21.air_low": Printed("20.6", "%", "CP"),  # 20.9 within 0.3
    "D21.air_high": Printed("21.2", "%", "CP"),
    "D21.oxygen_low": Printed("98", "%", "CP"),
    "D21.oxygen_high": Printed("100", "%", "CP"),
    "D31.deepest": Printed("6", "m", "S"),
}


@pytest.mark.parametrize("identifier", LIMITS)
def test_a_limit_is_the_printed_one_with_its_mark(catalogue: Catalogue, identifier: str) -> None:
    limit, printed = limit_of(catalogue, identifier), LIMITS[identifier]
    assert (limit.value, limit.unit, limit.origin) == (printed.value, printed.unit, MARKS[printed.mark])


# Limits printed as a percentage of another number: part of it that must at least be there, from below and from above.
PERCENTAGES: Final[Mapping[str, tuple[str, Decimal, Decimal]]] = {
    "W04": ("CP", Decimal(5), Decimal("1.6")),  # of the straight line at 1.6 bar, read against 1.0 bar
    "W12": ("", Decimal(10), Decimal(1)),
    "C13": ("", Decimal(10), Decimal(1)),
    "D13": ("PR", Decimal(3), Decimal(1)),
    "P06": ("PR", Decimal(30), Decimal(1)),
}


@pytest.mark.parametrize("identifier", PERCENTAGES)
def test_a_limit_in_percent_holds_from_both_sides(catalogue: Catalogue, identifier: str) -> None:
    mark, percent, line = PERCENTAGES[identifier]
    names = {"D13": ("light", "heavy")}.get(identifier, ("low", "high"))
    low, high = (limit_of(catalogue, f"{identifier}.{name}") for name in names)
    assert low.rule is high.rule is Rule.TIMES
    assert (low.on, low.of) == (high.of, high.on)
    assert Decimal(low.value) == line * (1 - percent / 100)
    exact = 1 / (line * (1 + percent / 100))
    assert exact <= Decimal(high.value) <= exact + Decimal("0.0001"), "rounded to the stricter side"
    assert {low.origin, high.origin} == {MARKS[mark]}


def test_the_ceiling_of_the_printed_example_is_found(catalogue: Catalogue) -> None:
    # Worked example of the collection: 49.1 mV at 1.0 bar, 77.8 mV at 1.6 bar is 1.0 % low and passes. A sensor that
    # stopped at 1.5 bar would show about 73.7 mV.
    low = Decimal(limit_of(catalogue, "W04.low").value) * Decimal("49.1")
    assert Decimal("77.8") >= low > Decimal("73.7")


@pytest.mark.parametrize(
    ("identifier", "number"),
    [
        ("D08", "5.2"),
        ("D09", "0.18"),
        ("D02", "99"),
        ("C03", "3 to 5 minutes"),
        ("W04", "3.5 bar"),
        ("U01", "3 to 6 m"),
    ],
)
def test_a_number_that_is_wished_for_or_cannot_fail_stands_in_the_words(
    catalogue: Catalogue, identifier: str, number: str
) -> None:
    step = catalogue.step(identifier)
    assert number in f"{step.text} {step.accept}"


def test_a_density_above_the_wished_one_counts_as_near_the_limit(catalogue: Catalogue) -> None:
    limit = limit_of(catalogue, "D08.most")
    assert Decimal(limit.value) - Decimal(limit.guard) == Decimal("5.2")


def test_every_limit_names_its_origin_in_words(catalogue: Catalogue) -> None:
    assert [limit.id for limit in catalogue.limits.values() if not limit.source] == []
    sources = {limit.id: limit.source for limit in catalogue.limits.values() if limit.origin is Origin.SOURCE}
    assert all(re.search(r"ISO 18119|EN 12021|EN 14143|NOAA", source) for source in sources.values()), sources


def test_dates_counts_and_ticks_have_no_second_reading(catalogue: Catalogue) -> None:
    for step in catalogue.steps.values():
        for limit in step.limits:
            entered = step.input(limit.on)
            if limit.guard and entered is not None:
                assert entered.kind in (InputKind.NUMBER, InputKind.NUMBERS), limit.id


def test_what_is_usual_does_not_call_a_good_reading_odd(catalogue: Catalogue) -> None:
    for limit in catalogue.limits.values():
        step = catalogue.step(limit.id.partition(".")[0])
        entered = step.input(limit.on)
        if entered is None or limit.rule not in (Rule.AT_LEAST, Rule.AT_MOST, Rule.BELOW):
            continue
        # A reading that passes by exactly the limit is usual, unless the field's usual range ends on its good side.
        if limit.rule is Rule.AT_LEAST and entered.usual_high:
            assert Decimal(entered.usual_high) >= Decimal(limit.value), limit.id
        if limit.rule is not Rule.AT_LEAST and entered.usual_low:
            assert Decimal(entered.usual_low) <= Decimal(limit.value), limit.id


# --- order and holds -------------------------------------------------------------------------------------------------


def test_order_follows_the_trade(catalogue: Catalogue) -> None:
    # Analyser before analysis, analysis before calibration, seat before closing, closing before leak tests, leak tests
    # before pre-breathe, pre-breathe last; the last look after it.
    after = {one.id: set(one.after) for one in catalogue.steps.values()}
    assert all(after[one] == {"EV11"} for one in ("D02", "D03", "D04", "D23"))
    assert after["C06"] == {"EV16", "EV27"}
    assert after["E09"] == {"EV16", "EV17", "EV18"}
    assert all("EV25" in after[one] for one in ("A15", "L02", "L03"))
    assert all({"EV25", "EV36", "EV37"} <= after[one] for one in ("B01", "B07"))
    assert all({"EV54", "EV55"} <= after[one] for one in ("F15", "F20"))


def test_nothing_waits_for_what_comes_later(catalogue: Catalogue) -> None:
    """What a step must come after is made on its own page before it, or on an earlier one."""
    pages = {page.id: page.order for page in catalogue.pages}
    place = {identifier: at for at, identifier in enumerate(catalogue.steps)}
    for step in catalogue.steps.values():
        for kind in step.after:
            for other in catalogue.steps_making[kind]:
                if other.on_request:
                    continue
                earlier = pages[other.page] < pages[step.page]
                same = other.page == step.page
                assert earlier or (same and (place[other.id] < place[step.id] or other.scope.each == "instrument")), (
                    step.id,
                    kind,
                    other.id,
                )


def test_what_a_reading_rests_on_comes_before_it(catalogue: Catalogue) -> None:
    pages = {page.id: page.order for page in catalogue.pages}
    for step in catalogue.steps.values():
        for used in step.uses:
            assert pages[catalogue.step(used).page] <= pages[step.page], (step.id, used)


def _demanded(catalogue: Catalogue, configuration: Configuration) -> set[str]:
    return {
        step.id
        for hold in catalogue.holds
        if hold.when.holds(configuration)
        for _, step in required_steps(catalogue, hold, configuration)
    }


# Asked on their page, but no hold waits for them.
NO_HOLD_WAITS_FOR: Final = {
    "D21": "asked by the order rule of each analysis",
    "U01": "in the water",
    "U02": "in the water",
    "P08": "at the end of the day, and before another user",
}


@pytest.mark.parametrize("name", ready_configurations())
def test_a_step_that_is_asked_is_one_that_a_hold_waits_for(catalogue: Catalogue, name: str) -> None:
    configuration = ready_configurations()[name]
    asked = {one.id for one in catalogue.steps.values() if one.when.holds(configuration) and not one.on_request}
    demanded = _demanded(catalogue, configuration)
    assert asked - demanded <= set(NO_HOLD_WAITS_FOR)
    assert NEVER_SKIPPED & {one.id for one in catalogue.steps.values() if one.when.holds(configuration)} <= demanded


def test_the_last_look_renews_what_was_seen_ten_minutes_ago(catalogue: Catalogue) -> None:
    assert {"EV21", "EV51", "EV52"} == set(catalogue.step("F15").renews) == set(catalogue.step("F20").renews)
    assert catalogue.step("B02").renews == ("EV51",)


# --- the day ---------------------------------------------------------------------------------------------------------

DATES_ONLY: Final = frozenset({"bench", "cylinders-and-cleaning"})
OTHER_DAYS: Final = frozenset({"again", "store", "incident"})


def test_a_typical_unit_sees_seventy_to_eighty_core_rows_on_a_day(catalogue: Catalogue) -> None:
    # "A typical electronic back-mounted unit with three sensors sees roughly 70-80 on a day; the bench rows among them
    # show only as dates" (common practice, no source).
    typical = ready_configurations()["electronic-back-three-sensors"]
    core = [catalogue.step(one) for one in ROWS if one not in OPTION_OR_BENCH]
    elsewhere = DATES_ONLY | OTHER_DAYS
    today = [one for one in core if one.when.holds(typical) and not one.on_request and one.page not in elsewhere]
    assert 70 <= len(today) <= 80


def _asked_pages(catalogue: Catalogue, configuration: Configuration) -> list[str]:
    asked = {one.page for one in catalogue.steps.values() if one.when.holds(configuration) and not one.on_request}
    return [page.id for page in catalogue.pages if page.id in asked]


@pytest.mark.parametrize("name", ready_configurations())
def test_a_morning_is_about_a_dozen_pages(catalogue: Catalogue, name: str) -> None:
    # From putting the loop together to the last look, people and plan included; one more with a second device.
    pages = _asked_pages(catalogue, ready_configurations()[name])
    morning = pages[pages.index("build") : pages.index("last-look") + 1]
    assert len(morning) <= 13 + ("second-controller" in morning)


def test_the_final_list_has_eleven_lines_and_does_not_grow(catalogue: Catalogue) -> None:
    # Printed: F without its option rows has 11 lines (the last look stands at the water's edge by itself).
    everything = [one.id for one in catalogue.steps.values() if one.page == "final-check" and one.id in ROWS]
    core = [one for one in everything if one not in OPTION_OR_BENCH]
    assert len(core) == 11
    further = {one.id for one in catalogue.steps.values() if one.page == "final-check"} - set(ROWS)
    assert further == {"F17", "F18", "F19"}  # set point, second loop, and scrubber alone in place of F10


def test_pages_and_holds_come_in_the_order_of_the_day(catalogue: Catalogue) -> None:
    holds = [page.hold for page in catalogue.pages]
    assert holds == sorted(holds)
    assert {page.id for page in catalogue.pages} == {step.page for step in catalogue.steps.values()}


# --- what each option brings -----------------------------------------------------------------------------------------


class Brings(NamedTuple):
    """What an option adds and takes away, as printed, on the plain unit with these further answers."""

    answers: Mapping[str, object]
    adds: str = ""
    takes: str = ""
    only_here: str = ""
    """Those of the added that the plain unit does not have."""


_SEMI: Final = {
    "solenoids": "0", "onboard_gas": "supply-only", "adv": "fitted", "oxygen_sensors": "1", "sensor_kind": ["galvanic"],
}  # fmt: skip
_PURE: Final = {
    "gas_principle": "pure-oxygen", "solenoids": "0", "onboard_gas": "oxygen-only", "adv": "absent",
    "controllers": "none", "oxygen_sensors": "0", "sensor_kind": [], "bailout": ["none"], "bailout_cylinders": "0",
}  # fmt: skip

OPTIONS: Final[Mapping[str, Brings]] = {
    "electronic": Brings({}, adds="E03 E04 E10 F10 B02"),  # E05 and E06 with a second solenoid and a head-up display
    "manual, fixed flow": Brings(
        {"gas_principle": "manual-fixed-flow", "solenoids": "0"}, adds="W12 W22 A13 B02 U03", takes="E04 E05",
        only_here="W12 W22",
    ),
    "manual, button": Brings({"gas_principle": "manual-button", "solenoids": "0"}, adds="B02 U03", takes="E04 E05 W12"),
    "hybrid": Brings({"gas_principle": "hybrid"}, adds="W12 W22 E04", only_here="W12 W22"),
    "semi-closed, mass flow": Brings(
        {"gas_principle": "semi-closed-mass-flow", **_SEMI}, adds="W12 C13 D06 D03 C05", only_here="W12 C13"
    ),
    "semi-closed, volume ratio": Brings(
        {"gas_principle": "semi-closed-volume-ratio", **_SEMI}, adds="A13 A16 D06", only_here="A16"
    ),
    "pure oxygen": Brings(_PURE, adds="D31 B06", takes="D03 D08 A11 C03 C04 C05 C06 C08 C10", only_here="D31 B06"),
    "one controller": Brings({}, adds="U03 E15"),  # an independent display is wished for: E15 says that there is none
    "two controllers": Brings({"controllers": "two"}, adds="C09 C10 C15 E01 E14", only_here="C09 C15 E14"),
    "one and a backup display": Brings(
        {"controllers": "one-and-backup", "backup_display": "fitted"}, adds="C09 C10 C15 E01 E14 E17",
        only_here="C09 C15 E14 E17",
    ),
    "two controllers and a display": Brings(
        {"controllers": "two", "backup_display": "fitted"}, adds="C09 C15 C16 C17 E17", takes="E15", only_here="C16 C17"
    ),
    "no sensors": Brings(_PURE, takes="C03 C04 C05 C06 C07 C08 C09 C10 A03 F09"),
    "one sensor": Brings({"oxygen_sensors": "1"}, adds="U05", takes="W03"),
    "two sensors": Brings({"oxygen_sensors": "2"}, adds="U05", takes="W03"),
    "three sensors": Brings({}, adds="W03 C10 U05"),
    "four sensors": Brings({"oxygen_sensors": "4"}, adds="W03 C10"),
    "galvanic": Brings({"pressure_pot": "at-hand"}, adds="W02 W03 W04 W05", only_here="W04"),
    "no pot at hand": Brings({"pressure_pot": "none"}, takes="W04"),
    "optical": Brings({"sensor_kind": ["optical"]}, adds="W23 C03", takes="W02", only_here="W23"),
    "injection": Brings({"self_validating_injection": "fitted"}, adds="E16 C06", only_here="E16"),
    "carbon dioxide sensor": Brings({"co2_sensor": "fitted"}, adds="W17 C11 B03 U04", only_here="W17 C11 U04"),
    "scrubber probe": Brings({"scrubber_probe": "fitted"}, adds="E12 U04", only_here="E12 U04"),
    "helium sensor": Brings({"helium_sensor": "fitted"}, adds="W17 C12 E09", only_here="W17 C12"),
    "one solenoid": Brings({}, adds="E04", takes="E05"),
    "two solenoids": Brings({"solenoids": "2"}, adds="E04 E05", only_here="E05"),
    "axial": Brings({}, adds="D12 D13 D14 D15"),
    "radial": Brings({"canister": "radial-granular"}, adds="D12 D13 D14 D15"),
    "solid": Brings({"canister": "solid"}, adds="D16 D15", takes="D12 D13 D14", only_here="D16"),
    "two canisters": Brings({"canister": "two-in-series"}, adds="D15 D17"),
    "on the back": Brings({}, adds="A04 F11"),
    "at the side": Brings({"mounting": "side"}, adds="A05 F14"),
    "on the chest": Brings({"mounting": "chest"}, adds="F09 A05"),
    "over the shoulder": Brings({}, adds="A05 L05"),
    "automatic valve": Brings({}, adds="A11 F06"),
    "no automatic valve": Brings({"adv": "absent"}, adds="T02", takes="F06 A11"),
    "both gases on the unit": Brings({}, adds="D01 D03 A06 F02 F03"),
    "gas from outside": Brings({"offboard_gas": "plug-in"}, adds="A07 F03 E09", only_here="A07"),
    "bailout valve": Brings({"bailout_valve": "fitted"}, adds="A08 L07 F05", only_here="A08 L07 F05"),
    "no bailout valve": Brings({}, adds="T02", takes="A08 L07 F05"),
    "own bailout": Brings({}, adds="D04 D07 F04"),
    "shared bailout": Brings({"bailout": ["own-open-circuit", "team-shared"]}, adds="T03 D07 D25", only_here="T03 D25"),
    "bailout from the unit's own gas": Brings(
        {"bailout_cylinders": "0", "bailout_valve": "fitted"}, adds="D27 F05", takes="D04 D07 F04 W16", only_here="D27"
    ),
    "second loop": Brings({"bailout": ["second-loop"]}, adds="D26 F18", only_here="D26 F18"),
    "strap": Brings({}, adds="A09 F12"),
    "full-face mask": Brings({"face": "full-face-mask"}, adds="A09 F05", only_here="F05"),
    "suit bottle": Brings({"drysuit_gas": "own-bottle"}, adds="D01 D30 F07", only_here="D30"),
    "suit from diluent": Brings({"drysuit_gas": "from-diluent"}, adds="D06 F07"),
    "heating": Brings({"heating": "fitted"}, adds="D10 A12 F13 T04", only_here="A12"),
    "water sensor": Brings({"water_sensor": "fitted"}, adds="E12", only_here="E12"),
    "head-up display": Brings({"hud": "fitted"}, adds="E06 E17", only_here="E06 E17"),
    "transmitters": Brings({"pressure_transmitters": "fitted"}, adds="E02"),
    "timer": Brings({"scrubber_timer": "fitted"}, adds="E11", only_here="E11"),
    "vehicle": Brings({"carried": ["propulsion"]}, adds="T04 D07"),
    "cold": Brings({"environment": ["cold"]}, adds="D10 D17 F07 D28", only_here="D28"),
    "altitude": Brings({"environment": ["altitude"]}, adds="C01 E08 C06 D06"),
    "overhead": Brings({"environment": ["overhead"]}, adds="D07 T03", only_here="T03"),
    "deep helium": Brings({"environment": ["deep-helium"]}, adds="D08 D09 D03"),
    "instruction": Brings({"use": ["instruction"]}, adds="T06 D18", only_here="T06 D18"),
    "fleet": Brings({"use": ["fleet"]}, adds="W18 P08 D18 D29", only_here="D18 D29"),
    "solo": Brings({"use": ["solo"]}, adds="T01 T02 T04", takes="T05"),
}  # fmt: skip


@pytest.mark.parametrize("name", OPTIONS)
def test_an_option_brings_and_takes_what_is_printed(catalogue: Catalogue, name: str) -> None:
    brings = OPTIONS[name]
    plain, changed = unit(), unit(**brings.answers)

    def applies(step: Step, configuration: Configuration) -> bool:
        return step.when.holds(configuration)

    assert [one for one in brings.adds.split() if not applies(catalogue.step(one), changed)] == []
    assert [one for one in brings.takes.split() if applies(catalogue.step(one), changed)] == []
    assert [one for one in brings.only_here.split() if applies(catalogue.step(one), plain)] == []


def test_no_step_is_beyond_every_unit(catalogue: Catalogue) -> None:
    units = [*ready_configurations().values(), *(unit(**one.answers) for one in OPTIONS.values())]
    assert [one.id for one in catalogue.steps.values() if not any(one.when.holds(some) for some in units)] == []


def _words(step: Step) -> Iterator[str]:
    yield from (step.text, step.accept, step.why, step.not_proven)


# What a printed option changes in a step that stands on the list anyway, in the words that say so.
CHANGED_WORDS: Final = {
    "B02": "Without a solenoid the diver adds",
    "U03": "more often with hand-added oxygen or one display",
    "D06": "loop fraction follows from the flow",
    "C05": "one supply gas",
    "C10": "group against group",
    "C03": "optical",
    "D12": "turn a radial one",
    "D11": "both tubes and end seals",
    "D15": "rotation",
    "L02": "folded as it is worn",
    "A05": "bungee and hose route",
    "F11": "buddy",
    "F09": "on the chest",
    "F14": "trim",
    "U01": "head down",
    "A10": "front",
    "D10": "below 10 degrees",
    "D17": "cold",
    "F07": "ice",
    "D07": "overhead",
    "T01": "not seen by two",
    "B01": "full-face mask",
    "T02": "hose under the chin",
    "A12": "outside the oxygen space",
    "T04": "camera",
}


@pytest.mark.parametrize("identifier", CHANGED_WORDS)
def test_what_an_option_changes_stands_in_the_step(catalogue: Catalogue, identifier: str) -> None:
    assert CHANGED_WORDS[identifier].lower() in " ".join(_words(catalogue.step(identifier))).lower()
