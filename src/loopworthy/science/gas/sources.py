"""What a bank or a booster can give: how far a recipe's steps get with the gas that there is.

Without a booster gas flows only until both sides have the same pressure, and a small bank falls as it gives. A booster
lifts further, down to the inlet pressure that it needs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from loopworthy.science.checks import require_above, require_between
from loopworthy.science.gas.blending import FillGas, FillRecipe, FillStep, mixture_of
from loopworthy.science.gas.content import require_cylinder_volume_l
from loopworthy.science.gas.real_gas import Method, density_mol_per_l, pressure_bar, require_gas_pressure_bar
from loopworthy.science.physics.gas import AIR, GasMixture
from loopworthy.vocabulary.errors import InputError


@dataclass(frozen=True, slots=True, kw_only=True)
class GasSource:
    """A bank of one gas.

    Attributes
    ----------
    pressure_bar : float
        Absolute pressure now, 0 to 330. [bar]
    volume_l : float or None
        Water capacity of the bank; None where it is so large that it does not fall. [L]
    booster_inlet_bar : float or None
        Lowest absolute pressure from which the booster still lifts; None without one. [bar]
    booster_outlet_bar : float or None
        Highest absolute pressure that the booster reaches; None if it reaches any. [bar]
    """

    pressure_bar: float
    volume_l: float | None = None
    booster_inlet_bar: float | None = None
    booster_outlet_bar: float | None = None

    def __post_init__(self) -> None:
        require_gas_pressure_bar(self.pressure_bar)
        if self.volume_l is not None:
            require_above("volume_l", self.volume_l, 0.0, 100_000.0, "L")
        for name in ("booster_inlet_bar", "booster_outlet_bar"):
            value = getattr(self, name)
            if value is not None:
                require_between(name, value, 0.0, 1000.0, "bar, absolute")
        if self.booster_outlet_bar is not None and self.booster_inlet_bar is None:
            raise InputError("booster_inlet_bar", None, "given with booster_outlet_bar")


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceAnswer:
    """Whether a source can give a step, its pressure afterwards (None if it does not fall), and why not. [bar]"""

    gas: FillGas
    gives: bool
    pressure_after_bar: float | None
    reason: str


def check_sources(
    recipe: FillRecipe,
    sources: Mapping[FillGas, GasSource],
    temperature_c: float,
    top_up: GasMixture = AIR,
    method: Method = Method.REAL,
    cylinder_volume_l: float | None = None,
) -> tuple[SourceAnswer, ...]:
    """Whether each step of a recipe can be given; gases without a source are left out.

    Banks are taken to have the temperature of the recipe. The volume of the cylinder (above 0 to 100 L) is needed where
    a bank has one.
    """
    answers = []
    for step in recipe.steps:
        source = sources.get(step.gas)
        if source is None:
            continue
        if source.volume_l is not None and cylinder_volume_l is None:
            raise InputError("cylinder_volume_l", None, "given where a bank has a volume")
        answers.append(_answer(step, source, mixture_of(step.gas, top_up), temperature_c, method, cylinder_volume_l))
    return tuple(answers)


def _answer(
    step: FillStep,
    source: GasSource,
    gas: GasMixture,
    temperature_c: float,
    method: Method,
    cylinder_volume_l: float | None,
) -> SourceAnswer:
    after: float | None = None
    left_bar = source.pressure_bar
    if source.volume_l is not None and cylinder_volume_l is not None:
        taken = step.amount_mol_per_l * require_cylinder_volume_l(cylinder_volume_l) / source.volume_l
        amount = density_mol_per_l(gas, source.pressure_bar, temperature_c, method) - taken
        after = left_bar = pressure_bar(gas, amount, temperature_c, method) if amount > 0.0 else 0.0
    name = step.gas.value
    reason = ""
    if source.booster_inlet_bar is None:
        if left_bar < step.to_bar:
            reason = (
                f"The {name} bank would end at {left_bar:.1f} bar and the step at {step.to_bar:.1f}: gas does not flow "
                "uphill. Take a fuller bank or a booster, or bleed the cylinder and fill this gas earlier"
            )
    elif left_bar < source.booster_inlet_bar:
        reason = (
            f"The {name} bank would end at {left_bar:.1f} bar, below the {source.booster_inlet_bar:.1f} bar that the "
            "booster needs. Take a fuller bank"
        )
    elif source.booster_outlet_bar is not None and step.to_bar > max(source.booster_outlet_bar, left_bar):
        reason = f"The booster reaches {source.booster_outlet_bar:.1f} bar and the step {step.to_bar:.1f}"
    return SourceAnswer(gas=step.gas, gives=not reason, pressure_after_bar=after, reason=reason)
