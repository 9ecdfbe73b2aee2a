"""When something applies to a configuration."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from loopworthy.unit.axes import Choices
from loopworthy.unit.condition import ALWAYS, When, parse_condition, parse_when
from loopworthy.vocabulary.errors import FileEntryError
from tests.unit.unit.storyteller import changed, plain


@dataclass(frozen=True)
class Answers:
    """Choices alone, for configurations that answer only some questions."""

    choices: Choices


def parsed(**table: object) -> When:
    return parse_when(table, file="steps.toml", entry="fire-solenoid")


def test_nothing_said_means_always() -> None:
    assert parsed() == ALWAYS
    assert ALWAYS.holds(plain())
    assert ALWAYS.describe() == "always"


def test_all_axes_must_match_each_by_any_option() -> None:
    when = parsed(when={"gas_principle": ["electronic", "hybrid"], "oxygen_sensors": ["3", "4", "5"]})
    assert when.holds(plain())
    assert not when.holds(changed(oxygen_sensors="2"))
    assert not when.holds(changed(gas_principle="manual-button", solenoids="0"))


def test_a_list_of_tables_matches_where_any_of_them_does() -> None:
    when = parsed(when=[{"hud": "fitted"}, {"co2_sensor": "fitted"}])
    assert not when.holds(plain())
    assert when.holds(changed(hud="fitted"))
    assert when.holds(changed(co2_sensor="fitted"))


def test_unless_takes_exceptions() -> None:
    when = parsed(when={"gas_principle": "electronic"}, unless=[{"use": ["solo"]}, {"mounting": "chest"}])
    assert when.holds(plain())
    assert not when.holds(changed(use=["solo"]))
    assert not when.holds(changed(mounting="chest"))


def test_unless_alone_means_everywhere_else() -> None:
    when = parsed(unless={"bailout": "none"})
    assert when.holds(plain())


def test_one_of_several_answers_is_enough() -> None:
    when = parsed(when={"environment": ["cold"]})
    assert when.holds(changed(environment=["altitude", "cold"]))
    assert not when.holds(changed(environment=["altitude"]))
    assert not when.holds(plain())


def test_a_question_left_open_counts_as_its_worst_answer() -> None:
    # A record may hold a configuration from before the question was asked: the step is then asked for.
    silent = Answers(Choices({"gas_principle": ("electronic",)}))
    assert parsed(when={"hud": "fitted"}).holds(silent)
    assert parsed(unless={"hud": "fitted"}).holds(silent)
    assert not parsed(when={"hud": "fitted", "gas_principle": "hybrid"}).holds(silent)


def test_a_question_answered_with_nothing_is_answered() -> None:
    assert not parsed(when={"use": "solo"}).holds(Answers(Choices({"use": ()})))


def test_whole_numbers_are_taken_for_numbered_options() -> None:
    assert parsed(when={"oxygen_sensors": [3, 4]}) == parsed(when={"oxygen_sensors": ["3", "4"]})


def test_conditions_can_be_told_in_words() -> None:
    when = parsed(
        when=[{"gas_principle": ["electronic", "hybrid"], "solenoids": ["1", "2"]}, {"hud": "fitted"}],
        unless={"use": "solo"},
    )
    assert when.describe() == (
        "gas principle: electronic closed circuit or hybrid (fixed oxygen flow and solenoid); and solenoids: one or two"
        ", or head-up display: fitted, unless use: solo"
    )


def test_equal_conditions_hash_alike() -> None:
    assert len({parsed(when={"hud": "fitted"}), parsed(when={"hud": ["fitted"]})}) == 1


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (
            {"when": {"gas_principal": "electronic"}},
            r"steps\.toml: fire-solenoid: when\.gas_principal: 'gas_principal' is not an axis; allowed: .*"
            r"Did you mean 'gas_principle'\?",
        ),
        (
            {"unless": {"gas_principle": ["electronic", "hybird"]}},
            r"steps\.toml: fire-solenoid: unless\.gas_principle: 'hybird' is not an option of gas_principle; "
            r"allowed: electronic, .* or pure-oxygen\. Did you mean 'hybrid'\?",
        ),
        ({"when": "electronic"}, r"when: must be a table of axis to options, got 'electronic'"),
        ({"when": []}, r"when: is an empty list\. Leave when out where it always applies"),
        ({"when": {}}, r"when: names no axis\. Leave when out"),
        ({"when": {"hud": []}}, r"when\.hud: names no option"),
        ({"when": {"hud": True}}, r"when\.hud: must be the name of an option, got True"),
        ({"when": {"hud": 1.5}}, r"when\.hud: must be the name of an option, got 1\.5"),
        ({"when": {"hud": ["fitted", "fitted"]}}, r"when\.hud: names 'fitted' twice"),
        ({"when": [{"hud": "fitted"}, 3]}, r"when: must be a table of axis to options, got 3"),
    ],
)
def test_a_faulty_condition_is_refused_with_file_entry_and_key(table: dict[str, object], message: str) -> None:
    with pytest.raises(FileEntryError, match=message):
        parse_when(table, file="steps.toml", entry="fire-solenoid")


def test_other_keys_of_the_entry_are_left_alone() -> None:
    assert parsed(title="Fire the solenoid", when={"hud": "fitted"}) == parsed(when={"hud": "fitted"})


def test_one_condition_holds_by_its_own() -> None:
    condition = parse_condition({"solenoids": 1}, file="f.toml", entry="e")
    assert condition.holds(plain())
    assert condition.describe() == "solenoids: one"
