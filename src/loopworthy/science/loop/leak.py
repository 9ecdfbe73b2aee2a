"""From millibars lost to millilitres leaked, with the part that temperature played taken off.

One general form covers rigid and soft loops: leak = C dP - V dT/T, signed, where C is the volume that one millibar is
worth. The same mbar is not the same leak on two units, so a leak is compared with the same unit's own history.
"""

from __future__ import annotations

from dataclasses import dataclass

from loopworthy.science.checks import (
    require_above,
    require_air_temperature_c,
    require_ambient_pressure_mbar,
    require_between,
)
from loopworthy.science.loop.trace import PressureTestKind
from loopworthy.science.physics.units import kelvin_from_celsius
from loopworthy.vocabulary.errors import DomainError

RIGID_SLACK = 0.02
"""A measured compliance may be this much below the gas's own V/P before it is refused."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeakRate:
    """A loss of pressure turned into a leak.

    Attributes
    ----------
    temperature_part_mbar : float
        How much of the loss is temperature's; negative where temperature hid some of the leak. [mbar]
    corrected_loss_mbar : float
        The loss less that part. [mbar]
    leak_ml_per_min : float
        Positive when the loop moves towards ambient pressure: out in a positive test, in in a negative one. [mL/min]
    """

    temperature_part_mbar: float
    corrected_loss_mbar: float
    leak_ml_per_min: float


def leak_rate(
    kind: PressureTestKind,
    *,
    loss_mbar: float,
    duration_s: float,
    start_gauge_mbar: float,
    ambient_pressure_mbar: float,
    loop_volume_l: float,
    temperature_c: float,
    temperature_change_k: float,
    compliance_ml_per_mbar: float | None = None,
) -> LeakRate:
    """Leak behind a loss of pressure.

    Parameters
    ----------
    kind : PressureTestKind
        Negative or positive test.
    loss_mbar : float
        How far the pressure moved towards ambient, -200 to 200. [mbar]
    duration_s : float
        In which time, 1 to 86 400. [s]
    start_gauge_mbar : float
        Gauge pressure at the start, signed. [mbar]
    ambient_pressure_mbar : float
        450 to 1100. [mbar]
    loop_volume_l : float
        Volume of the loop in the test, above 0 to 50. [L]
    temperature_c, temperature_change_k : float
        Gas temperature at the start, and its change (negative is cooling), -40 to 40. [°C, K]
    compliance_ml_per_mbar : float, optional
        Measured by injecting a known volume; it includes the gas's own V/P. Without it the loop is taken as rigid.

    Returns
    -------
    LeakRate
        Temperature's part, corrected loss and leak.

    Raises
    ------
    DomainError
        If an argument lies outside its range, or the compliance is below what the gas alone has.

    Notes
    -----
    Rigid: the temperature part is P_abs dT/T and the leak V dP / P_amb, the gas being counted at ambient pressure.
    Soft: a change of temperature acts as a volume, V dT/T, which is V dT/T / C in millibars, and the leak is C dP.
    P_abs and T are those of the start. In the positive test cooling looks like a leak and warming hides one; in the
    negative test it is the other way round.

    Examples
    --------
    >>> example = dict(loss_mbar=8.0, duration_s=60, start_gauge_mbar=25, ambient_pressure_mbar=1013,
    ...     loop_volume_l=6.0, temperature_c=19.85, temperature_change_k=-0.9)
    >>> round(leak_rate(PressureTestKind.POSITIVE, **example).corrected_loss_mbar, 1)
    4.8
    >>> round(leak_rate(PressureTestKind.POSITIVE, **example, compliance_ml_per_mbar=20).leak_ml_per_min)
    142
    """
    require_between("loss_mbar", loss_mbar, -200.0, 200.0, "mbar")
    require_between("duration_s", duration_s, 1.0, 86_400.0, "s")
    require_between("temperature_change_k", temperature_change_k, -40.0, 40.0, "K")
    part_mbar = temperature_part_mbar(
        kind,
        start_gauge_mbar=start_gauge_mbar,
        ambient_pressure_mbar=ambient_pressure_mbar,
        loop_volume_l=loop_volume_l,
        temperature_c=temperature_c,
        temperature_change_k=temperature_change_k,
        compliance_ml_per_mbar=compliance_ml_per_mbar,
    )
    corrected_mbar = loss_mbar - part_mbar
    worth = volume_of_a_millibar_ml(ambient_pressure_mbar, loop_volume_l, compliance_ml_per_mbar)
    return LeakRate(
        temperature_part_mbar=part_mbar,
        corrected_loss_mbar=corrected_mbar,
        leak_ml_per_min=worth * corrected_mbar * 60.0 / duration_s,
    )


def temperature_part_mbar(
    kind: PressureTestKind,
    *,
    start_gauge_mbar: float,
    ambient_pressure_mbar: float,
    loop_volume_l: float,
    temperature_c: float,
    temperature_change_k: float,
    compliance_ml_per_mbar: float | None = None,
) -> float:
    """How much of a loss is temperature's, after `leak_rate`: positive where it looks like a leak. [mbar]"""
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    require_air_temperature_c(temperature_c)
    require_between("start_gauge_mbar", start_gauge_mbar, -200.0, 200.0, "mbar")
    relative_change = temperature_change_k / kelvin_from_celsius(temperature_c)
    if compliance_ml_per_mbar is None:
        rise_mbar = (ambient_pressure_mbar + start_gauge_mbar) * relative_change
    else:
        worth = volume_of_a_millibar_ml(ambient_pressure_mbar, loop_volume_l, compliance_ml_per_mbar)
        rise_mbar = loop_volume_l * 1000.0 * relative_change / worth
    return -kind.sign * rise_mbar


