"""Filling a cylinder by pressures: from any start mix to a target with helium, oxygen and a top-up gas, in any order.

Amounts are conserved, and only the pressures depend on the method: a recipe of the ideal law tells what it would really
give as well. What cannot be made is an answer in words, with the pressure to bleed to where that helps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from loopworthy.science.gas.real_gas import (
    Method,
    density_mol_per_l,
    pressure_bar,
    require_gas_pressure_bar,
    require_gas_temperature_c,
)
from loopworthy.science.physics.gas import AIR, GasMixture
from loopworthy.vocabulary.errors import InputError

_NEGLIGIBLE = 1e-9
"""Share of the target's amount below which a gas is not needed."""

_MATCHES = 1e-6
"""Share of the target's amount to which a gas that cannot be added must be there already."""

_LEAST_BLEED_BAR = 1.0
"""A cylinder opened to the air at sea level keeps about this."""


class FillGas(Enum):
    """What a cylinder is filled from."""

    HELIUM = "helium"
    OXYGEN = "oxygen"
    TOP_UP = "top-up"


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderGas:
    """A mixture at an absolute pressure, settled. [bar]"""

    gas: GasMixture
    pressure_bar: float

    def __post_init__(self) -> None:
        require_gas_pressure_bar(self.pressure_bar)


@dataclass(frozen=True, slots=True, kw_only=True)
class FillStep:
    """One gas let in.

    Attributes
    ----------
    gas : FillGas
        Which.
    from_bar, to_bar : float
        Absolute pressure before and after, settled at the temperature of the recipe. [bar]
    holds : GasMixture
        What the cylinder holds after it.
    amount_mol_per_l : float
        What was added for each litre of the cylinder. [mol/L]
    """

    gas: FillGas
    from_bar: float
    to_bar: float
    holds: GasMixture
    amount_mol_per_l: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FillObstacle:
    """Why a target cannot be made as asked, and the pressure to bleed to if that makes it possible. [bar]"""

    reason: str
    bleed_to_bar: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FillRecipe:
    """Steps from start to result, or an obstacle.

    Attributes
    ----------
    bleed_to_bar : float or None
        Pressure to bleed to before the first step; None where nothing is bled. [bar]
    steps : tuple of FillStep
        In the order asked for, without gases of which nothing is needed; empty with an obstacle.
    result : CylinderGas
        What the method says the cylinder then holds; with an obstacle what it holds now.
    as_real_gas : CylinderGas
        What filling to these pressures really gives, by the real gas; the same as `result` for that method.
    obstacle : FillObstacle or None
        Why there are no steps.
    """

    bleed_to_bar: float | None
    steps: tuple[FillStep, ...]
    result: CylinderGas
    as_real_gas: CylinderGas
    obstacle: FillObstacle | None


def fill_recipe(
    start: CylinderGas,
    target: CylinderGas,
    temperature_c: float,
    top_up: GasMixture = AIR,
    order: Sequence[FillGas] = (FillGas.HELIUM, FillGas.OXYGEN, FillGas.TOP_UP),
    method: Method = Method.REAL,
    *,
    may_bleed: bool = False,
) -> FillRecipe:
    """Pressures to fill to.

    Parameters
    ----------
    start, target : CylinderGas
        What the cylinder holds (0 bar: evacuated) and what it should hold, absolute pressures to 330 bar.
    temperature_c : float
        Temperature at which all pressures are read, settled, -10 to 60. [°C]
    top_up : GasMixture
        What the compressor or bank gives; air or any mixture.
    order : sequence of FillGas
        Which gases there are, in the order of filling, each once.
    method : Method
        Real or ideal gas.
    may_bleed : bool
        Whether the recipe may begin by letting out some of the start mix, down to 1 bar.

    Returns
    -------
    FillRecipe
        Steps and result, or an obstacle in words.

    Raises
    ------
    DomainError, InputError
        If an argument lies outside its range, the target has no pressure, or the order is empty or names a gas twice.

    Notes
    -----
    With amounts n for each litre, n_target x_target = n_start x_start + the amounts added, for oxygen, helium and
    nitrogen (with its argon) each. Nitrogen settles the top-up and the rest follows without iteration. Filling is taken
    to end at the same temperature each time; a hot cylinder shows more than it will hold.

    Examples
    --------
    >>> empty = CylinderGas(gas=AIR, pressure_bar=0)
    >>> target = CylinderGas(gas=GasMixture(oxygen_fraction=0.32), pressure_bar=200)
    >>> order = (FillGas.OXYGEN, FillGas.TOP_UP)
    >>> [round(fill_recipe(empty, target, 20, order=order, method=m).steps[0].to_bar, 1) for m in Method]
    [28.0, 27.1]

    References
    ----------
    .. [1] US Navy Diving Manual, rev. 4, ch. 16, section 16-2: mixing by partial pressure and its real-gas correction.
    """
    order = _require_order(order)
    require_gas_temperature_c(temperature_c)
    if target.pressure_bar <= 0.0:
        raise InputError("target.pressure_bar", target.pressure_bar, "above 0 bar")
    held = density_mol_per_l(start.gas, start.pressure_bar, temperature_c, method)
    wanted = density_mol_per_l(target.gas, target.pressure_bar, temperature_c, method)
    from_empty = _needs(_shares(target.gas, wanted), top_up, order)
    for_start = _needs(_shares(start.gas, held), top_up, order)
    kept = _largest_share_kept(from_empty, for_start, order, wanted)
    bleed_to = None
    if kept is not None and kept < 1.0:
        bleed_to = pressure_bar(start.gas, kept * held, temperature_c, method)
    if kept is None or (bleed_to is not None and (not may_bleed or bleed_to < _LEAST_BLEED_BAR)):
        reason = _reason(from_empty, for_start, bleed_to, order, wanted)
        obstacle = FillObstacle(reason=reason, bleed_to_bar=bleed_to)
        return FillRecipe(bleed_to_bar=None, steps=(), result=start, as_real_gas=start, obstacle=obstacle)

    begin = start if bleed_to is None else CylinderGas(gas=start.gas, pressure_bar=bleed_to)
    amounts = {gas: from_empty.added[gas] - kept * for_start.added[gas] for gas in FillGas}
    before = begin.pressure_bar
    holding, steps = _shares(start.gas, kept * held), []
    for gas in order:
        if amounts[gas] <= _NEGLIGIBLE * wanted:
            continue
        holding = _plus(holding, _shares(mixture_of(gas, top_up), amounts[gas]))
        mixture = _mixture(holding)
        after = pressure_bar(mixture, sum(holding), temperature_c, method)
        steps.append(FillStep(gas=gas, from_bar=before, to_bar=after, holds=mixture, amount_mol_per_l=amounts[gas]))
        before = after
    result = CylinderGas(gas=steps[-1].holds if steps else start.gas, pressure_bar=before)
    to = [(mixture_of(step.gas, top_up), step.to_bar) for step in steps]
    really = result if method is Method.REAL else filled_to(begin, to, temperature_c, Method.REAL)
    return FillRecipe(bleed_to_bar=bleed_to, steps=tuple(steps), result=result, as_real_gas=really, obstacle=None)


