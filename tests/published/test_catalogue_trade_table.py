"""The catalogue's evidence, changes, bounds and holds against the trade's tables.

Source of every table here: trade practice as collected by the project; common practice, no published source. The rows
are typed as that collection prints them (kinds of evidence, what a change voids, what one reading restores, what it
keeps); where the catalogue says it otherwise, the decision stands beside the row with its reason.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal

import pytest

from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue, Change, Effect, EffectRule, Step
from loopworthy.unit.configuration import ready_configurations

MINUTES_A_DAY = 24 * 60
MINUTES_A_MONTH = 365 * MINUTES_A_DAY // 12


def kinds(text: str) -> frozenset[str]:
    """``"02-04 27"`` as the evidence kinds EV02, EV03, EV04 and EV27."""
    numbers: set[int] = set()
    for piece in text.split():
        first, _, last = piece.partition("-")
        numbers.update(range(int(first), int(last or first) + 1))
    return frozenset(f"EV{number:02d}" for number in numbers)


@dataclass(frozen=True, kw_only=True)
class Row:
    """One row of the table of changes, as printed; `keeps_if` holds the answers under which a kind is kept."""

    void: str = ""
    recheck: str = ""
    keeps: str = ""
    keeps_if: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Decision:
    """Where the catalogue's void and re-check columns depart from the printed ones, and why."""

    reason: str
    void_not: str = ""
    void_also: str = ""
    recheck_also: str = ""


ROWS: dict[str, Row] = {
    "sensor-replaced": Row(void="02-04 27 28 29 30 31 32 36 37 54 55", recheck="25"),  # keeps other sensors': see below
    "sensors-swapped": Row(void="27 28 29 30 31 36 37", keeps="02-04"),
    "sensor-plug-cleaned": Row(void="27-32 36 37", recheck="43", keeps="02 03"),
    "absorbent-changed": Row(void="23 25 24 36 37 54 55 35", recheck="31", keeps="29 30", keeps_if={"head": "no"}),
    "canister-opened": Row(void="25 23 36 37 54", keeps="24"),
    "loop-opened": Row(void="36 37 38 54 08", keeps="29 30"),
    "mouthpiece-closed-and-opened": Row(void="54", keeps="36 37"),
    "oxygen-changed": Row(void="16 20 21 22 41 47 51 54", recheck="07", keeps="29 30"),
    "oxygen-analysis-wrong": Row(void="16 28-31"),
    "analyser-failed": Row(void="16-18"),
    "diluent-changed": Row(void="17 20 21 44 47 48 55", recheck="34", keeps="29 30 36 37"),
    "bailout-swapped": Row(void="18 20 21 48 52 55 57", recheck="44"),
    "battery-swapped": Row(void="40 41 42 43 45 13 29 44 24", recheck="36 37", keeps="02-04 27 28"),
    "setting-changed": Row(void="13 43 44 47 29 30 41 42", recheck="46", keeps="01-10"),
    "controller-exchanged": Row(void="13 43 44 47 29 30 41 42 26 27-32 46 58", keeps="02 03"),
    "moved": Row(void="26 46 47 28", recheck="29 30"),
    "temperature-changed": Row(void="21 40", recheck="27 33 34"),
    "rough-ride": Row(void="23 36 37 51-53", recheck="31 42", keeps="16-18"),
    "air-travel": Row(void="01 06 21 26-32 36-38 40 45 46 61", recheck="03", keeps="02"),
    "flooded": Row(void="01 08 23-25 27-38 54 59", recheck="02", keeps="16-18"),
    "dive-made": Row(void="21 24 31 39 40 47-49 51-56", recheck="29 30 36 37", keeps="16-18 25 02"),
    "valve-touched": Row(void="51 52 54 55"),
    "left-out-of-sight": Row(void="51-55", recheck="36"),
    "delayed-at-the-water": Row(),  # 51-55 fall by their own clocks
    "other-diver": Row(void="14 54-57 59 44", recheck="53", keeps="36 37"),
    "part-added-or-left-off": Row(void="13 15 36-38 57 47"),
    "plan-or-team-changed": Row(void="44 47 48 50 55", recheck="24"),
    "regulator-changed": Row(void="07 10 22 41 51 54", recheck="06"),
    "disinfected": Row(void="08 31 36-38", recheck="27"),
    "stood-unused": Row(void="02 07 12 16-18 27-32 36-38 40 59", keeps="01 03-06 09"),
    "fault-written-down": Row(),  # "the part's evidence": see its own test
    "clock-found-wrong": Row(recheck="49"),
    "list-revised": Row(void="15 62"),
    "incident": Row(keeps="01-63"),
}

