"""How near the limit: the leading compartment and its margin, and the ceiling.

Rule 7: with p = pN2 + pHe and a, b weighted by both gases, a pressure P is allowed with gradient factor g when
p <= P + g (a + P/b - P) in all sixteen compartments.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from loopworthy.science.deco.coefficients import COMPARTMENTS, Coefficients
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.science.deco.tissues import Tissues


@dataclass(frozen=True, slots=True, kw_only=True)
class Leading:
    """The compartment with the least margin (1 to 16), its pressure and limit there, and the margin. [bar]"""

    compartment: int
    pressure_bar: float
    limit_bar: float

    @property
    def margin_bar(self) -> float:
        """Limit less pressure; negative above the limit. [bar]"""
        return self.limit_bar - self.pressure_bar


def weighted(chosen: Coefficients, index: int, nitrogen_bar: float, helium_bar: float) -> tuple[float, float]:
    """a [bar] and b of one compartment (0 to 15), weighted by its gases; nitrogen's own where it holds none."""
    nitrogen, helium = chosen.nitrogen[index], chosen.helium[index]
    total_bar = nitrogen_bar + helium_bar
    if total_bar <= 0.0:
        return nitrogen.a_bar, nitrogen.b
    return (
        (nitrogen.a_bar * nitrogen_bar + helium.a_bar * helium_bar) / total_bar,
        (nitrogen.b * nitrogen_bar + helium.b * helium_bar) / total_bar,
    )


def limit_bar(
    chosen: Coefficients, index: int, nitrogen_bar: float, helium_bar: float, pressure_bar: float, gradient: float
) -> float:
    """Largest inert pressure that compartment `index` (0 to 15) may hold at a pressure. [bar]"""
    a_bar, b = weighted(chosen, index, nitrogen_bar, helium_bar)
    return pressure_bar + gradient * (a_bar + pressure_bar / b - pressure_bar)


def leading(tissues: Tissues, depth_m: float, gradient: float, settings: DecoSettings) -> Leading:
    """The compartment with the least margin at a depth, by a gradient factor."""
    chosen, pressure_bar = settings.coefficients, settings.pressure_bar(depth_m)
    return min(
        (
            Leading(
                compartment=index + 1,
                pressure_bar=nitrogen_bar + helium_bar,
                limit_bar=limit_bar(chosen, index, nitrogen_bar, helium_bar, pressure_bar, gradient),
            )
            for index, (nitrogen_bar, helium_bar) in enumerate(
                zip(tissues.nitrogen_bar, tissues.helium_bar, strict=True)
            )
        ),
        key=lambda one: one.margin_bar,
    )


def ceiling_m(tissues: Tissues, gradient: float, settings: DecoSettings) -> float:
    """The shallowest depth that is allowed with a gradient factor; 0 where that is the surface. [m]

    P >= (p - g a) / (1 - g + g/b) for every compartment.
    """
    chosen = settings.coefficients
    needed_bar = -math.inf
    for index in range(COMPARTMENTS):
        nitrogen_bar, helium_bar = tissues.nitrogen_bar[index], tissues.helium_bar[index]
        a_bar, b = weighted(chosen, index, nitrogen_bar, helium_bar)
        needed_bar = max(needed_bar, (nitrogen_bar + helium_bar - gradient * a_bar) / (1.0 - gradient + gradient / b))
    return max(0.0, (needed_bar - settings.surface_bar) / settings.bar_per_m)
