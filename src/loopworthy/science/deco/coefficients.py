"""Half-times and limits of the sixteen compartments of ZH-L16, in three variants and two forms of the first one.

The tables are data, each with the place it comes from. Only variant A could be read in a source and follows a formula;
B and C are from memory, which every answer computed with them has to say.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from functools import lru_cache

COMPARTMENTS = 16


class Variant(Enum):
    """Which set of limits: A follows the formula, B was made for printed tables, C for devices that compute."""

    A = "A"
    B = "B"
    C = "C"


class FirstCompartment(Enum):
    """The fastest compartment: as first published, 4 min for nitrogen, or the slower form "1b" of 5 min."""

    FOUR_MINUTES = "4 min"
    FIVE_MINUTES = "5 min"


@dataclass(frozen=True, slots=True, kw_only=True)
class CompartmentLimit:
    """One compartment and one gas: half-time [min], a [bar] and b of the limit a + P/b."""

    half_time_min: float
    a_bar: float
    b: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coefficients:
    """All that the model needs of one variant, with what is known about where it comes from.

    There is one object for each choice, made by `coefficients`; it is told from others by identity, which is quick.

    Attributes
    ----------
    variant, first_compartment : Variant, FirstCompartment
        What was chosen.
    nitrogen, helium : tuple of CompartmentLimit
        Sixteen each, from the fastest compartment to the slowest.
    provenance : str
        How well the numbers are known, in words for whoever reads a plan.
    rates_per_min : tuple of float
        ln 2 over the half-time, sixteen of nitrogen, then sixteen of helium.
    """

    variant: Variant
    first_compartment: FirstCompartment
    nitrogen: tuple[CompartmentLimit, ...]
    helium: tuple[CompartmentLimit, ...]
    provenance: str
    rates_per_min: tuple[float, ...]


FROM_MEMORY = "coefficients from memory, not confirmed against the book"
"""What is said of variants B and C."""

AS_PUBLISHED = (
    "coefficients of Bühlmann's ZH-L16 A as quoted in an encyclopaedia article; nitrogen follows the published formula"
)
"""What is said of variant A."""

# Each row: half-time [min], a [bar], b. The second row is the 5-minute form of the first compartment; a set has either.
# Variant A: Bühlmann, "Decompression - Decompression Sickness" (1984), seen quoted in an encyclopaedia article; the
# rows of 5.0 and 1.88 min are the formula of variant A at these half-times. Variants B and C: Bühlmann, Völlm and
# Nussberger, "Tauchmedizin" (5th ed., 2002), from memory; only helium 1.51 / 1.7424 / 0.4245 was seen quoted.
_Row = tuple[float, float, float]

_NITROGEN_A: tuple[_Row, ...] = (
    (4.0, 1.2599, 0.5050),
    (5.0, 1.1696, 0.5578),
    (8.0, 1.0000, 0.6514),
    (12.5, 0.8618, 0.7222),
    (18.5, 0.7562, 0.7725),
    (27.0, 0.6667, 0.8125),
    (38.3, 0.5933, 0.8434),
    (54.3, 0.5282, 0.8693),
    (77.0, 0.4701, 0.8910),
    (109.0, 0.4187, 0.9092),
    (146.0, 0.3798, 0.9222),
    (187.0, 0.3497, 0.9319),
    (239.0, 0.3223, 0.9403),
    (305.0, 0.2971, 0.9477),
    (390.0, 0.2737, 0.9544),
    (498.0, 0.2523, 0.9602),
    (635.0, 0.2327, 0.9653),
)

_HELIUM_A: tuple[_Row, ...] = (
    (1.5, 1.7435, 0.1911),
    (1.88, 1.6205, 0.2757),
    (3.0, 1.3838, 0.4295),
    (4.7, 1.1925, 0.5446),
    (7.0, 1.0465, 0.6265),
    (10.2, 0.9226, 0.6917),
    (14.5, 0.8211, 0.7420),
    (20.5, 0.7309, 0.7841),
    (29.1, 0.6506, 0.8195),
    (41.1, 0.5794, 0.8491),
    (55.1, 0.5256, 0.8703),
    (70.6, 0.4840, 0.8860),
    (90.2, 0.4460, 0.8997),
    (115.1, 0.4112, 0.9118),
    (147.2, 0.3788, 0.9226),
    (187.9, 0.3492, 0.9321),
    (239.6, 0.3220, 0.9404),
)

_NITROGEN_B: tuple[_Row, ...] = (
    (4.0, 1.2599, 0.5050),
    (5.0, 1.1696, 0.5578),
    (8.0, 1.0000, 0.6514),
    (12.5, 0.8618, 0.7222),
    (18.5, 0.7562, 0.7825),
    (27.0, 0.6667, 0.8126),
    (38.3, 0.5600, 0.8434),
    (54.3, 0.4947, 0.8693),
    (77.0, 0.4500, 0.8910),
    (109.0, 0.4187, 0.9092),
    (146.0, 0.3798, 0.9222),
    (187.0, 0.3497, 0.9319),
    (239.0, 0.3223, 0.9403),
    (305.0, 0.2850, 0.9477),
    (390.0, 0.2737, 0.9544),
    (498.0, 0.2523, 0.9602),
    (635.0, 0.2327, 0.9653),
)

_NITROGEN_C: tuple[_Row, ...] = (
    (4.0, 1.2599, 0.5050),
    (5.0, 1.1696, 0.5578),
    (8.0, 1.0000, 0.6514),
    (12.5, 0.8618, 0.7222),
    (18.5, 0.7562, 0.7825),
    (27.0, 0.6200, 0.8126),
    (38.3, 0.5043, 0.8434),
    (54.3, 0.4410, 0.8693),
    (77.0, 0.4000, 0.8910),
    (109.0, 0.3750, 0.9092),
    (146.0, 0.3500, 0.9222),
    (187.0, 0.3295, 0.9319),
    (239.0, 0.3065, 0.9403),
    (305.0, 0.2835, 0.9477),
    (390.0, 0.2610, 0.9544),
    (498.0, 0.2480, 0.9602),
    (635.0, 0.2327, 0.9653),
)

_HELIUM_B_AND_C: tuple[_Row, ...] = (
    (1.51, 1.7424, 0.4245),
    (1.88, 1.6189, 0.4770),
    (3.02, 1.3830, 0.5747),
    (4.72, 1.1919, 0.6527),
    (6.99, 1.0458, 0.7223),
    (10.21, 0.9220, 0.7582),
    (14.48, 0.8205, 0.7957),
    (20.53, 0.7305, 0.8279),
    (29.11, 0.6502, 0.8553),
    (41.20, 0.5950, 0.8757),
    (55.19, 0.5545, 0.8903),
    (70.69, 0.5333, 0.8997),
    (90.34, 0.5189, 0.9073),
    (115.29, 0.5181, 0.9122),
    (147.42, 0.5176, 0.9171),
    (188.24, 0.5172, 0.9217),
    (240.03, 0.5119, 0.9267),
)

_TABLES = {
    Variant.A: (_NITROGEN_A, _HELIUM_A, AS_PUBLISHED),
    Variant.B: (_NITROGEN_B, _HELIUM_B_AND_C, FROM_MEMORY),
    Variant.C: (_NITROGEN_C, _HELIUM_B_AND_C, FROM_MEMORY),
}


@lru_cache(maxsize=8)
def coefficients(
    variant: Variant = Variant.C, first_compartment: FirstCompartment = FirstCompartment.FIVE_MINUTES
) -> Coefficients:
    """The coefficients of a variant, with the form of its first compartment."""
    nitrogen_rows, helium_rows, provenance = _TABLES[variant]
    nitrogen = _sixteen(nitrogen_rows, first_compartment)
    helium = _sixteen(helium_rows, first_compartment)
    return Coefficients(
        variant=variant,
        first_compartment=first_compartment,
        nitrogen=nitrogen,
        helium=helium,
        provenance=provenance,
        rates_per_min=tuple(math.log(2.0) / one.half_time_min for one in nitrogen + helium),
    )


def _sixteen(rows: tuple[_Row, ...], first: FirstCompartment) -> tuple[CompartmentLimit, ...]:
    chosen = 0 if first is FirstCompartment.FOUR_MINUTES else 1
    return tuple(
        CompartmentLimit(half_time_min=half_time_min, a_bar=a_bar, b=b)
        for half_time_min, a_bar, b in (rows[chosen], *rows[2:])
    )
