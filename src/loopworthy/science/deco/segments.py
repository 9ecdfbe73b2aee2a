"""Segments of a dive: a stay at one depth, and a travel that is linear in time.

Schreiner's solution of dp/dt = k (p_inspired(t) - p), written as an affine map of the row, ``row × kept + added``. A
travel with kinks is one map as well: that of its pieces one after the other.
"""

from __future__ import annotations

from typing import NamedTuple

from loopworthy.science.deco.breathing import Breathing
from loopworthy.science.deco.rows import (
    Row,
    added_by,
    filled,
    kept_after,
    multiplied,
    ramp_over,
    settled,
    travelled,
)
from loopworthy.science.deco.settings import DecoSettings
from loopworthy.vocabulary.errors import DomainError

_NOTHING = (0.0, 0.0)
"""What a loop of oxygen alone gives to breathe of both inert gases."""


class Segment(NamedTuple):
    """An affine map of the row, and how long it takes. [min]"""

    minutes: float
    kept: Row
    added: Row


def travel(from_m: float, to_m: float, rate_m_per_min: float, breathing: Breathing, settings: DecoSettings) -> Segment:
    """The map of a travel between two different depths."""
    chosen = settings.coefficients
    pieces = breathing.pieces(from_m, to_m, settings)
    minutes = abs(to_m - from_m) / rate_m_per_min
    kept: Row | None = None
    added: Row = []
    for piece in pieces:
        part_min = minutes if len(pieces) == 1 else abs(piece.to_m - piece.from_m) / rate_m_per_min
        if piece.at_start == _NOTHING == piece.at_end:
            factor, more = kept_after(chosen, part_min), filled(*_NOTHING)
        else:
            ramp = ramp_over(chosen, part_min)
            factor, more = ramp.kept, added_by(ramp, filled(*piece.at_start), filled(*piece.at_end))
        if kept is None:
            kept, added = factor, more
        else:
            kept, added = multiplied(kept, factor), travelled(added, factor, more)
    if kept is None:
        raise DomainError("to_m", to_m, f"another depth than from_m={from_m:g}")
    return Segment(minutes, kept, added)


def stay(row: Row, depth_m: float, minutes: float, breathing: Breathing, settings: DecoSettings) -> Row:
    """The row after a stay at a depth, 0 min or longer."""
    if minutes <= 0.0:
        return row
    nitrogen_bar, helium_bar = breathing.held(depth_m, settings)
    return settled(row, filled(nitrogen_bar, helium_bar), kept_after(settings.coefficients, minutes))
