"""Payloads of events about units: what they take, and in which words they refuse."""

from __future__ import annotations

import msgspec
import pytest

from loopworthy.unit.events import (
    EVENT_TYPES,
    ChangeMade,
    ConfigurationSet,
    ContentPlaced,
    ContentRemoved,
    CustodyGiven,
    EpisodeBegan,
    EpisodeEnded,
    PartFitted,
    PartRemoved,
    ThingCreated,
    ThingDescribed,
    ThingsSame,
)
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.reading import Reading
from tests.unit.unit.storyteller import DIGEST, plain

EXAMPLES: tuple[msgspec.Struct, ...] = (
    ThingCreated(
        kind="cylinder",
        serial="C-7",
        made_on="2024-02-29",
        maker_note="Steel\n232 bar",
        attributes={"volume": Reading(value="3.0", unit="L"), "thread": "M25x2"},
    ),
    ThingDescribed(serial="C-8", attributes={"thread": ""}, retired=True, note="Dropped"),
    ThingsSame(note="The label was misread"),
    ConfigurationSet(name=plain().name, title=plain().title, choices=dict(plain().choices)),
    PartFitted(position="oxygen-sensor-1"),
    PartRemoved(position="oxygen-sensor-1"),
    ContentPlaced(),
    ContentRemoved(note="Emptied for the flight"),
    ChangeMade(
        change="sensor-replaced",
        positions=("oxygen-sensor-1",),
        answers={"head-opened": "yes", "by_whom": "me"},
        readings={"ambient": Reading(value="1013", unit="hPa")},
        note="Slot 1",
    ),
    EpisodeBegan(episode="dive", title="Wall", details={"planned_depth": Reading(value="40", unit="m")}),
    EpisodeEnded(episode="dive", details={"greatest_depth": Reading(value="38.4", unit="m"), "how": "as planned"}),
    CustodyGiven(note="For the weekend"),
)


def test_every_kind_has_an_example_here() -> None:
    assert {type(one) for one in EXAMPLES} == {payload for _, _, payload in EVENT_TYPES}


def test_kinds_are_named_once_and_in_this_room() -> None:
    kinds = [kind for kind, _, _ in EVENT_TYPES]
    assert len(set(kinds)) == len(kinds)
    assert [kind for kind in kinds if not kind.startswith("unit.")] == []


@pytest.mark.parametrize("payload", EXAMPLES, ids=lambda one: type(one).__name__)
def test_a_payload_is_the_same_after_writing_and_reading(payload: msgspec.Struct) -> None:
    assert msgspec.json.decode(msgspec.json.encode(payload), type=type(payload)) == payload


def test_a_reading_among_texts_stays_a_reading() -> None:
    payload = EpisodeEnded(episode="dive", details={"a": Reading(value="1", unit="m"), "b": "one"})
    again = msgspec.json.decode(msgspec.json.encode(payload), type=EpisodeEnded)
    assert again.details["a"] == Reading(value="1", unit="m")
    assert again.details["b"] == "one"


def test_a_person_has_a_digest_in_place_of_a_name() -> None:
    assert ThingCreated(kind="person", name_digest=DIGEST).name == ""
    with pytest.raises(InputError, match="name_digest must be the 64 hexadecimal digits"):
        ThingCreated(kind="person")
    with pytest.raises(InputError, match="name must be empty for a person, whose name is kept beside the record"):
        ThingCreated(kind="person", name="Somebody", name_digest=DIGEST)


def test_only_a_person_has_a_digest() -> None:
    with pytest.raises(InputError, match="name_digest must be empty for a thing of kind unit"):
        ThingCreated(kind="unit", name_digest=DIGEST)


@pytest.mark.parametrize("text", ["2026-02-29", "2026-13-01", "20260301", "1.3.2026", "2026-03", "2026-W10-1"])
def test_a_date_that_is_none_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=f"made_on must be a date such as 2026-03-01, or empty, got made_on='{text}'"):
        ThingCreated(kind="oxygen-sensor", made_on=text)
    with pytest.raises(InputError, match="opened_on must be a date"):
        ThingDescribed(opened_on=text)


