"""An owner's limits: confirmed with their source, tightened freely, loosened only with a reason that stays visible."""

from __future__ import annotations

import pytest

from loopworthy.desk import limits
from loopworthy.judgement.catalogue.model import Origin
from loopworthy.vocabulary.errors import InputError, RefusedError, UnknownNameError
from tests.unit.desk.conftest import Bench

TOLERANCE = "C06.tolerance"


def test_a_new_unit_has_limits_to_confirm_and_confirming_empties_the_list(bench: Bench) -> None:
    waiting = limits.unconfirmed(bench.workplace, bench.unit)
    assert TOLERANCE in {limit.limit.id for _, limit in waiting}
    limits.confirm_limits(
        bench.workplace,
        bench.unit,
        tuple(limit.limit.id for _, limit in waiting),
        source="unit manual, revision 4",
        owner=bench.reader,
    )
    assert limits.unconfirmed(bench.workplace, bench.unit) == ()


def test_a_confirmation_names_its_source(bench: Bench) -> None:
    with pytest.raises(InputError, match="source"):
        limits.confirm_limits(bench.workplace, bench.unit, (TOLERANCE,), source=" ", owner=bench.reader)


def test_a_tighter_value_needs_no_reason_and_shows_its_origin(bench: Bench) -> None:
    limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "1,5", source="manual p. 41", owner=bench.reader)
    found = next(one for _, one in limits.limits_of(bench.workplace, bench.unit) if one.limit.id == TOLERANCE)
    assert (found.value, found.origin, found.source, found.loosened) == ("1.5", Origin.OWNER, "manual p. 41", "")


def test_a_looser_value_needs_a_reason_that_stays_with_it(bench: Bench) -> None:
    with pytest.raises(RefusedError, match="looser"):
        limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "3", source="manual p. 41", owner=bench.reader)
    limits.set_limit(
        bench.workplace,
        bench.unit,
        TOLERANCE,
        "3",
        source="manual p. 41",
        owner=bench.reader,
        reason="maker gives 3 mV for this kind",
    )
    found = next(one for _, one in limits.limits_of(bench.workplace, bench.unit) if one.limit.id == TOLERANCE)
    assert found.loosened == "maker gives 3 mV for this kind"


def test_loosening_what_the_owner_had_tightened_needs_a_reason_too(bench: Bench) -> None:
    limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "1", source="manual p. 41", owner=bench.reader)
    with pytest.raises(RefusedError, match="looser"):
        limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "1.5", source="memory", owner=bench.reader)


def test_an_unknown_limit_and_a_value_that_is_no_number_are_refused(bench: Bench) -> None:
    with pytest.raises(UnknownNameError):
        limits.set_limit(bench.workplace, bench.unit, "C06.toleranz", "1", source="m", owner=bench.reader)
    with pytest.raises(InputError):
        limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "two", source="m", owner=bench.reader)
    with pytest.raises(InputError):
        limits.set_limit(bench.workplace, bench.unit, TOLERANCE, "-1", source="m", owner=bench.reader)
