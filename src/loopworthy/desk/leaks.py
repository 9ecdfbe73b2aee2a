"""Pressure tests on record as science reads them: one alone with its trace, and a unit's own leak rates over time.

The same loss is not the same leak on two units, so a test is only ever put beside earlier ones of its own unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Item
from loopworthy.judgement.judges import Case, NotRecorded, ambient_mbar
from loopworthy.judgement.pressure_judge import pressure_samples, pressure_test
from loopworthy.science.loop.pressure_test import PressureTest
from loopworthy.science.loop.trace import PressureSample
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

TEST_KINDS: Mapping[str, str] = {"L02": "negative", "L03": "positive", "L07": "negative"}
"""Step to the kind of its test."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldTest:
    """A pressure test on record.

    Attributes
    ----------
    item : Item
    samples : tuple of PressureSample
        The trace, or the readings at start and end.
    test : PressureTest or None
        What science says; None with `why_not` where it cannot be worked out.
    why_not : str
        The step that is missing, or the contradiction in the readings.
    """

    item: Item
    samples: tuple[PressureSample, ...]
    test: PressureTest | None
    why_not: str


def read_test(workplace: Workplace, item: Item, at: Moment | None = None) -> HeldTest:
    """One test as it stands under the limits that hold now."""
    step = workplace.catalogue.step(item.step)
    bench = workplace.bench(at)
    limits = bench.limits(item.unit, step)
    case = Case(book=workplace.book(), catalogue=workplace.catalogue, item=item, step=step, limits=limits)
    test, why_not = None, ""
    try:
        samples = tuple(pressure_samples(item.payload))
        test = pressure_test(
            item.payload,
            kind=TEST_KINDS[item.step],
            ambient_pressure_mbar=ambient_mbar(case),
            loss=case.limit("loss"),
            hold=case.limit("hold"),
            start=case.limit("start"),
        )
        if test is None:
            why_not = "start and end, or a trace"
    except NotRecorded as missing:
        why_not = missing.what
    except InputError as error:
        why_not = error.message
    return HeldTest(item=item, samples=samples, test=test, why_not=why_not)


def earlier_tests(workplace: Workplace, unit: ThingId, step_id: str, *, most: int = 12) -> tuple[HeldTest, ...]:
    """The unit's own tests of one kind, oldest first, at most so many of the latest; withdrawn ones are left out."""
    book = workplace.book()
    items = [
        one
        for one in book.items.values()
        if one.step == step_id and one.unit == book.world.canonical(unit) and one.event not in book.withdrawals
    ]
    items.sort(key=lambda one: (one.occurred_ms, one.order))
    return tuple(read_test(workplace, one) for one in items[-most:])
