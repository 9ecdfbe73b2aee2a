"""The oxygen check: what a sensor should read in oxygen, given what the same sensor read in air an hour ago.

A fixed coefficient uses up most of a 2 mV tolerance on a hot and humid morning before the sensor is judged, so it is
worked out from the day's pressure, temperature, humidity and oxygen purity, with its uncertainty. The check looks at
two points at ambient pressure; it proves nothing about the sensor above that, where a set point of 1.3 bar lies.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import (
    require_above,
    require_air_temperature_c,
    require_ambient_pressure_mbar,
    require_between,
    require_fraction,
    require_humidity_fraction,
)
from loopworthy.science.physics.constants import AIR_OXYGEN_FRACTION
from loopworthy.science.physics.water_vapour import saturated_vapour_pressure_mbar, saturated_vapour_slope_mbar_per_k
from loopworthy.science.uncertainty import (
    RECTANGULAR,
    Decision,
    UncertaintyTerm,
    decide,
    expanded_uncertainty,
    resolution_uncertainty,
    term,
)

SENSOR_DRIFT_PER_K = 0.002
"""What a sensor's own temperature compensation may leave over, half-width. From memory: confirm per sensor kind."""


@dataclass(frozen=True, slots=True, kw_only=True)
class InputUncertainties:
    """Standard uncertainties of the day's readings; the defaults are what ordinary instruments are good for.

    Attributes
    ----------
    ambient_pressure_mbar : float
        Barometer, 3 mbar each way. It hardly matters, as long as both readings are made at one place. [mbar]
    temperature_c : float
        Thermometer, 1 K each way. [K]
    relative_humidity_fraction : float
        Hygrometer, 5 % relative humidity each way.
    oxygen_fraction : float
        Purity of the oxygen, 0.5 % each way.
    air_oxygen_fraction : float
        Oxygen in dry air around 0.2095.
    reading_mv : float
        What the millivolt readings may be off by on top of their resolution, for each of the two. [mV]
    sensor_temperature_difference_k : float
        By how much the sensor's own temperature may have changed between the two readings; not a standard uncertainty.
        The default of 0 assumes that it was left in peace. [K]
    """

    ambient_pressure_mbar: float = 3.0 / RECTANGULAR
    temperature_c: float = 1.0 / RECTANGULAR
    relative_humidity_fraction: float = 0.05 / RECTANGULAR
    oxygen_fraction: float = 0.005 / RECTANGULAR
    air_oxygen_fraction: float = 0.0001
    reading_mv: float = 0.0
    sensor_temperature_difference_k: float = 0.0

    def __post_init__(self) -> None:
        prefix = "uncertainties."
        require_between(prefix + "ambient_pressure_mbar", self.ambient_pressure_mbar, 0.0, 100.0, "mbar")
        require_between(prefix + "temperature_c", self.temperature_c, 0.0, 30.0, "K")
        require_between(prefix + "relative_humidity_fraction", self.relative_humidity_fraction, 0.0, 0.5)
        require_between(prefix + "oxygen_fraction", self.oxygen_fraction, 0.0, 0.2)
        require_between(prefix + "air_oxygen_fraction", self.air_oxygen_fraction, 0.0, 0.01)
        require_between(prefix + "reading_mv", self.reading_mv, 0.0, 10.0, "mV")
        difference_k = self.sensor_temperature_difference_k
        require_between(prefix + "sensor_temperature_difference_k", difference_k, 0.0, 60.0, "K")


ORDINARY_INSTRUMENTS = InputUncertainties()


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenCoefficient:
    """The day's ratio of oxygen reading to air reading, and the two partial pressures behind it."""

    coefficient: float
    air_oxygen_bar: float
    oxygen_bar: float
    water_vapour_mbar: float
    saturated_vapour_mbar: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OxygenCheck:
    """One sensor's oxygen reading against what its air reading foretold.

    Attributes
    ----------
    expected_mv, difference_mv : float
        Expected reading; measured less expected. [mV]
    difference_fraction : float
        The difference over the expected reading.
    difference_at_set_point_bar : float
        By how much this sensor would be off at the set point, if the difference scales with pressure. [bar]
    uncertainty_mv : float
        Expanded uncertainty (coverage factor 2) of the difference. [mV]
    decision : Decision
        With the uncertainty as guard band around the tolerance.
    can_decide : bool
        Whether a perfect sensor could be found inside at all; false where the uncertainty exceeds the tolerance.
    reason : str
        One sentence that says why.
    terms : tuple of UncertaintyTerm
        The budget, contributions in mV.
    """

    air_mv: float
    oxygen_mv: float
    coefficient: float
    expected_mv: float
    difference_mv: float
    difference_fraction: float
    difference_at_set_point_bar: float
    tolerance_mv: float
    uncertainty_mv: float
    decision: Decision
    can_decide: bool
    reason: str
    terms: tuple[UncertaintyTerm, ...]