def volume_of_a_millibar_ml(
    ambient_pressure_mbar: float, loop_volume_l: float, compliance_ml_per_mbar: float | None = None
) -> float:
    """Gas, at ambient pressure, that one millibar of the loop is worth: the compliance, or V/P of a rigid loop. [mL]"""
    require_ambient_pressure_mbar(ambient_pressure_mbar)
    require_loop_volume_l(loop_volume_l)
    rigid = loop_volume_l * 1000.0 / ambient_pressure_mbar
    if compliance_ml_per_mbar is None:
        return rigid
    require_compliance_ml_per_mbar(compliance_ml_per_mbar)
    if compliance_ml_per_mbar < rigid * (1.0 - RIGID_SLACK):
        raise DomainError(
            "compliance_ml_per_mbar",
            compliance_ml_per_mbar,
            f"at least {rigid:.3g}, which the gas of {loop_volume_l:g} L has in a rigid loop",
            next_step="Measure it again by injecting a known volume, or correct the loop volume",
        )
    return compliance_ml_per_mbar


def compliance_from_injection_ml_per_mbar(injected_ml: float, rise_mbar: float) -> float:
    """Compliance of a loop from a volume injected (1 to 5000 mL) and the rise it made (0.1 to 100 mbar).

    Examples
    --------
    >>> compliance_from_injection_ml_per_mbar(200, 10)
    20.0
    """
    require_between("injected_ml", injected_ml, 1.0, 5000.0, "mL")
    require_between("rise_mbar", rise_mbar, 0.1, 100.0, "mbar")
    return injected_ml / rise_mbar


def require_loop_volume_l(value: float) -> float:
    """The value, if it can be a loop: above 0.1 to 50 L."""
    hint = "It looks like mL; divide by 1000" if value >= 500.0 else ""
    return require_above("loop_volume_l", value, 0.1, 50.0, "L", next_step=hint)


def require_compliance_ml_per_mbar(value: float) -> float:
    """The value, if it can be a loop's: above 0 to 1000 mL per mbar."""
    return require_above("compliance_ml_per_mbar", value, 0.0, 1000.0, "mL per mbar")
