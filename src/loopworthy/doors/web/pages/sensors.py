"""The sensor chart: a row for each serial with reading, expected, limit, margin, uncertainty, and its history."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from loopworthy.desk.sensors import FactorPoint, Foretold, SensorRow, foretold_oxygen, sensor_chart
from loopworthy.doors.quantities import amount, plain
from loopworthy.doors.web.answers import Answer, Page
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.charts import Chart, Line, line_chart
from loopworthy.doors.web.frame import Frame, page_frame
from loopworthy.doors.web.routes import Door
from loopworthy.judgement.outcome import EffectiveLimit
from loopworthy.judgement.standing import State
from loopworthy.judgement.told import MOST_PLACES, Told
from loopworthy.vocabulary.identity import ThingId

LEAST_FACTOR_SPAN = 6.0
"""The axis of factors spans at least this, so that a step of a reading does not look like a decline. [mV/bar]"""


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetLine:
    """One term of the uncertainty: what it is, how well it is known, what it adds. [mV]"""

    name: str
    known_to: str
    contribution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartRow:
    """One sensor in its position.

    Attributes
    ----------
    title, serial, age : str
        Position; serial; what is known of its age.
    state : State or None
    until_iso : str
        When the state turns into "expired" by itself.
    sentence : str
        How the comparison stands, in one sentence.
    air, air_at, oxygen, oxygen_at : str
    expected, difference, percent, at_set_point : str
        In mV, mV, % and bar at the set point; '' where they cannot be worked out.
    limit, origin, margin, uncertainty, coefficient : str
    why_not : str
        What is missing; '' where all is there.
    foretold : str
        The expected reading where the sensor was not read in oxygen yet.
    budget : tuple of BudgetLine
    chart : Chart or None
        The history of the serial.
    history_note : str
        What is said in place of a chart.
    evidence_href : str
    """

    title: str
    serial: str
    age: str
    state: State | None
    until_iso: str
    sentence: str
    air: str
    air_at: str
    oxygen: str
    oxygen_at: str
    expected: str
    difference: str
    percent: str
    at_set_point: str
    limit: str
    origin: str
    margin: str
    uncertainty: str
    coefficient: str
    why_not: str
    foretold: str
    budget: tuple[BudgetLine, ...]
    chart: Chart | None
    history_note: str
    evidence_href: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorPage:
    """The chart of a unit's oxygen sensors.

    Attributes
    ----------
    rows : tuple of ChartRow
    parts_href, air_href, oxygen_href : str
        Where to name the sensors, and where to read them.
    """

    frame: Frame
    rows: tuple[ChartRow, ...]
    parts_href: str
    air_href: str
    oxygen_href: str


def sensors(asked: Asked) -> Answer:
    """The sensor chart of a unit."""
    unit = asked.unit
    context = SensorPage(
        frame=page_frame(
            asked, asked.say("sensors.title"), unit=unit, place="sensors", cautions=("calibration", "current")
        ),
        rows=chart_rows(asked, unit),
        parts_href=asked.links.parts(unit),
        air_href=asked.links.work(unit, "air"),
        oxygen_href=asked.links.work(unit, "oxygen"),
    )
    return Page(template="sensors.html", context=context)


def chart_rows(asked: Asked, unit: ThingId) -> tuple[ChartRow, ...]:
    """One row for each sensor position of a unit, for the screen and for paper."""
    foretold = {one.position: one for one in foretold_oxygen(asked.workplace, unit, at=asked.now)}
    rows = sensor_chart(asked.workplace, unit, at=asked.now)
    return tuple(_row(asked, unit, row, foretold.get(row.position)) for row in rows)


def _row(asked: Asked, unit: ThingId, row: SensorRow, foretold: Foretold | None) -> ChartRow:
    words, check, told, standing = asked.words, row.check, row.told, row.standing
    step = asked.workplace.catalogue.step("C06")
    limits = asked.workplace.bench(asked.now).limits(unit, step)
    tolerance: EffectiveLimit = limits["C06.tolerance"]
    set_point = limits.get("C06.set_point")
    at_set_point = f"{check.difference_at_set_point_bar:+.3f} bar" if check is not None else ""
    return ChartRow(
        title=row.title,
        serial=asked.workplace.world.label(row.sensor.id) if row.sensor is not None else "",
        age=_age(asked, row),
        state=standing.state if standing is not None else None,
        until_iso=words.clock.iso(standing.until_ms) if standing is not None and standing.until_ms is not None else "",
        sentence=words.standing_sentence(standing, step)
        if standing is not None and row.oxygen is not None and standing.state is not State.CURRENT
        else "",
        air=words.input_text(row.air, "air_mv") if row.air is not None else "",
        air_at=words.clock.when(row.air.occurred_ms) if row.air is not None else "",
        oxygen=words.input_text(row.oxygen, "oxygen_mv") if row.oxygen is not None else "",
        oxygen_at=words.clock.when(row.oxygen.occurred_ms) if row.oxygen is not None else "",
        expected=f"{told.expected:f} mV" if told is not None else "",
        difference=f"{told.difference:+f} mV" if told is not None else "",
        percent=f"{check.difference_fraction * 100:+.1f} %" if check is not None else "",
        at_set_point=asked.say(
            "sensors.at_set_point", bar=at_set_point, set_point=set_point.shown if set_point is not None else "1.3 bar"
        )
        if check is not None
        else "",
        limit=words.limit_text(tolerance),
        origin=words.origin_text(tolerance),
        margin=_margin(asked, told) if told is not None else "",
        uncertainty=f"{check.uncertainty_mv:.1f} mV" if check is not None else "",
        coefficient=f"{check.coefficient:.3f}" if check is not None else "",
        why_not=_why_not(asked, row.why_not) if check is None else "",
        foretold=_foretold(asked, foretold) if check is None and foretold is not None else "",
        budget=tuple(
            BudgetLine(
                name=term.name,
                known_to=amount(plain(Decimal(repr(term.standard_uncertainty)), 4), term.unit),
                contribution=f"{term.contribution:.2f} mV",
            )
            for term in (check.terms if check is not None else ())
        ),
        chart=_history(asked, row),
        history_note="" if len(row.history) > 1 else asked.say(f"sensors.history_{'one' if row.history else 'none'}"),
        evidence_href=asked.links.evidence(unit, row.oxygen.event) if row.oxygen is not None else "",
    )


def _margin(asked: Asked, told: Told) -> str:
    size = f"{plain(abs(told.margin), MOST_PLACES)} mV"
    return asked.say("limits.margin_inside" if told.margin >= 0 else "limits.margin_outside", size=size)


def _why_not(asked: Asked, why_not: str) -> str:
    if why_not in ("no-part", "never-done"):
        return asked.say(f"reasons.{why_not.replace('-', '_')}")
    step = asked.workplace.catalogue.steps.get(why_not)
    return asked.say("reasons.needs_reading", what=step.title if step is not None else why_not)


def _foretold(asked: Asked, foretold: Foretold) -> str:
    if foretold.dry_mv is None or foretold.humid_mv is None:
        return ""
    return asked.say("sensors.foretold", dry=f"{foretold.dry_mv:.1f}", humid=f"{foretold.humid_mv:.1f}")


def _age(asked: Asked, row: SensorRow) -> str:
    if row.sensor is None:
        return ""
    told = []
    if row.sensor.made_on:
        told.append(asked.say("sensors.made", day=row.sensor.made_on))
    if row.sensor.opened_on:
        told.append(asked.say("sensors.opened", day=row.sensor.opened_on))
    if row.sensor.batch:
        told.append(asked.say("sensors.batch", batch=row.sensor.batch))
    return " · ".join(told)


def _history(asked: Asked, row: SensorRow) -> Chart | None:
    """Normalised factors over the days since the first one."""
    if len(row.history) < 2 or row.sensor is None:
        return None
    first = row.history[0].moment.epoch_ms
    points = tuple(((one.moment.epoch_ms - first) / 86_400_000, one.factor_mv_per_bar) for one in row.history)
    latest, earliest = row.history[-1], row.history[0]
    today = asked.words.clock.day(latest.moment.epoch_ms)
    earlier_days = [one for one in row.history if asked.words.clock.day(one.moment.epoch_ms) != today]
    before = earlier_days[-1] if earlier_days else earliest  # two readings of one morning tell no trend
    values = {
        "count": len(row.history),
        "since": asked.words.clock.day(first),
        "latest": f"{latest.factor_mv_per_bar:.1f}",
        "change": _change_percent(latest, before),
        "whole": _change_percent(latest, earliest),
    }
    return line_chart(
        id=f"history-{row.position}",
        title=asked.say("sensors.history_title", serial=asked.workplace.world.label(row.sensor.id)),
        summary=asked.say("sensors.history_summary", **values),
        x_label=asked.say("sensors.days"),
        y_label="mV/bar",
        series=(Line(name=asked.workplace.world.label(row.sensor.id), points=points),),
        least_span=LEAST_FACTOR_SPAN,
        table_head=(asked.say("sensors.when"), "mV/bar"),
        table_rows=tuple(
            (asked.words.clock.when(one.moment.epoch_ms), f"{one.factor_mv_per_bar:.1f}") for one in row.history
        ),
    )


def _change_percent(latest: FactorPoint, before: FactorPoint) -> str:
    return f"{(latest.factor_mv_per_bar / before.factor_mv_per_bar - 1) * 100:+.1f}"


ROUTES = (Door(path="/unit/{unit}/sensors", handler=sensors),)