def oxygen_coefficient(
    *,
    ambient_pressure_mbar: float,
    temperature_c: float,
    relative_humidity_fraction: float,
    oxygen_fraction: float,
    oxygen_is_humid: bool,
) -> OxygenCoefficient:
    """Ratio of the oxygen reading to the air reading of an ideal sensor, both at this place and on this day.

    Parameters
    ----------
    ambient_pressure_mbar : float
        Barometric pressure of both readings, 450 to 1100. [mbar]
    temperature_c : float
        Temperature of the air, and of the loop where the oxygen is humid, -20 to 60. [°C]
    relative_humidity_fraction : float
        Humidity of the air, 0 to 1.
    oxygen_fraction : float
        Oxygen in the dry gas of the cylinder, 0.25 to 1.
    oxygen_is_humid : bool
        True for a flush of a wet loop (the gas is then saturated), false for dry gas straight onto the sensor.

    Returns
    -------
    OxygenCoefficient
        The ratio with its two partial pressures. [bar]

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    F (P - w psat) / (0.2095 (P - RH psat)), with w 1 for humid and 0 for dry oxygen. Output is taken as proportional
    to oxygen pressure with no offset at zero.

    Examples
    --------
    >>> day = oxygen_coefficient(ambient_pressure_mbar=1008, temperature_c=22, relative_humidity_fraction=0.55,
    ...     oxygen_fraction=0.992, oxygen_is_humid=False)
    >>> round(day.coefficient, 3)
    4.804
    """
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    require_air_temperature_c(temperature_c)
    require_humidity_fraction(relative_humidity_fraction)
    require_fraction("oxygen_fraction", oxygen_fraction, low=0.25)
    saturated_mbar = saturated_vapour_pressure_mbar(temperature_c)
    vapour_mbar = relative_humidity_fraction * saturated_mbar
    air_bar = AIR_OXYGEN_FRACTION * (ambient_pressure_mbar - vapour_mbar) / 1000.0
    oxygen_vapour_mbar = saturated_mbar if oxygen_is_humid else 0.0
    oxygen_bar = oxygen_fraction * (ambient_pressure_mbar - oxygen_vapour_mbar) / 1000.0
    return OxygenCoefficient(
        coefficient=oxygen_bar / air_bar,
        air_oxygen_bar=air_bar,
        oxygen_bar=oxygen_bar,
        water_vapour_mbar=vapour_mbar,
        saturated_vapour_mbar=saturated_mbar,
    )


