"""The sensor chart: for each sensor of a unit what it read in air and on oxygen, what was expected, and its history."""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Item
from loopworthy.judgement.catalogue.model import Step
from loopworthy.judgement.judges import OXYGEN_ANALYSES, Case, NotRecorded, factor_of, oxygen_check, oxygen_told
from loopworthy.judgement.standing import Bench, Standing, State
from loopworthy.judgement.subjects import Subject
from loopworthy.judgement.told import Told
from loopworthy.science.sensors.oxygen_check import OxygenCheck, oxygen_coefficient
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
        The latest readings that were not withdrawn; an oxygen reading outside its limit until it is mended.
    check : OxygenCheck or None
        The oxygen reading against the expected one; None with `why_not` where it cannot be worked out.
    told : Told or None
        Its numbers in the digits in which they are told.
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
    told: Told | None
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
            told=None,
            why_not="no-part",
            standing=None,
            history=(),
        )
    bench = workplace.bench(at)
    step = workplace.catalogue.step(OXYGEN_STEP)
    subject = _subject(bench, unit, step, position)
    standing = bench.standing(unit, step, step.makes[0], subject)
    air, oxygen = _latest(workplace, AIR_STEP, thing, at), _latest(workplace, OXYGEN_STEP, subject.key, at)
    if standing.state is State.FAILED:  # what was read again since does not count until the failure is mended
        oxygen = standing.item
    check, told, why_not = None, None, "never-done"
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
            told = oxygen_told(case, check)
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
        told=told,
        why_not=why_not,
        standing=standing,
        history=factor_history(workplace, thing),
    )


def factor_history(workplace: Workplace, sensor: ThingId) -> tuple[FactorPoint, ...]:
    """Every oxygen reading of a serial on whatever channel, normalised to mV per bar.

    Readings that cannot be normalised are left out.
    """
    step = workplace.catalogue.step(OXYGEN_STEP)
    book = workplace.book()
    wanted = workplace.world.canonical(sensor)
    points = []
    for item in book.items.values():
        if item.step != OXYGEN_STEP or wanted not in item.things or item.event in book.withdrawals:
            continue
        case = Case(book=book, catalogue=workplace.catalogue, item=item, step=step, limits={})
        try:
            points.append(FactorPoint(moment=item.occurred, factor_mv_per_bar=factor_of(case, item), event=item.event))
        except (NotRecorded, InputError):
            continue
    return tuple(sorted(points, key=lambda point: point.moment.epoch_ms))


@dataclass(frozen=True, slots=True, kw_only=True)
class Foretold:
    """What a sensor should show in oxygen today, from its own air reading, before anybody looks at what it shows.

    Attributes
    ----------
    position, title, serial : str
    air_mv : str
        Its air reading, as typed; '' where there is none.
    dry_mv, humid_mv : float or None
        Expected in dry oxygen from the cylinder, and in oxygen that took up water in the loop. [mV]
    why_not : str
        The step that is missing, or why it cannot be worked out; '' where it can.
    """

    position: str
    title: str
    serial: str
    air_mv: str
    dry_mv: float | None
    humid_mv: float | None
    why_not: str


def foretold_oxygen(workplace: Workplace, unit: ThingId, *, at: Moment | None = None) -> tuple[Foretold, ...]:
    """The expected oxygen reading of each sensor that is fitted, from the latest readings of the day's air."""
    moment = at or workplace.now()
    world = workplace.world
    found = []
    for position in world.positions(unit):
        thing = world.at(unit, position.id)
        if position.kind != "oxygen-sensor" or thing is None:
            continue
        air = _latest(workplace, AIR_STEP, thing, moment)
        dry = humid = None
        try:
            dry, humid = (_expected_mv(workplace, unit, air, moment, oxygen_is_humid=wet) for wet in (False, True))
            why_not = ""
        except NotRecorded as missing:
            why_not = missing.what
        except InputError as error:
            why_not = error.message
        found.append(
            Foretold(
                position=position.id,
                title=position.title,
                serial=world.label(thing),
                air_mv=str(air.payload.readings["air_mv"][0]) if air is not None else "",
                dry_mv=dry,
                humid_mv=humid,
                why_not=why_not,
            )
        )
    return tuple(found)


def _expected_mv(workplace: Workplace, unit: ThingId, air: Item | None, at: Moment, *, oxygen_is_humid: bool) -> float:
    if air is None:
        raise NotRecorded(AIR_STEP)
    pressure, climate = (_latest_of(workplace, unit, (step,), at) for step in ("C01", "C02"))
    analysis = _latest_of(workplace, unit, OXYGEN_ANALYSES, at)
    case = Case(
        book=workplace.book(),
        catalogue=workplace.catalogue,
        item=air,
        step=workplace.catalogue.step(AIR_STEP),
        limits={},
    )
    coefficient = oxygen_coefficient(
        ambient_pressure_mbar=case.number("barometer_hpa", item=pressure),
        temperature_c=case.number("temperature_c", item=climate),
        relative_humidity_fraction=case.number("humidity_percent", item=climate) / 100,
        oxygen_fraction=case.number("oxygen_percent", item=analysis) / 100,
        oxygen_is_humid=oxygen_is_humid,
    )
    return case.number("air_mv") * coefficient.coefficient


def _latest_of(workplace: Workplace, unit: ThingId, steps: tuple[str, ...], at: Moment) -> Item:
    """The latest reading of any of the steps, about whatever of the unit each is about now."""
    bench = workplace.bench(at)
    abouts = [(step, one.key) for step in steps for one in bench.subjects_of(unit, workplace.catalogue.step(step))]
    items = [_latest(workplace, step, key, at) for step, key in abouts if key]
    found = [one for one in items if one is not None]
    if not found:
        raise NotRecorded(steps[0])
    return max(found, key=lambda one: (one.occurred_ms, one.order))


def _subject(bench: Bench, unit: ThingId, step: Step, position: str) -> Subject:
    """What the step is about in that position: the sensor on the channel that reads it."""
    return next(one for one in bench.subjects_of(unit, step) if one.position == position)


def _latest(workplace: Workplace, step: str, key: str, at: Moment) -> Item | None:
    book = workplace.book()
    items = [one for one in book.of(step, key) if one.event not in book.withdrawals and one.occurred_ms <= at.epoch_ms]
    return max(items, key=lambda one: (one.occurred_ms, one.order)) if items else None
