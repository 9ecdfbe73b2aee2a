"""Bailout from every minute: gas by hand, the worst minute and why it need not be the last, and the way up."""

from __future__ import annotations

import pytest

from loopworthy.science.deco.bailout import Bailout, BailoutRates, Envelope, bailout_envelope, switch_to_bailout
from loopworthy.science.deco.breathing import CylinderGas, Loop, OpenCircuit
from loopworthy.science.deco.schedule import Level, Schedule, plan_schedule
from loopworthy.science.deco.settings import DecoSettings, StopForm
from loopworthy.science.physics.gas import GasMixture
from loopworthy.vocabulary.errors import DomainError

BOTTOM = CylinderGas(mixture=GasMixture(oxygen_fraction=0.15, helium_fraction=0.45), usable_to_m=80.0)
HALF = CylinderGas(mixture=GasMixture(oxygen_fraction=0.5), usable_to_m=21.0)
OXYGEN = CylinderGas(mixture=GasMixture(oxygen_fraction=1.0), usable_to_m=6.0)
RATES = BailoutRates(rmv_l_per_min=20.0)


def _dive(depth_m: float = 60.0, leave_at_min: float = 30.0, gf_low: float = 0.3, **other: object) -> Schedule:
    settings = DecoSettings(**({"gf_low": gf_low, "gf_high": 0.8} | other))  # type: ignore[arg-type]
    loop = Loop.at(1.3, GasMixture(oxygen_fraction=0.18, helium_fraction=0.45))
    return plan_schedule(settings, (Level(depth_m=depth_m, leave_at_min=leave_at_min),), loop)


def _leave(dive: Schedule, from_min: int, to_min: int, *gases: CylinderGas) -> Envelope:
    return bailout_envelope(dive, Bailout(dive.settings, OpenCircuit(gases=gases), RATES), from_min, to_min)


def test_gas_of_a_bailout_without_a_stop_adds_up_by_hand() -> None:
    # Minute 1 of a descent at 20 m/min: 20 m, 3.01325 bar, all on one gas.
    (minute,) = _leave(_dive(), 1, 1, BOTTOM).minutes
    assert minute.depth_m == 20.0
    assert minute.ascent.stops() == ()
    onset = 50.0 * 3.01325 * 3.0
    up = 20.0 * (3.01325 + 1.01325) / 2.0 * (20.0 / 9.0)
    assert minute.gas_bar_l == pytest.approx((onset + up,))
    assert minute.time_to_surface_min == pytest.approx(3.0 + 20.0 / 9.0)


def test_gas_of_a_bailout_with_stops_adds_up_by_gas() -> None:
    (minute,) = _leave(_dive(), 30, 30, BOTTOM, HALF, OXYGEN).minutes
    used = [50.0 * 7.01325 * 3.0, 0.0, 0.0]
    stops = dict(minute.ascent.stops())
    depth_m = 60.0
    while depth_m > 0.0:
        gas = 0 if depth_m > 21.0 else 1 if depth_m > 6.0 else 2
        here_bar, above_bar = 1.01325 + depth_m / 10.0, 1.01325 + (depth_m - 3.0) / 10.0
        used[gas] += 20.0 * (here_bar * stops.get(depth_m, 0.0) + (here_bar + above_bar) / 2.0 / 3.0)
        depth_m -= 3.0
    assert minute.gas_bar_l == pytest.approx(used, abs=1e-9)
    assert minute.time_to_surface_min == pytest.approx(3.0 + 60.0 / 9.0 + sum(stops.values()))


def test_a_minute_of_the_envelope_is_what_it_is_alone() -> None:
    """Nothing leaks from one minute into the next: guesses from the last answer change no answer."""
    dive = _dive()
    together = _leave(dive, 1, 30, BOTTOM, HALF, OXYGEN).minutes
    for run_time_min in (2, 5, 17, 30):
        (alone,) = _leave(dive, run_time_min, run_time_min, BOTTOM, HALF, OXYGEN).minutes
        assert together[run_time_min - 1].gas_bar_l == pytest.approx(alone.gas_bar_l, abs=1e-9)
        assert together[run_time_min - 1].ascent.stops() == alone.ascent.stops()


