"""Invented histories of several devices that write, meet and part."""

from __future__ import annotations

from dataclasses import dataclass

from hypothesis import strategies as st

from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from tests.contract.record_makers import at, begin, join, note, send

DEVICES = ("laptop", "phone", "tablet")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing that happens: a device notes something, takes all that another has, or erases a text."""

    device: int
    source: int
    act: str
    second: int


STEPS = st.lists(
    st.builds(
        Step,
        device=st.integers(0, len(DEVICES) - 1),
        source=st.integers(0, len(DEVICES) - 1),
        act=st.sampled_from(("note", "note", "note", "merge", "text", "erase", "blob")),
        # Wall clocks of devices jump about; the hybrid clock has to live with that.
        second=st.integers(-50, 50),
    ),
    min_size=4,
    max_size=30,
)


def live(steps: list[Step]) -> tuple[Record, ...]:
    """Let the steps happen; the devices afterwards, each with what it knows."""
    laptop = begin(MemoryStore(), DEVICES[0])
    records = (laptop, *(join(laptop.store, name) for name in DEVICES[1:]))

    for number, step in enumerate(steps):
        record, source = records[step.device], records[step.source]
        match step.act:
            case "note":
                note(record, f"note {number}", second=step.second)
            case "merge" if record is not source:
                send(source.store, record.store)
            case "text":
                record.put_text(f"words {number}")
            case "blob":
                record.put_blob(f"trace {number}".encode())
            case "erase":
                kept = [text for text in record.store.texts() if not text.erased]
                if kept:
                    record.erase_text(kept[0].digest, reason="asked to", now=at(step.second))
    return records
