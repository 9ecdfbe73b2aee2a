"""What is breathed at a depth: a loop that holds its set point, or the best of several open-circuit gases.

Inspired inert pressures are linear in depth between the kinks of rule 4: where the loop becomes oxygen alone, where the
diluent alone exceeds the set point, and where a set point by depth changes. A travel is cut into pieces there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import NamedTuple, Protocol

from loopworthy.science.checks import require_depth_m, require_oxygen_pressure_bar
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.science.physics.gas import GasMixture
from loopworthy.vocabulary.errors import DomainError, InputError

SCHEDULE_AIR = GasMixture(oxygen_fraction=0.21)
"""Air as schedules count it: 21/79."""

BOTTOM_GAS_OXYGEN_LIMIT_BAR = 1.4
OTHER_GAS_OXYGEN_LIMIT_BAR = 1.6
OXYGEN_LIMIT_ALLOWANCE_BAR = 0.02
"""On top of both limits, so that oxygen is used at 6 m (1.61 bar). Common practice, no source."""

Inspired = tuple[float, float]
"""Inspired nitrogen and helium. [bar]"""


class Piece(NamedTuple):
    """A stretch of a travel over which the inspired pressures are linear in depth."""

    from_m: float
    to_m: float
    at_start: Inspired
    at_end: Inspired


class Breathing(Protocol):
    """A source of gas that an ascent can be computed on."""

    def held(self, depth_m: float, settings: DecoSettings) -> Inspired:
        """Inspired inert gas while staying at a depth."""
        ...

    def pieces(self, from_m: float, to_m: float, settings: DecoSettings) -> tuple[Piece, ...]:
        """The travel between two depths, in order, cut at its kinks."""
        ...

    def gas_at(self, depth_m: float) -> int:
        """Which of its gases is breathed at a depth; a travel uses that of its deeper end."""
        ...

    def no_more_to_m(self, depth_m: float) -> float:
        """To which shallower depth neither inert gas can be breathed at a higher pressure than at this depth."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class SetPoint:
    """A set point from a depth downwards, to the next one."""

    set_point_bar: float
    from_m: float = 0.0

    def __post_init__(self) -> None:
        require_oxygen_pressure_bar(self.set_point_bar, "set_point_bar")
        require_depth_m(self.from_m, "from_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class Loop:
    """A closed circuit: its diluent and its set points by depth, the first from the surface down.

    PO2 = min(max(set point, fO2 Pd), Pd), Pd being ambient pressure less water vapour; the rest is inert and shared as
    in the diluent. At a depth where a set point changes, staying there means the deeper one.
    """

    diluent: GasMixture
    set_points: tuple[SetPoint, ...]

    def __post_init__(self) -> None:
        if not self.set_points:
            raise InputError("set_points", "none", "one or more")
        if self.set_points[0].from_m != 0.0:
            raise InputError("set_points[0].from_m", self.set_points[0].from_m, "0, the surface")
        for index, (above, below) in enumerate(pairwise(self.set_points), start=1):
            if below.from_m <= above.from_m:
                raise InputError(f"set_points[{index}].from_m", below.from_m, f"deeper than {above.from_m:g} m")

    @classmethod
    def at(cls, set_point_bar: float, diluent: GasMixture) -> Loop:
        """A loop with one set point at all depths."""
        return cls(diluent=diluent, set_points=(SetPoint(set_point_bar=set_point_bar),))

    def set_point_at_bar(self, depth_m: float) -> float:
        """The set point in force at a depth. [bar]"""
        if len(self.set_points) == 1:
            return self.set_points[0].set_point_bar
        return next(one.set_point_bar for one in reversed(self.set_points) if one.from_m <= depth_m + 1e-9)

    def held(self, depth_m: float, settings: DecoSettings) -> Inspired:
        """Inspired inert gas while staying at a depth."""
        dry_bar = settings.pressure_bar(depth_m) - settings.water_vapour_bar
        oxygen_bar = min(max(self.set_point_at_bar(depth_m), self.diluent.oxygen_fraction * dry_bar), dry_bar)
        return self._shared(dry_bar - oxygen_bar)

    def pieces(self, from_m: float, to_m: float, settings: DecoSettings) -> tuple[Piece, ...]:
        """The travel between two depths, cut at every kink."""
        if len(self.set_points) == 1:
            straight = self._straight(from_m, to_m, settings)
            if straight is not None:
                return (straight,)
        shallow_m, deep_m = min(from_m, to_m), max(from_m, to_m)
        kinks = {from_m, to_m}
        for one in self.set_points:
            kinks.add(one.from_m)
            kinks.add(self._depth_of_dry_m(one.set_point_bar, settings))
            if self.diluent.oxygen_fraction > 0.0:
                kinks.add(self._depth_of_dry_m(one.set_point_bar / self.diluent.oxygen_fraction, settings))
        inside = sorted((one for one in kinks if shallow_m <= one <= deep_m), reverse=to_m < from_m)
        return tuple(self._piece(one, other, settings) for one, other in pairwise(inside) if one != other)

    def gas_at(self, depth_m: float) -> int:
        """Always 0: the loop."""
        return 0

    def no_more_to_m(self, depth_m: float) -> float:
        """The depth at which the set point in force begins; a lower one above it would leave more inert gas."""
        return next(one.from_m for one in reversed(self.set_points) if one.from_m <= depth_m + 1e-9)

    def _straight(self, from_m: float, to_m: float, settings: DecoSettings) -> Piece | None:
        """The travel in one piece, if the only set point, or the lack of it, rules in the same way all along."""
        set_point_bar, fraction = self.set_points[0].set_point_bar, self.diluent.oxygen_fraction
        start_bar = settings.surface_bar + settings.bar_per_m * from_m - settings.water_vapour_bar
        end_bar = settings.surface_bar + settings.bar_per_m * to_m - settings.water_vapour_bar
        if set_point_bar <= start_bar and set_point_bar <= end_bar:
            diluent_start_bar, diluent_end_bar = fraction * start_bar, fraction * end_bar
            if diluent_start_bar <= set_point_bar and diluent_end_bar <= set_point_bar:
                start_bar, end_bar = start_bar - set_point_bar, end_bar - set_point_bar
            elif diluent_start_bar >= set_point_bar and diluent_end_bar >= set_point_bar:
                start_bar, end_bar = start_bar - diluent_start_bar, end_bar - diluent_end_bar
            else:
                return None
        elif set_point_bar >= start_bar and set_point_bar >= end_bar:
            start_bar, end_bar = 0.0, 0.0
        else:
            return None
        return Piece(from_m, to_m, self._shared(start_bar), self._shared(end_bar))

    def _piece(self, from_m: float, to_m: float, settings: DecoSettings) -> Piece:
        """A stretch without a kink inside; which rule holds in it is read in its middle."""
        middle_m = (from_m + to_m) / 2.0
        fraction = self.diluent.oxygen_fraction
        set_point_bar = self.set_point_at_bar(middle_m)
        dry_bar = settings.pressure_bar(middle_m) - settings.water_vapour_bar

        def inert_bar(depth_m: float) -> float:
            at_bar = settings.pressure_bar(depth_m) - settings.water_vapour_bar
            if set_point_bar >= dry_bar:
                return 0.0
            return (1.0 - fraction) * at_bar if fraction * dry_bar >= set_point_bar else at_bar - set_point_bar

        return Piece(from_m, to_m, self._shared(inert_bar(from_m)), self._shared(inert_bar(to_m)))

    def _shared(self, inert_bar: float) -> Inspired:
        """Inert gas as the diluent shares it, neither ever below zero by a rounding."""
        whole = self.diluent.inert_fraction
        if inert_bar <= 0.0 or whole <= 0.0:
            return 0.0, 0.0
        helium_bar = inert_bar * self.diluent.helium_fraction / whole
        return max(0.0, inert_bar - helium_bar), helium_bar

    @staticmethod
    def _depth_of_dry_m(dry_bar: float, settings: DecoSettings) -> float:
        """Depth where ambient pressure less vapour is this. [m]"""
        return (dry_bar + settings.water_vapour_bar - settings.surface_bar) / settings.bar_per_m


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderGas:
    """A gas breathed from its cylinder, and the deepest depth at which it may be."""

    mixture: GasMixture
    usable_to_m: float

    def __post_init__(self) -> None:
        require_depth_m(self.usable_to_m, "usable_to_m")


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenCircuit:
    """Open circuit on one or more gases: at each depth the one with the most oxygen that is usable there."""

    gases: tuple[CylinderGas, ...]

    def __post_init__(self) -> None:
        if not self.gases:
            raise InputError("gases", "none", "one or more")

    def held(self, depth_m: float, settings: DecoSettings) -> Inspired:
        """Inspired inert gas while staying at a depth."""
        return self.inspired(self.gas_at(depth_m), depth_m, settings)

    def pieces(self, from_m: float, to_m: float, settings: DecoSettings) -> tuple[Piece, ...]:
        """One piece: a travel is breathed on the gas of its deeper end."""
        gas = self.gas_at(max(from_m, to_m))
        return (Piece(from_m, to_m, self.inspired(gas, from_m, settings), self.inspired(gas, to_m, settings)),)

    def gas_at(self, depth_m: float) -> int:
        """The usable gas with the most oxygen, the first of them on a tie.

        Raises
        ------
        DomainError
            If none of the gases is usable at this depth.
        """
        best = -1
        for index, gas in enumerate(self.gases):
            if gas.usable_to_m >= depth_m - 1e-9 and (
                best < 0 or gas.mixture.oxygen_fraction > self.gases[best].mixture.oxygen_fraction
            ):
                best = index
        if best < 0:
            deepest_m = max(one.usable_to_m for one in self.gases)
            raise DomainError(
                "depth_m",
                depth_m,
                f"at most {deepest_m:.10g} m, where the last of the gases is still usable",
                next_step="Add a gas that may be breathed there, or state a deeper usable_to_m for one",
            )
        return best

    def no_more_to_m(self, depth_m: float) -> float:
        """Where the next gas with more oxygen becomes usable: its nitrogen may be more."""
        own = self.gases[self.gas_at(depth_m)].mixture.oxygen_fraction
        richer = [one.usable_to_m for one in self.gases if one.mixture.oxygen_fraction > own]
        return max((one for one in richer if one < depth_m), default=0.0)

    def inspired(self, gas: int, depth_m: float, settings: DecoSettings) -> Inspired:
        """Inspired inert gas of one of the gases, whether or not it is the best one there."""
        dry_bar = settings.pressure_bar(depth_m) - settings.water_vapour_bar
        mixture = self.gases[gas].mixture
        return mixture.nitrogen_fraction * dry_bar, mixture.helium_fraction * dry_bar


def usable_to_m(mixture: GasMixture, oxygen_limit_bar: float, settings: DecoSettings) -> float:
    """The deepest stop depth at which a gas keeps an oxygen limit, with the allowance of 0.02 bar. [m]

    0 if it keeps it at no stop depth. Without oxygen there is no such depth, and 500 m is answered.
    """
    fraction = mixture.oxygen_fraction
    if fraction <= 0.0:
        return 500.0
    pressure_bar = (oxygen_limit_bar + OXYGEN_LIMIT_ALLOWANCE_BAR) / fraction
    deepest_m = (pressure_bar - settings.surface_bar) / settings.bar_per_m
    steps = int((deepest_m + 1e-9) / settings.stop_step_m)
    return min(500.0, max(0, steps) * settings.stop_step_m)


def cylinder_gases(
    mixtures: Sequence[tuple[GasMixture, float | None]], settings: DecoSettings
) -> tuple[CylinderGas, ...]:
    """Gases with the depth to which each is usable; where none is stated, by the usual limits.

    The bottom gas, the one with the least oxygen (the first of them on a tie), is held to 1.4 bar, the others to 1.6.
    """
    if not mixtures:
        return ()
    leanest = min(range(len(mixtures)), key=lambda index: mixtures[index][0].oxygen_fraction)
    found = []
    for index, (mixture, stated_m) in enumerate(mixtures):
        limit_bar = BOTTOM_GAS_OXYGEN_LIMIT_BAR if index == leanest else OTHER_GAS_OXYGEN_LIMIT_BAR
        depth_m = usable_to_m(mixture, limit_bar, settings) if stated_m is None else stated_m
        found.append(CylinderGas(mixture=mixture, usable_to_m=depth_m))
    return tuple(found)
