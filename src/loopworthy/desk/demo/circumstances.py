"""What lies behind the readings of an invented day: weather, sensors, gases, leak, and the hand that reads them.

Readings are made from these by plain physics and a little chance, so that an invented record hangs together as a
genuine one does. Nothing here knows a limit or a verdict.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from random import Random

from loopworthy.science.loop.leak import volume_of_a_millibar_ml
from loopworthy.science.sensors.air import oxygen_in_air_bar
from loopworthy.unit.configuration import Configuration
from loopworthy.unit.world import World
from loopworthy.vocabulary.identity import ThingId


@dataclass(frozen=True, slots=True, kw_only=True)
class SensorTruth:
    """What an oxygen sensor really gives.

    Attributes
    ----------
    factor_mv_per_bar : float
        Output in air, per bar of oxygen. [mV/bar]
    kept_in_oxygen : float
        The part of it that is left in oxygen at ambient pressure; 1 for a sensor that follows.
    """

    factor_mv_per_bar: float = 51.0
    kept_in_oxygen: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Gas:
    """What is in a cylinder. [%]"""

    oxygen_percent: float
    helium_percent: float = 0.0


AIR = Gas(oxygen_percent=20.9)
ENRICHED = Gas(oxygen_percent=32.0)
DEEP = Gas(oxygen_percent=12.0, helium_percent=60.0)
OXYGEN = Gas(oxygen_percent=99.5)
DEEP_GASES: Mapping[str, Gas] = {
    "cylinder-diluent": DEEP,
    "cylinder-bailout-1": DEEP,
    "cylinder-bailout-3": Gas(oxygen_percent=50.0),
    "cylinder-bailout-4": Gas(oxygen_percent=50.0),
}
"""Position to gas on a deep dive; what is not named is as on any other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Circumstances:
    """A unit on one day.

    Attributes
    ----------
    world, unit, configuration
        What is fitted where, and what the unit is.
    today : date
    chance : Random
        Where the last digits come from.
    ambient_hpa, temperature_c, humidity_percent : float
        Of the air at the bench.
    sensors : mapping
        Thing to what the sensor really gives; one that is not named is an ordinary one.
    gases, pressures_bar : mapping
        Position of a cylinder to its gas and pressure; what is not named is ordinary.
    leak_ml_per_min, loop_volume_l : float
        Leak of the closed loop in either test, and its volume.
    planned_min, scrubber_min, oxygen_l_per_min : float
        The plan: minutes, minutes left in the absorbent, oxygen used.
    planned_depth_m : float
        The plan's depth; 0 for what is ordinary for the unit.
    last_dive : date or None
        When the diver last dived this unit.
    """

    world: World
    unit: ThingId
    configuration: Configuration
    today: date
    chance: Random
    ambient_hpa: float = 1013.0
    temperature_c: float = 22.0
    humidity_percent: float = 60.0
    sensors: Mapping[ThingId, SensorTruth] = field(default_factory=dict)
    gases: Mapping[str, Gas] = field(default_factory=dict)
    pressures_bar: Mapping[str, float] = field(default_factory=dict)
    leak_ml_per_min: float = 8.0
    loop_volume_l: float = 6.0
    planned_min: float = 60.0
    scrubber_min: float = 180.0
    planned_depth_m: float = 0.0
    oxygen_l_per_min: float = 0.9
    last_dive: date | None = None

    # --- gas --------------------------------------------------------------------------------------------------------

    def gas(self, position: str) -> Gas:
        """The gas of the cylinder there."""
        known = self.gases.get(position)
        if known is not None:
            return known
        if position == "cylinder-oxygen":
            return OXYGEN
        if position == "cylinder-supply":
            return ENRICHED
        if self.is_deep and position in DEEP_GASES:
            return DEEP_GASES[position]
        return ENRICHED if position.startswith("cylinder-bailout") else AIR

    @property
    def is_deep(self) -> bool:
        """Whether the unit is made for deep dives on helium."""
        return self.configuration.has("environment", "deep-helium")

    @property
    def depth_m(self) -> float:
        """The depth of the plan."""
        return self.planned_depth_m or (60.0 if self.is_deep else 28.0)

    def pressure_bar(self, position: str) -> float:
        """The pressure of the cylinder there."""
        return self.pressures_bar.get(position, 200.0 if position.startswith("cylinder-bailout") else 185.0)

    @property
    def breathed_position(self) -> str:
        """Where the gas comes from that a diver looks at first: oxygen, or the supply of a semi-closed unit."""
        fitted = self.world.fitted(self.unit)
        return "cylinder-oxygen" if "cylinder-oxygen" in fitted else "cylinder-supply"

    # --- sensors ----------------------------------------------------------------------------------------------------

    def sensor(self, thing: ThingId) -> SensorTruth:
        """What the sensor really gives."""
        return self.sensors.get(thing, SensorTruth())

    @property
    def air_bar(self) -> float:
        """Oxygen in the air of the day. [bar]"""
        return oxygen_in_air_bar(self.ambient_hpa, self.temperature_c, self.humidity_percent / 100)

    @property
    def oxygen_bar(self) -> float:
        """Oxygen at a sensor that is flushed with dry gas from the oxygen cylinder. [bar]"""
        return self.gas("cylinder-oxygen").oxygen_percent / 100 * self.ambient_hpa / 1000

    def air_mv(self, thing: ThingId) -> float:
        """What the sensor gives in air. [mV]"""
        return self.sensor(thing).factor_mv_per_bar * self.air_bar + self.chance.uniform(-0.04, 0.04)

    def oxygen_mv(self, thing: ThingId) -> float:
        """What it gives in oxygen. [mV]"""
        truth = self.sensor(thing)
        return truth.factor_mv_per_bar * truth.kept_in_oxygen * self.oxygen_bar + self.chance.uniform(-0.12, 0.12)

    def stored_factor(self, thing: ThingId) -> float:
        """What a calibration in that oxygen stores. [mV/bar]"""
        truth = self.sensor(thing)
        return truth.factor_mv_per_bar * truth.kept_in_oxygen + self.chance.uniform(-0.08, 0.08)

    # --- loop -------------------------------------------------------------------------------------------------------

    def loss_mbar(self, seconds: float, warming_k: float, *, sign: int) -> float:
        """How far the closed loop moves towards ambient, with the leak and what temperature does to a rigid loop."""
        worth = volume_of_a_millibar_ml(self.ambient_hpa, self.loop_volume_l)
        by_leak = self.leak_ml_per_min * seconds / 60 / worth
        by_temperature = -sign * self.ambient_hpa * warming_k / (273.15 + self.temperature_c)
        return by_leak + by_temperature
