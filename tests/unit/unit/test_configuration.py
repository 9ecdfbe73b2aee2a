"""Configurations: written, read, refused, and the ready ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from loopworthy.unit.axes import Choices, axes
from loopworthy.unit.configuration import (
    Configuration,
    configuration_from_choices,
    contradictions,
    contradictions_in,
    load_configuration,
    ready_configurations,
)
from loopworthy.vocabulary.errors import FileEntryError
from tests.unit.unit.storyteller import changed, plain


def written(replace: str = "", by: str = "") -> bytes:
    text = plain().to_toml()
    assert replace in text
    return text.replace(replace, by).encode()


@pytest.mark.parametrize("name", ready_configurations())
def test_a_ready_configuration_is_the_same_after_writing_and_reading(name: str) -> None:
    configuration = ready_configurations()[name]
    assert load_configuration(configuration.to_toml().encode(), "again.toml") == configuration


@pytest.mark.parametrize("name", ready_configurations())
def test_a_ready_configuration_answers_every_question(name: str) -> None:
    configuration = ready_configurations()[name]
    assert list(configuration.choices) == list(axes())
    assert configuration.is_understood
    assert contradictions_in(configuration) == ()


def test_ready_configurations_cover_every_gas_principle_mounting_and_canister() -> None:
    ready = ready_configurations().values()
    assert len(ready) >= 7
    for axis_id in ("gas_principle", "mounting", "canister", "controllers", "counterlungs", "solenoids"):
        assert {option for one in ready for option in one.chosen(axis_id)} == set(axes()[axis_id].option_ids)


def test_no_two_ready_configurations_are_the_same() -> None:
    ready = ready_configurations().values()
    assert len({one.revision for one in ready}) == len(ready)


def test_the_revision_follows_the_choices_and_not_the_name() -> None:
    renamed = configuration_from_choices("other-name", "Other", plain().choices)
    assert renamed.revision == plain().revision
    assert changed(hud="fitted").revision != plain().revision


def test_answers_are_kept_in_the_order_of_the_questions() -> None:
    backwards = dict(reversed(list(plain().choices.items())))
    backwards["environment"] = ("overhead", "cold")
    configuration = configuration_from_choices("backwards", "Backwards", backwards)
    assert list(configuration.choices) == list(axes())
    assert configuration.chosen("environment") == ("cold", "overhead")


def test_a_configuration_can_be_hashed() -> None:
    assert len({plain(), configuration_from_choices(plain().name, plain().title, plain().choices)}) == 1


def test_a_question_that_may_be_left_out_counts_as_none() -> None:
    configuration = load_configuration(written("environment = []\n"))
    assert configuration.chosen("environment") == ()


def test_numbers_may_be_written_without_quotes() -> None:
    assert load_configuration(written('oxygen_sensors = "3"', "oxygen_sensors = 3")) == plain()


def test_a_configuration_is_read_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(plain().to_toml().encode())
    assert load_configuration(path) == plain()
    assert load_configuration(str(path)) == plain()


def test_a_title_with_quotes_and_backslashes_survives() -> None:
    configuration = configuration_from_choices("odd", 'The "old" one \\ spare', plain().choices)
    assert load_configuration(configuration.to_toml().encode()) == configuration


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(FileEntryError, match=r"missing\.toml: file: path: cannot be read: No such file"):
        load_configuration(tmp_path / "missing.toml")


@pytest.mark.parametrize(
    ("replace", "by", "message"),
    [
        (
            'gas_principle = "electronic"',
            'gas_principle = "electornic"',
            r"gas_principle: 'electornic' is not an option of gas_principle; allowed: electronic, manual-fixed-flow, "
            r".* or pure-oxygen\. Did you mean 'electronic'\?",
        ),
        ("solenoids =", "solenoid =", r"solenoid: 'solenoid' is not an axis; .*Did you mean 'solenoids'\?"),
        ('hud = "none"\n', "", r"hud: is not answered\. Set hud to fitted or none"),
        ('hud = "none"', 'hud = ["fitted", "none"]', r"hud: takes one option, got fitted, none"),
        ('hud = "none"', "hud = []", r"hud: names no option\. Set hud to fitted or none"),
        ('hud = "none"', "hud = false", r"hud: must be the name of an option, got False"),
        ('hud = "none"', "hud = 1.0", r"hud: must be the name of an option, got 1\.0"),
        ("environment = []", 'environment = ["cold", "cold"]', r"environment: names 'cold' twice"),
        ("[choices]", "[choice]", r"choice: 'choice' is not a key of this entry; .*Did you mean 'choices'\?"),
        ("name = ", "nam = ", r"nam: 'nam' is not a key of this entry; allowed: name, title or choices"),
        ("title = ", "# title = ", r"title: is missing"),
        ('name = "electronic-back', 'name = "Electronic back', r"name: must be kebab-case of at most 60 letters"),
        ('title = "Electronic, on', 'title = "Electronic,\\ton', r"title: must be one line of 1 to 120 letters"),
        ("[choices]\n", "choices = 3\n[other]\n", r"other: 'other' is not a key"),
    ],
)
def test_a_faulty_configuration_is_refused_with_file_entry_and_key(replace: str, by: str, message: str) -> None:
    with pytest.raises(FileEntryError, match=r"mine\.toml: .+: " + message):
        load_configuration(written(replace, by), "mine.toml")


def test_choices_that_are_no_table_are_refused() -> None:
    with pytest.raises(FileEntryError, match=r"x: choices: must be a table of axis to options, got 3"):
        load_configuration(b'name = "x"\ntitle = "X"\nchoices = 3')


def test_every_question_left_open_is_named_at_once() -> None:
    with pytest.raises(
        FileEntryError, match=r"gas_principle: is not answered; so are onboard_gas, offboard_gas, .*face"
    ):
        configuration_from_choices("empty", "Empty", {})


CONTRADICTING: dict[str, dict[str, object]] = {
    "solenoid-missing": {"solenoids": "0"},
    "solenoid-without-electronics": {"gas_principle": "manual-button"},
    "controller-missing": {"controllers": "none", "backup_display": "fitted"},
    "sensors-missing": {"oxygen_sensors": "0", "sensor_kind": []},
    "sensor-kind-missing": {"sensor_kind": []},
    "sensor-kind-without-sensors": {
        "gas_principle": "semi-closed-mass-flow",
        "onboard_gas": "supply-only",
        "solenoids": "0",
        "oxygen_sensors": "0",
    },
    "two-kinds-on-one-sensor": {"oxygen_sensors": "1", "sensor_kind": ["galvanic", "optical"]},
    "sensors-nobody-reads": {"gas_principle": "manual-button", "solenoids": "0", "controllers": "none"},
    "backup-display-missing": {"controllers": "one-and-backup"},
    "backup-display-uncounted": {"backup_display": "fitted"},
    "backup-display-without-sensors": {"backup_display": "fitted", "controllers": "one-and-backup"},
    "hud-without-sensors": {"hud": "fitted"},
    "injection-without-sensors": {"self_validating_injection": "fitted"},
    "timer-without-controller": {"scrubber_timer": "fitted", "controllers": "none"},
    "supply-gas-in-closed-circuit": {"onboard_gas": "supply-only"},
    "diluent-in-semi-closed": {"onboard_gas": "both"},
    "diluent-in-pure-oxygen": {"onboard_gas": "both"},
    "missing-gas-not-plugged-in": {"onboard_gas": "oxygen-only"},
    "no-gas-at-all": {"onboard_gas": "none"},
    "helium-in-pure-oxygen": {"environment": ["deep-helium"]},
    "helium-sensor-in-pure-oxygen": {"helium_sensor": "fitted"},
    "suit-from-missing-diluent": {"drysuit_gas": "from-diluent"},
    "bailout-none-and-some": {"bailout": ["none", "own-open-circuit"], "bailout_cylinders": "1"},
    "bailout-none-in-mixed-gas": {"bailout": ["none"], "bailout_cylinders": "0"},
    "bailout-none-with-cylinders": {"bailout_cylinders": "1"},
    "open-circuit-from-nothing": {"bailout_cylinders": "0"},
    "team-of-one": {"use": ["solo"], "bailout": ["own-open-circuit", "team-shared"]},
    "instruction-alone": {"use": ["solo", "instruction"]},
}
WITHOUT_SENSORS = ("backup-display-without-sensors", "hud-without-sensors", "injection-without-sensors")


def base_for(contradiction: str) -> Configuration:
    if contradiction in WITHOUT_SENSORS or contradiction in (
        "timer-without-controller",
        "diluent-in-pure-oxygen",
        "helium-in-pure-oxygen",
        "helium-sensor-in-pure-oxygen",
        "suit-from-missing-diluent",
        "bailout-none-and-some",
        "bailout-none-with-cylinders",
    ):
        return ready_configurations()["pure-oxygen-chest"]
    if contradiction == "diluent-in-semi-closed":
        return ready_configurations()["semi-closed-mass-flow"]
    return plain()


def test_every_contradiction_has_an_example_here() -> None:
    assert set(CONTRADICTING) == {one.id for one in contradictions()}


@pytest.mark.parametrize("contradiction", CONTRADICTING)
def test_answers_that_contradict_each_other_are_refused_with_the_reason(contradiction: str) -> None:
    known = {one.id: one for one in contradictions()}[contradiction]
    choices: dict[str, object] = {**base_for(contradiction).choices, **CONTRADICTING[contradiction]}
    with pytest.raises(FileEntryError) as caught:
        configuration_from_choices("contrary", "Contrary", choices)
    answers = {
        axis: tuple(given) if isinstance(given, list | tuple) else (str(given),) for axis, given in choices.items()
    }
    as_made = Configuration(name="contrary", title="Contrary", choices=Choices(answers))
    found = contradictions_in(as_made)
    assert known in found
    assert caught.value.key == found[0].axis
    assert found[0].reason in caught.value.message
    assert str(caught.value).endswith(found[0].next_step)


def test_a_contradiction_is_told_with_the_values_that_clash() -> None:
    with pytest.raises(
        FileEntryError,
        match=r"configuration: changed: solenoids: an electronic or hybrid unit adds oxygen through a solenoid, and "
        r"there is none \(gas_principle = electronic, solenoids = 0\)\. Set solenoids to 1 or 2",
    ):
        changed(solenoids="0")


@pytest.mark.parametrize(
    "answers",
    [
        {"gas_principle": "semi-closed-mass-flow", "onboard_gas": "supply-only", "solenoids": "0"},
        {"gas_principle": "manual-button", "solenoids": "0", "controllers": "none", "backup_display": "fitted"},
        {"onboard_gas": "oxygen-only", "offboard_gas": "plug-in"},
        {"onboard_gas": "none", "offboard_gas": "plug-in"},
        {"bailout_cylinders": "0", "bailout_valve": "fitted"},
        {"bailout": ["second-loop"], "bailout_cylinders": "0"},
        {"controllers": "two", "backup_display": "fitted"},
        {"sensor_kind": ["galvanic", "optical"]},
        {"use": ["instruction", "fleet"]},
    ],
)
def test_uncommon_units_that_exist_are_accepted(answers: dict[str, object]) -> None:
    assert contradictions_in(changed(**answers)) == ()


def test_a_configuration_from_another_version_is_known_as_not_fully_understood() -> None:
    older = Configuration(name="old", title="Old", choices=Choices({"hud": ("fitted",)}))
    newer = Configuration(name="new", title="New", choices=Choices({**plain().choices, "hud": ("holographic",)}))
    newest = Configuration(name="new", title="New", choices=Choices({**plain().choices, "gills": ("fitted",)}))
    assert not older.is_understood
    assert not newer.is_understood
    assert not newest.is_understood
    assert plain().is_understood


def test_an_option_can_be_asked_for() -> None:
    assert plain().has("gas_principle", "hybrid", "electronic")
    assert not plain().has("hud", "fitted")
    assert not plain().has("gills", "fitted")
