"""``loopworthy sensors``: a row a serial: what it read in air and in oxygen, what was expected, and its history."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Command, argument, helped, option, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings

if TYPE_CHECKING:
    from loopworthy.desk.sensors import SensorRow
    from loopworthy.doors.words import Words


@click.command("sensors", cls=Command, help=helped("sensors"))
@argument("unit", "unit", type=Known("unit"))
@option("--at", key="sensors_at", metavar="TIME")
@click.pass_obj
def sensors(settings: Settings, unit: str, at: str | None) -> None:
    """Tell how a unit's oxygen sensors read."""
    from loopworthy.desk.sensors import sensor_chart
    from loopworthy.doors.cli import plain
    from loopworthy.doors.cli.moments import read_moment

    workplace = settings.open()
    found = workplace.unit(unit)
    now = workplace.now()
    moment = read_moment("--at", at, now) if at else now
    rows = sensor_chart(workplace, found, at=moment)
    words = settings.words(workplace, moment)
    settings.answer(
        lambda: {
            "unit": plain.thing(workplace, found),
            "at": moment.at,
            "sensors": [_plain(words, one) for one in rows],
        },
        lambda: [line for one in rows for line in _lines(words, one)] or [say("no_sensors")],
    )


def _plain(words: Words, one: SensorRow) -> dict[str, Any]:
    from loopworthy.doors.cli import plain

    check = one.check
    return {
        "position": one.position,
        "sensor": plain.thing(words.workplace, one.sensor.id) if one.sensor is not None else None,
        "air": plain.item(words, one.air) if one.air is not None else None,
        "oxygen": plain.item(words, one.oxygen) if one.oxygen is not None else None,
        "check": None
        if check is None
        else {
            "expected_mv": check.expected_mv,
            "difference_mv": check.difference_mv,
            "difference_fraction": check.difference_fraction,
            "difference_at_set_point_bar": check.difference_at_set_point_bar,
            "uncertainty_mv": check.uncertainty_mv,
            "decision": check.decision.value,
            "reason": check.reason,
        },
        "why_not": one.why_not or None,
        "state": one.standing.state.value if one.standing is not None else None,
        "factors": [
            {"at": each.moment.at, "factor_mv_per_bar": each.factor_mv_per_bar, "event": each.event}
            for each in one.history
        ],
    }


def _lines(words: Words, one: SensorRow) -> Iterator[str]:
    if one.sensor is None or one.standing is None:
        yield f"{one.position}: {say('empty')}"
        return
    label = words.workplace.world.label(one.sensor.id)
    yield f"{one.standing.state.value}: {one.position}, {label}"
    step = words.catalogue.step("C06")
    if one.air is not None:
        value, when = words.input_text(one.air, "air_mv"), words.clock.when(one.air.occurred_ms)
        yield f"  {say('in_air', value=value, when=when)}"
    if one.check is not None and one.told is not None and one.oxygen is not None:
        yield "  " + say(
            "in_oxygen",
            value=words.input_text(one.oxygen, "oxygen_mv"),
            expected=f"{one.told.expected:f}",
            difference=f"{one.told.difference:+f}",
            uncertainty=f"{one.check.uncertainty_mv:.1f}",
            when=words.clock.when(one.oxygen.occurred_ms),
        )
    yield f"  {words.standing_sentence(one.standing, step)}"
    facts = words.facts(one.standing)
    if facts.limit:
        yield f"  {say('fact_limit', limit=facts.limit)}; {say('fact_origin', origin=facts.origin)}"
    if one.history:
        factors = ", ".join(f"{each.factor_mv_per_bar:.1f}" for each in one.history[-10:])
        yield f"  {say('factors', factors=factors)}"