def filled_to(
    start: CylinderGas,
    steps: Sequence[tuple[GasMixture, float]],
    temperature_c: float,
    method: Method = Method.REAL,
    *,
    path: str = "steps",
) -> CylinderGas:
    """What a cylinder holds after gases were let in, each up to an absolute pressure at this temperature.

    Answers topping up (one step), and what a recipe of another method really gives. A pressure at or below the one
    already there lets nothing in: it raises `InputError` with the place in `path`, for gas would flow the other way.
    """
    holding = _shares(start.gas, density_mol_per_l(start.gas, start.pressure_bar, temperature_c, method))
    now_bar = start.pressure_bar
    for place, (gas, to_bar) in enumerate(steps):
        require_gas_pressure_bar(to_bar, f"{path}[{place}].to_bar")
        if to_bar <= now_bar:
            raise InputError(f"{path}[{place}].to_bar", to_bar, f"above the {now_bar:.6g} bar that are in the cylinder")
        holding = _plus(holding, _shares(gas, _amount_to_reach(holding, gas, to_bar, temperature_c, method)))
        now_bar = to_bar
    return CylinderGas(gas=_mixture(holding) if steps else start.gas, pressure_bar=now_bar)


def mixture_of(gas: FillGas, top_up: GasMixture) -> GasMixture:
    """The mixture behind the name of a fill gas."""
    if gas is FillGas.TOP_UP:
        return top_up
    return GasMixture(oxygen_fraction=1.0) if gas is FillGas.OXYGEN else PURE_HELIUM


PURE_HELIUM = GasMixture(oxygen_fraction=0.0, helium_fraction=1.0)

_HELD = {FillGas.HELIUM: "helium", FillGas.OXYGEN: "oxygen", FillGas.TOP_UP: "nitrogen"}
"""What there is too much of where a gas would have to be taken out."""

_Amounts = tuple[float, float, float]
"""Oxygen, helium, nitrogen for each litre. [mol/L]"""


def _shares(gas: GasMixture, amount: float) -> _Amounts:
    return (gas.oxygen_fraction * amount, gas.helium_fraction * amount, gas.nitrogen_fraction * amount)


def _plus(one: _Amounts, other: _Amounts) -> _Amounts:
    return (one[0] + other[0], one[1] + other[1], one[2] + other[2])


def _mixture(holding: _Amounts) -> GasMixture:
    total = sum(holding)
    oxygen = min(1.0, max(0.0, holding[0] / total))
    return GasMixture(oxygen_fraction=oxygen, helium_fraction=min(1.0 - oxygen, max(0.0, holding[1] / total)))


