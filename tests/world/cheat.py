"""A device in bad hands: admitted to the record, with keys of its own, and willing to send anything.

Each attack gives lines as they could arrive over a network or in a file. What it sends in its own name and signs is
its own affair; what must not happen is that anything enters in the name of another.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

import msgspec

from loopworthy.record.events import CHAIN_OPENED, ChainOpened
from loopworthy.record.exchange import FORMAT, FORMAT_VERSION, EventLine, Header, HeadLine, Limits, TextLine, line_of
from loopworthy.record.memory import MemoryStore
from loopworthy.record.record import Record
from loopworthy.record.signing import SignedHead, head_message, is_keyed
from loopworthy.vocabulary.event import GENESIS, Envelope, HybridTime, SeenHead, decode_envelope, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.time import Moment, moment_from_epoch_ms
from tests.contract.record_makers import NOTED, Noted
from tests.world.people import KINDS, PocketKeys, Somebody

Attack = Callable[[Somebody], list[bytes]]


class Cheat:
    """Makes what an honest device never sends."""

    def __init__(self, somebody: Somebody, random: Random) -> None:
        self.somebody = somebody
        self.random = random
        self.forks: set[str] = set()
        somebody.note(1)
        self._attacks: tuple[Attack, ...] = (
            self.altered_event,
            self.altered_event_under_its_new_hash,
            self.another_chain_continued,
            self.another_chain_continued_with_a_forged_signature,
            self.another_chain_continued_under_a_stolen_signature,
            self.another_chain_begun_anew_with_a_key_of_the_cheat,
            self.another_chain_begun_anew_without_a_key,
            self.own_chain_forked_and_both_signed,
            self.own_chain_with_a_gap,
            self.own_chain_with_a_clock_run_back,
            self.own_event_that_saw_what_never_was,
            self.own_event_that_saw_a_forged_one,
            self.own_event_from_the_year_2099,
            self.own_head_signed_over_another_ones_event,
            self.text_erased_without_an_event,
            self.events_of_another_record,
            self.events_of_another_record_under_the_right_header,
            self.line_too_long,
            self.too_many_lines,
            self.nonsense,
            self.another_format,
        )

    def attack(self, victim: Somebody) -> tuple[str, list[bytes]]:
        """One attack and its name."""
        attack = self.random.choice(self._attacks)
        return attack.__name__, attack(victim)

    # --- in the name of others ---

    def altered_event(self, victim: Somebody) -> list[bytes]:
        body = self._somebodys_event()
        altered = body.replace(b'"', b'"', 1).replace(b"phone", b"phony").replace(b"hub", b"hug") + b" "
        return self._lines(raw=[line_of(EventLine(event=event_id(body), body=altered.decode()))])

    def altered_event_under_its_new_hash(self, victim: Somebody) -> list[bytes]:
        one = decode_envelope(self._somebodys_event())
        return self._lines([self._changed(one, payload=_noted("never written"), kind=NOTED)])

    def another_chain_continued(self, victim: Somebody) -> list[bytes]:
        return self._lines(self._continued(victim))

    def another_chain_continued_with_a_forged_signature(self, victim: Somebody) -> list[bytes]:
        bodies = self._continued(victim)
        last = decode_envelope(bodies[-1])
        head = self._head_in_the_name_of(last, event_id(bodies[-1]))
        return self._lines(bodies, [head] if head else [])

    def another_chain_continued_under_a_stolen_signature(self, victim: Somebody) -> list[bytes]:
        bodies = self._continued(victim)
        last = decode_envelope(bodies[-1])
        stolen = [head for head in self.somebody.store.signed_heads() if head.device == last.device]
        heads = [msgspec.structs.replace(head, sequence=last.sequence, event=event_id(bodies[-1])) for head in stolen]
        return self._lines(bodies, heads)

    def another_chain_begun_anew_with_a_key_of_the_cheat(self, victim: Somebody) -> list[bytes]:
        own = self.somebody.keys.held(self.somebody.keys.devices[0])
        assert own is not None
        opening = ChainOpened(device_name=victim.name, public_key=own.public_key, record_title="Quarry week")
        return self._begun_anew(victim, opening)

    def another_chain_begun_anew_without_a_key(self, victim: Somebody) -> list[bytes]:
        return self._begun_anew(victim, ChainOpened(device_name=victim.name, record_title="Quarry week"))

    # --- in its own name ---

    def own_chain_forked_and_both_signed(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        made = [
            self._event(device, head.sequence + 1, head.event, envelope, text=f"line {self.random.random()}")
            for _ in range(2)
        ]
        self.forks.add(device)
        heads = [self._signed(device, head.sequence + 1, event_id(body)) for body in made]
        part = self.random.choice((slice(0, 1), slice(1, 2), slice(0, 2)))
        return self._lines(made[part], heads[part])

    def own_chain_with_a_gap(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        body = self._event(device, head.sequence + 5, head.event, envelope)
        return self._lines([body], [self._signed(device, head.sequence + 5, event_id(body))])

    def own_chain_with_a_clock_run_back(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        body = self._event(device, head.sequence + 1, head.event, envelope, clock=HybridTime(wall_ms=5))
        return self._lines([body], [self._signed(device, head.sequence + 1, event_id(body))])

    def own_event_that_saw_what_never_was(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        other = next((one for one in self.somebody.store.heads() if one != device), device)
        seen = dict(envelope.seen) | {other: SeenHead(sequence=10_000, event="0" * 64)}
        body = self._event(device, head.sequence + 1, head.event, envelope, seen=seen)
        return self._lines([body], [self._signed(device, head.sequence + 1, event_id(body))])

    def own_event_that_saw_a_forged_one(self, victim: Somebody) -> list[bytes]:
        forged = self._continued(victim)
        last = decode_envelope(forged[-1])
        device, head, envelope = self._own_head()
        if last.device == device:
            return self._lines(forged)
        seen = dict(envelope.seen) | {last.device: SeenHead(sequence=last.sequence, event=event_id(forged[-1]))}
        clock = HybridTime(wall_ms=max(last.clock.wall_ms, envelope.clock.wall_ms) + 1)
        body = self._event(device, head.sequence + 1, head.event, envelope, seen=seen, clock=clock)
        return self._lines([*forged, body], [self._signed(device, head.sequence + 1, event_id(body))])

    def own_event_from_the_year_2099(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        body = self._event(device, head.sequence + 1, head.event, envelope, clock=HybridTime(wall_ms=4_070_908_800_000))
        return self._lines([body], [self._signed(device, head.sequence + 1, event_id(body))])

    def own_head_signed_over_another_ones_event(self, victim: Somebody) -> list[bytes]:
        device, _, _ = self._own_head()
        bodies = self._continued(victim)
        return self._lines(bodies, [self._signed(device, decode_envelope(bodies[-1]).sequence, event_id(bodies[-1]))])

    # --- of another record, and of no record ---

    def events_of_another_record(self, victim: Somebody) -> list[bytes]:
        record, bodies, heads = self._other_record()
        return self._lines(bodies, heads, record=record)

    def events_of_another_record_under_the_right_header(self, victim: Somebody) -> list[bytes]:
        _, bodies, heads = self._other_record()
        return self._lines(bodies, heads)

    def text_erased_without_an_event(self, victim: Somebody) -> list[bytes]:
        digests = [text.digest for text in (*victim.store.texts(), *self.somebody.store.texts())] or ["0" * 64]
        return self._lines(raw=[line_of(TextLine(text=digest)) for digest in digests])

    def line_too_long(self, victim: Somebody) -> list[bytes]:
        device, head, envelope = self._own_head()
        body = self._event(device, head.sequence + 1, head.event, envelope, text="x" * Limits().line_bytes)
        return self._lines([body], [self._signed(device, head.sequence + 1, event_id(body))])

    def too_many_lines(self, victim: Somebody) -> list[bytes]:
        return self._lines(raw=[b"{}\n"] * (Limits().lines + 1))

    def nonsense(self, victim: Somebody) -> list[bytes]:
        line = bytearray(self.random.choice(self._lines([self._somebodys_event()])))
        line[self.random.randrange(len(line))] ^= 1 << self.random.randrange(8)
        return self._lines(raw=[bytes(line), self.random.randbytes(30)])

    def another_format(self, victim: Somebody) -> list[bytes]:
        header, *rest = self._lines([self._somebodys_event()])
        return [header.replace(FORMAT.encode(), b"something-else"), *rest]

    # --- making it ---

    def _lines(
        self,
        bodies: list[bytes] | None = None,
        heads: list[SignedHead] | None = None,
        *,
        raw: list[bytes] | None = None,
        record: str = "",
    ) -> list[bytes]:
        header = Header(
            format=FORMAT,
            version=FORMAT_VERSION,
            record=record or self.somebody.store.record_id(),
            exported_at=self._now(),
            heads={},
        )
        events = [line_of(EventLine(event=event_id(body), body=body.decode())) for body in bodies or ()]
        return [line_of(header), *(line_of(HeadLine(head=head)) for head in heads or ()), *events, *(raw or ())]

    def _now(self) -> Moment:
        return moment_from_epoch_ms(self.somebody.true_ms())

    def _somebodys_event(self) -> bytes:
        own = set(self.somebody.keys.devices)
        others = [one.body for one in self.somebody.store.events() if decode_envelope(one.body).device not in own]
        return self.random.choice(others)

    def _changed(self, one: Envelope, **changes: object) -> bytes:
        return encode(msgspec.structs.replace(one, **changes))

    def _event(
        self,
        device: str,
        sequence: int,
        previous: str,
        before: Envelope,
        text: str = "told by a cheat",
        **changes: object,
    ) -> bytes:
        usual: dict[str, object] = {
            "device": device,
            "sequence": sequence,
            "previous": previous,
            "kind": NOTED,
            "payload": _noted(text),
            "recorded_at": self._now(),
            "occurred_at": self._now(),
            "clock": HybridTime(wall_ms=max(self.somebody.true_ms(), before.clock.wall_ms + 1)),
        }
        return self._changed(before, **(usual | changes))

    def _continued(self, victim: Somebody) -> list[bytes]:
        """One to three events after the last one known of the victim's chain, well formed."""
        heads = self.somebody.store.heads()
        device = next((one for one in victim.keys.devices if one in heads), None)
        device = device or next(one for one in heads if is_keyed(one) and one not in self.somebody.keys.devices)
        head = heads[device]
        before = decode_envelope(self.somebody.store.find(head.event)[0].body)
        bodies: list[bytes] = []
        sequence, previous = head.sequence, head.event
        for _ in range(self.random.randint(1, 3)):
            bodies.append(self._event(device, sequence + 1, previous, before))
            before = decode_envelope(bodies[-1])
            sequence, previous = sequence + 1, event_id(bodies[-1])
        return bodies

    def _begun_anew(self, victim: Somebody, opening: ChainOpened) -> list[bytes]:
        last = decode_envelope(self._continued(victim)[0])
        body = self._event(last.device, 1, GENESIS, last, payload=KINDS.encode_payload(CHAIN_OPENED, opening), seen={})
        first = self._changed(decode_envelope(body), kind=CHAIN_OPENED, version=1)
        second = self._event(last.device, 2, event_id(first), decode_envelope(first))
        head = self._head_in_the_name_of(decode_envelope(second), event_id(second))
        return self._lines([first, second], [head] if head else [])

    def _head_in_the_name_of(self, last: Envelope, event: str) -> SignedHead | None:
        """Signed with the cheat's own key, under the public key of the other."""
        known = [head for head in self.somebody.store.signed_heads() if head.device == last.device]
        if not known:
            return None
        message = head_message(last.record, last.device, last.sequence, event)
        return msgspec.structs.replace(
            known[0],
            sequence=last.sequence,
            event=event,
            signature=self.somebody.keys.sign(self.somebody.keys.devices[0], message).hex(),
        )

    def _own_head(self) -> tuple[str, SeenHead, Envelope]:
        store = self.somebody.store
        device = next(one for one in self.somebody.keys.devices if one in store.heads())
        head = store.heads()[device]
        return device, head, decode_envelope(store.find(head.event)[0].body)

    def _signed(self, device: str, sequence: int, event: str) -> SignedHead:
        held = self.somebody.keys.held(device)
        assert held is not None
        record = self.somebody.store.record_id()
        return SignedHead(
            record=record,
            device=device,
            sequence=sequence,
            event=event,
            public_key=held.public_key,
            signature=self.somebody.keys.sign(device, head_message(record, device, sequence, event)).hex(),
        )

    def _other_record(self) -> tuple[str, list[bytes], list[SignedHead]]:
        store, keys = MemoryStore(), PocketKeys(self.random, at_once=True)
        record = Record.begin(
            store, KINDS, title="Another", device_name="x", now=self._now(), token=self.random.randbytes, keys=keys
        )
        record.writer(self._now()).append(NOTED, Noted(text="elsewhere"))
        return record.id, [one.body for one in store.events()], list(store.signed_heads())


def _noted(text: str) -> msgspec.Raw:
    return msgspec.Raw(msgspec.json.encode(Noted(text=text)))
