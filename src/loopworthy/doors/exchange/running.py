"""An exchange that runs while pages go on being answered, and what is remembered of it.

One at a time for each process. The event loop that answers pages carries it: between two requests to the hub, and
nowhere else, pages get their turn, so none ever sees half a merge.
"""

from __future__ import annotations

import asyncio
import logging
from typing import Final

import msgspec

from loopworthy.desk.workplace import Workplace
from loopworthy.doors.exchange.client import Means, NotGrantedError, NotReachedError, Outcome, exchange
from loopworthy.doors.exchange.hubs import JoinedHub, joined_hubs, keep_hub
from loopworthy.record.record import Record
from loopworthy.vocabulary.errors import LoopworthyError
from loopworthy.vocabulary.time import Moment

AGAIN_AFTER_S: Final = 300
"""By itself a device exchanges at most this often. Set by the makers of this program. [s]"""

_log = logging.getLogger("loopworthy.exchange")


async def exchange_once(record: Record, hub: JoinedHub, means: Means) -> tuple[JoinedHub, Outcome]:
    """Exchange, and remember with the hub how it went; an error is remembered and raised.

    Raises
    ------
    LoopworthyError
        As `client.exchange` says.
    """
    begun = msgspec.structs.replace(hub, tried=means.clock())
    keep_hub(record.store, begun)
    try:
        outcome = await exchange(record, hub, means=means)
    except LoopworthyError as error:
        failed = msgspec.structs.replace(begun, problem=error.message, problem_step=error.next_step, notes=())
        keep_hub(record.store, failed)
        raise
    done = msgspec.structs.replace(
        begun,
        known=outcome.known,
        last=means.clock(),
        sent=outcome.sent,
        taken=outcome.taken,
        offset_ms=outcome.offset_ms,
        problem="",
        problem_step="",
        notes=notes_of(outcome),
    )
    keep_hub(record.store, done)
    return done, outcome


def notes_of(outcome: Outcome) -> tuple[str, ...]:
    """What should be known beside the numbers, as keys of texts with a count."""
    counts = {
        "apart_there": outcome.apart_there,
        "apart_here": outcome.apart_here,
        "left_out": outcome.left_out,
        "refused": len(outcome.refused),
        "new_device": int(outcome.new_device),
    }
    return tuple(f"{key}:{count}" for key, count in counts.items() if count)


class Exchanging:
    """The exchanges of one workplace.

    Parameters
    ----------
    workplace : Workplace
    means : Means
    by_itself : bool
        Whether `if_due` ever begins one: on a phone that is carried about, not on a hub.
    """

    def __init__(self, workplace: Workplace, means: Means, *, by_itself: bool = False) -> None:
        self.workplace = workplace
        self.means = means
        self.by_itself = by_itself
        self._task: asyncio.Task[None] | None = None

    @property
    def running(self) -> bool:
        """Whether one is under way."""
        task = self._task
        # A loop that was closed finishes nothing any more.
        return task is not None and not task.done() and not task.get_loop().is_closed()

    def begin(self, hub: JoinedHub) -> None:
        """Begin an exchange with a hub, unless one is under way."""
        if not self.running:
            self._task = asyncio.get_running_loop().create_task(self._run(hub))

    async def wait(self, seconds: float) -> bool:
        """Wait for the one that is under way, no longer than that; whether there is none any more."""
        if self._task is not None and self.running:
            await asyncio.wait({self._task}, timeout=seconds)
        return not self.running

    def if_due(self) -> None:
        """Begin one with the hub that was not tried for longest, where that is long enough ago."""
        if not self.by_itself or self.running:
            return
        now = self.means.clock()
        here = [one for one in joined_hubs(self.workplace.record.store) if one.record == self.workplace.record.id]
        waiting = [one for one in here if _is_due(one, now)]
        if waiting:
            self.begin(min(waiting, key=lambda one: one.tried.epoch_ms if one.tried else 0))

    async def _run(self, hub: JoinedHub) -> None:
        try:
            await exchange_once(self.workplace.record, hub, self.means)
        except (NotReachedError, NotGrantedError):
            pass  # remembered with the hub, which the page shows
        except LoopworthyError as error:
            _log.warning("An exchange with %s failed: %s", hub.address, error.message)
        except Exception:
            _log.exception("An exchange with %s failed", hub.address)


def _is_due(hub: JoinedHub, now: Moment) -> bool:
    if hub.tried is None:
        return True
    # After a clock was set back the last attempt lies ahead; then it says nothing.
    return not 0 <= now.epoch_ms - hub.tried.epoch_ms < AGAIN_AFTER_S * 1000
