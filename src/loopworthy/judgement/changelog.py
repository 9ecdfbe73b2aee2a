"""The changes that have happened, indexed so that one question is quick: which of them undo this evidence?

Evidence outlives a change only if it was read after the change happened and by a device that knew of the change.
So a change made at the same time elsewhere, or declared late, undoes; nothing that is declared can rescue.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator

import msgspec

from loopworthy.judgement.filed import Order
from loopworthy.judgement.lineage import Knowing, Lineage
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId

EVERYTHING = ""
"""Stands for the whole record among the things that a change concerns."""

NOT_UNDERSTOOD = ""
"""Stands for the kind of a change that cannot be read here (a later version wrote it): what it does is not known."""


class ChangeEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A change as it matters to evidence.

    Attributes
    ----------
    things, side : frozenset of str
        The things changed with what was in them; also those on the same gas side.
    timed : bool
        Nobody declared it but it follows from time or a measurement alone (stood unused): knowing of it cannot be
        asked, and taking its event back does not undo it.
    inferred : bool
        Nobody declared it, but a part or fill was exchanged: the change that should have been declared, with every
        question unanswered.
    """

    event: EventId
    change: str
    unit: ThingId
    device: DeviceId
    branch: int = 0
    sequence: int
    order: Order
    occurred_ms: int
    things: frozenset[ThingId] = frozenset()
    side: frozenset[ThingId] = frozenset()
    answers: dict[str, str] = {}
    person: ThingId = ""
    typed_by: ThingId = ""
    note: str = ""
    zone: str = "UTC"
    timed: bool = False
    inferred: bool = False


class _Log:
    """Changes of one kind about one thing on one line of a chain, in sequence."""

    __slots__ = ("entries", "latest_ms", "sequences")

    def __init__(self) -> None:
        self.sequences: list[int] = []
        self.entries: list[ChangeEntry] = []
        self.latest_ms: list[int] = []
        """Highest claimed time up to and including each entry."""

    def add(self, entry: ChangeEntry) -> None:
        self.sequences.append(entry.sequence)
        self.entries.append(entry)
        before = self.latest_ms[-1] if self.latest_ms else entry.occurred_ms
        self.latest_ms.append(max(before, entry.occurred_ms))

    def undoing(self, known_sequence: int, read_ms: int) -> Iterator[ChangeEntry]:
        known = bisect_right(self.sequences, known_sequence)
        if known and self.latest_ms[known - 1] > read_ms:
            yield from (entry for entry in self.entries[:known] if entry.occurred_ms > read_ms)
        for entry in self.entries[known:]:
            if not entry.timed or entry.occurred_ms > read_ms:
                yield entry


_Logs = dict[tuple[DeviceId, int], _Log]


class Changelog:
    """All changes, by what they concern and by kind."""

    def __init__(self, entries: Iterable[ChangeEntry] = ()) -> None:
        self.all: list[ChangeEntry] = []
        self._logs: dict[ThingId, dict[str, _Logs]] = {}
        for entry in entries:
            self.add(entry)

    @property
    def entries(self) -> dict[EventId, ChangeEntry]:
        """Changes by the event that they come from."""
        return {entry.event: entry for entry in self.all}

    def add(self, entry: ChangeEntry) -> None:
        """Take one more change; changes come in the record's total order."""
        self.all.append(entry)
        line = (entry.device, entry.branch)
        for about in {entry.unit, EVERYTHING, *entry.things, *entry.side}:
            by_kind = self._logs.get(about)
            if by_kind is None:
                by_kind = self._logs[about] = {}
            logs = by_kind.get(entry.change)
            if logs is None:
                logs = by_kind[entry.change] = {}
            log = logs.get(line)
            if log is None:
                log = logs[line] = _Log()
            log.add(entry)

    def renamed(self, name: Callable[[ThingId], ThingId]) -> Changelog:
        """The same changes about the same things under the names that these have now."""
        return Changelog(
            msgspec.structs.replace(
                entry,
                unit=name(entry.unit),
                things=frozenset(map(name, entry.things)),
                side=frozenset(map(name, entry.side)),
            )
            for entry in self.all
        )

    def kinds(self, about: ThingId) -> frozenset[str]:
        """The kinds of change that have concerned a thing."""
        return frozenset(self._logs.get(about, ()))

    def about(self, change: str, abouts: Iterable[ThingId]) -> Iterator[ChangeEntry]:
        """Every change of that kind that concerns one of these things, each once, in no particular order."""
        met: set[int] = set()
        for about in abouts:
            for log in self._logs.get(about, {}).get(change, {}).values():
                for entry in log.entries:
                    if id(entry) not in met:
                        met.add(id(entry))
                        yield entry

    def undoing(
        self, change: str, abouts: Iterable[ThingId], *, reader: Knowing, lineage: Lineage, until_ms: float
    ) -> Iterator[ChangeEntry]:
        """Changes of that kind about one of these things that `reader` does not outlive, each once.

        Changes that happened after `until_ms` are left out.
        """
        met: set[int] = set()
        for about in abouts:
            logs = self._logs.get(about, {}).get(change)
            if logs is None:
                continue
            for (device, branch), log in logs.items():
                for entry in log.undoing(lineage.known(reader, device, branch), reader.occurred_ms):
                    if entry.occurred_ms <= until_ms and id(entry) not in met:
                        met.add(id(entry))
                        yield entry
