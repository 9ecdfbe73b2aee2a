"""A command line in the process, with records in the test's own folder and a clock that the test moves."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from random import Random
from typing import Any

import pytest
from click.testing import CliRunner, Result

from loopworthy.bootstrap import open_workplace
from loopworthy.desk import days, people, units
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.walk import Hands, WalkingClock, confirm_all_limits, walk
from loopworthy.desk.workplace import Workplace
from loopworthy.doors.cli.main import commands
from loopworthy.doors.cli.settings import Settings
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.time import Moment

ZONE = "Europe/Malta"
BEGIN = Moment(at="2026-05-14T07:00:00+02:00", zone=ZONE)
CONFIGURATION = "electronic-back-three-sensors"
SERIALS = {
    "oxygen-sensor-1": "S-101",
    "oxygen-sensor-2": "S-102",
    "oxygen-sensor-3": "S-103",
    "cylinder-oxygen": "C-1",
    "cylinder-diluent": "C-2",
    "cylinder-bailout-1": "C-3",
}


@dataclass
class Terminal:
    """Runs the command line as a person would, on one record."""

    record: Path
    clock: WalkingClock = field(default_factory=lambda: WalkingClock(BEGIN))

    def run(self, *words: str, stdin: str | bytes | None = None, record: Path | None = None) -> Result:
        """Run a command line and give back what it wrote and ended with."""
        settings = Settings(record=record or self.record, zone=ZONE, clock=lambda _: self.clock)
        result = CliRunner().invoke(commands, words, obj=settings, input=stdin, prog_name="loopworthy")
        assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
        return result

    def ok(self, *words: str, stdin: str | bytes | None = None, record: Path | None = None) -> str:
        """What a command writes that is expected to end with 0."""
        result = self.run(*words, stdin=stdin, record=record)
        assert result.exit_code == 0, result.output
        return result.stdout

    def told(self, *words: str, code: int = 0, record: Path | None = None) -> Any:
        """The JSON that a command answers."""
        result = self.run(*words, "--json", record=record)
        assert result.exit_code == code, result.output
        assert result.stderr == ""
        return json.loads(result.stdout)

    def refused(self, *words: str, stdin: str | bytes | None = None, code: int = 2) -> str:
        """The one line of a command that is expected to be refused."""
        result = self.run(*words, stdin=stdin)
        assert result.exit_code == code, result.output
        assert result.stdout == ""
        assert result.stderr.count("\n") == 1, result.stderr
        assert result.stderr.startswith("loopworthy: ")
        return result.stderr.removeprefix("loopworthy: ").strip()

    def open(self) -> Workplace:
        """The record, to look into it behind the command line's back."""
        return open_workplace(self.record, clock=self.clock)


@pytest.fixture
def terminal(tmp_path: Path) -> Terminal:
    """A command line before there is a record."""
    return Terminal(tmp_path / "trial.sqlite")


def launch(record: Path, clock: WalkingClock) -> Workplace:
    """A record with two people, an analyser and one unit whose parts are named, on a dive day."""
    workplace = open_workplace(record, clock=clock, title="Trial", device_name="cabin laptop", create=True)
    reader = people.add_person(workplace, "Ilma")
    people.add_person(workplace, "Toke", typed_by=reader)
    unit = units.create_unit(workplace, "Tern", ready_configurations()[CONFIGURATION], serial="T-1", typed_by=reader)
    for position in units.empty_positions(workplace, unit):
        thing = reader if position == "diver" else units.NewThing(serial=SERIALS[position])
        units.identify_part(workplace, unit, position, thing, typed_by=reader)
    units.add_instrument(workplace, "Analyser 1", "analyser", serial="A-1", typed_by=reader)
    days.begin(workplace, (unit,), "dive-day", title="Thursday", typed_by=reader)
    return workplace


def morning(workplace: Workplace, clock: WalkingClock) -> None:
    """Do everything that is outstanding, with ordinary invented readings."""
    unit = workplace.unit("Tern")
    hands = Hands(
        reader=workplace.person("Ilma"), second=workplace.person("Toke"), analyser=workplace.instrument("Analyser 1")
    )
    confirm_all_limits(workplace, unit, source="Manual of the trial unit", owner=hands.reader)
    chance = Random(7)

    def day() -> Circumstances:
        configuration = workplace.world.configuration(unit)
        assert configuration is not None
        return Circumstances(
            world=workplace.world, unit=unit, configuration=configuration, today=date(2026, 5, 14), chance=chance
        )

    walk(workplace, unit, clock, hands, day)


@pytest.fixture
def boat(terminal: Terminal) -> Terminal:
    """A command line on a record with a unit, on a dive day, nothing read yet."""
    launch(terminal.record, terminal.clock)
    return terminal


@pytest.fixture
def ready_boat(terminal: Terminal) -> Terminal:
    """A command line on a record whose unit is ready."""
    morning(launch(terminal.record, terminal.clock), terminal.clock)
    return terminal
