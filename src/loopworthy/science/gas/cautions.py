"""What has to be said beside every recipe: oxygen, heat, and that only the analysis tells what is in a cylinder."""

from __future__ import annotations

from loopworthy.science.gas.blending import FillRecipe, mixture_of
from loopworthy.science.gas.diluent import BREATHABLE_OXYGEN_BAR
from loopworthy.science.gas.real_gas import Method
from loopworthy.science.physics.constants import STANDARD_ATMOSPHERE_BAR
from loopworthy.science.physics.gas import GasMixture

OXYGEN_CLEAN_FROM_FRACTION = 0.235
"""CGA G-4.1, as quoted; the rules for commercial diving in 46 CFR 197.326(a) and 29 CFR 1910.430(i) say above 40 %."""


def fill_cautions(recipe: FillRecipe, top_up: GasMixture, method: Method) -> tuple[str, ...]:
    """Sentences for a recipe that has steps; none for one without."""
    if not recipe.steps:
        return ()
    said = []
    gases = [each for step in recipe.steps for each in (step.holds, mixture_of(step.gas, top_up))]
    richest = max(gas.oxygen_fraction for gas in gases)
    if richest > OXYGEN_CLEAN_FROM_FRACTION:
        said.append(
            f"Cylinder, valve, hoses and gauges meet up to {100 * richest:.0f} % oxygen: they must be cleaned for "
            "oxygen (above 23.5 %, by some codes 40 %), free of oil, and opened slowly; top with oxygen-compatible air"
        )
    said.append(
        "Fill slowly and let it settle: a hot cylinder reads high, so the next gas comes out short. All pressures here "
        "are absolute and at one temperature; a gauge shows about 1 bar less"
    )
    if method is Method.IDEAL:
        really = recipe.as_real_gas.gas
        said.append(
            f"The ideal rule misses: filled to these pressures it will hold about {100 * really.oxygen_fraction:.1f} % "
            f"oxygen and {100 * really.helium_fraction:.1f} % helium"
        )
    if recipe.result.gas.oxygen_fraction * STANDARD_ATMOSPHERE_BAR < BREATHABLE_OXYGEN_BAR:
        said.append("This gas holds too little oxygen to be breathed at the surface: mark the cylinder so")
    said.append(
        "Mix by rolling or waiting, then analyse oxygen and helium: the analysis closes the fill, and the analysed "
        "fractions, never the planned ones, go into the plan and onto the cylinder"
    )
    return tuple(said)
