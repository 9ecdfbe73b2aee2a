"""Merges that a record has been through, and what each of them changed.

A merge leaves its trace in the record: between two entries of one device there are others that came from elsewhere. So
it is found afterwards, weeks later too, and on every device: of this device by the order of arrival, of the others by
what their entries say they had seen.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from loopworthy.desk.workplace import Workplace
from loopworthy.judgement.book import WITHDRAWN, Book
from loopworthy.judgement.events import CatalogueAdopted, EvidenceRecorded, HoldPassed
from loopworthy.judgement.merged import Sight, UnitShift, concerns, sights, unit_shift
from loopworthy.judgement.replay import fold, known_by
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.forks import Fork
from loopworthy.record.merge import Refusal
from loopworthy.record.placing import Beside, beside
from loopworthy.record.store import checked_envelope
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import Event
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId, short
from loopworthy.vocabulary.time import Moment

MOST_MERGES = 40
"""So many are listed, newest first."""

MOST_PASSINGS = 8
"""So many holds of a unit are judged again for one merge, the newest ones: each takes a fold of the record. A dive has
eight."""

MOST_SIDES = 4
"""So many other devices are shown with the verdict that they had before."""

NOT_YET = "latest"
"""Names a merge after which this device has written nothing yet."""

_LOOKED_AT = "merges-looked-at"
_COUNTED_ONE_BY_ONE = 500
_REFUSED = "merges-refused"
_MERGES_WITH_REFUSALS, _MOST_REFUSALS, _LONGEST_REFUSAL = 10, 20, 300


@dataclass(frozen=True, slots=True, kw_only=True)
class Merge:
    """A merge: what one device took in between two of its own entries.

    Attributes
    ----------
    key : str
        The entry that the device wrote first afterwards, which names the merge on every device; `NOT_YET` where it has
        written none.
    after : str
        The entry that it had written last before; '' where there was none.
    device, device_name, own : str, str, bool
        Who took it in, and whether that was this device.
    at : Moment
        When it was there at the latest: the time of the entry that names it.
    brought_by : tuple of (str, int)
        Whose entries came in, and how many; entries about the record itself are not counted.
    first : bool
        Whether it was the beginning: the device had nothing before, so that nothing can have changed.
    looked_at : bool
        Whether somebody has looked at it here; merges of other devices ask for no look.
    """

    key: EventId
    after: EventId
    device: DeviceId
    device_name: str
    own: bool
    at: Moment
    brought_by: tuple[tuple[str, int], ...]
    first: bool
    looked_at: bool

    @property
    def count(self) -> int:
        """How many entries came in."""
        return sum(count for _, count in self.brought_by)


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """The verdict that another device had before a merge, as far as its entries tell what it knew.

    `verdict` is None where it did not know the unit.
    """

    device: DeviceId
    device_name: str
    verdict: Verdict | None


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitChanges:
    """What a merge changed about one unit.

    Attributes
    ----------
    shift : UnitShift
        Verdicts before and after, and the evidence that stands otherwise.
    sides : tuple of Side
        The devices whose entries came in, with their verdicts of before.
    came_in : tuple of Event
        What came in about the unit beside readings, oldest first: changes, repairs, waivers, releases, withdrawals.
    readings : tuple of Event
        New evidence about the unit, oldest first.
    sights : tuple of Sight
        Holds that were passed on less than is known now.
    """

    shift: UnitShift
    sides: tuple[Side, ...]
    came_in: tuple[Event, ...]
    readings: tuple[Event, ...]
    sights: tuple[Sight, ...]

    @property
    def touched(self) -> bool:
        """Whether there is anything to tell."""
        return self.shift.differs or bool(self.came_in or self.readings or self.sights)


@dataclass(frozen=True, slots=True, kw_only=True)
class MergeChanges:
    """What a merge changed.

    Attributes
    ----------
    units : tuple of UnitChanges
        Those with something to tell, what stands otherwise first.
    untouched : tuple of str
        The units of which it changed nothing.
    catalogues : tuple of Event
        Catalogues and owners' files that came in: they hold for every unit.
    forks : tuple of Fork
        Places where a chain that it brought continues in more than one way.
    beside : Beside
        What lies beside the record now, and why; it counts for nothing.
    refused : tuple of str
        Lines of the file or code that were refused, and why, as far as this device still knows.
    """

    merge: Merge
    units: tuple[UnitChanges, ...]
    untouched: tuple[ThingId, ...]
    catalogues: tuple[Event, ...]
    forks: tuple[Fork, ...]
    beside: Beside
    refused: tuple[str, ...]


def merges(workplace: Workplace) -> tuple[Merge, ...]:
    """Merges of all devices that wrote in the record, newest first, at most `MOST_MERGES`."""
    found = [*_own_merges(workplace), *_others_merges(workplace)]
    return tuple(sorted(found, key=lambda one: (one.at.epoch_ms, one.own, one.key), reverse=True)[:MOST_MERGES])


def not_looked_at(workplace: Workplace) -> int:
    """How many entries came in here from elsewhere that nobody has looked at yet."""
    store, own, looked_at = workplace.record.store, workplace.record.device, _looked_at(workplace)
    if not own:
        return 0
    count = 0
    for device, head in store.heads().items():
        known = looked_at.get(device, 0)
        if device == own or head.sequence <= known:
            continue
        if head.sequence - known > _COUNTED_ONE_BY_ONE:
            count += head.sequence - known
            continue
        for sequence in range(known + 1, head.sequence + 1):
            count += sum(_counts(checked_envelope(one).kind) for one in store.events_at(device, sequence))
    return count


def look_at(workplace: Workplace, key: str) -> None:
    """Somebody has looked at a merge and at all before it: none of them is announced any more on this device.

    Raises
    ------
    UnknownNameError
        If there is no such merge.
    """
    merge, record = _find(workplace, key), workplace.record
    if not merge.own:
        return
    heads = record.heads() if merge.key == NOT_YET else record.get(merge.key).envelope.seen
    known = _looked_at(workplace)
    seen = {device: max(head.sequence, known.get(device, 0)) for device, head in heads.items()}
    record.store.put_setting(_LOOKED_AT, msgspec.json.encode(known | seen).decode())


def merge_changes(workplace: Workplace, key: str) -> MergeChanges:
    """What a merge changed, judged for its own moment and with the catalogue that holds now.

    Parameters
    ----------
    key : str
        The entry that names it, or its first digits; or `NOT_YET`.

    Raises
    ------
    UnknownNameError
        If there is no such merge.
    """
    merge, catalogue = _find(workplace, key), workplace.catalogue
    events = workplace.record.events()
    before_ids, arrived_ids = _ids(workplace, merge, events)
    known = tuple(one for one in events if one.id in before_ids or one.id in arrived_ids)
    arrived = tuple(one for one in known if one.id in arrived_ids)
    before, after = fold((one for one in known if one.id in before_ids), catalogue), fold(known, catalogue)
    sides = [] if merge.first else _sides(workplace, known, arrived)
    found, untouched = [], []
    for unit in () if merge.first else after.world.units():
        about = [one for one in arrived if concerns(after, one, unit)]
        news = {
            one.id: before_ids if one.id in arrived_ids else arrived_ids
            for one in known
            if isinstance(one.payload, HoldPassed) and after.world.is_same(one.payload.unit, unit)
        }
        changes = UnitChanges(
            shift=unit_shift(before, after, catalogue, unit, merge.at),
            sides=tuple(
                Side(device=device, device_name=name, verdict=_verdict(workplace, book, unit, merge.at))
                for device, name, book in sides
            ),
            came_in=tuple(one for one in about if not isinstance(one.payload, EvidenceRecorded)),
            readings=tuple(one for one in about if isinstance(one.payload, EvidenceRecorded)),
            sights=sights(known, after, catalogue, unit, dict(list(news.items())[-MOST_PASSINGS:])),
        )
        if changes.touched:
            found.append(changes)
        else:
            untouched.append(unit)
    brought = {one.envelope.device for one in arrived}
    return MergeChanges(
        merge=merge,
        units=tuple(sorted(found, key=lambda one: not one.shift.differs)),
        untouched=tuple(untouched),
        catalogues=tuple(one for one in arrived if isinstance(one.payload, CatalogueAdopted)),
        forks=tuple(one for one in workplace.record.fork_reports() if one.device in brought),
        beside=beside(workplace.record.store, now=workplace.now()),
        refused=tuple(_refusals(workplace).get(merge.after, ())) if merge.own else (),
    )


def keep_refusals(workplace: Workplace, after: EventId, refused: Iterable[Refusal]) -> None:
    """Keep on this device what a merge refused, for the page that tells it: the record itself never has it.

    Parameters
    ----------
    after : str
        The last entry of this device before the merge.
    """
    lines = [f"{one.line}: {one.why}"[:_LONGEST_REFUSAL] for one in refused]
    if lines:
        kept = {**_refusals(workplace), after: lines[:_MOST_REFUSALS]}
        newest = dict(list(kept.items())[-_MERGES_WITH_REFUSALS:])
        workplace.record.store.put_setting(_REFUSED, msgspec.json.encode(newest).decode())


def _refusals(workplace: Workplace) -> dict[EventId, list[str]]:
    kept = workplace.record.store.setting(_REFUSED)
    return msgspec.json.decode(kept, type=dict[str, list[str]]) if kept else {}


def device_names(workplace: Workplace) -> dict[DeviceId, str]:
    """What people call each device that has written in the record; its first digits where nobody said."""
    return {
        event.envelope.device: event.payload.device_name or short(event.envelope.device)
        for event in workplace.record.events_of_kind(CHAIN_OPENED)
        if isinstance(event.payload, ChainOpened)
    }


# --- finding them -----------------------------------------------------------------------------------------------------


def _counts(kind: str) -> bool:
    """Whether an entry tells about units; the record's own entries about heads and chains change nothing."""
    return kind == WITHDRAWN or not kind.startswith("record.")


