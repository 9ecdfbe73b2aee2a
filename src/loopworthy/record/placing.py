"""Placing: of events that are not in the record, which can have their place in it now, and what keeps the others out.

An event is placed when all that it rests on is here, it fits, its device has signed for it (if it has a key), and its
clock is not too far ahead. Whatever is only early stays beside the record. What can never fit is refused; where its
device has signed for it, it is kept beside the record, because that signature speaks for the events before it too.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from loopworthy.record.clock_bound import ahead_ms, latest_acceptable_ms
from loopworthy.record.order import link_fault, rests_on
from loopworthy.record.signing import SignedHead, is_keyed
from loopworthy.record.store import Store, checked_envelope
from loopworthy.record.vouching import covered
from loopworthy.vocabulary.event import Envelope, decode_envelope
from loopworthy.vocabulary.identity import DeviceId, EventId, event_id
from loopworthy.vocabulary.time import Moment


@dataclass(slots=True, kw_only=True)
class Placing:
    """What becomes of each candidate; every one is in exactly one of these.

    Attributes
    ----------
    taken : list of str
        Can be placed, in the total order.
    missing : list of str
        Rest on something that is not here.
    not_vouched : list of str
        Their device has not signed for them, whatever else they lack, or for something that they rest on.
    ahead : list of str
        Their clock, or that of something they rest on, is beyond the bound.
    faults : dict
        Can never be placed, and why.
    signed_faults : list of str
        Those of them for which their device has signed.
    """

    taken: list[EventId] = field(default_factory=list)
    missing: list[EventId] = field(default_factory=list)
    not_vouched: list[EventId] = field(default_factory=list)
    ahead: list[EventId] = field(default_factory=list)
    faults: dict[EventId, str] = field(default_factory=dict)
    signed_faults: list[EventId] = field(default_factory=list)

    @property
    def beside(self) -> list[EventId]:
        """All that stays beside the record."""
        return [*self.missing, *self.not_vouched, *self.ahead, *self.signed_faults]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetApart:
    """An event beside the record, for showing.

    Attributes
    ----------
    event, device, sequence : str, str, int
        Which it is.
    kind : str
        What it is about.
    recorded_at : Moment
        When it was written down, by its device's own clock.
    ahead_ms : int
        How far its clock is ahead of the clock here; negative where it is behind. [ms]
    """

    event: EventId
    device: DeviceId
    sequence: int
    kind: str
    recorded_at: Moment
    ahead_ms: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Beside:
    """What lies beside the record, and why.

    Attributes
    ----------
    missing : tuple of SetApart
        Rest on something that has not arrived.
    not_vouched : tuple of SetApart
        Not vouched for by their device yet, or resting on such.
    ahead : tuple of SetApart
        Clock beyond the bound, or resting on such.
    due : tuple of SetApart
        Nothing stands in their way any more; the next merge, or `settle`, takes them in.
    faulty : tuple of SetApart
        Signed by their device, and such that they can never be placed: it is faulty, or in bad hands.
    """

    missing: tuple[SetApart, ...]
    not_vouched: tuple[SetApart, ...]
    ahead: tuple[SetApart, ...]
    due: tuple[SetApart, ...]
    faulty: tuple[SetApart, ...]

    def __len__(self) -> int:
        return sum(map(len, (self.missing, self.not_vouched, self.ahead, self.due, self.faulty)))


def place(
    store: Store, candidates: Mapping[EventId, Envelope], *, heads: Iterable[SignedHead], latest_ms: int | None
) -> Placing:
    """Decide for each candidate; nothing is written.

    Parameters
    ----------
    store : Store
        The record.
    candidates : mapping
        Events that are not in it, by identity.
    heads : iterable of SignedHead
        Genuine ones, those that are kept here included.
    latest_ms : int or None
        The latest clock that counts now. [ms]
    """
    walk = _Walk(store, latest_ms)
    vouched = covered(candidates, heads)
    # An event that can be placed has a later clock than all it rests on: one walk in clock order finds every one.
    for identity in sorted(candidates, key=lambda one: _order(one, candidates[one])):
        one = candidates[identity]
        walk.visit(identity, one, signed=identity in vouched)
    return walk.result


_MISSING, _NOT_VOUCHED, _AHEAD = range(3)


class _Walk:
    """Goes over the candidates in the total order."""

    def __init__(self, store: Store, latest_ms: int | None) -> None:
        self.result = Placing()
        self._store = store
        self._latest_ms = latest_ms
        self._known: dict[EventId, Envelope] = {}
        self._early: dict[EventId, int] = {}
        self._absent: set[EventId] = set()

    def visit(self, identity: EventId, one: Envelope, *, signed: bool) -> None:
        resting = rests_on(one)
        lacking = [other for other in resting if not self._recall(other)]
        if not lacking and (fault := link_fault(one, self._known)):
            self.result.faults[identity] = fault
            if signed:
                self.result.signed_faults.append(identity)
            return
        reasons = [self._early.get(other, _MISSING) for other in lacking]
        if is_keyed(one.device) and not signed:
            reasons = [_NOT_VOUCHED]
        elif self._latest_ms is not None and one.clock.wall_ms > self._latest_ms and _MISSING not in reasons:
            reasons = [_AHEAD]
        if reasons:
            self._keep_apart(identity, min(reasons))  # it shares the fate of what it rests on
        else:
            self.result.taken.append(identity)
            self._known[identity] = one

    def _keep_apart(self, identity: EventId, why: int) -> None:
        (self.result.missing, self.result.not_vouched, self.result.ahead)[why].append(identity)
        self._early[identity] = why

    def _recall(self, identity: EventId) -> bool:
        if identity in self._known:
            return True
        if identity in self._early or identity in self._absent:
            return False
        found = self._store.find(identity, limit=1)
        if found and found[0].id == identity:
            self._known[identity] = checked_envelope(found[0])
            return True
        self._absent.add(identity)
        return False


def beside(store: Store, *, now: Moment) -> Beside:
    """What lies beside the record now, and why."""
    candidates = waiting_envelopes(store)
    placing = place(store, candidates, heads=store.signed_heads(), latest_ms=latest_acceptable_ms(now))

    def shown(identities: Iterable[EventId]) -> tuple[SetApart, ...]:
        return tuple(set_apart(one, candidates[one], now) for one in identities)

    return Beside(
        missing=shown(placing.missing),
        not_vouched=shown(placing.not_vouched),
        ahead=shown(placing.ahead),
        due=shown(placing.taken),
        faulty=shown(placing.faults),
    )


def set_apart(identity: EventId, envelope: Envelope, now: Moment) -> SetApart:
    """An event beside the record, for showing."""
    return SetApart(
        event=identity,
        device=envelope.device,
        sequence=envelope.sequence,
        kind=envelope.kind,
        recorded_at=envelope.recorded_at,
        ahead_ms=ahead_ms(envelope, now),
    )


def waiting_envelopes(store: Store) -> dict[EventId, Envelope]:
    """The events beside the record, by identity."""
    return {event_id(body): decode_envelope(body) for body in store.waiting()}


def _order(identity: EventId, one: Envelope) -> tuple[int, int, str, int, str]:
    return (one.clock.wall_ms, one.clock.counter, one.device, one.sequence, identity)
