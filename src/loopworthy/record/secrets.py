"""What lies beside a record and lets somebody in: never exported, and taken out of every copy of the store."""

from __future__ import annotations

from typing import Final

from loopworthy.record.store import Store

ADMITTED: Final = "admitted-devices"
"""Setting: the devices that this hub has admitted, with the hashes of their tokens."""
CODES: Final = "admission-codes"
"""Setting: the codes that are open, hashed."""
HUBS: Final = "joined-hubs"
"""Setting: the hubs that this device has joined, with its tokens."""


STORY_CLOCK: Final = "story-clock"
"""Setting: the clock of a rehearsal. No secret, but for this file alone: copies meet devices with other clocks."""


def forget_secrets(store: Store) -> None:
    """Take out whatever would let the holder of a copy in, and what holds for the file itself only."""
    for name in (ADMITTED, CODES, HUBS, STORY_CLOCK):
        if store.setting(name):
            store.put_setting(name, "")