def _find(workplace: Workplace, key: str) -> Merge:
    if key != NOT_YET:
        try:
            key = workplace.record.get(key).id
        except InputError as error:
            raise UnknownNameError("merge", key, next_step=error.next_step) from error
    for one in (*_own_merges(workplace), *_others_merges(workplace)):
        if one.key == key:
            return one
    raise UnknownNameError("merge", key)


def _own_merges(workplace: Workplace) -> Iterator[Merge]:
    """By the order of arrival: what came in from elsewhere between two entries of this device."""
    record = workplace.record
    own, names, looked_at = record.device, device_names(workplace), _looked_at(workplace)
    arrived: Counter[DeviceId] = Counter()
    fresh = False
    last: EventId = ""
    for entry in record.store.index():
        if entry.device != own:
            arrived[entry.device] += _counts(entry.kind)
            fresh = fresh or (_counts(entry.kind) and entry.sequence > looked_at.get(entry.device, 0))
            continue
        if arrived.total():
            yield _merge(
                own, names, arrived, key=entry.id, after=last, at=record.get(entry.id).envelope.recorded_at,
                own=True, looked_at=not fresh,
            )  # fmt: skip
        arrived.clear()
        fresh, last = False, entry.id
    if arrived.total():
        yield _merge(
            own, names, arrived, key=NOT_YET, after=last, at=workplace.now(), own=True, looked_at=not fresh
        )  # fmt: skip