def test_dates_may_be_unknown() -> None:
    assert ThingCreated(kind="oxygen-sensor").made_on == ""


@pytest.mark.parametrize("kind", ["", "Oxygen sensor", "oxygen_sensor", "x" * 201])
def test_a_kind_that_is_no_name_is_refused(kind: str) -> None:
    with pytest.raises(InputError, match="kind must be kebab-case"):
        ThingCreated(kind=kind)


@pytest.mark.parametrize("serial", [" S-1", "S-1\n", "S\t1", "x" * 201, "S\x00"])
def test_a_serial_number_of_more_than_a_line_is_refused(serial: str) -> None:
    with pytest.raises(InputError, match="serial must be one line of at most 200 letters"):
        ThingCreated(kind="cylinder", serial=serial)
    with pytest.raises(InputError, match="serial must be one line"):
        ThingDescribed(serial=serial)


def test_a_note_may_have_several_lines_but_no_control_letters() -> None:
    assert ThingsSame(note="one\n\ttwo").note == "one\n\ttwo"
    with pytest.raises(InputError, match="note must be text of at most 4000 letters"):
        ThingsSame(note="bell\x07")
    with pytest.raises(InputError, match="note must be text of at most 4000 letters"):
        CustodyGiven(note="x" * 4001)


def test_a_description_that_changes_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="thing-described must be a change of at least one field"):
        ThingDescribed(note="just so")


def test_a_description_can_empty_a_field() -> None:
    assert ThingDescribed(serial="").changed_fields() == {"serial": ""}


def test_attributes_are_named_by_small_letters() -> None:
    with pytest.raises(InputError, match="attributes must be named by small letters"):
        ThingCreated(kind="cylinder", attributes={"Volume": "3"})
    with pytest.raises(InputError, match=r"attributes\.volume must be text"):
        ThingCreated(kind="cylinder", attributes={"volume": "3\x00"})


@pytest.mark.parametrize(
    ("choices", "message"),
    [
        ({}, "choices must be an answer to every axis"),
        ({"Hud": ("none",)}, "choices must be named by snake_case axes, got choices='Hud'"),
        ({"hud": ("No ne",)}, "hud must be kebab-case"),
    ],
)
def test_a_configuration_of_another_form_is_refused(choices: dict[str, tuple[str, ...]], message: str) -> None:
    with pytest.raises(InputError, match=message):
        ConfigurationSet(name="mine", title="Mine", choices=choices)


def test_a_configuration_needs_a_name_and_a_title() -> None:
    with pytest.raises(InputError, match="title must be given"):
        ConfigurationSet(name="mine", title="", choices={"hud": ("none",)})
    with pytest.raises(InputError, match="name must be kebab-case"):
        ConfigurationSet(name="", title="Mine", choices={"hud": ("none",)})


@pytest.mark.parametrize("payload", [PartFitted, PartRemoved])
def test_a_position_that_is_no_name_is_refused(payload: type[PartFitted] | type[PartRemoved]) -> None:
    with pytest.raises(InputError, match="position must be kebab-case, such as oxygen-sensor-1"):
        payload(position=":content")


def test_a_change_names_each_position_once() -> None:
    with pytest.raises(InputError, match="positions must be each named once"):
        ChangeMade(change="sensors-swapped", positions=("oxygen-sensor-1", "oxygen-sensor-1"))
    with pytest.raises(InputError, match="positions must be kebab-case"):
        ChangeMade(change="sensors-swapped", positions=("Slot 1",))


def test_a_change_of_an_owner_may_be_named_with_its_owner() -> None:
    assert ChangeMade(change="club:hose-swapped").change == "club:hose-swapped"
    with pytest.raises(InputError, match="change must be the name of a kind of change"):
        ChangeMade(change="Hose swapped")


@pytest.mark.parametrize("payload", [EpisodeBegan, EpisodeEnded])
def test_an_unknown_episode_is_refused(payload: type[EpisodeBegan] | type[EpisodeEnded]) -> None:
    unknown: dict[str, str] = {"episode": "night"}
    with pytest.raises(InputError, match="episode must be one of dive-day, preparation, assembly, dive"):
        payload(**unknown)  # type: ignore[arg-type]
