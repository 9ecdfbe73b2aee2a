"""Heads for a sheet, and comparing one that came from outside."""

from __future__ import annotations

import pytest

from loopworthy.desk import record_care
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from tests.unit.desk.conftest import Bench


def test_the_head_of_this_device_is_its_last_event(bench: Bench) -> None:
    (head,) = record_care.heads(bench.workplace)
    last = bench.workplace.record.events()[-1]
    assert head.own
    assert (head.event, head.sequence) == (last.id, last.envelope.sequence)
    assert head.fingerprint.replace(" ", "") == last.id[:16]


def test_a_fingerprint_that_was_compared_is_recorded_and_counts_as_seen_from_then_on(bench: Bench) -> None:
    (head,) = record_care.heads(bench.workplace)
    assert record_care.check_record(bench.workplace).chains[0].witnessed_sequence == 0
    record_care.witness(bench.workplace, head.fingerprint.upper(), person=bench.reader)
    report = record_care.check_record(bench.workplace, sheets=(head.fingerprint,))
    assert report.unbroken
    assert report.chains[0].witnessed_sequence == head.sequence
    assert report.sheets[0].event == head.event


def test_a_fingerprint_without_a_person_or_without_its_event_is_refused(bench: Bench) -> None:
    (head,) = record_care.heads(bench.workplace)
    with pytest.raises(InputError, match="person"):
        record_care.witness(bench.workplace, head.fingerprint, person="")
    with pytest.raises(UnknownNameError):
        record_care.witness(bench.workplace, "0123 4567 89ab cdef", person=bench.reader)
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        record_care.witness(bench.workplace, "0123", person=bench.reader)
    with pytest.raises(InputError, match="16 hexadecimal digits"):
        record_care.check_record(bench.workplace, sheets=("not one",))