def check_oxygen_reading(
    *,
    air_mv: float,
    oxygen_mv: float,
    ambient_pressure_mbar: float,
    temperature_c: float,
    relative_humidity_fraction: float,
    oxygen_fraction: float,
    oxygen_is_humid: bool,
    tolerance_mv: float,
    resolution_mv: float,
    set_point_bar: float,
    uncertainties: InputUncertainties = ORDINARY_INSTRUMENTS,
) -> OxygenCheck:
    """Compare a sensor's oxygen reading with the one that its own air reading foretells.

    Parameters
    ----------
    air_mv, oxygen_mv : float
        Readings of the same sensor, air above 0 to 50, oxygen 0 to 250. [mV]
    ambient_pressure_mbar, temperature_c, relative_humidity_fraction, oxygen_fraction, oxygen_is_humid
        As in `oxygen_coefficient`.
    tolerance_mv : float
        How far the readings may lie apart, above 0 to 20. [mV]
    resolution_mv : float
        Smallest step that the display shows, above 0 to 5. [mV]
    set_point_bar : float
        Highest set point of the dive, 0.2 to 2. [bar]
    uncertainties : InputUncertainties
        What the other instruments are good for.

    Returns
    -------
    OxygenCheck
        Difference, uncertainty with its terms, and the decision.

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    Combined uncertainty after the GUM [1]_ to first order, inputs taken as independent, coverage factor 2. It belongs
    to the difference, so the resolution of both readings counts; the air reading's is multiplied by the coefficient.

    References
    ----------
    .. [1] JCGM 100:2008, "Evaluation of measurement data: Guide to the expression of uncertainty in measurement".
    """
    _require_readings(air_mv, oxygen_mv)
    require_check_limits(tolerance_mv, resolution_mv, set_point_bar)
    day = oxygen_coefficient(
        ambient_pressure_mbar=ambient_pressure_mbar,
        temperature_c=temperature_c,
        relative_humidity_fraction=relative_humidity_fraction,
        oxygen_fraction=oxygen_fraction,
        oxygen_is_humid=oxygen_is_humid,
    )
    expected_mv = air_mv * day.coefficient
    difference_mv = oxygen_mv - expected_mv
    dry_air_mbar = ambient_pressure_mbar - day.water_vapour_mbar
    dry_oxygen_mbar = ambient_pressure_mbar - (day.saturated_vapour_mbar if oxygen_is_humid else 0.0)
    slope_mbar_per_k = saturated_vapour_slope_mbar_per_k(temperature_c)
    by_vapour = relative_humidity_fraction / dry_air_mbar - (1.0 / dry_oxygen_mbar if oxygen_is_humid else 0.0)
    step_mv = resolution_uncertainty(resolution_mv)
    drift = SENSOR_DRIFT_PER_K * uncertainties.sensor_temperature_difference_k / RECTANGULAR
    # Sensitivities of the difference (measured less expected): those of the expected reading with their sign turned.
    terms = (
        term("resolution of the air reading", "mV", step_mv, -day.coefficient),
        term("resolution of the oxygen reading", "mV", step_mv, 1.0),
        term("oxygen purity", "fraction", uncertainties.oxygen_fraction, -expected_mv / oxygen_fraction),
        term(
            "ambient pressure",
            "mbar",
            uncertainties.ambient_pressure_mbar,
            -expected_mv * (1.0 / dry_oxygen_mbar - 1.0 / dry_air_mbar),
        ),
        term("temperature", "K", uncertainties.temperature_c, -expected_mv * slope_mbar_per_k * by_vapour),
        term(
            "humidity",
            "fraction",
            uncertainties.relative_humidity_fraction,
            -expected_mv * day.saturated_vapour_mbar / dry_air_mbar,
        ),
        term("oxygen in dry air", "fraction", uncertainties.air_oxygen_fraction, expected_mv / AIR_OXYGEN_FRACTION),
        term("air reading beyond its resolution", "mV", uncertainties.reading_mv, -day.coefficient),
        term("oxygen reading beyond its resolution", "mV", uncertainties.reading_mv, 1.0),
        term("sensor's own temperature compensation", "fraction", drift, -expected_mv),
    )
    uncertainty_mv = expanded_uncertainty(terms)
    decision = decide(difference_mv, tolerance_mv, uncertainty_mv)
    difference_fraction = difference_mv / expected_mv
    return OxygenCheck(
        air_mv=air_mv,
        oxygen_mv=oxygen_mv,
        coefficient=day.coefficient,
        expected_mv=expected_mv,
        difference_mv=difference_mv,
        difference_fraction=difference_fraction,
        difference_at_set_point_bar=set_point_bar * difference_fraction,
        tolerance_mv=tolerance_mv,
        uncertainty_mv=uncertainty_mv,
        decision=decision,
        can_decide=uncertainty_mv <= tolerance_mv,
        reason=_reason(decision, difference_mv, tolerance_mv, uncertainty_mv, resolution_mv, terms),
        terms=terms,
    )


def require_check_limits(tolerance_mv: float, resolution_mv: float, set_point_bar: float) -> None:
    """Refuse a tolerance, a resolution or a set point outside its range."""
    require_above("tolerance_mv", tolerance_mv, 0.0, 20.0, "mV")
    require_above("resolution_mv", resolution_mv, 0.0, 5.0, "mV")
    require_between("set_point_bar", set_point_bar, 0.2, 2.0, "bar")


def _require_readings(air_mv: float, oxygen_mv: float) -> None:
    hint = ""
    if air_mv == 0.0:
        hint = "A sensor without output in air has failed and cannot be judged by its ratio"
    elif 50.0 < air_mv <= 200.0:
        hint = f"Was {air_mv / 10:.4g} meant?"
    require_above("air_mv", air_mv, 0.0, 50.0, "mV", next_step=hint)
    require_between("oxygen_mv", oxygen_mv, 0.0, 250.0, "mV")


def _reason(
    decision: Decision,
    difference_mv: float,
    tolerance_mv: float,
    uncertainty_mv: float,
    resolution_mv: float,
    terms: tuple[UncertaintyTerm, ...],
) -> str:
    largest = max(terms, key=lambda line: line.contribution)
    known = f"{difference_mv:+.2f} mV, known to {uncertainty_mv:.2f} mV, against {tolerance_mv:g} mV"
    if decision is Decision.OUTSIDE:
        return f"The difference of {known} is outside even with the uncertainty taken off"
    if uncertainty_mv > tolerance_mv:
        cause = f"most of it is the {largest.name}"
        if "resolution" in largest.name:
            cause = f"a display in steps of {resolution_mv:g} mV is too coarse, read it finer"
        return f"The difference of {known} cannot be decided: {cause}"
    if decision is Decision.INSIDE:
        return f"The difference of {known} is inside even with the uncertainty added"
    return f"The difference of {known} is too near the limit to tell; most of the uncertainty is the {largest.name}"
