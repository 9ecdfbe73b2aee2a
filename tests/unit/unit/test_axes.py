"""The questions about a unit: all there, well-formed, and refused in clear words where they are not."""

from __future__ import annotations

import pytest

from loopworthy.unit.axes import Choices, axes, axis, read_axes
from loopworthy.unit.positions import all_positions
from loopworthy.vocabulary.errors import FileEntryError, UnknownNameError

EXPECTED = {
    "gas_principle": (
        "electronic", "manual-fixed-flow", "manual-button", "hybrid",
        "semi-closed-mass-flow", "semi-closed-volume-ratio", "pure-oxygen",
    ),
    "controllers": ("none", "one", "two", "one-and-backup"),
    "oxygen_sensors": ("0", "1", "2", "3", "4", "5"),
    "sensor_kind": ("galvanic", "optical"),
    "pressure_pot": ("at-hand", "none"),
    "solenoids": ("0", "1", "2"),
    "canister": ("axial-granular", "radial-granular", "solid", "two-in-series"),
    "mounting": ("back", "side", "chest"),
    "counterlungs": ("over-shoulder", "back", "front"),
    "adv": ("fitted", "with-shut-off", "absent"),
    "onboard_gas": ("both", "oxygen-only", "diluent-only", "supply-only", "none"),
    "offboard_gas": ("plug-in", "none"),
    "bailout": ("own-open-circuit", "team-shared", "second-loop", "none"),
    "bailout_cylinders": ("0", "1", "2", "3", "4"),
    "face": ("mouthpiece", "full-face-mask"),
    "drysuit_gas": ("none", "own-bottle", "from-diluent"),
    "carried": ("propulsion", "camera"),
    "environment": ("cold", "altitude", "overhead", "deep-helium"),
    "use": ("instruction", "fleet", "solo"),
}  # fmt: skip
FITTED_OR_NOT = (
    "backup_display", "self_validating_injection", "co2_sensor", "scrubber_probe", "scrubber_timer", "helium_sensor",
    "water_sensor", "hud", "pressure_transmitters", "bailout_valve", "mouthpiece_strap", "heating",
)  # fmt: skip


def test_every_axis_has_the_options_that_files_and_records_may_name() -> None:
    # Names stand in records; taking one away or renaming it would make old records unreadable.
    known = {one.id: one.option_ids for one in axes().values()}
    assert known == EXPECTED | dict.fromkeys(FITTED_OR_NOT, ("fitted", "none"))


def test_a_question_with_one_answer_must_be_answered() -> None:
    assert [one.id for one in axes().values() if not one.several and not one.required] == []


def test_only_these_questions_take_several_answers() -> None:
    several = {one.id: one.required for one in axes().values() if one.several}
    assert several == {"sensor_kind": False, "bailout": True, "carried": False, "environment": False, "use": False}


def test_every_part_that_an_option_names_is_a_position() -> None:
    named = {part for one in axes().values() for option in one.options for part in option.parts}
    assert named - set(all_positions()) == set()


def test_titles_can_stand_in_a_list_of_words() -> None:
    # Conditions are described as "a, b or c"; a comma inside a title would make that ambiguous.
    assert [option.title for one in axes().values() for option in one.options if "," in option.title] == []


def test_an_unknown_axis_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(UnknownNameError, match=r"There is no axis 'solenoid'. Did you mean 'solenoids'\?"):
        axis("solenoid")


def test_an_unknown_option_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(UnknownNameError, match=r"no option of mounting 'sides'. Did you mean 'side'\? Allowed: back, "):
        axis("mounting").option("sides")


def test_choices_with_the_same_answers_are_equal_and_hash_alike() -> None:
    one = Choices({"hud": ("fitted",), "use": ()})
    other = Choices({"use": (), "hud": ("fitted",)})
    assert one == other
    assert hash(one) == hash(other)
    assert one != Choices({"hud": ("none",), "use": ()})


def test_choices_cannot_be_changed_through_the_mapping_they_were_made_from() -> None:
    source = {"hud": ("fitted",)}
    choices = Choices(source)
    source["hud"] = ("none",)
    assert choices["hud"] == ("fitted",)


OPTIONS = """
[[axis.option]]
id = "a"
title = "A"
effect = "E"
[[axis.option]]
id = "b"
title = "B"
effect = "E"
"""


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("axis = 3", r"f\.toml: file: axis: must be a list of tables"),
        ("[[axis]]\nid = 'Hud'", r"f\.toml: Hud: id: must be snake_case"),
        ("[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'", r"f\.toml: hud: option: is missing"),
        ("[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = ''" + OPTIONS, r"f\.toml: hud: why: must not be empty"),
        ("[[axis]]\nid = 'hud'\ntitle = 3\nwhy = 'W'" + OPTIONS, r"f\.toml: hud: title: must be text, got 3"),
        (
            "[[axis]]\nid = 'hud'\ntitel = 'H'\nwhy = 'W'" + OPTIONS,
            r"f\.toml: hud: titel: 'titel' is not a key of this entry; .*Did you mean 'title'\?",
        ),
        (
            "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'\nseveral = 'yes'" + OPTIONS,
            r"f\.toml: hud: several: must be true or false, got 'yes'",
        ),
        (
            "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'" + OPTIONS.replace('"b"', '"a"'),
            r"f\.toml: hud: option: an option is named twice: a, a",
        ),
        (
            "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'" + OPTIONS.replace('"b"', '"B b"'),
            r"f\.toml: hud, option B b: id: must be kebab-case",
        ),
        (
            "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'" + OPTIONS + "parts = ['x', 'x']",
            r"f\.toml: hud, option b: parts: names something twice: x, x",
        ),
        (
            "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'" + OPTIONS + "parts = 'x'",
            r"f\.toml: hud, option b: parts: must be a list of texts, got 'x'",
        ),
        (("[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'" + OPTIONS) * 2, r"f\.toml: hud: id: is used by an earlier"),
        ("[[axis]\n", r"f\.toml: file: toml: not TOML: .*line 1"),
    ],
)
def test_a_faulty_file_of_axes_is_refused_with_file_entry_and_key(text: str, message: str) -> None:
    with pytest.raises(FileEntryError, match=message):
        read_axes(text.encode(), "f.toml")


def test_a_question_with_one_answer_only_is_refused() -> None:
    one = "[[axis]]\nid = 'hud'\ntitle = 'H'\nwhy = 'W'\noption = [{id = 'a', title = 'A', effect = 'E'}]"
    with pytest.raises(FileEntryError, match="a question needs two answers or more"):
        read_axes(one.encode(), "f.toml")


def test_a_file_that_is_not_utf_8_is_refused() -> None:
    with pytest.raises(FileEntryError, match=r"f\.toml: file: text: byte 2 is not UTF-8"):
        read_axes(b"# \xff", "f.toml")
