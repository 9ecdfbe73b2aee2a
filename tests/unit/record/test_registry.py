"""Kinds, versions and the way of old payloads into new ones."""

from __future__ import annotations

from typing import Any

import msgspec
import pytest

from loopworthy.record.registry import Registry
from loopworthy.vocabulary.errors import InputError, UnknownNameError
from loopworthy.vocabulary.event import Envelope, HybridTime, decode_envelope, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.reading import Reading
from tests.contract.record_makers import at

KIND = "test.leak-tested"


class First(msgspec.Struct, frozen=True, kw_only=True):
    minutes: str


class Second(msgspec.Struct, frozen=True, kw_only=True):
    seconds: str


class Third(msgspec.Struct, frozen=True, kw_only=True):
    held: Reading

    def __post_init__(self) -> None:
        if self.held.unit != "s":
            raise InputError("unit", self.held.unit, "s")


def _second_from_first(first: First) -> Second:
    return Second(seconds=str(int(first.minutes) * 60))


def _third_from_second(second: Second) -> Third:
    return Third(held=Reading(value=second.seconds, unit="s"))


def _registry(versions: int = 3) -> Registry:
    registry = Registry()
    registry.register(KIND, 1, First)
    if versions > 1:
        registry.register(KIND, 2, Second, _second_from_first)
    if versions > 2:
        registry.register(KIND, 3, Third, _third_from_second)
    return registry


def _body(version: int, payload: bytes, kind: str = KIND) -> bytes:
    return encode(
        Envelope(
            record="aa",
            device="a1",
            sequence=1,
            clock=HybridTime(wall_ms=1),
            occurred_at=at(0),
            recorded_at=at(0),
            kind=kind,
            version=version,
            payload=msgspec.Raw(payload),
            previous="",
        )
    )


@pytest.mark.parametrize(
    ("version", "payload"),
    [(1, b'{"minutes":"5"}'), (2, b'{"seconds":"300"}'), (3, b'{"held":{"value":"300","unit":"s"}}')],
)
def test_every_version_is_read_as_the_newest(version: int, payload: bytes) -> None:
    event = _registry().decode(_body(version, payload))
    assert event.payload == Third(held=Reading(value="300", unit="s"))
    assert event.envelope.version == version


def test_reading_leaves_the_stored_bytes_alone() -> None:
    body = _body(1, b'{"minutes":"5"}')
    event = _registry().decode(body)
    assert (event.body, event.id) == (body, event_id(body))


@pytest.mark.parametrize(("kind", "version"), [(KIND, 4), ("test.from-the-future", 1)])
def test_an_unknown_kind_or_version_is_an_event_without_a_payload(kind: str, version: int) -> None:
    registry = _registry()
    event = registry.decode(_body(version, b'{"held":1.5}', kind))
    assert event.payload is None
    assert event.envelope.kind == kind
    assert not registry.knows(event.envelope)


@pytest.mark.parametrize(
    "payload",
    [b'{"minutes":7}', b"{}", b"[]", b'{"minutes":"\xff"}', b'{"held":{"value":"47.9","unit":"mV"}}'],
)
def test_a_payload_that_does_not_fit_its_kind_is_none_and_known_to_be_faulty(payload: bytes) -> None:
    registry = _registry()
    version = 3 if b"held" in payload else 1
    envelope = decode_envelope(_body(version, payload))
    assert registry.decode_payload(envelope) is None
    assert registry.knows(envelope)


def test_a_payload_is_written_with_sorted_keys() -> None:
    raw = _registry().encode_payload(KIND, Third(held=Reading(value="47.9", unit="s", resolution="0.1")))
    assert bytes(raw) == b'{"held":{"resolution":"0.1","unit":"s","value":"47.9"}}'


def test_only_the_newest_type_of_a_kind_can_be_written() -> None:
    with pytest.raises(InputError, match="payload must be a Third for test.leak-tested, got payload='First'"):
        _registry().encode_payload(KIND, First(minutes="5"))
    with pytest.raises(UnknownNameError, match="Known: test.leak-tested"):
        _registry().encode_payload("test.other", First(minutes="5"))


def test_versions_are_registered_one_after_the_other() -> None:
    registry = _registry(versions=1)
    with pytest.raises(InputError, match="version must be 2"):
        registry.register(KIND, 3, Third, _third_from_second)
    with pytest.raises(InputError, match="version must be 2"):
        registry.register(KIND, 1, First)
    registry.register(KIND, 2, Second, _second_from_first)
    assert registry.newest_version(KIND) == 2
    assert registry.payload_type(KIND) is Second
    assert registry.kinds() == (KIND,)


def test_an_upcast_belongs_to_every_version_but_the_first() -> None:
    with pytest.raises(InputError, match="upcast must be given from version 2 on"):
        Registry().register(KIND, 1, First, _second_from_first)
    with pytest.raises(InputError, match="upcast must be given from version 2 on"):
        _registry(versions=1).register(KIND, 2, Second)


def test_a_refused_registration_leaves_the_kind_unknown() -> None:
    registry = Registry()
    with pytest.raises(InputError):
        registry.register(KIND, 1, Second, _second_from_first)
    assert registry.kinds() == ()
    registry.register(KIND, 1, First)


class Inner(msgspec.Struct, frozen=True):
    level_bar: float


class WithFloat(msgspec.Struct, frozen=True):
    level_bar: float


class WithNestedFloat(msgspec.Struct, frozen=True):
    parts: tuple[tuple[str, Inner], ...] = ()


class WithFloatInUnion(msgspec.Struct, frozen=True):
    by_name: dict[str, int | float | None]


class WithAnything(msgspec.Struct, frozen=True):
    extra: Any


class NotFrozen(msgspec.Struct):
    name: str


class Chained(msgspec.Struct, frozen=True):
    name: str
    next: Chained | None = None


@pytest.mark.parametrize("payload_type", [WithFloat, WithNestedFloat, WithFloatInUnion, WithAnything])
def test_a_payload_that_could_hold_a_float_is_refused(payload_type: type[msgspec.Struct]) -> None:
    with pytest.raises(InputError, match="free of floats"):
        Registry().register(KIND, 1, payload_type)


def test_a_payload_that_could_be_changed_is_refused() -> None:
    with pytest.raises(InputError, match="frozen"):
        Registry().register(KIND, 1, NotFrozen)


def test_a_payload_may_hold_others_of_its_own_type() -> None:
    registry = Registry()
    registry.register(KIND, 1, Chained)
    assert registry.payload_type(KIND) is Chained
