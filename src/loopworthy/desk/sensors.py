"""The sensor chart: for each sensor of a unit what it read in air and on oxygen, what was expected, and its history."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Item
from loopworthy.judgement.judges import Case, NotRecorded, factor_of, oxygen_check
from loopworthy.judgement.standing import Standing
from loopworthy.judgement.subjects import Subject
from loopworthy.science.sensors.oxygen_check import OxygenCheck
from loopworthy.unit.things import Thing
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import ThingId
from loopworthy.vocabulary.time import Moment

AIR_STEP, OXYGEN_STEP = "C03", "C06"


@dataclass(frozen=True, slots=True, kw_only=True)
class FactorPoint:
    """A sensor's normalised output on one day. [mV/bar]"""

    moment: Moment
    factor_mv_per_bar: float
    event: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorRow:
    """One sensor in one position.

    Attributes
    ----------
    sensor : Thing or None
        None where nothing is recorded in the position.
    air, oxygen : Item or None
        The latest readings that were not withdrawn.
    check : OxygenCheck or None
        The oxygen reading against the expected one; None with `why_not` where it cannot be worked out.
    standing : Standing or None
        How the comparison stands as evidence.
    history : tuple of FactorPoint
        Oldest first.
    """

    position: str
    title: str
    sensor: Thing | None
    air: Item | None
    oxygen: Item | None
    check: OxygenCheck | None
    why_not: str
    standing: Standing | None
    history: tuple[FactorPoint, ...]


def sensor_chart(workplace: Workplace, unit: ThingId, *, at: Moment | None = None) -> tuple[SensorRow, ...]:
    """One row for each oxygen-sensor position of the unit."""
    world = workplace.world
    rows = []
    for position in world.positions(unit):
        if position.kind != "oxygen-sensor":
            continue
        thing = world.at(unit, position.id)
        rows.append(_row(workplace, unit, position.id, position.title, thing, at or workplace.now()))
    return tuple(rows)


def _row(
    workplace: Workplace, unit: ThingId, position: str, title: str, thing: ThingId | None, at: Moment
) -> SensorRow:
    if thing is None:
        return SensorRow(
            position=position,
            title=title,
            sensor=None,
            air=None,
            oxygen=None,
            check=None,
            why_not="no-part",
            standing=None,
            history=(),
        )
    bench = workplace.bench(at)
    step = workplace.catalogue.step(OXYGEN_STEP)
    subject = Subject(key=thing, position=position, things=(thing,))
    air, oxygen = _latest(workplace, AIR_STEP, thing, at), _latest(workplace, OXYGEN_STEP, thing, at)
    check, why_not = None, "never-done"
    if oxygen is not None:
        case = Case(
            book=workplace.book(),
            catalogue=workplace.catalogue,
            item=oxygen,
            step=step,
            limits=bench.limits(unit, step),
        )
        try:
            check, why_not = oxygen_check(case), ""
        except NotRecorded as missing:
            why_not = missing.what
        except InputError as error:
            why_not = error.message
    return SensorRow(
        position=position,
        title=title,
        sensor=workplace.world.thing(thing),
        air=air,
        oxygen=oxygen,
        check=check,
        why_not=why_not,
        standing=bench.standing(unit, step, step.makes[0], subject),
        history=factor_history(workplace, thing),
    )


def factor_history(workplace: Workplace, sensor: ThingId) -> tuple[FactorPoint, ...]:
    """Every oxygen reading of a serial, normalised to mV per bar; readings that cannot be normalised are left out."""
    step = workplace.catalogue.step(OXYGEN_STEP)
    book = workplace.book()
    points = []
    for item in book.of(OXYGEN_STEP, workplace.world.canonical(sensor)):
        if item.event in book.withdrawals:
            continue
        case = Case(book=book, catalogue=workplace.catalogue, item=item, step=step, limits={})
        try:
            points.append(FactorPoint(moment=item.occurred, factor_mv_per_bar=factor_of(case, item), event=item.event))
        except (NotRecorded, InputError):
            continue
    return tuple(sorted(points, key=lambda point: point.moment.epoch_ms))


def _latest(workplace: Workplace, step: str, sensor: ThingId, at: Moment) -> Item | None:
    book = workplace.book()
    items = [
        one for one in book.of(step, sensor) if one.event not in book.withdrawals and one.occurred_ms <= at.epoch_ms
    ]
    return max(items, key=lambda one: (one.occurred_ms, one.order)) if items else None