DECISIONS: dict[str, Decision] = {
    "absorbent-changed": Decision(
        void_also="29 30", reason="kept only if the head was not opened; under the worst answer it was"
    ),
    "oxygen-analysis-wrong": Decision(
        void_not="28-30", reason="they fall because they used the analysis; what rests on another gas stays"
    ),
    "analyser-failed": Decision(
        void_also="11 19",
        reason="the list of evidence names the end-check for 11; contaminants, if read with this very instrument",
    ),
    "battery-swapped": Decision(
        void_also="30", reason="the same, by itself, where the battery feeds the second controller or backup display"
    ),
    "moved": Decision(
        void_not="28", recheck_also="28", reason="only the expected mV falls: one oxygen reading restores it"
    ),
    "air-travel": Decision(void_not="01", recheck_also="01", reason="a look over the unit, not a new service"),
    "stood-unused": Decision(void_not="02", recheck_also="02", reason="to be looked at anew; serial and age stay"),
}

EXPIRES_AFTER_MIN: dict[int, str] = {
    12 * MINUTES_A_MONTH: "01 02 05 06 09",
    90 * MINUTES_A_DAY: "03 04",
    3 * MINUTES_A_MONTH: "14 19",  # printed "3-6 months": the shorter end
    30 * MINUTES_A_DAY: "12 15 16-18 20",
    7 * MINUTES_A_DAY: "45 59",
    24 * 60: "23 24 27 28",
    12 * 60: "26 36-38 40",
    2 * 60: "11",
    30: "53",
    15: "21 55",
    10: "51 52 54",
}
ENDS_WITH: dict[str, str] = {
    # 28 is printed "24 h (each dive day)": both; 43 is "each power-up", which a dive day ends too
    # 51 and 52 are printed "10 min to entry", renewed by the last look; as nothing of the final list is carried over
    # (1.4), a look on another day renews nothing
    "dive-day": "07 10 13 22 28-30 32-34 36-38 41-43 46 50-52 62",
    "assembly": "08",
    "dive": "31 39 44 47-49 56 58 63",  # 58: one record for each dive
}
STANDS_UNTIL_CHANGED = "25 35 57 60 61"

HOLDS: dict[str, str] = {
    "H1": "16-18 05 06 20 19",  # 11 is asked at the moment of each analysis
    "H2": "01 02 07-09 10 25 24 23",
    "H3": "26-32 03 33 34",
    "H4": "36-38 22",
    "H5": "13 15 40-46 62 59",
    "H6": "47 48 49 50 56 57 14 51-53",
    "H7": "54 55 21 51 52 63",  # 63: waivers spoken
    "H8": "61 58 60",  # 61: what was opened, swapped, filled, moved, touched; 60: no open fault
}
HOLDS_ALSO: dict[str, str] = {"H5": "35"}  # scrubber probe, where one is fitted


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def worst_answers(change: Change) -> dict[str, str]:
    return {question.id: question.worst for question in change.questions}


def rules_under(change: Change, answers: Mapping[str, str]) -> Iterator[EffectRule]:
    return (rule for rule in change.rules if all(answers[name] == answer for name, answer in rule.condition))


def hit(change: Change, answers: Mapping[str, str], *effects: Effect) -> frozenset[str]:
    wanted = effects or tuple(Effect)
    return frozenset(rule.evidence for rule in rules_under(change, answers) if rule.effect in wanted)


# --- kinds of evidence -----------------------------------------------------------------------------------------------


def test_there_are_63_kinds_of_evidence_and_no_other(catalogue: Catalogue) -> None:
    assert list(catalogue.evidence) == sorted(kinds("01-63"))
    assert len({kind.title for kind in catalogue.evidence.values()}) == 63


