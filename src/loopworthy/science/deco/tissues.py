"""Tissue pressures as a value: saturated, after a change of height, after an interval at the surface.

Inside the computation they are a row; here they are two tuples of sixteen, which is what goes in and comes out.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import require_between
from loopworthy.science.deco.breathing import SCHEDULE_AIR
from loopworthy.science.deco.coefficients import COMPARTMENTS
from loopworthy.science.deco.rows import Row, filled, kept_after, settled
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.vocabulary.errors import InputError

SEA_LEVEL_BAR = 1.01325
"""Where a diver is taken to come from before going up to a lake, unless stated."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tissues:
    """Dissolved nitrogen and helium of the sixteen compartments, fastest first, 0 to 60 each. [bar]"""

    nitrogen_bar: tuple[float, ...]
    helium_bar: tuple[float, ...]

    def __post_init__(self) -> None:
        for name, pressures in (("nitrogen_bar", self.nitrogen_bar), ("helium_bar", self.helium_bar)):
            if len(pressures) != COMPARTMENTS:
                raise InputError(name, f"{len(pressures)} values", f"{COMPARTMENTS} values, fastest compartment first")
            if all(0.0 <= pressure <= 60.0 for pressure in pressures):
                continue
            for index, pressure in enumerate(pressures):
                require_between(f"{name}[{index}]", pressure, 0.0, 60.0, "bar")

    @classmethod
    def of(cls, row: Row) -> Tissues:
        """The tissues that a row stands for."""
        return cls(nitrogen_bar=tuple(row[:COMPARTMENTS]), helium_bar=tuple(row[COMPARTMENTS:]))

    def row(self) -> Row:
        """The same as a row."""
        return [*self.nitrogen_bar, *self.helium_bar]


def air_saturated_bar(surface_bar: float, water_vapour_bar: float) -> float:
    """Nitrogen of a diver who has been breathing air at this pressure for days. [bar]"""
    return SCHEDULE_AIR.nitrogen_fraction * (surface_bar - water_vapour_bar)


def saturated_row(settings: DecoSettings) -> Row:
    """The row of a diver who has been at this surface pressure for days."""
    return filled(air_saturated_bar(settings.surface_bar, settings.water_vapour_bar), 0.0)


def saturated(settings: DecoSettings) -> Tissues:
    """Tissues of a diver who has been at this surface pressure for days."""
    return Tissues.of(saturated_row(settings))


def after_surface_interval(tissues: Tissues, minutes: float, settings: DecoSettings) -> Tissues:
    """Tissues after breathing air at this surface pressure, 0 to 100,000 min."""
    require_between("surface_interval_min", minutes, 0.0, 100_000.0, "min")
    return Tissues.of(settled(tissues.row(), saturated_row(settings), kept_after(settings.coefficients, minutes)))


def after_arrival(hours: float, settings: DecoSettings, *, from_surface_bar: float = SEA_LEVEL_BAR) -> Tissues:
    """Tissues this many hours after coming from another surface pressure, where they were saturated; 0 to 1000 h.

    Coming up from sea level leaves more nitrogen in a diver than saturation at the lake: the first days are shorter.
    """
    require_between("hours_since_arrival", hours, 0.0, 1000.0, "h")
    require_between("from_surface_bar", from_surface_bar, 0.45, 1.1, "bar")
    before = Tissues.of(filled(air_saturated_bar(from_surface_bar, settings.water_vapour_bar), 0.0))
    return after_surface_interval(before, 60.0 * hours, settings)
