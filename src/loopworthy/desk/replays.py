"""The state at a past time, read in two ways: as a device knew it then, and with all that is known now.

The two are never mixed and always labelled. A hold that somebody passed is judged again from what their device knew,
so that a verdict which the record does not give is found.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import Passing
from loopworthy.judgement.events import HoldPassed
from loopworthy.judgement.replay import AS_KNOWN, HINDSIGHT, Disagreement, Replay, check_passings, replay
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.identity import DeviceId, ThingId
from loopworthy.vocabulary.time import Moment


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """A device that has written in the record, with what people call it."""

    id: DeviceId
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PastState:
    """One reading of the record for a past moment.

    Attributes
    ----------
    label : str
        `AS_KNOWN` or `HINDSIGHT`.
    replay : Replay or None
        None where the unit was not in what was known.
    """

    label: str
    replay: Replay | None


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedPassing:
    """A hold that somebody passed, and whether the record, read again, says the same.

    `disagreement` is None where it does, or where nobody asked for the check (`checked` is False then).
    """

    passing: Passing
    checked: bool
    disagreement: Disagreement | None


def devices(workplace: Workplace) -> tuple[Device, ...]:
    """Every device that has written in the record, in the order in which they began."""
    return tuple(
        Device(id=event.envelope.device, name=event.payload.device_name)
        for event in workplace.record.events_of_kind(CHAIN_OPENED)
        if isinstance(event.payload, ChainOpened)
    )


def past_states(
    workplace: Workplace, unit: ThingId, at: Moment, *, device: DeviceId = ""
) -> tuple[PastState, PastState]:
    """The verdict at a past moment: as a device knew it then, and with hindsight.

    Parameters
    ----------
    device : str
        Whose knowledge of then; this device's where it is empty.

    Raises
    ------
    InputError
        If the moment is later than now.
    UnknownNameError
        If no such device has written in the record.
    """
    now = workplace.now()
    if at.epoch_ms > now.epoch_ms:
        raise InputError("at", at.at, f"not later than now ({now.at})", next_step="Choose a moment that has been")
    known = {one.id for one in devices(workplace)}
    chosen = device or workplace.record.device or next(iter(known), "")
    if chosen not in known:
        raise UnknownNameError("device", device, tuple(sorted(known)))
    known_state = _state(workplace, unit, at, chosen)
    return known_state, _state(workplace, unit, at, None, beside=known_state.replay)


def _state(
    workplace: Workplace, unit: ThingId, at: Moment, device: DeviceId | None, *, beside: Replay | None = None
) -> PastState:
    events = workplace.record.events()
    try:
        found = replay(events, workplace.catalogue, unit, at, device=device, beside=beside)
    except UnknownNameError:
        return PastState(label=HINDSIGHT if device is None else AS_KNOWN, replay=None)
    cautions = workplace.cautions(found.verdict.unit)
    if cautions:
        found = replace(found, verdict=replace(found.verdict, cautions=cautions))
    return PastState(label=found.label, replay=found)


def came_later(states: tuple[PastState, ...]) -> bool:
    """Whether the device knew nothing of the unit then, and the record now does: only hindsight can answer."""
    known, hindsight = (
        next((one.replay for one in states if one.label == label), None) for label in (AS_KNOWN, HINDSIGHT)
    )
    return known is None and hindsight is not None


def answering_first(states: tuple[PastState, ...]) -> tuple[PastState, ...]:
    """As known then first; where nothing was known then, what is known now."""
    return tuple(reversed(states)) if came_later(states) else states


def passings(workplace: Workplace, unit: ThingId, *, check: bool, most: int = 20) -> tuple[CheckedPassing, ...]:
    """Hold points that somebody passed, newest first.

    Parameters
    ----------
    check : bool
        Whether each of those returned is judged again; it takes one fold of the record each.
    most : int
        At most so many.
    """
    chosen = sorted(workplace.book().passings.get(unit, ()), key=lambda one: one.occurred.epoch_ms, reverse=True)[:most]
    wrong: dict[str, Disagreement] = {}
    if check:
        wanted = {one.event for one in chosen}
        events = tuple(
            event
            for event in workplace.record.events()
            if not isinstance(event.payload, HoldPassed) or event.id in wanted
        )
        wrong = {one.event: one for one in check_passings(events, workplace.catalogue, unit)}
    return tuple(CheckedPassing(passing=one, checked=check, disagreement=wrong.get(one.event)) for one in chosen)