def test_each_kind_stands_as_long_as_printed(catalogue: Catalogue) -> None:
    minutes = {kind: limit for limit, some in EXPIRES_AFTER_MIN.items() for kind in kinds(some)}
    episodes = {kind: episode for episode, some in ENDS_WITH.items() for kind in kinds(some)}
    assert {one.id: one.expires_after_min for one in catalogue.evidence.values() if one.expires_after_min} == minutes
    assert {one.id: one.episode for one in catalogue.evidence.values() if one.episode} == episodes
    without = {one.id for one in catalogue.evidence.values() if not one.expires_after_min and not one.episode}
    assert without == kinds(STANDS_UNTIL_CHANGED)


def test_only_the_analyser_check_is_of_the_moment(catalogue: Catalogue) -> None:
    assert {one.id for one in catalogue.evidence.values() if one.momentary} == {"EV11"}


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("EV54", "does not prove CO2 removal"),
        ("EV29", "nothing of higher PO2"),
        ("EV30", "nothing of higher PO2"),
        ("EV35", "never proves a scrubber at the surface"),
        ("EV31", "wrong alike"),
    ],
)
def test_the_most_trusted_checks_say_what_they_do_not_prove(catalogue: Catalogue, kind: str, words: str) -> None:
    assert words in catalogue.kind(kind).not_proven


# --- changes ---------------------------------------------------------------------------------------------------------


def test_the_34_rows_come_first_and_all_else_is_in_the_group_more(catalogue: Catalogue) -> None:
    assert len(ROWS) == 34
    assert list(catalogue.changes)[:34] == list(ROWS)
    more = {one.id for one in catalogue.changes.values() if one.group == "more"}
    assert more == set(catalogue.changes) - set(ROWS)


@pytest.mark.parametrize("change_id", [one for one in ROWS if one != "fault-written-down"])
def test_a_row_voids_and_rechecks_what_is_printed_when_nothing_was_answered(
    catalogue: Catalogue, change_id: str
) -> None:
    row, decision = ROWS[change_id], DECISIONS.get(change_id, Decision(reason="none"))
    change = catalogue.change(change_id)
    void = (kinds(row.void) - kinds(decision.void_not)) | kinds(decision.void_also)
    recheck = kinds(row.recheck) | kinds(decision.recheck_also)
    answers = worst_answers(change)
    assert hit(change, answers, Effect.VOID, Effect.DISPROVE) == void
    assert hit(change, answers, Effect.RECHECK) == recheck


def test_a_fault_takes_the_evidence_of_its_part_and_all_of_the_unit_where_the_part_is_not_known(
    catalogue: Catalogue,
) -> None:
    change = catalogue.change("fault-written-down")
    (where,) = change.questions
    of_the_thing = {rule.evidence for rule in change.rules if not rule.condition}
    assert {rule.scope for rule in change.rules if not rule.condition} == {"subject"}
    of_the_loop = hit(change, {"where": "loop"}) - of_the_thing
    assert {"EV08", "EV36", "EV37"} <= of_the_loop
    assert not of_the_loop & kinds("27-32 40-46")
    everywhere = frozenset[str]().union(*(hit(change, {"where": answer}) for answer in where.answers))
    assert hit(change, worst_answers(change)) == everywhere
    # Who did what and what was written down is no evidence of a part.
    assert not everywhere & kinds("11 14 15 47-50 55 56 58-63")


@pytest.mark.parametrize("change_id", [one for one, row in ROWS.items() if row.keeps])
def test_no_rule_hits_what_a_row_keeps(catalogue: Catalogue, change_id: str) -> None:
    row, change = ROWS[change_id], catalogue.change(change_id)
    assert not hit(change, {**worst_answers(change), **row.keeps_if}) & kinds(row.keeps)


def test_a_new_sensor_leaves_age_linearity_and_response_of_the_others_alone(catalogue: Catalogue) -> None:
    rules = catalogue.rules_on["sensor-replaced"]
    assert {rule.scope for kind in kinds("02-04") for rule in rules[kind]} == {"subject"}


