"""Which positions a unit has, by its configuration."""

from __future__ import annotations

import pytest

from loopworthy.unit.axes import Choices
from loopworthy.unit.configuration import Configuration, configuration_from_choices, ready_configurations
from loopworthy.unit.positions import PART_KINDS, all_positions, part_kind, position, positions
from loopworthy.vocabulary.errors import UnknownNameError
from tests.unit.unit.storyteller import changed, plain


def ids(configuration: Configuration) -> list[str]:
    return [one.id for one in positions(configuration)]


def test_a_plain_electronic_unit_has_these_positions() -> None:
    assert ids(plain()) == [
        "diver", "head", "mouthpiece", "one-way-valves", "loop-hoses", "counterlungs", "opv", "drain", "adv",
        "canister-1", "oxygen-sensor-1", "oxygen-sensor-2", "oxygen-sensor-3", "controller-1", "battery-1",
        "solenoid-1", "cylinder-oxygen", "regulator-oxygen", "manual-valve-oxygen", "cylinder-diluent",
        "regulator-diluent", "manual-valve-diluent", "cylinder-bailout-1", "regulator-bailout-1", "buoyancy",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "there"),
    [
        ({"oxygen_sensors": "5"}, {"oxygen-sensor-4", "oxygen-sensor-5"}),
        ({"controllers": "two"}, {"controller-2", "battery-2"}),
        (
            {"controllers": "one-and-backup", "backup_display": "fitted"},
            {"backup-display-1", "battery-backup-display"},
        ),
        ({"solenoids": "2"}, {"solenoid-2"}),
        ({"canister": "two-in-series"}, {"canister-2"}),
        ({"gas_principle": "hybrid"}, {"fixed-flow-orifice"}),
        ({"offboard_gas": "plug-in"}, {"off-board-connector"}),
        ({"bailout_valve": "fitted"}, {"bailout-valve"}),
        ({"face": "full-face-mask"}, {"full-face-mask"}),
        ({"co2_sensor": "fitted"}, {"co2-sensor"}),
        ({"helium_sensor": "fitted"}, {"helium-sensor"}),
        ({"water_sensor": "fitted"}, {"water-sensor"}),
        ({"scrubber_probe": "fitted"}, {"scrubber-probe"}),
        ({"self_validating_injection": "fitted"}, {"validation-injector"}),
        ({"hud": "fitted"}, {"hud"}),
        ({"heating": "fitted"}, {"heating", "battery-heating"}),
        ({"drysuit_gas": "own-bottle"}, {"cylinder-suit", "regulator-suit", "suit-inflator"}),
        ({"drysuit_gas": "from-diluent"}, {"suit-inflator"}),
        ({"bailout": ["second-loop"]}, {"second-loop"}),
        (
            {"bailout_cylinders": "3"},
            {"cylinder-bailout-2", "regulator-bailout-2", "cylinder-bailout-3", "regulator-bailout-3"},
        ),
        ({"pressure_transmitters": "fitted"}, {"pressure-transmitter-oxygen", "pressure-transmitter-diluent"}),
        ({"mounting": "chest"}, set()),
    ],
)
def test_an_option_brings_its_positions_and_takes_none_away(answers: dict[str, object], there: set[str]) -> None:
    assert set(ids(changed(**answers))) - set(ids(plain())) == there
    assert set(ids(plain())) <= set(ids(changed(**answers)))


def test_a_unit_without_automatic_diluent_valve_has_no_position_for_it() -> None:
    assert "adv" not in ids(changed(adv="absent"))


def test_a_pure_oxygen_unit_has_no_place_for_diluent() -> None:
    configuration = configuration_from_choices(
        "oxygen", "Oxygen", {**ready_configurations()["pure-oxygen-chest"].choices, "pressure_transmitters": "fitted"}
    )
    gases = [one for one in ids(configuration) if one.startswith(("cylinder", "regulator", "pressure"))]
    assert gases == ["cylinder-oxygen", "regulator-oxygen", "pressure-transmitter-oxygen"]


def test_a_semi_closed_unit_has_a_supply_gas_in_place_of_oxygen_and_diluent() -> None:
    there = ids(ready_configurations()["semi-closed-volume-ratio"])
    assert {"cylinder-supply", "regulator-supply", "manual-valve-supply", "ratio-bellows"} <= set(there)
    assert not {"cylinder-oxygen", "cylinder-diluent", "oxygen-sensor-1", "controller-1"} & set(there)


def test_a_position_knows_what_its_thing_holds() -> None:
    held = {one.id: one.content_kind for one in positions(plain()) if one.content_kind}
    assert held == {
        "canister-1": "absorbent-fill",
        "cylinder-oxygen": "gas-fill",
        "cylinder-diluent": "gas-fill",
        "cylinder-bailout-1": "gas-fill",
    }


def test_positions_that_differ_by_number_are_of_one_family() -> None:
    families = {one.family for one in all_positions().values() if one.kind == "oxygen-sensor"}
    assert families == {"oxygen-sensor"}
    assert all_positions()["battery-heating"].family == "battery-heating"
    assert all_positions()["cylinder-bailout-3"].family == "cylinder-bailout"


def test_a_number_stands_in_a_title_only_where_there_can_be_two() -> None:
    assert all_positions()["oxygen-sensor-2"].title == "oxygen sensor 2"
    assert all_positions()["battery-2"].title == "battery of controller 2"
    assert all_positions()["backup-display-1"].title == "backup display"


def test_what_a_person_must_identify_is_not_made_with_the_unit() -> None:
    by_hand = {kind.id for kind in PART_KINDS.values() if not kind.built_in and kind.has_position}
    assert by_hand == {"unit", "person", "oxygen-sensor", "cylinder"}


def test_every_position_can_come_to_be() -> None:
    met = {one for configuration in ready_configurations().values() for one in ids(configuration)}
    rare = {"full-face-mask", "second-loop", "oxygen-sensor-5", "pressure-transmitter-supply"}
    assert set(all_positions()) - met <= rare


def test_an_unknown_position_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(
        UnknownNameError, match=r"no position on a unit configured as 'Electronic, .*' 'oxygen-sensor-4'. Did you mean"
    ):
        position(plain(), "oxygen-sensor-4")
    assert position(plain(), "opv").title == "over-pressure valve"


def test_an_unknown_kind_of_thing_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(UnknownNameError, match=r"no kind of thing 'cilinder'. Did you mean 'cylinder'\?"):
        part_kind("cilinder")
    assert part_kind("canister").content_kind == "absorbent-fill"


def test_options_that_are_not_known_here_bring_nothing() -> None:
    newer = Configuration(name="new", title="New", choices=Choices({**plain().choices, "gills": ("fitted",)}))
    assert positions(newer) == positions(plain())
