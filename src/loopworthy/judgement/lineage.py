"""Who knew of what: the chains of the devices, as far as one event's knowledge of another depends on them.

A device writes one chain. Where a copied store went on writing under the old name its chain forks; then an event knows
only of what lies on its own way back, so that neither half of a fork is taken to have seen the other.
"""

from __future__ import annotations

from typing import Protocol

import msgspec

from loopworthy.vocabulary.errors import RecordError
from loopworthy.vocabulary.event import Event, SeenHead
from loopworthy.vocabulary.identity import DeviceId, EventId

TRUNK = 0
"""Number of the line that a chain begins with; forks are numbered in the order in which they are met."""


class Placed(Protocol):
    """Anything that has its place in a chain and a time at which it happened."""

    @property
    def device(self) -> DeviceId:
        """Whose chain."""
        ...

    @property
    def branch(self) -> int:
        """Which line of that chain."""
        ...

    @property
    def sequence(self) -> int:
        """Place in it."""
        ...

    @property
    def occurred_ms(self) -> int:
        """When it happened, as claimed."""
        ...


class Knowing(Placed, Protocol):
    """Anything that also says what its device had seen of other chains."""

    @property
    def seen(self) -> dict[DeviceId, SeenHead]:
        """The last event known of each other chain."""
        ...


class Line(msgspec.Struct):
    """One line of a chain: identities in sequence, and where it left another line.

    `start` is the sequence of the first identity that is kept; `after` the sequence of the last event that it shares
    with its parent line.
    """

    start: int
    ids: list[EventId]
    parent: int = -1
    after: int = 0

    @property
    def last(self) -> int:
        """Sequence of the last event."""
        return self.start + len(self.ids) - 1

    def holds(self, sequence: int, event: EventId) -> bool:
        """Whether that event is at that place of the line."""
        place = sequence - self.start
        return 0 <= place < len(self.ids) and self.ids[place] == event


class Lineage(msgspec.Struct):
    """The lines of every device's chain."""

    lines: dict[DeviceId, list[Line]] = {}

    def take(self, event: Event) -> int:
        """File the next event in the total order; the number of the line that it belongs to.

        Raises
        ------
        RecordError
            If the chain forks before what was kept of it (see `shortened`); the record has to be folded anew.
        """
        envelope = event.envelope
        lines = self.lines.get(envelope.device)
        if lines is None:
            self.lines[envelope.device] = [Line(start=envelope.sequence, ids=[event.id])]
            return TRUNK
        for number, line in enumerate(lines):
            if line.ids[-1] == envelope.previous:
                line.ids.append(event.id)
                return number
        trunk = lines[TRUNK]
        if len(lines) == 1 and envelope.sequence > trunk.last:
            # Some events of the chain are not among those folded here (a selection of the record).
            trunk.ids.extend([""] * (envelope.sequence - trunk.last - 1))
            trunk.ids.append(event.id)
            return TRUNK
        before = envelope.sequence - 1
        parent = next((n for n, line in enumerate(lines) if line.holds(before, envelope.previous)), -1)
        if parent < 0 and trunk.start > 1:
            raise RecordError("A chain forks before the part of it that is at hand", next_step="Fold the record anew")
        lines.append(Line(start=envelope.sequence, ids=[event.id], parent=parent, after=before if parent >= 0 else 0))
        return len(lines) - 1

    def known(self, reader: Knowing, device: DeviceId, branch: int) -> int:
        """Up to which sequence of a line the device of `reader` had it before it wrote; 0 for nothing."""
        if device == reader.device:
            return self._shared(device, reader.branch, reader.sequence - 1, branch)
        head = reader.seen.get(device)
        if head is None:
            return 0
        lines = self.lines.get(device, [])
        if len(lines) <= 1:
            return head.sequence
        own = next((n for n, line in enumerate(lines) if line.holds(head.sequence, head.event)), -1)
        return 0 if own < 0 else self._shared(device, own, head.sequence, branch)

    def _shared(self, device: DeviceId, own: int, sequence: int, branch: int) -> int:
        lines = self.lines.get(device, [])
        while own != branch:
            if own >= len(lines) or lines[own].parent < 0:
                return 0
            sequence = min(sequence, lines[own].after)
            own = lines[own].parent
        return sequence

    def outlives(self, reader: Knowing, other: Placed) -> bool:
        """Whether something was read after another thing happened, and by a device that knew of it."""
        if reader.occurred_ms < other.occurred_ms:
            return False
        return other.sequence <= self.known(reader, other.device, other.branch)

    def shortened(self) -> Lineage:
        """The lineage with only the last event of each chain; whole where a chain has forked."""
        return Lineage(
            lines={
                device: lines if len(lines) > 1 else [Line(start=lines[0].last, ids=lines[0].ids[-1:])]
                for device, lines in self.lines.items()
            }
        )
