"""An analysed fraction against the planned one, with what the instrument can tell.

A recipe says what ought to be in a cylinder; only the analysis says what is. An analyser within one per cent cannot
decide a tolerance of one per cent, and the highest fraction that the reading allows is the one for depth limits.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import require_above, require_between, require_fraction
from loopworthy.science.uncertainty import (
    RECTANGULAR,
    Decision,
    UncertaintyTerm,
    decide,
    expanded_uncertainty,
    resolution_uncertainty,
    term,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AnalysisCheck:
    """An analysis judged.

    Attributes
    ----------
    difference_fraction : float
        Read less planned.
    uncertainty_fraction : float
        Expanded uncertainty of the reading.
    lowest_fraction, highest_fraction : float
        What the reading allows; the highest oxygen goes into depth limits, the lowest into breathability.
    decision : Decision
        Inside, near limit or outside the tolerance, with the uncertainty as guard band.
    terms : tuple of UncertaintyTerm
        What the uncertainty is made of.
    """

    difference_fraction: float
    uncertainty_fraction: float
    lowest_fraction: float
    highest_fraction: float
    decision: Decision
    terms: tuple[UncertaintyTerm, ...]


def check_analysis(
    planned_fraction: float,
    read_fraction: float,
    *,
    tolerance_fraction: float,
    accuracy_fraction: float,
    resolution_fraction: float,
    calibrated_at_fraction: float | None = None,
    calibration_uncertainty_fraction: float = 0.0,
) -> AnalysisCheck:
    """Judge one analysis of oxygen or helium.

    Parameters
    ----------
    planned_fraction, read_fraction : float
        Planned and read, 0 to 1.
    tolerance_fraction : float
        Largest difference allowed, above 0 to 0.1; 0.01 for oxygen and 0.02 for helium are common practice.
    accuracy_fraction : float
        Half-width that the instrument's maker states, 0 to 0.1; taken as rectangular.
    resolution_fraction : float
        Step of its display, 0 to 0.1.
    calibrated_at_fraction : float or None
        Known gas on which it was set, above 0 to 1; its error grows with the reading.
    calibration_uncertainty_fraction : float
        Standard uncertainty of that gas's fraction, 0 to 0.1.

    Returns
    -------
    AnalysisCheck
        Difference, uncertainty, bounds and decision.

    Raises
    ------
    DomainError
        If an argument lies outside its range.

    Notes
    -----
    After the GUM to first order with coverage factor 2, as in `uncertainty`.
    """
    require_fraction("planned_fraction", planned_fraction)
    require_fraction("read_fraction", read_fraction)
    require_above("tolerance_fraction", tolerance_fraction, 0.0, 0.1)
    require_between("accuracy_fraction", accuracy_fraction, 0.0, 0.1)
    require_between("resolution_fraction", resolution_fraction, 0.0, 0.1)
    require_between("calibration_uncertainty_fraction", calibration_uncertainty_fraction, 0.0, 0.1)
    terms = [
        term("accuracy", "1", accuracy_fraction / RECTANGULAR, 1.0),
        term("resolution", "1", resolution_uncertainty(resolution_fraction), 1.0),
    ]
    if calibrated_at_fraction is not None:
        require_fraction("calibrated_at_fraction", calibrated_at_fraction, above_zero=True)
        gain = read_fraction / calibrated_at_fraction
        terms.append(term("calibration gas", "1", calibration_uncertainty_fraction, gain))
    uncertainty = expanded_uncertainty(tuple(terms))
    difference = read_fraction - planned_fraction
    return AnalysisCheck(
        difference_fraction=difference,
        uncertainty_fraction=uncertainty,
        lowest_fraction=max(0.0, read_fraction - uncertainty),
        highest_fraction=min(1.0, read_fraction + uncertainty),
        decision=decide(difference, tolerance_fraction, uncertainty),
        terms=tuple(terms),
    )
