"""What a book has worked out already. All of it follows from what was filed; it can be dropped at any time."""

from __future__ import annotations

from dataclasses import dataclass, field

from loopworthy.vocabulary.identity import EventId, ThingId


@dataclass(slots=True)
class Memo:
    """Results that later questions ask for again.

    Attributes
    ----------
    plans : dict
        Unit and step to the evidence that has to be current before it, for what is fitted now.
    began_ms : dict
        Episode to its beginning.
    failed, failures_of : dict
        Evidence to whether it was outside its limits when it was read; step and subject to the number of readings
        looked at and those of them that were.
    factors : dict
        Oxygen reading to its factor in mV per bar; None where it cannot be worked out.
    """

    plans: dict[tuple[ThingId, str], tuple[tuple[str, str, str, str], ...]] = field(default_factory=dict)
    began_ms: dict[EventId, int] = field(default_factory=dict)
    failed: dict[EventId, bool] = field(default_factory=dict)
    failures_of: dict[str, tuple[int, list[EventId]]] = field(default_factory=dict)
    factors: dict[EventId, float | None] = field(default_factory=dict)

    def clear(self) -> None:
        """Forget everything."""
        for one in (self.plans, self.began_ms, self.failed, self.failures_of, self.factors):
            one.clear()