@pytest.mark.parametrize(
    ("change_id", "some"),
    [
        ("sensors-swapped", "27-30"),  # "for both"
        ("sensor-plug-cleaned", "27-32"),  # "of that sensor"
        ("oxygen-changed", "16 20 21"),
        ("diluent-changed", "17 20 21"),
        ("bailout-swapped", "18 20 21"),
        ("absorbent-changed", "23 24"),
        ("canister-opened", "23"),
        ("battery-swapped", "40"),
    ],
)
def test_what_belongs_to_one_thing_falls_with_that_thing_only(catalogue: Catalogue, change_id: str, some: str) -> None:
    rules = catalogue.rules_on[change_id]
    unconditional = {rule.scope for kind in kinds(some) for rule in rules[kind] if not rule.condition}
    assert unconditional - {"whole"} == {"subject"}


def test_a_sensor_in_oxygen_rests_on_a_flush_of_its_own(catalogue: Catalogue) -> None:
    """Flushes and soak are part of each sensor's oxygen reading (28: "oxygen mV, expected mV, gas %, flushes, soak").

    So what voids 28 of one sensor voids the flush, and the expected value read first, for readings that follow; the
    other sensors' readings stay, for they were made on it while it stood.
    """
    one_sensor = {
        change.id
        for change in catalogue.changes.values()
        if change.part == "oxygen-sensor" and any(rule.evidence == "EV28" for rule in change.rules)
    }
    assert one_sensor >= {"sensor-replaced", "sensors-swapped", "sensor-plug-cleaned"}
    of_the_unit = {step.id for step in catalogue.steps_making["EV28"] if step.scope.each == "unit"}
    assert of_the_unit == {"C04", "C05"}
    for change_id in one_sensor:
        assert {rule.scope for rule in catalogue.rules_on[change_id]["EV28"]} == {"subject", "whole"}


def test_gauges_read_together_fall_with_the_gas_of_one(catalogue: Catalogue) -> None:
    """21 is voided by "valve opened and gas used; cylinder swapped": so is the last look that read all the gauges."""
    for change_id in ("oxygen-changed", "diluent-changed", "bailout-swapped", "gas-transferred", "gas-used"):
        assert {rule.scope for rule in catalogue.rules_on[change_id]["EV21"]} == {"subject", "whole"}


def test_moving_voids_no_factor(catalogue: Catalogue) -> None:
    moved = catalogue.change("moved")
    assert not hit(moved, {}, Effect.VOID) & kinds("29 30")


def test_whether_leak_tests_are_repeated_for_an_unopened_loop_is_the_teams_setting_and_the_stricter_the_default(
    catalogue: Catalogue,
) -> None:
    dive = catalogue.change("dive-made")
    assert kinds("36 37") <= hit(dive, worst_answers(dive), Effect.RECHECK)
    assert not kinds("36 37") & hit(dive, {"repeat-leak-tests": "no"})


def test_a_bad_analyser_reaches_back_only_to_what_was_read_with_it(catalogue: Catalogue) -> None:
    backwards = [rule for rule in catalogue.change("analyser-failed").rules if rule.effect is Effect.DISPROVE]
    assert {rule.scope for rule in backwards} == {"instrument"}


def test_what_was_never_true_is_told_of_a_thing_or_an_instrument_never_of_all_that_a_unit_ever_did(
    catalogue: Catalogue,
) -> None:
    scopes = {(rule.effect, rule.scope) for change in catalogue.changes.values() for rule in change.rules}
    assert {scope for effect, scope in scopes if effect is Effect.DISPROVE} == {"subject", "instrument"}
    assert {effect for effect, scope in scopes if scope == "instrument"} == {Effect.DISPROVE}


def test_one_reading_restores_what_a_row_says_it_restores(catalogue: Catalogue) -> None:
    by = {
        (rule.change, rule.evidence): rule.by
        for change_id in ROWS
        for rule in catalogue.change(change_id).rules
        if rule.effect is Effect.RECHECK
    }
    assert by["left-out-of-sight", "EV36"] == "A05"  # look and tug
    assert by["other-diver", "EV53"] == "F12"  # fit
    assert by["flooded", "EV02"] == "W05"  # inspection
    assert by["moved", "EV29"] == by["moved", "EV30"] == "C10"  # air reading
    assert (by["dive-made", "EV36"], by["dive-made", "EV37"]) == ("L02", "L03")
    assert by["setting-changed", "EV46"] == "E08"
    assert by["oxygen-changed", "EV07"] == "W08"
    assert by["disinfected", "EV27"] == "C03"
    assert by["air-travel", "EV03"] == "W04"