def test_the_worst_minute_need_not_be_the_last() -> None:
    """A counter-example to "later is worse": the anchor moves deeper, and less gas is needed."""
    worst = _leave(_dive(depth_m=51.0, leave_at_min=20.0, gf_low=0.2), 4, 20, BOTTOM, HALF, OXYGEN)
    before, last = worst.minutes[-2:]
    assert worst.worst is before
    assert before.total_bar_l > last.total_bar_l
    assert last.ascent.anchor_m > before.ascent.anchor_m


def test_leaving_on_the_way_up_is_computed_from_where_the_loop_is_then() -> None:
    dive = _dive()
    end_min = int(30.0 + dive.time_to_surface_min)
    minutes = _leave(dive, 29, end_min, BOTTOM, HALF, OXYGEN).minutes
    depths = [minute.depth_m for minute in minutes]
    assert depths[1:] == sorted(depths[1:], reverse=True)
    assert 0.0 < depths[-1] <= 3.0
    # Between two levels: a minute after leaving 60 m at 9 m/min, the ascent goes on to the nearest stop depth.
    assert depths[2] == pytest.approx(51.0)
    assert minutes[3].ascent.steps[0].leg.next_m % 3.0 == 0.0
    assert minutes[-1].total_bar_l < minutes[1].total_bar_l
    with pytest.raises(DomainError, match=r"to_min must be at most 90.6666.*, the end of the dive"):
        _leave(dive, 1, end_min + 1, BOTTOM)


def test_a_minute_without_a_solution_is_worse_than_any_other() -> None:
    """Air on a last stop at 6 m loads slow compartments past their limit at the surface."""
    air = CylinderGas(mixture=GasMixture(oxygen_fraction=0.21), usable_to_m=66.0)
    found = _leave(_dive(leave_at_min=120.0, last_stop_m=6.0, gf_high=0.5), 3, 120, air)
    assert found.worst.ascent.no_solution is not None
    assert found.minutes[0].ascent.no_solution is None
    earliest = next(one for one in found.minutes if one.ascent.no_solution is not None)
    assert found.worst is earliest
    assert found.worst_by_gas == (earliest,)
    assert found.worst_by_time is earliest


def test_a_gas_that_may_not_be_breathed_where_the_loop_is_left_is_refused() -> None:
    with pytest.raises(DomainError, match="at most 21 m, where the last of the gases is still usable"):
        _leave(_dive(), 30, 30, HALF, OXYGEN)
    with pytest.raises(DomainError, match="from_min must be between 0 and to_min=3"):
        _leave(_dive(), 4, 3, BOTTOM)
    assert _leave(_dive(), 0, 0, BOTTOM).minutes[0].depth_m == 0.0


@pytest.mark.parametrize("stops", StopForm)
def test_less_conservative_settings_never_need_a_deeper_anchor(stops: StopForm) -> None:
    anchors = [
        _leave(_dive(gf_low=gf_low, stops=stops), 30, 30, BOTTOM, HALF, OXYGEN).worst.ascent.anchor_m
        for gf_low in (0.1, 0.3, 0.5, 0.8)
    ]
    assert anchors == sorted(anchors, reverse=True)


def test_leaving_the_loop_is_a_switch_of_both_inert_gases() -> None:
    dive = _dive()
    bailout = Bailout(dive.settings, OpenCircuit(gases=(BOTTOM,)), RATES)
    minute = bailout_envelope(dive, bailout, 30, 30).worst
    switch = switch_to_bailout(dive, bailout, minute)
    inert_bar = 7.01325 - 0.0627 - 1.3
    assert switch.depth_m == 60.0
    assert switch.helium_change_bar == pytest.approx(0.45 * (7.01325 - 0.0627) - inert_bar * 0.45 / 0.82)


@pytest.mark.parametrize(
    ("key", "value"), [("rmv_l_per_min", 0.0), ("onset_min", -1.0), ("onset_rmv_l_per_min", 500.0)]
)
def test_rates_out_of_range_are_refused_by_name(key: str, value: float) -> None:
    with pytest.raises(DomainError, match=key):
        BailoutRates(**({"rmv_l_per_min": 20.0} | {key: value}))
