"""The whole rehearsal in one call."""

from __future__ import annotations

from random import Random

from loopworthy.desk.demo.story import Teller, at
from loopworthy.desk.demo.today import tell_today
from loopworthy.desk.demo.walk import WalkingClock
from loopworthy.desk.demo.weeks import BENCH_DAY, begin_club, tell_weeks
from loopworthy.desk.workplace import Workplace


def first_moment() -> WalkingClock:
    """A clock at the moment at which the record of the rehearsal is begun."""
    return WalkingClock(at(BENCH_DAY, "08:45"))


def tell(workplace: Workplace, clock: WalkingClock, chance: Random) -> Teller:
    """Tell four weeks and a morning into an empty workplace.

    Parameters
    ----------
    workplace : Workplace
        Begun at `first_moment`, with that clock.
    clock : WalkingClock
    chance : Random
        The same seed gives the same readings; identities are the record's own.
    """
    teller = begin_club(workplace, clock, chance)
    tell_weeks(teller)
    tell_today(teller)
    return teller