def test_three_changes_open_a_hold_an_incident_freezes_and_a_fault_that_came_back_holds_again(
    catalogue: Catalogue,
) -> None:
    holding = {one.id for one in catalogue.changes.values() if one.hold}
    assert holding == {"flooded", "fault-written-down", "incident", "fault-came-back"}
    assert {one.id for one in catalogue.changes.values() if one.freezes} == {"incident"}


def test_what_is_recorded_with_a_change_fits_it(catalogue: Catalogue) -> None:
    does = {one.id: one.does for one in catalogue.changes.values() if one.does}
    assert does == {
        "sensor-replaced": "replaces part",
        "sensors-swapped": "swaps parts",
        "absorbent-changed": "new absorbent",
        "oxygen-changed": "new gas",
        "diluent-changed": "new gas",
        "bailout-swapped": "new gas",
        "battery-swapped": "replaces part",
        "controller-exchanged": "replaces part",
        "other-diver": "new diver",
        "part-added-or-left-off": "reconfigures",
        "dive-made": "ends dive",
        "analyser-failed": "finds instrument bad",
        "pot-gauge-out-of-check": "finds instrument bad",
        "display-exchanged": "replaces part",
    }


def _all_answers(change: Change) -> Iterator[dict[str, str]]:
    names = [question.id for question in change.questions]
    for answers in itertools.product(*(question.answers for question in change.questions)):
        yield dict(zip(names, answers, strict=True))


def test_an_unanswered_question_never_lets_more_stand_than_any_answer(catalogue: Catalogue) -> None:
    for change in catalogue.changes.values():
        void = hit(change, worst_answers(change), Effect.VOID, Effect.DISPROVE)
        everything = hit(change, worst_answers(change))
        for answers in _all_answers(change):
            assert hit(change, answers, Effect.VOID, Effect.DISPROVE) <= void, (change.id, answers)
            assert hit(change, answers) <= everything, (change.id, answers)


def test_every_question_decides_something(catalogue: Catalogue) -> None:
    for change in catalogue.changes.values():
        asked = {question.id for question in change.questions}
        assert asked == {name for rule in change.rules for name, _ in rule.condition}, change.id


def test_every_change_undoes_something_or_says_why_it_does_not(catalogue: Catalogue) -> None:
    without = {one.id for one in catalogue.changes.values() if not one.rules}
    assert without == {"delayed-at-the-water", "incident"}
    assert all(catalogue.change(one).keeps for one in without)
    assert all(one.source for one in catalogue.changes.values())


def test_no_change_hits_one_kind_twice_in_the_same_scope(catalogue: Catalogue) -> None:
    for change in catalogue.changes.values():
        for answers in _all_answers(change):
            pairs = [(rule.evidence, rule.scope) for rule in rules_under(change, answers)]
            assert len(pairs) == len(set(pairs)), (change.id, answers)


