"""The record's own kinds of event check what they hold."""

from __future__ import annotations

import pytest

from loopworthy.record.events import ChainOpened, EventWithdrawn, HeadWitnessed, TextErased
from loopworthy.vocabulary.errors import InputError
from loopworthy.vocabulary.identity import fingerprint

EVENT = "0123456789abcdef" * 4


def test_a_device_has_a_name() -> None:
    assert ChainOpened(device_name="laptop").public_key == ""
    with pytest.raises(InputError, match="device_name"):
        ChainOpened(device_name=" ")


def test_a_witness_names_an_event_and_its_own_fingerprint() -> None:
    good = HeadWitnessed(device="a1", sequence=1, event=EVENT, fingerprint=fingerprint(EVENT))
    assert good.fingerprint == "0123 4567 89ab cdef"
    for wrong in (
        {"event": "0123", "fingerprint": fingerprint(EVENT)},
        {"event": EVENT, "fingerprint": "0000 0000 0000 0000"},
        {"event": EVENT, "fingerprint": fingerprint(EVENT), "sequence": 0},
    ):
        with pytest.raises(InputError):
            HeadWitnessed(**{"device": "a1", "sequence": 1, **wrong})  # type: ignore[arg-type]


def test_a_withdrawal_names_an_event_and_a_reason() -> None:
    assert EventWithdrawn(event=EVENT, reason="wrong cylinder").reason == "wrong cylinder"
    with pytest.raises(InputError, match="event"):
        EventWithdrawn(event="that one", reason="wrong cylinder")
    with pytest.raises(InputError, match="reason"):
        EventWithdrawn(event=EVENT, reason="  ")


def test_an_erasure_names_a_digest() -> None:
    assert TextErased(digest=EVENT, reason="").digest == EVENT
    with pytest.raises(InputError, match="digest"):
        TextErased(digest="her name", reason="")
