"""Oxygen limits of the NOAA Diving Manual and the UPTD rate.

Source of each row in data/oxygen_cns_limits.csv, data/oxygen_otu_rate.csv and data/oxygen_repex_limits.csv. Rows from
memory are not compared: they could not be confirmed.
"""

from __future__ import annotations

from itertools import pairwise

import pytest
import scipy.integrate

from loopworthy.science.exposure.lungs import DAY_LIMIT_UPTD, lung_dose, uptd_per_min
from loopworthy.science.exposure.nervous_system import (
    LIMITS_MIN,
    LimitKind,
    decayed_fraction,
    limit_min,
    nervous_system_exposure,
)
from loopworthy.science.exposure.segments import OxygenSegment, steady
from tests.published.rows import rows

LIMITS = [row for row in rows("oxygen_cns_limits") if row["provenance"] != "memory"]
KINDS = {kind.value: kind for kind in LimitKind}
NOAA = [row for row in LIMITS if row["limit_kind"] in KINDS]
RATES = [row for row in rows("oxygen_otu_rate") if row["provenance"] != "memory"]


def test_the_tables_have_their_rows() -> None:
    assert len(NOAA) == 19
    assert len(RATES) == 40


@pytest.mark.parametrize("row", NOAA, ids=lambda row: f"{row['po2_atm']} {row['limit_kind']}")
def test_limits_are_the_printed_ones(row: dict[str, str]) -> None:
    kind, oxygen, minutes = KINDS[row["limit_kind"]], float(row["po2_atm"]), float(row["value"])
    assert limit_min(oxygen, kind) == minutes
    shares = nervous_system_exposure([steady(minutes, oxygen)])
    ours = shares.single_fraction if kind is LimitKind.SINGLE else shares.day_fraction
    assert ours == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("kind", LimitKind)
def test_limits_never_rise_with_oxygen_between_the_rows(kind: LimitKind) -> None:
    # The source gives no rule between its rows, so only the direction is checked.
    told = [limit_min(0.51 + 0.001 * step, kind) for step in range(1100)]
    minutes = [each for each in told if each is not None]
    assert len(minutes) == 1100
    assert all(low >= high for low, high in pairwise(minutes))


def test_no_limit_is_invented_above_the_table() -> None:
    emergency = [row for row in LIMITS if row["limit_kind"].startswith("exceptional") and float(row["po2_atm"]) > 1.6]
    assert len(emergency) == 6  # printed up to the third edition for emergencies, dropped since; not used
    assert all(limit_min(float(row["po2_atm"])) is None for row in emergency)


@pytest.mark.parametrize("row", RATES, ids=lambda row: f"{row['po2_atm']} {row['unit']}")
def test_the_rate_of_the_dose_is_that_of_the_table(row: dict[str, str]) -> None:
    # Computed rows to 0.0005 with this exponent; 0.83 instead of 5/6 and two printed decimals are coarser.
    tolerance = 0.0005 if row["unit"] == "OTU/min (exponent 5/6)" else 0.011
    assert uptd_per_min(float(row["po2_atm"])) == pytest.approx(float(row["value"]), abs=tolerance)


def test_the_limit_of_a_day_is_the_one_that_was_read() -> None:
    (row,) = [each for each in rows("oxygen_repex_limits") if each["provenance"] == "read"]
    assert float(row["value"]) == DAY_LIMIT_UPTD


def _by_hand(oxygen_bar: float, kind: LimitKind) -> float:
    table = LIMITS_MIN[kind]
    if oxygen_bar <= 0.5:
        return 0.0
    low = max([each for each in table if each <= oxygen_bar], default=0.6)
    high = min([each for each in table if each >= oxygen_bar], default=1.6)
    if high <= low:
        return 1.0 / table[max(0.6, min(1.6, low))]
    return 1.0 / (table[low] + (table[high] - table[low]) * (oxygen_bar - low) / (high - low))


@pytest.mark.parametrize(("start", "end"), [(0.21, 1.3), (1.3, 0.4), (0.55, 1.62), (1.0, 2.0), (1.4, 1.41)])
def test_an_even_change_is_the_integral_that_scipy_finds(start: float, end: float) -> None:
    segment = OxygenSegment(duration_min=17.0, start_oxygen_bar=start, end_oxygen_bar=end)

    def along(share: float) -> float:
        return start + (end - start) * share

    kinks = sorted((mark - start) / (end - start) for mark in (0.5, *(0.6 + 0.1 * n for n in range(11))))
    inside = [each for each in kinks if 0.0 < each < 1.0]
    for kind in LimitKind:
        reference, _ = scipy.integrate.quad(lambda s, k=kind: 17.0 * _by_hand(along(s), k), 0, 1, points=inside or None)
        ours = nervous_system_exposure([segment])
        mine = ours.single_fraction if kind is LimitKind.SINGLE else ours.day_fraction
        assert mine == pytest.approx(reference, rel=1e-7)
    dose, _ = scipy.integrate.quad(lambda s: 17.0 * uptd_per_min(along(s)), 0, 1, points=inside or None)
    assert lung_dose([segment]).uptd == pytest.approx(dose, rel=1e-6)


def test_the_worked_dive_of_eight_minutes_at_0_7_and_95_at_1_3() -> None:
    # Own example of the trade's formulas, computed by hand beforehand.
    dive = [steady(8.0, 0.7), steady(95.0, 1.3)]
    assert 100 * nervous_system_exposure(dive[:1]).single_fraction == pytest.approx(1.4, abs=0.05)
    assert 100 * nervous_system_exposure(dive[1:]).single_fraction == pytest.approx(52.8, abs=0.05)
    shares = nervous_system_exposure(dive)
    assert 100 * shares.single_fraction == pytest.approx(54, abs=0.5)
    # The half time is from memory, so only the arithmetic with a stated one is checked.
    assert 100 * decayed_fraction(shares.single_fraction, 120.0, 90.0) == pytest.approx(21.5, abs=0.05)
    assert lung_dose(dive[1:]).uptd == pytest.approx(140.5, abs=0.05)
    assert lung_dose(dive[:1]).uptd == pytest.approx(3.7, abs=0.05)
    assert lung_dose(dive).uptd == pytest.approx(144, abs=0.5)
