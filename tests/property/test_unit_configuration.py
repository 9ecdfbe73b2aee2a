"""Whatever is answered about a unit, a configuration is either whole or refused in clear words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.unit.axes import Choices, axes
from loopworthy.unit.condition import Condition, When
from loopworthy.unit.configuration import (
    Configuration,
    configuration_from_choices,
    contradictions_in,
    load_configuration,
    ready_configurations,
)
from loopworthy.unit.positions import positions
from loopworthy.vocabulary.errors import FileEntryError

AXES = axes()


def options_of(axis: str) -> st.SearchStrategy[tuple[str, ...]]:
    known = AXES[axis]
    if known.several:
        return st.lists(st.sampled_from(known.option_ids), unique=True, min_size=int(known.required)).map(tuple)
    return st.sampled_from(known.option_ids).map(lambda one: (one,))


answers = st.fixed_dictionaries({axis: options_of(axis) for axis in AXES})
some_answers = st.lists(st.sampled_from(list(AXES)), max_size=3, unique=True).flatmap(
    lambda chosen: st.fixed_dictionaries({axis: options_of(axis) for axis in chosen})
)
conditions = st.lists(st.sampled_from(list(AXES)), min_size=1, max_size=3, unique=True).flatmap(
    lambda chosen: st.fixed_dictionaries(
        {axis: st.lists(st.sampled_from(AXES[axis].option_ids), min_size=1, unique=True).map(tuple) for axis in chosen}
    ).map(lambda accepted: Condition(choices=Choices(accepted)))
)


def unchecked(choices: dict[str, tuple[str, ...]]) -> Configuration:
    return Configuration(name="any", title="Any", choices=Choices(choices))


@given(st.sampled_from(sorted(ready_configurations())), some_answers)
def test_a_changed_configuration_is_refused_or_survives_writing(name: str, changed: dict[str, tuple[str, ...]]) -> None:
    choices = {**ready_configurations()[name].choices, **changed}
    found = contradictions_in(unchecked(choices))
    if found:
        with pytest.raises(FileEntryError) as caught:
            configuration_from_choices("any", "Any", choices)
        assert caught.value.key == found[0].axis
        assert str(caught.value).endswith(found[0].next_step)
    else:
        configuration = configuration_from_choices("any", "Any", choices)
        assert load_configuration(configuration.to_toml().encode()) == configuration
        assert configuration.is_understood


@given(answers)
def test_positions_are_unique_and_need_nothing_that_is_not_there(choices: dict[str, tuple[str, ...]]) -> None:
    there = [one.id for one in positions(unchecked(choices))]
    assert len(set(there)) == len(there)
    assert {"diver", "mouthpiece", "opv", "canister-1"} <= set(there)
    numbered = [one for one in there if one[-2:-1] == "-" and one[-1].isdigit() and one[-1] > "1"]
    for one in numbered:
        assert f"{one[:-1]}{int(one[-1]) - 1}" in there


@given(answers, conditions, conditions)
def test_a_wider_condition_holds_wherever_a_narrower_one_does(
    choices: dict[str, tuple[str, ...]], one: Condition, other: Condition
) -> None:
    configuration = unchecked(choices)
    if one.holds(configuration):
        assert When(any_of=(one, other)).holds(configuration)
        assert not When(none_of=(one,)).holds(configuration)
    assert When(any_of=(one,), none_of=(other,)).holds(configuration) == (
        one.holds(configuration) and not other.holds(configuration)
    )


@given(answers, conditions, st.data())
def test_a_question_left_open_never_takes_a_step_off_the_list(
    choices: dict[str, tuple[str, ...]], condition: Condition, data: st.DataObject
) -> None:
    left_open = data.draw(st.sampled_from(sorted(choices)))
    silent = unchecked({axis: chosen for axis, chosen in choices.items() if axis != left_open})
    for when in (When(any_of=(condition,)), When(none_of=(condition,))):
        if when.holds(unchecked(choices)):
            assert when.holds(silent)
