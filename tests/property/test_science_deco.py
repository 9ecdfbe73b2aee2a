"""Schedules and bailout against a planner that was written independently, on random dives, and what must hold for any.

The other planner (``benchmarks/first_version.py``) steps minute by minute and recomputes each bailout from the surface.
Tolerances are those of the definition: tissues 1e-9 bar, stop depths and whole minutes exactly, continuous stops
and times 1e-6 min, gas 1e-3 bar litre.
"""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from benchmarks import first_version
from loopworthy.desk.compute import calculate
from loopworthy.science.deco.breathing import CylinderGas, Loop, OpenCircuit
from loopworthy.science.deco.coefficients import FirstCompartment, Variant, coefficients
from loopworthy.science.deco.schedule import Level, plan_schedule
from loopworthy.science.deco.settings import DecoSettings, StopForm
from loopworthy.science.deco.tissues import Tissues
from loopworthy.science.deco.tolerance import ceiling_m, leading
from loopworthy.science.physics.gas import GasMixture

VARIANTS = [(variant, first) for variant in Variant for first in FirstCompartment]


def tables(variant: Variant, first: FirstCompartment) -> tuple[first_version.Rows, first_version.Rows]:
    chosen = coefficients(variant, first)
    return (
        [(one.half_time_min, one.a_bar, one.b) for one in chosen.nitrogen],
        [(one.half_time_min, one.a_bar, one.b) for one in chosen.helium],
    )


@st.composite
def places(draw: st.DrawFn) -> dict[str, Any]:
    step_m, last_m = draw(st.sampled_from([(3.0, 3.0), (3.0, 6.0), (3.0, 3.0), (2.0, 4.0), (3.048, 6.096)]))
    low = draw(st.floats(0.1, 1.0))
    variant, first = draw(st.sampled_from(VARIANTS))
    return {
        "surface_bar": draw(st.sampled_from([1.01325, 1.01325, 1.0, 0.84, 0.7])),
        "bar_per_m": draw(st.sampled_from([0.1, 0.1, 0.0980665, 0.1005])),
        "water_vapour_bar": draw(st.sampled_from([0.0627, 0.0493, 0.0])),
        "gf_low": low,
        "gf_high": draw(st.floats(low, 1.0)),
        "ascent_m_per_min": draw(st.sampled_from([9.0, 10.0, 6.0, 3.0])),
        "descent_m_per_min": draw(st.sampled_from([20.0, 15.0, 30.0])),
        "stop_step_m": step_m,
        "last_stop_m": last_m,
        "test": draw(st.sampled_from(["departure", "departure", "arrival"])),
        "stops": draw(st.sampled_from(["whole minutes", "whole minutes", "continuous"])),
        "variant": variant.value,
        "first_compartment": first.value,
    }


@st.composite
def mixes(draw: st.DrawFn, least_oxygen: float = 0.08) -> dict[str, float]:
    oxygen = draw(st.sampled_from([0.21, 0.32, 0.18, 0.15, 0.10, 0.12]).filter(lambda one: one >= least_oxygen))
    helium = draw(st.sampled_from([0.0, 0.35, 0.45, 0.6, 0.7, 1.0]))
    return {"oxygen_fraction": oxygen, "helium_fraction": min(helium, 1.0 - oxygen)}


@st.composite
def dives(draw: st.DrawFn) -> dict[str, Any]:
    place = draw(places())
    count = draw(st.sampled_from([1, 1, 1, 2, 3]))
    depths = [draw(st.sampled_from([18.0, 30.0, 33.3, 40.0, 45.0, 60.0, 61.7, 75.0])) for _ in range(count)]
    levels, run_min, before_m = [], 0.0, 0.0
    for depth_m in depths:
        speed = place["descent_m_per_min"] if depth_m > before_m else place["ascent_m_per_min"]
        run_min += abs(depth_m - before_m) / speed + draw(st.sampled_from([0.0, 3.0, 8.0, 15.0, 22.5]))
        run_min = round(run_min + 0.5, 1)
        levels.append({"depth_m": depth_m, "leave_at_min": run_min})
        before_m = depth_m
    plan = place | {"levels": levels}
    if draw(st.booleans()):
        plan["loop"] = draw(mixes()) | {"set_point_bar": draw(st.sampled_from([0.7, 1.0, 1.2, 1.3, 1.4, 1.6]))}
    else:
        plan["open_circuit"] = draw(cylinders())
    return plan


