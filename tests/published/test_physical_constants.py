"""Constants against CODATA 2022 (through SciPy) and CoolProp's fluid files.

Source of each row in data/physical_constants.csv.
"""

from __future__ import annotations

import pytest
import scipy.constants

from loopworthy.science.physics import constants
from tests.published.rows import value_of

TABLE = "physical_constants"


@pytest.mark.parametrize(
    ("item", "ours"),
    [
        ("molar gas constant", constants.GAS_CONSTANT_J_PER_MOL_K),
        ("standard gravity", constants.STANDARD_GRAVITY_M_PER_S2),
        ("standard atmosphere", constants.STANDARD_ATMOSPHERE_BAR * 1e5),
        ("zero Celsius", constants.ZERO_CELSIUS_K),
        ("molar mass O2", constants.OXYGEN_MOLAR_MASS_G_PER_MOL / 1000.0),
        ("molar mass N2", constants.NITROGEN_MOLAR_MASS_G_PER_MOL / 1000.0),
        ("molar mass He", constants.HELIUM_MOLAR_MASS_G_PER_MOL / 1000.0),
    ],
)
def test_constants_are_the_published_ones(item: str, ours: float) -> None:
    assert ours == pytest.approx(value_of(TABLE, item), rel=1e-9)


def test_the_gas_constant_is_that_of_the_library_too() -> None:
    assert pytest.approx(scipy.constants.R, rel=1e-12) == constants.GAS_CONSTANT_J_PER_MOL_K


def test_pressure_units_are_those_of_the_library() -> None:
    from loopworthy.science.physics.units import PASCALS

    assert PASCALS["psi"] == pytest.approx(scipy.constants.psi, rel=1e-12)
    assert PASCALS["atm"] == scipy.constants.atm
    # The conventional millimetre of mercury is 1.4e-7 above the torr, which the library calls mmHg.
    assert PASCALS["mmHg"] == pytest.approx(scipy.constants.mmHg, rel=2e-7)