# What only the list of evidence names: the change that says so, and the kinds whose row in that list names it.
ONLY_IN_THE_LIST: dict[str, str] = {
    "knocked-or-dropped": "01 36 37 53",
    "unapproved-part-fitted": "01",
    "taken-apart": "01",
    "safety-notice": "01",
    "sensor-identity-in-doubt": "02",
    "sensor-knocked": "03",
    "sensor-heat-or-frost": "03",
    "electrolyte-seen": "03",
    "sensor-output-fallen": "03",
    "pot-gauge-out-of-check": "03",
    "sensor-face-wet": "04 27 28",
    "sensor-membrane-damaged": "04",
    "head-opened": "27 28 29 30",
    "water-in-head": "31 32",
    "vote-alarm": "31 32",
    "calibrated-again": "29 30",
    "known-gas-outside": "29 30",
    "flush-incomplete": "28",
    "pressure-reading-wrong": "28",
    "one-way-valve-touched": "08",
    "bite-piece-changed": "38",
    "opv-turned": "09 36 37",
    "opv-opened": "09 36 37",
    "adv-touched": "36 37",
    "bailout-valve-touched": "36 37 38",
    "counterlung-moved": "36 37",
    "carried-without-soft-mount": "36 37",
    "cylinder-damaged": "05",
    "cylinder-emptied-under-water": "05",
    "cylinder-valve-removed": "05 16-18",
    "cylinder-label-lost": "16-18",
    "label-on-wrong-cylinder": "20",
    "depth-limit-changed": "20",
    "gas-transferred": "16-18",
    "cylinder-left-own-keeping": "16-18",
    "gas-used": "21 51",
    "bailout-pressure-below-plan": "48",
    "bailout-regulator-moved": "20 52",
    "contaminants-in-doubt": "19",
    "oil-found": "06",
    "oxygen-side-unclean": "06",
    "regulator-flooded-or-frozen": "07",
    "regulator-at-other-height": "07",
    "flow-ambient-changed": "10",
    "flow-disturbed": "10",
    "gas-fitting-undone": "22",
    "gas-connector-undone": "22 53",
    "analyser-disturbed": "11",
    "absorbent-store-in-doubt": "12",
    "canister-dropped": "23",
    "canister-wet": "23 24",
    "timer-reset": "24",
    "canister-without-ledger": "24",
    "absorbent-type-changed": "24",
    "device-reset": "13 29 30 43-46",
    "display-exchanged": "13 30 43",
    "power-cycled": "43 54",
    "electrical-connector-undone": "41-43",
    "solenoid-salt-seen": "41",
    "battery-charged-or-left-on": "40",
    "display-mode-changed": "42",
    "time-zone-changed": "45",
    "other-part-changed": "13",
    "co2-sensor-changed": "33",
    "helium-sensor-changed": "34",
    "scrubber-probe-changed": "35",
    "loop-disturbed-under-water": "39",
    "water-or-task-changed": "47",
    "oxygen-breathed": "49",
    "site-or-weather-changed": "50",
    "taken-off-or-laid-down": "51 52",
    "cylinder-clipped-off-and-on": "52",
    "sand-or-salt": "09 53",
    "frost": "53",
    "set-point-or-sensor-touched": "54",
    "found-after-team-check": "55",
    "diver-not-well": "56",
    "diver-long-ill": "14",
    "unit-changed-greatly": "14",
    "suit-or-water-changed": "57",
    "dive-record-overwritten": "58",
    "stored-damp": "59",
    "sick-user": "59",
    "fault-came-back": "60",
    "storage-unknown": "02 61",
    "waiver-reason-gone": "63",
}


@pytest.mark.parametrize("change_id", list(ONLY_IN_THE_LIST))
def test_a_trigger_that_only_the_list_of_evidence_names_is_a_change_too(catalogue: Catalogue, change_id: str) -> None:
    change = catalogue.change(change_id)
    assert change.group == "more"
    assert kinds(ONLY_IN_THE_LIST[change_id]) <= hit(change, worst_answers(change), Effect.VOID, Effect.DISPROVE)


def test_every_kind_of_evidence_can_be_undone_by_some_change(catalogue: Catalogue) -> None:
    undone = {
        rule.evidence
        for change in catalogue.changes.values()
        for rule in change.rules
        if rule.effect in (Effect.VOID, Effect.DISPROVE)
    }
    assert set(catalogue.evidence) - undone == set()


# --- bounds and holds ------------------------------------------------------------------------------------------------


def test_the_bounds_are_20_hpa_10_kelvin_and_50_hpa_for_the_fixed_flow(catalogue: Catalogue) -> None:
    assert {one.id: (Decimal(one.limit), one.unit, one.acts_as) for one in catalogue.bounds.values()} == {
        "ambient": (Decimal(20), "hPa", "moved"),
        "temperature": (Decimal(10), "K", "temperature-changed"),
        "ambient-of-the-flow": (Decimal(50), "hPa", "flow-ambient-changed"),
    }


def test_a_kind_carries_the_context_of_every_bound_that_can_undo_it(catalogue: Catalogue) -> None:
    wanted: dict[str, set[str]] = {}
    for bound in catalogue.bounds.values():
        for rule in catalogue.change(bound.acts_as).rules:
            wanted.setdefault(rule.evidence, set()).add(bound.id.partition("-")[0])
    assert {one.id: set(one.context) for one in catalogue.evidence.values() if one.context} == wanted