def _others_merges(workplace: Workplace) -> Iterator[Merge]:
    """By what each entry of another device says it had seen, against the entry before."""
    record, names = workplace.record, device_names(workplace)
    events = record.events()
    kinds = {(one.envelope.device, one.envelope.sequence): one.envelope.kind for one in events}
    by_id = {one.id: one for one in events}
    for event in events:
        envelope = event.envelope
        previous = by_id.get(envelope.previous)
        if envelope.device == record.device or previous is None:
            continue
        arrived: Counter[DeviceId] = Counter()
        for device, head in envelope.seen.items():
            known = previous.envelope.seen.get(device)
            if known is None or known.sequence < head.sequence:
                fresh = range((known.sequence if known else 0) + 1, head.sequence + 1)
                arrived[device] += sum(_counts(kinds.get((device, one), "record.")) for one in fresh)
        if arrived.total():
            yield _merge(
                envelope.device, names, arrived, key=event.id, after=previous.id, at=envelope.recorded_at,
                own=False, looked_at=True,
            )  # fmt: skip


def _merge(
    device: DeviceId,
    names: dict[DeviceId, str],
    arrived: Counter[DeviceId],
    *,
    key: EventId,
    after: EventId,
    at: Moment,
    own: bool,
    looked_at: bool,
) -> Merge:
    return Merge(
        key=key,
        after=after,
        device=device,
        device_name=names.get(device, short(device)),
        own=own,
        at=at,
        brought_by=tuple((names.get(one, short(one)), count) for one, count in arrived.items() if count),
        first=not after,
        looked_at=looked_at or not after,
    )


def _looked_at(workplace: Workplace) -> dict[DeviceId, int]:
    """The place in each chain up to which somebody has looked; at first what was there when this device began."""
    record = workplace.record
    kept = record.store.setting(_LOOKED_AT)
    if kept:
        return msgspec.json.decode(kept, type=dict[str, int])
    first = record.store.events_at(record.device, 1) if record.device else ()
    return {device: head.sequence for device, head in checked_envelope(first[0]).seen.items()} if first else {}


def _ids(
    workplace: Workplace, merge: Merge, events: tuple[Event, ...]
) -> tuple[frozenset[EventId], frozenset[EventId]]:
    """What the device knew before, and what came in."""
    if merge.own:
        order = [entry.id for entry in workplace.record.store.index()]
        start = order.index(merge.after) + 1 if merge.after else 0
        end = order.index(merge.key) if merge.key != NOT_YET else len(order)
        return frozenset(order[:start]), frozenset(order[start:end])
    by_id = {one.id: one for one in events}
    before = {one.id for one in known_by(events, by_id[merge.after])} | {merge.after}
    after = {one.id for one in known_by(events, by_id[merge.key])}
    return frozenset(before), frozenset(after - before)


def _sides(
    workplace: Workplace, known: tuple[Event, ...], arrived: tuple[Event, ...]
) -> list[tuple[DeviceId, str, Book]]:
    """The devices whose entries came in, the newest first, each with a book of what it had with its last one."""
    last: dict[DeviceId, Event] = {}
    for event in arrived:
        there = last.get(event.envelope.device)
        if _counts(event.envelope.kind) and (there is None or there.envelope.sequence < event.envelope.sequence):
            last[event.envelope.device] = event
    names = device_names(workplace)
    newest = sorted(last.values(), key=lambda one: one.order, reverse=True)[:MOST_SIDES]
    return [
        (
            one.envelope.device,
            names.get(one.envelope.device, short(one.envelope.device)),
            fold([*known_by(known, one), one], workplace.catalogue),
        )
        for one in newest
    ]


def _verdict(workplace: Workplace, book: Book, unit: ThingId, at: Moment) -> Verdict | None:
    try:
        return judge_unit(book, workplace.catalogue, unit, at)
    except UnknownNameError:
        return None
