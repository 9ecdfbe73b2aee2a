"""Filling with gas that is mixed in front of the compressor: what its intake must take, and what analysers show.

Helium is let in first and oxygen second, so that an oxygen analyser after each tells both fractions. A compressor has a
limit of oxygen of its own, and a start mix may ask for more than that.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import require_fraction
from loopworthy.science.gas.blending import CylinderGas, FillGas, FillObstacle, fill_recipe
from loopworthy.science.gas.real_gas import Method
from loopworthy.science.physics.gas import AIR, GasMixture

COMPRESSOR_OXYGEN_FRACTION = 0.40
"""Most oxygen in a compressor's intake. Common practice and the threshold of 46 CFR 197.326(a); the maker's rules."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ContinuousFill:
    """One mixture pumped from a start to a target.

    Attributes
    ----------
    from_bar, to_bar : float
        Absolute pressures, settled. [bar]
    pumped : GasMixture or None
        What the compressor must take in; None with an obstacle that leaves nothing to pump.
    oxygen_after_helium_fraction : float or None
        What an oxygen analyser shows after helium was let in and before oxygen was.
    obstacle : FillObstacle or None
        Why it cannot be done so.
    """

    from_bar: float
    to_bar: float
    pumped: GasMixture | None
    oxygen_after_helium_fraction: float | None
    obstacle: FillObstacle | None


def continuous_fill(
    start: CylinderGas,
    target: CylinderGas,
    temperature_c: float,
    intake: GasMixture = AIR,
    method: Method = Method.REAL,
    *,
    oxygen_limit_fraction: float = COMPRESSOR_OXYGEN_FRACTION,
) -> ContinuousFill:
    """The mixture that takes a cylinder from its start mix to a target in one go; arguments as in `fill_recipe`."""
    require_fraction("oxygen_limit_fraction", oxygen_limit_fraction, above_zero=True)
    recipe = fill_recipe(start, target, temperature_c, intake, tuple(FillGas), method)
    pressures = (start.pressure_bar, target.pressure_bar)
    if recipe.obstacle is not None or not recipe.steps:
        return ContinuousFill(
            from_bar=pressures[0],
            to_bar=pressures[1],
            pumped=None,
            oxygen_after_helium_fraction=None,
            obstacle=recipe.obstacle,
        )
    amounts = dict.fromkeys(FillGas, 0.0) | {step.gas: step.amount_mol_per_l for step in recipe.steps}
    total = sum(amounts.values())
    before_oxygen = amounts[FillGas.HELIUM] + amounts[FillGas.TOP_UP]
    intake_oxygen = amounts[FillGas.TOP_UP] * intake.oxygen_fraction
    oxygen = min(1.0, (amounts[FillGas.OXYGEN] + intake_oxygen) / total)
    helium = (amounts[FillGas.HELIUM] + amounts[FillGas.TOP_UP] * intake.helium_fraction) / total
    obstacle = None
    if oxygen > oxygen_limit_fraction + 1e-9:
        obstacle = FillObstacle(
            reason=f"The intake would hold {100 * oxygen:.1f} % oxygen, above the compressor's limit of "
            f"{100 * oxygen_limit_fraction:.1f} %. Let oxygen in by pressure first, or bleed a lean start mix",
            bleed_to_bar=None,
        )
    return ContinuousFill(
        from_bar=pressures[0],
        to_bar=pressures[1],
        pumped=GasMixture(oxygen_fraction=oxygen, helium_fraction=min(1.0 - oxygen, helium)),
        oxygen_after_helium_fraction=intake_oxygen / before_oxygen if before_oxygen > 0.0 else None,
        obstacle=obstacle,
    )
