"""Which struct a kind and version of event is read into, and how old versions are brought up to date.

The rooms that give kinds their meaning register them here; the record never looks inside. What is not registered
stays as it was written and is read as an event without a payload.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import msgspec
from msgspec import inspect

from loopworthy.vocabulary.errors import InputError, LoopworthyError, UnknownNameError
from loopworthy.vocabulary.event import Envelope, Event, decode_envelope
from loopworthy.vocabulary.identity import EventId, event_id

Upcast = Callable[[Any], msgspec.Struct]
"""Turns a payload of the version before into one of the version it is registered with."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Reader:
    decode: Callable[[msgspec.Raw], msgspec.Struct]
    upcasts: tuple[Upcast, ...]


class Registry:
    """Payload types by kind and version."""

    def __init__(self) -> None:
        self._types: dict[str, tuple[type[msgspec.Struct], ...]] = {}
        self._readers: dict[tuple[str, int], _Reader] = {}

    def register(
        self, kind: str, version: int, payload_type: type[msgspec.Struct], upcast: Upcast | None = None
    ) -> None:
        """Make a version of a kind known.

        Parameters
        ----------
        kind : str
            Dotted name, the room first: ``record.chain-opened``.
        version : int
            1, then one more for each change of meaning or form.
        payload_type : type
            A frozen struct without floats.
        upcast : callable, optional
            From the struct of the version before to this one; required from version 2.

        Raises
        ------
        InputError
            If the version does not follow the last one, the upcast is missing or too much, or the struct may hold a
            float.
        """
        types = self._types.get(kind, ())
        if version != len(types) + 1:
            raise InputError("version", version, f"{len(types) + 1}, the next version of {kind}")
        if (upcast is None) != (version == 1):
            raise InputError("upcast", upcast, f"given from version 2 on and only then ({kind} version {version})")
        _require_exact(kind, payload_type)
        if upcast is not None:
            for older in range(1, version):
                reader = self._readers[kind, older]
                self._readers[kind, older] = _Reader(decode=reader.decode, upcasts=(*reader.upcasts, upcast))
        self._readers[kind, version] = _Reader(decode=msgspec.json.Decoder(payload_type).decode, upcasts=())
        self._types[kind] = (*types, payload_type)

    def kinds(self) -> tuple[str, ...]:
        """All registered kinds, sorted."""
        return tuple(sorted(self._types))

    def newest_version(self, kind: str) -> int:
        """The version in which events of this kind are written now.

        Raises
        ------
        UnknownNameError
            If the kind is not registered.
        """
        if kind not in self._types:
            raise UnknownNameError("kind of event", kind, self.kinds())
        return len(self._types[kind])

    def payload_type(self, kind: str) -> type[msgspec.Struct]:
        """The struct of the newest version of a kind."""
        newest = self.newest_version(kind)
        return self._types[kind][newest - 1]

    def encode_payload(self, kind: str, payload: msgspec.Struct) -> msgspec.Raw:
        """The payload as JSON with sorted keys.

        Raises
        ------
        UnknownNameError
            If the kind is not registered.
        InputError
            If the payload is not of the newest type of the kind.
        """
        expected = self.payload_type(kind)
        if type(payload) is not expected:
            raise InputError("payload", type(payload).__name__, f"a {expected.__name__} for {kind}")
        return msgspec.Raw(_ENCODER.encode(payload))

    def decode_payload(self, envelope: Envelope) -> msgspec.Struct | None:
        """The payload in its newest version; None where kind or version is unknown or the payload cannot be read."""
        reader = self._readers.get((envelope.kind, envelope.version))
        if reader is None:
            return None
        try:
            payload = reader.decode(envelope.payload)
            for upcast in reader.upcasts:
                payload = upcast(payload)
        except (msgspec.MsgspecError, UnicodeDecodeError, LoopworthyError):
            # Written by a faulty or a hostile device. The event is kept and shown as one that cannot be read here;
            # it must not keep the rest of the record from being read.
            return None
        return payload

    def knows(self, envelope: Envelope) -> bool:
        """Whether kind and version of the event are registered, so that a missing payload is a faulty one."""
        return (envelope.kind, envelope.version) in self._readers

    def decode(self, body: bytes) -> Event:
        """The event in bytes.

        Raises
        ------
        InputError
            If the bytes are not an envelope.
        """
        return self.event(event_id(body), body, decode_envelope(body))

    def event(self, identity: EventId, body: bytes, envelope: Envelope) -> Event:
        """The event of an envelope that was decoded and checked already."""
        return Event(id=identity, body=body, envelope=envelope, payload=self.decode_payload(envelope))


def _require_exact(kind: str, payload_type: type[msgspec.Struct]) -> None:
    if not payload_type.__struct_config__.frozen:
        raise InputError("payload_type", payload_type.__name__, f"a frozen struct ({kind})")
    inexact = _inexact(inspect.type_info(payload_type), set())
    if inexact is not None:
        raise InputError(
            "payload_type",
            f"{payload_type.__name__}: {inexact}",
            f"free of floats and of untyped parts ({kind})",
            next_step="Hold a Reading or a decimal string",
        )


def _inexact(info: inspect.Type, met: set[type]) -> str | None:
    """The first part of a type that could hold a float, in words."""
    match info:
        case inspect.FloatType() | inspect.AnyType() | inspect.RawType():
            return type(info).__name__
        case inspect.StructType() | inspect.DataclassType() | inspect.TypedDictType() | inspect.NamedTupleType():
            if info.cls in met:
                return None
            met.add(info.cls)
            return _first(f"{field.name} {found}" for field in info.fields if (found := _inexact(field.type, met)))
        case inspect.UnionType():
            return _first(found for one in info.types if (found := _inexact(one, met)))
        case inspect.TupleType():
            return _first(found for one in info.item_types if (found := _inexact(one, met)))
        case inspect.DictType():
            return _inexact(info.key_type, met) or _inexact(info.value_type, met)
        case inspect.CollectionType():
            return _inexact(info.item_type, met)
        case inspect.Metadata():
            return _inexact(info.type, met)
        case _:
            return None


def _first(found: Any) -> str | None:
    return next(iter(found), None)


_ENCODER = msgspec.json.Encoder(order="sorted", decimal_format="string")
