"""Constants of nature and conventions, each with its source.

Exact values are exact by definition of the SI or of the unit; conventions say whose they are.
"""

from __future__ import annotations

GAS_CONSTANT_J_PER_MOL_K = 8.31446261815324
"""Molar gas constant, exact since 2019. Source: CODATA 2022."""

STANDARD_GRAVITY_M_PER_S2 = 9.80665
"""Exact by convention. Source: CODATA 2022."""

STANDARD_ATMOSPHERE_BAR = 1.01325
"""Exact by convention. Source: CODATA 2022."""

ZERO_CELSIUS_K = 273.15
"""Exact, SI."""

OXYGEN_MOLAR_MASS_G_PER_MOL = 31.9988
"""Source: fluid files of CoolProp 8.0.0."""

NITROGEN_MOLAR_MASS_G_PER_MOL = 28.01348
"""Source: fluid files of CoolProp 8.0.0. Air's argon is counted as nitrogen, which makes air 0.4 % too light."""

HELIUM_MOLAR_MASS_G_PER_MOL = 4.002602
"""Source: fluid files of CoolProp 8.0.0."""

AIR_OXYGEN_FRACTION = 0.2095
"""Oxygen in dry air, rounded: 0.209476 in the CRC Handbook (83rd ed.), 0.20939 in CIPM-2007 (from memory)."""

AIR_NITROGEN_FRACTION = 0.79
"""Nitrogen in air as every table of equivalent depths takes it. Common practice."""
