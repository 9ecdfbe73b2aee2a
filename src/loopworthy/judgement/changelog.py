"""The changes that have happened, indexed so that one question is quick: which of them undo this evidence?

Evidence outlives a change only if it was read after the change happened and by a device that knew of the change.
So a change made at the same time elsewhere, or declared late, undoes; nothing that is declared can rescue.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator

import msgspec

from loopworthy.vocabulary.event import SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId, ThingId


class ChangeEntry(msgspec.Struct, frozen=True, kw_only=True):
    """A change as it matters to evidence.

    `things` are the things changed with what was in them, `side` also those on the same gas side, `timed` marks a
    change that nobody declared but that follows from time alone (stood unused): knowing of it cannot be asked.
    """

    event: EventId
    change: str
    unit: ThingId
    device: DeviceId
    sequence: int
    occurred_ms: int
    things: frozenset[ThingId]
    side: frozenset[ThingId]
    answers: dict[str, str]
    person: ThingId = ""
    note: str = ""
    zone: str = "UTC"
    timed: bool = False


class _DeviceLog(msgspec.Struct):
    sequences: list[int] = []
    entries: list[ChangeEntry] = []
    latest_ms: list[int] = []
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
        yield from self.entries[known:]


class Changelog(msgspec.Struct):
    """All changes by kind and by what they concern."""

    logs: dict[str, dict[DeviceId, _DeviceLog]] = {}
    entries: dict[EventId, ChangeEntry] = {}

    def add(self, entry: ChangeEntry) -> None:
        """Take one more change; changes come in the record's total order."""
        self.entries[entry.event] = entry
        for about in {entry.unit, *entry.things, *entry.side, ""}:
            self.logs.setdefault(f"{entry.change} {about}", {}).setdefault(entry.device, _DeviceLog()).add(entry)

    def about(self, change: str, abouts: Iterable[ThingId]) -> Iterator[ChangeEntry]:
        """Every change of that kind that concerns one of these things, in no particular order."""
        for about in abouts:
            for log in self.logs.get(f"{change} {about}", {}).values():
                yield from log.entries

    def undoing(
        self,
        change: str,
        abouts: Iterable[ThingId],
        *,
        device: DeviceId,
        sequence: int,
        seen: dict[DeviceId, SeenHead],
        read_ms: int,
        until_ms: int,
    ) -> Iterator[ChangeEntry]:
        """Changes of that kind about one of these things that evidence does not outlive.

        The evidence is given by its place in its device's chain, the heads its device had seen and the time it was
        read. Changes that happened after `until_ms` are left out.
        """
        for about in abouts:
            for other, log in self.logs.get(f"{change} {about}", {}).items():
                if other == device:
                    known = sequence
                else:
                    head = seen.get(other)
                    known = head.sequence if head is not None else 0
                for entry in log.undoing(known, read_ms):
                    if entry.occurred_ms <= until_ms and (not entry.timed or entry.occurred_ms > read_ms):
                        yield entry
