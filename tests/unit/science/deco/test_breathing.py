"""What is breathed: the loop's three rules, kinks of a travel, and which gas of several. Worked by hand from rule 4."""

from __future__ import annotations

import pytest

from loopworthy.science.deco.breathing import CylinderGas, Loop, OpenCircuit, SetPoint, cylinder_gases, usable_to_m
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.science.physics.gas import GasMixture
from loopworthy.vocabulary.errors import DomainError, InputError

SETTINGS = DecoSettings(gf_low=0.3, gf_high=0.8, surface_bar=1.0, water_vapour_bar=0.0)
TRIMIX = GasMixture(oxygen_fraction=0.20, helium_fraction=0.40)


def test_between_its_kinks_a_loop_holds_its_set_point_and_shares_the_rest_as_in_the_diluent() -> None:
    # 5 bar, set point 1: 4 bar inert, of which half is helium.
    assert Loop.at(1.0, TRIMIX).held(40.0, SETTINGS) == pytest.approx((2.0, 2.0))


def test_where_the_pressure_is_below_the_set_point_a_loop_is_oxygen_alone() -> None:
    assert Loop.at(1.4, TRIMIX).held(4.0, SETTINGS) == (0.0, 0.0)


def test_where_the_diluent_alone_exceeds_the_set_point_it_is_breathed_as_it_is() -> None:
    # 8 bar: 1.6 of oxygen from the diluent.
    assert Loop.at(1.0, TRIMIX).held(70.0, SETTINGS) == pytest.approx((3.2, 3.2))


def test_a_travel_is_cut_where_a_rule_of_the_loop_ends() -> None:
    # Oxygen alone above 2 m (1.2 bar); the diluent alone below 50 m (6 bar).
    pieces = Loop.at(1.2, TRIMIX).pieces(60.0, 0.0, SETTINGS)
    assert [(piece.from_m, piece.to_m) for piece in pieces] == [
        (60.0, pytest.approx(50.0)),
        (pytest.approx(50.0), pytest.approx(2.0)),
        (pytest.approx(2.0), 0.0),
    ]
    assert pieces[0].at_end == pytest.approx(pieces[1].at_start)
    assert pieces[2].at_end == (0.0, 0.0)


def test_a_travel_without_a_kink_is_one_piece() -> None:
    for loop, from_m, to_m in ((1.2, 40.0, 20.0), (1.2, 70.0, 55.0), (1.6, 5.0, 1.0)):
        (piece,) = Loop.at(loop, TRIMIX).pieces(from_m, to_m, SETTINGS)
        source = Loop.at(loop, TRIMIX)
        assert piece.at_start == pytest.approx(source.held(from_m, SETTINGS))
        assert piece.at_end == pytest.approx(source.held(to_m, SETTINGS))


def test_set_points_by_depth_hold_from_their_depth_down() -> None:
    loop = Loop(diluent=TRIMIX, set_points=(SetPoint(set_point_bar=0.7), SetPoint(set_point_bar=1.3, from_m=20.0)))
    assert loop.set_point_at_bar(19.9) == 0.7
    assert loop.set_point_at_bar(20.0) == 1.3
    down = loop.pieces(10.0, 30.0, SETTINGS)
    assert 20.0 in [piece.to_m for piece in down]
    (above,) = (piece for piece in down if piece.to_m == 20.0)
    (below,) = (piece for piece in down if piece.from_m == 20.0)
    assert sum(above.at_end) == pytest.approx(2.3)  # 3.0 - 0.7
    assert sum(below.at_start) == pytest.approx(1.7)  # 3.0 - 1.3


@pytest.mark.parametrize(
    ("set_points", "words"),
    [
        ((), "set_points must be one or more"),
        ((SetPoint(set_point_bar=1.0, from_m=3.0),), r"set_points\[0\].from_m must be 0"),
        ((SetPoint(set_point_bar=1.0), SetPoint(set_point_bar=1.2)), r"set_points\[1\].from_m must be deeper than 0"),
    ],
)
def test_set_points_out_of_order_are_refused(set_points: tuple[SetPoint, ...], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Loop(diluent=TRIMIX, set_points=set_points)


def test_open_circuit_takes_the_most_oxygen_that_is_usable_and_travels_on_the_deeper_ends_gas() -> None:
    gases = OpenCircuit(
        gases=(
            CylinderGas(mixture=TRIMIX, usable_to_m=70.0),
            CylinderGas(mixture=GasMixture(oxygen_fraction=0.5), usable_to_m=21.0),
        )
    )
    assert [gases.gas_at(depth_m) for depth_m in (70.0, 24.0, 21.0, 3.0)] == [0, 0, 1, 1]
    (piece,) = gases.pieces(24.0, 21.0, SETTINGS)
    assert piece.at_end == pytest.approx((0.4 * 3.1, 0.4 * 3.1))
    with pytest.raises(DomainError, match="at most 70 m, where the last of the gases is still usable"):
        gases.gas_at(71.0)


def test_how_deep_a_gas_may_be_used_follows_the_usual_limits() -> None:
    """Common practice, no source: 1.4 bar for the bottom gas, 1.6 for the others, 0.02 on top of both."""
    place = DecoSettings(gf_low=0.3, gf_high=0.8)
    assert usable_to_m(GasMixture(oxygen_fraction=1.0), 1.6, place) == 6.0  # 1.613 bar at 6 m
    assert usable_to_m(GasMixture(oxygen_fraction=0.5), 1.6, place) == 21.0
    assert usable_to_m(GasMixture(oxygen_fraction=1.0), 0.9, place) == 0.0
    mixtures = [(GasMixture(oxygen_fraction=0.5), None), (TRIMIX, None), (GasMixture(oxygen_fraction=0.5), 12.0)]
    assert [gas.usable_to_m for gas in cylinder_gases(mixtures, place)] == [21.0, 60.0, 12.0]