def test_each_hold_needs_what_is_printed(catalogue: Catalogue) -> None:
    assert [hold.id for hold in catalogue.holds] == list(HOLDS)
    for hold in catalogue.holds:
        assert len(hold.needs) == len(set(hold.needs)), hold.id
        assert frozenset(hold.needs) == kinds(HOLDS[hold.id]) | kinds(HOLDS_ALSO.get(hold.id, "")), hold.id


# --- with the steps --------------------------------------------------------------------------------------------------


def _rests_on(catalogue: Catalogue, step: Step) -> set[str]:
    """Kinds of evidence that a reading of this step rests on, through all that it uses."""
    found: set[str] = set()
    open_steps, seen = [step], {step.id}
    while open_steps:
        for used in open_steps.pop().uses:
            found.update(catalogue.step(used).makes)
            if used not in seen:
                seen.add(used)
                open_steps.append(catalogue.step(used))
    return found


@pytest.mark.parametrize("kind", sorted(kinds(DECISIONS["oxygen-analysis-wrong"].void_not)))
def test_calibrations_fall_with_the_oxygen_analysis_because_they_rest_on_it(catalogue: Catalogue, kind: str) -> None:
    assert any("EV16" in _rests_on(catalogue, step) for step in catalogue.steps_making[kind])


# Evidence about the unit as a whole, of a kind whose other evidence is about single things: a rule about the thing
# changed does not reach it. In each row the evidence about the thing itself falls and asks for the reading anew.
ABOUT_THE_WHOLE_UNIT: dict[str, str] = {
    "C02": "temperature of the air",
    "C04": "expected values",
    "C05": "oxygen flush of the loop",
    "D23": "calibration oxygen of a unit without an oxygen cylinder",
    "F15": "last look",
    "F20": "last look without sensors",
    "A07": "hoses from outside",
    "A13": "hand valves",
    "E11": "absorbent timer",
    "F10": "scrubber and battery left",
    "F19": "scrubber left",
    "R03": "what is left for the next dive",
    "U02": "PO2 through the change of set point",
}


def _is_about(step: Step) -> set[str]:
    """Kinds of things that a reading of this step is about; on a channel also the device that reads it."""
    return {step.scope.each} | ({"controller", "display"} if step.scope.binds == "channel" else set())


def test_a_rule_about_the_thing_changed_meets_evidence_about_such_things(catalogue: Catalogue) -> None:
    """A rule of scope subject or side can never match evidence that is recorded about something else."""
    beside = {"cylinder": {"cylinder", "regulator"}, "regulator": {"cylinder", "regulator"}}
    missed, never = set(), []
    for change in catalogue.changes.values():
        for rule in change.rules:
            if rule.scope not in ("subject", "side") or not change.part:
                continue
            abouts = beside.get(change.part, {change.part}) if rule.scope == "side" else {change.part}
            makers = catalogue.steps_making[rule.evidence]
            missed |= {step.id for step in makers if not _is_about(step) & abouts}
            if not any(_is_about(step) & abouts for step in makers):
                never.append((change.id, rule.evidence))
    assert never == []
    assert missed <= set(ABOUT_THE_WHOLE_UNIT)


def test_a_change_that_has_no_part_has_no_rule_about_a_part(catalogue: Catalogue) -> None:
    # A fault names the thing it concerns if there is one, whatever kind of thing that is.
    without = [one for one in catalogue.changes.values() if not one.part and one.id != "fault-written-down"]
    assert {rule.scope for change in without for rule in change.rules} == {"unit", "record"}


def test_the_one_reading_that_restores_evidence_can_be_read_on_every_unit_that_has_the_evidence(
    catalogue: Catalogue,
) -> None:
    for configuration in ready_configurations().values():
        applicable = {step.id for step in catalogue.steps.values() if step.when.holds(configuration)}
        for change in catalogue.changes.values():
            for rule in change.rules:
                makers = {step.id for step in catalogue.steps_making[rule.evidence] if not step.on_request}
                # Without sensors the air's temperature (C02) is all there is of EV27, and reading it again restores it.
                asked = (makers & applicable) - {"C02"}
                if rule.effect is Effect.RECHECK and asked:
                    assert rule.by in applicable, (configuration.name, change.id, rule.evidence, rule.by)