@st.composite
def cylinders(draw: st.DrawFn) -> list[dict[str, float]]:
    gases = [draw(mixes()) | {"usable_to_m": 90.0}]
    if draw(st.booleans()):
        gases.append(
            {"oxygen_fraction": 0.5, "helium_fraction": 0.0, "usable_to_m": draw(st.sampled_from([21.0, 22.0]))}
        )
    if draw(st.booleans()):
        gases.append({"oxygen_fraction": 1.0, "helium_fraction": 0.0, "usable_to_m": 6.0})
    if draw(st.integers(0, 3)) == 0:
        gases.append({"oxygen_fraction": 0.35, "helium_fraction": 0.25, "usable_to_m": 36.0})
    return gases


def both(plan: dict[str, Any], work: str) -> tuple[dict[str, Any], dict[str, Any]]:
    rows = tables(Variant(plan["variant"]), FirstCompartment(plan["first_compartment"]))
    ours = json.loads(calculate(work, json.dumps(plan)))
    return ours, getattr(first_version, work)(plan, *rows)


def agree_on_stops(ours: list[dict[str, float]], theirs: list[dict[str, float]], whole: bool) -> None:
    # A stop of less than 1e-7 min is there for one rounding and not for the other; whole minutes have none.
    mine, other = ([stop for stop in stops if stop["minutes"] > 1e-7] for stops in (ours, theirs))
    assert [stop["depth_m"] for stop in mine] == pytest.approx([stop["depth_m"] for stop in other], abs=1e-9)
    assert [stop["minutes"] for stop in mine] == (
        [stop["minutes"] for stop in other] if whole else pytest.approx([stop["minutes"] for stop in other], abs=1e-6)
    )


@settings(max_examples=120, deadline=None)
@given(dives())
def test_a_schedule_is_that_of_the_first_version(plan: dict[str, Any]) -> None:
    ours, theirs = both(plan, "schedule")
    whole = plan["stops"] == "whole minutes"
    for gas in ("nitrogen_bar", "helium_bar"):
        assert ours["leaving_bottom"][gas] == pytest.approx(theirs["leaving_bottom"][gas], abs=1e-9)
    if "no_solution" in theirs:
        # The first version gives up after some days, and steps over a moment between two minutes.
        if "no_solution" in ours:
            assert ours["no_solution"]["depth_m"] == pytest.approx(theirs["no_solution"]["depth_m"])
            assert "compartment" in ours["no_solution"]["reason"]
        else:
            assert not whole or max(stop["minutes"] for stop in ours["stops"]) > first_version.LONGEST_STOP_MIN
            rows = tables(Variant(plan["variant"]), FirstCompartment(plan["first_compartment"]))
            assert first_version.is_kept(plan, *rows, ours)
        return
    assert "no_solution" not in ours
    assert ours["first_stop_m"] == pytest.approx(theirs["first_stop_m"], abs=1e-9)
    agree_on_stops(ours["stops"], theirs["stops"], whole)
    assert ours["time_to_surface_min"] == pytest.approx(theirs["time_to_surface_min"], abs=1e-6)
    for gas in ("nitrogen_bar", "helium_bar"):
        assert ours["surfacing"][gas] == pytest.approx(theirs["surfacing"][gas], abs=1e-9 if whole else 1e-8)


@settings(max_examples=40, deadline=None)
@given(dives(), cylinders(), st.integers(1, 60), st.sampled_from([0.0, 2.0, 3.0]))
def test_bailout_from_any_minute_is_that_of_the_first_version(
    plan: dict[str, Any], gases: list[dict[str, float]], from_min: int, onset_min: float
) -> None:
    last = int(plan["levels"][-1]["leave_at_min"])
    assume(from_min <= last)
    plan |= {
        "gases": gases,
        "from_min": from_min,
        "to_min": min(last, from_min + 3),
        "onset_min": onset_min,
        "onset_rmv_l_per_min": 50.0,
        "rmv_l_per_min": 20.0,
    }
    ours, theirs = both(plan | {"schedules": True}, "bailout")
    assert len(ours["minutes"]) == len(theirs["minutes"])
    for mine, other in zip(ours["minutes"], theirs["minutes"], strict=True):
        assert mine["run_time_min"] == other["run_time_min"]
        if "no_solution" in other or "no_solution" in mine:
            if plan["stops"] == "whole minutes" and "no_solution" not in mine:
                assert max(one["minutes"] for one in mine["stops"]) > first_version.LONGEST_STOP_MIN
            assert "no_solution" in other
            continue
        assert mine["first_stop_m"] == pytest.approx(other["first_stop_m"], abs=1e-8)
        agree_on_stops(mine["stops"], other["stops"], plan["stops"] == "whole minutes")
        assert mine["time_to_surface_min"] == pytest.approx(other["time_to_surface_min"], abs=1e-6)
        assert mine["gas_bar_l"] == pytest.approx(other["gas_bar_l"], abs=1e-3)
    totals = [sum(one["gas_bar_l"]) for one in theirs["minutes"] if "no_solution" not in one]
    if len(totals) == len(theirs["minutes"]) and len(set(totals)) == len(totals):
        spread = sorted(totals)
        assume(len(spread) < 2 or spread[-1] - spread[-2] > 1e-3)
        assert ours["worst_run_time_min"] == theirs["worst_run_time_min"]