def _amount_to_reach(holding: _Amounts, gas: GasMixture, to_bar: float, temperature_c: float, method: Method) -> float:
    """How much of a gas raises the cylinder to a pressure; by halving, because the mixture changes with it."""

    def reached(amount: float) -> float:
        mixed = _plus(holding, _shares(gas, amount))
        total = sum(mixed)
        return pressure_bar(_mixture(mixed), total, temperature_c, method) if total > 0.0 else 0.0

    low, high = 0.0, density_mol_per_l(gas, to_bar, temperature_c, method)
    for _ in range(80):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if reached(middle) < to_bar else (low, middle)
        if high - low <= 1e-14 * high:
            break
    return 0.5 * (low + high)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Needs:
    """Amounts that together make what is needed, and nitrogen that no gas of the order brings. [mol/L]"""

    added: dict[FillGas, float]
    nitrogen: float


def _needs(needed: _Amounts, top_up: GasMixture, order: tuple[FillGas, ...]) -> _Needs:
    oxygen, helium, nitrogen = needed
    top = 0.0
    if FillGas.TOP_UP in order:
        if top_up.nitrogen_fraction > _NEGLIGIBLE:
            top = nitrogen / top_up.nitrogen_fraction
        elif FillGas.HELIUM not in order and top_up.helium_fraction > 0.0:
            top = helium / top_up.helium_fraction
        elif FillGas.OXYGEN not in order and top_up.oxygen_fraction > 0.0:
            top = oxygen / top_up.oxygen_fraction
    return _Needs(
        added={
            FillGas.OXYGEN: oxygen - top * top_up.oxygen_fraction,
            FillGas.HELIUM: helium - top * top_up.helium_fraction,
            FillGas.TOP_UP: top,
        },
        nitrogen=nitrogen - top * top_up.nitrogen_fraction,
    )


def _largest_share_kept(
    from_empty: _Needs, for_start: _Needs, order: tuple[FillGas, ...], wanted: float
) -> float | None:
    """How much of the start mix can stay, 1 for all of it; None where no share of it leads to the target.

    Everything added is linear in that share, so each gas bounds it: what can be added must not be negative, and what
    cannot be added must be neither missing nor too much.
    """
    least, most = 0.0, 1.0
    bounds = [(from_empty.added[gas], for_start.added[gas], gas in order) for gas in FillGas]
    bounds.append((from_empty.nitrogen, for_start.nitrogen, False))
    for empty, start, can_be_added in bounds:
        slack = (_NEGLIGIBLE if can_be_added else _MATCHES) * wanted
        for side in (1.0,) if can_be_added else (1.0, -1.0):
            at_empty, falls = side * empty, side * start
            if at_empty < 0.0 and at_empty > -slack:
                at_empty = 0.0  # a hair of rounding must not send anybody to the vacuum pump
            if not can_be_added:
                at_empty += slack
            if falls > 0.0:
                most = min(most, at_empty / falls)
            elif falls < 0.0:
                least = max(least, at_empty / falls)
            elif at_empty < 0.0:
                return None
    if most < least:
        return None
    return 1.0 if most > 1.0 - _NEGLIGIBLE else most


def _reason(
    from_empty: _Needs, for_start: _Needs, bleed_to_bar: float | None, order: tuple[FillGas, ...], wanted: float
) -> str:
    """Why the target cannot be made from this start, and what to do instead."""
    if bleed_to_bar is not None:
        left = {_HELD[gas]: from_empty.added[gas] - for_start.added[gas] for gas in FillGas}
        left["nitrogen"] = min(left["nitrogen"], from_empty.nitrogen - for_start.nitrogen)
        too_much = [name for name, amount in left.items() if amount < -_NEGLIGIBLE * wanted]
        what = f"holds too much {' and '.join(too_much)}" if too_much else "does not fit these gases"
        if bleed_to_bar >= _LEAST_BLEED_BAR:
            how = f"Bleed it to {bleed_to_bar:.1f} bar (absolute) first"
        else:
            how = (
                f"It would have to be emptied to {bleed_to_bar:.2f} bar (absolute), below the 1 bar that an open "
                "cylinder keeps: use a vacuum pump, or aim for what the rest allows"
            )
        return f"The cylinder {what} for this target at this pressure. {how}"
    words = []
    for gas in (FillGas.HELIUM, FillGas.OXYGEN):
        amount = from_empty.added[gas]
        if amount < -_NEGLIGIBLE * wanted:
            words.append(f"the top-up gas brings more {gas.value} than the target has: take one with less")
        elif amount > _MATCHES * wanted and gas not in order:
            words.append(f"the target needs more {gas.value} than the order of gases can bring: add it to the order")
    if from_empty.nitrogen > _MATCHES * wanted:
        words.append("the target holds nitrogen and no gas of the order brings any: add a top-up gas that does")
    if not words:
        words.append("the start mix holds what no gas of the order can balance: empty the cylinder or add that gas")
        return f"This target cannot be made here: {words[0]}"
    return f"This target cannot be made from these gases, not even from an empty cylinder: {'; '.join(words)}"


def _require_order(order: Sequence[FillGas]) -> tuple[FillGas, ...]:
    gases = tuple(order)
    if not gases:
        raise InputError("order", "", "one gas or more")
    if len(set(gases)) != len(gases):
        raise InputError("order", ", ".join(gas.value for gas in gases), "each gas once")
    return gases
