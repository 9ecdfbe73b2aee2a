"""Every calculation, callable alone: a name and JSON in, JSON out.

`CALCULATIONS` lists them with what they read and answer; `calculate` runs one. Unknown keys, numbers that are not
finite and values outside their range are refused with the key named. The numbers themselves come from ``science``.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from loopworthy.desk.compute import decompression, exposure, fills, gas_plan, loop, physics, sensors
from loopworthy.desk.compute.calculation import Calculation
from loopworthy.vocabulary.errors import UnknownNameError

__all__ = ["CALCULATIONS", "Calculation", "calculate"]

CALCULATIONS: Mapping[str, Calculation[Any]] = MappingProxyType(
    {
        each.name: each
        for each in (
            *sensors.CALCULATIONS,
            *loop.CALCULATIONS,
            *physics.CALCULATIONS,
            *fills.CALCULATIONS,
            *gas_plan.CALCULATIONS,
            *exposure.CALCULATIONS,
            *decompression.CALCULATIONS,
        )
    }
)
"""Every calculation by its name."""


def calculate(name: str, request: bytes | str) -> bytes:
    """Run one calculation.

    Parameters
    ----------
    name : str
        A key of `CALCULATIONS`.
    request : bytes or str
        A JSON object with the keys of that calculation's `request_type`.

    Returns
    -------
    bytes
        A JSON object with the keys of its `answer_type`; numbers are not rounded.

    Raises
    ------
    UnknownNameError
        If there is no calculation of that name.
    InputError
        If the request is not JSON, has unknown, repeated or missing keys, or a value of the wrong type or range; the
        message names the key with its path.
    """
    calculation = CALCULATIONS.get(name)
    if calculation is None:
        raise UnknownNameError("calculation", name, tuple(CALCULATIONS))
    return calculation.answer(request)