# --- what holds for any dive ------------------------------------------------------------------------------------------

pressures = st.lists(st.floats(0.0, 5.0), min_size=16, max_size=16).map(tuple)
tissues = st.builds(Tissues, nitrogen_bar=pressures, helium_bar=pressures)


@given(tissues, st.floats(0.05, 1.0), st.floats(0.05, 1.0))
def test_a_higher_gradient_factor_never_has_a_deeper_ceiling(state: Tissues, one: float, other: float) -> None:
    place = DecoSettings(gf_low=0.5, gf_high=0.5)
    shallow, deep = ceiling_m(state, max(one, other), place), ceiling_m(state, min(one, other), place)
    assert shallow <= deep + 1e-9


@given(tissues, st.floats(0.05, 1.0))
def test_at_the_ceiling_the_leading_compartment_has_no_margin_left(state: Tissues, gradient: float) -> None:
    place = DecoSettings(gf_low=0.5, gf_high=0.5)
    depth_m = ceiling_m(state, gradient, place)
    margin = leading(state, depth_m, gradient, place).margin_bar
    assert margin >= -1e-9
    if depth_m > 0.0:
        assert margin == pytest.approx(0.0, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(st.floats(20.0, 70.0), st.floats(5.0, 30.0), st.floats(0.05, 3.0), st.sampled_from(list(StopForm)))
def test_more_gas_at_the_start_is_more_gas_at_every_end(
    depth_m: float, minutes: float, more_bar: float, form: StopForm
) -> None:
    """Monotone in the tissues: on the same travel no compartment ends lower for having started higher."""
    place = DecoSettings(gf_low=0.4, gf_high=0.8, stops=form)
    loop = Loop.at(1.3, GasMixture(oxygen_fraction=0.15, helium_fraction=0.5))
    level = Level(depth_m=depth_m, leave_at_min=depth_m / 20.0 + minutes)
    less = Tissues(nitrogen_bar=(0.75,) * 16, helium_bar=(0.0,) * 16)
    more = Tissues(nitrogen_bar=(0.75 + more_bar,) * 16, helium_bar=(more_bar,) * 16)
    one, other = (plan_schedule(place, (level,), loop, start=start) for start in (less, more))
    assert all(low <= high for low, high in zip(one.leaving_row, other.leaving_row, strict=True))
    assert one.first_stop_m <= other.first_stop_m


@settings(max_examples=60, deadline=None)
@given(st.sampled_from([0.21, 0.32]), st.floats(18.0, 50.0), st.floats(10.0, 60.0))
def test_the_first_stop_of_whole_minutes_is_the_continuous_one_rounded_up(
    oxygen: float, depth_m: float, minutes: float
) -> None:
    """On one inert gas; with two a moment of passing may fall between two whole minutes."""
    gas = OpenCircuit(gases=(CylinderGas(mixture=GasMixture(oxygen_fraction=oxygen), usable_to_m=60.0),))
    level = Level(depth_m=depth_m, leave_at_min=depth_m / 20.0 + minutes)
    whole, exact = (
        plan_schedule(DecoSettings(gf_low=0.3, gf_high=0.8, stops=form), (level,), gas)
        for form in (StopForm.WHOLE_MINUTES, StopForm.CONTINUOUS)
    )
    if not exact.ascent.stops():
        assert not whole.ascent.stops()
        return
    (depth_exact, minutes_exact), (depth_whole, minutes_whole) = exact.ascent.stops()[0], whole.ascent.stops()[0]
    assert depth_whole == depth_exact
    assert minutes_whole - 1.0 - 1e-6 < minutes_exact <= minutes_whole + 1e-6
