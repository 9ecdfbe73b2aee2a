"""A simulated world: hubs and phones that write, meet, part, fail and have wrong clocks, and one that cheats.

Everything follows from a seed. What must hold at the end is in `World.settle`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Final

from loopworthy.record.clock_bound import latest_acceptable_ms
from loopworthy.record.events import TEXT_ERASED, TextErased
from loopworthy.record.exchange import Limits, export_lines
from loopworthy.record.merge import merge, settle
from loopworthy.record.offers import (
    Size,
    agreed_version,
    chunk,
    clock_offset_ms,
    from_bytes,
    knowledge,
    knowledge_of_nothing,
    packed,
    to_bytes,
    unpacked,
)
from loopworthy.record.placing import beside
from loopworthy.record.receiving import (
    Peer,
    check_heads,
    false_signatures,
    receive,
    record_heads_received,
    sign_own_heads,
)
from loopworthy.record.scraps import lines_in, scrap
from loopworthy.record.verify import verify
from loopworthy.record.vouching import fork_proofs
from loopworthy.vocabulary.errors import InputError
from tests.contract.record_makers import START_MS
from tests.world.cheat import Cheat
from tests.world.people import KINDS, Checker, Crash, FailingStore, Somebody, at_once, in_a_file

SECOND_MS: Final = 1_000
HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
YEAR_MS: Final = 365 * DAY_MS

WRONG_CLOCKS_MS: Final = (-27 * YEAR_MS, -20 * DAY_MS, -3 * HOUR_MS, 5 * HOUR_MS, 30 * HOUR_MS, 5 * YEAR_MS)
"""A battery that was empty, a month mistaken, time zones, a day mistaken, a year mistaken."""

MOST_ROUNDS: Final = 8
"""Rounds after which all must have gone quiet when everybody has met everybody in each of them."""


@dataclass(slots=True)
class World:
    """One world.

    Attributes
    ----------
    seed : int
    cheats : bool
        Whether one of the devices is in bad hands.
    folder : Path or None
        Where stores lie as files; None: in memory, which is a hundred times faster.
    """

    seed: int
    cheats: bool = True
    folder: Path | None = None
    random: Random = field(init=False)
    time_ms: int = field(init=False, default=START_MS)
    people: list[Somebody] = field(init=False)
    cheat: Cheat | None = field(init=False, default=None)
    post: list[tuple[str, list[bytes]]] = field(init=False, default_factory=list)
    apart: set[frozenset[str]] = field(init=False, default_factory=set)
    happened: dict[str, int] = field(init=False, default_factory=dict)
    lost: set[str] = field(init=False, default_factory=set)

    def __post_init__(self) -> None:
        self.random = Random(self.seed)
        names = ("hub", "phone", "tablet", "laptop")[: self.random.randint(2, 4)]
        self.people = [
            Somebody(name, Random(f"{self.seed} {name}"), lambda: self.time_ms, self._store(name)) for name in names
        ]
        first, *others = self.people
        first.begin()
        for one in others:
            self._admit(first, one)
        if self.cheats:
            bad = Somebody("stranger", Random(f"{self.seed} stranger"), lambda: self.time_ms)
            self._admit(first, bad)
            self.cheat = Cheat(bad, Random(f"{self.seed} cheat"))

    def _store(self, name: str) -> FailingStore | None:
        return in_a_file(self.folder / f"{name}.lw") if self.folder is not None else None

    # --- what happens ---

    def live(self, steps: int) -> None:
        """Let so many things happen."""
        acts = [
            (self._note, 6),
            (self._meet, 6),
            (self._export, 1),
            (self._read_post, 3),
            (self._carry_scrap, 1),
            (self._part_or_join, 1),
            (self._turn_clock, 1),
            (self._put_back, 0.4),
            (self._copy_phone, 0.3),
            (self._text, 0.5),
        ]
        if self.cheat is not None:
            acts.append((self._suffer_the_cheat, 4))
        weights = [weight for _, weight in acts]
        for _ in range(steps):
            self.time_ms += self.random.choice((SECOND_MS, 40 * SECOND_MS, HOUR_MS))
            (act, _), *_ = self.random.choices(acts, weights)
            self._count(act.__name__)
            somebody = self.random.choice(self.people)
            if self.random.random() < 0.15:
                somebody.failing.writes_left = self.random.randrange(12)
            try:
                act(somebody)
            except Crash:
                self._count("crash")
                for one in self._everybody():
                    one.failing.begin_again()
            for one in self._everybody():
                one.failing.writes_left = None

    def _note(self, one: Somebody) -> None:
        one.note(self.random.randint(1, 3))

    def _text(self, one: Somebody) -> None:
        record = one.record()
        kept = [text for text in one.store.texts() if not text.erased]
        if kept and self.random.random() < 0.3:
            record.erase_text(kept[0].digest, reason="asked to", now=one.now())
        else:
            record.put_text(f"words of {one.name}")
            record.put_blob(self.random.randbytes(20))

    def _meet(self, one: Somebody) -> None:
        other = self.random.choice([two for two in self._everybody() if two is not one])
        if frozenset((one.name, other.name)) in self.apart:
            return
        self.exchange(one, other, careless=True)
        if self.random.random() < 0.7:
            self.exchange(other, one, careless=True)

    def exchange(self, taker: Somebody, giver: Somebody, *, careless: bool = False) -> int:
        """One takes what it misses from another; how many chunks. Careless: cut, repeated, kept for later."""
        at_once(sign_own_heads(giver.store, giver.keys))
        asked = from_bytes(to_bytes(knowledge(taker.store, now=taker.now())))
        assert agreed_version(asked) == 1
        size = Size(items=self.random.choice((1, 3, 50)), size_bytes=self.random.choice((900, 100_000)))
        record = taker.record()
        peer = None
        if giver.store.device_id():
            offset = clock_offset_ms(knowledge(giver.store, now=giver.now()), now=taker.now())
            peer = Peer(device=giver.store.device_id(), offset_ms=offset)
        rest, count = "", 0
        while True:
            part = chunk(giver.store, asked, now=giver.now(), rest=rest, size=size)
            lines = unpacked(packed(part.lines))
            if careless and self.random.random() < 0.1:
                self.post.append((taker.name, lines))  # it comes later, after others
            else:
                for _ in range(2 if careless and self.random.random() < 0.1 else 1):
                    checked = at_once(check_heads(lines, Checker(), limits=Limits()))
                    merge(taker.store, KINDS, checked.lines, now=taker.now(), vouched=checked.heads)
                    count += 1
            if not part.rest or (careless and self.random.random() < 0.1):
                break
            rest = part.rest
        record_heads_received(record, now=taker.now(), peer=peer)
        return count

    def _export(self, one: Somebody) -> None:
        at_once(sign_own_heads(one.store, one.keys))
        lines = list(export_lines(one.store, exported_at=one.now()))
        if self.random.random() < 0.3:  # the stick was pulled out too early
            text = b"".join(lines)
            lines = text[: self.random.randrange(1, len(text))].splitlines(keepends=True)
        self.post.append(("", lines))

    def _read_post(self, one: Somebody) -> None:
        mine = [item for item in self.post if item[0] in ("", one.name)]
        if not mine:
            return
        item = self.random.choice(mine)
        if self.random.random() < 0.5:
            self.post.remove(item)
        self._take(one, item[1])

    def _take(self, one: Somebody, lines: list[bytes]) -> None:
        try:
            at_once(receive(one.record(), lines, now=one.now(), verifier=Checker(), limits=Limits()))
        except InputError:
            self._count("refused as a whole")

    def _carry_scrap(self, one: Somebody) -> None:
        other = self.random.choice(self._everybody())
        at_once(sign_own_heads(one.store, one.keys))
        signed = [head for head in one.store.signed_heads() if one.store.has(head.event)]
        if signed:
            try:
                text = scrap(one.store, [self.random.choice(signed).event], now=one.now())
            except InputError:
                self._count("too much for one code")
                return
            if self.random.random() < 0.2:
                place = self.random.randrange(len(text))
                text = text[:place] + self.random.choice("AZ 09:") + text[place + 1 :]
            try:
                self._take(other, lines_in(text, other.store))
            except InputError:
                self._count("unreadable scrap")

    def _part_or_join(self, one: Somebody) -> None:
        other = self.random.choice(self.people)
        pair = frozenset((one.name, other.name))
        self.apart ^= {pair}

    def _turn_clock(self, one: Somebody) -> None:
        one.offset_ms = self.random.choice((*WRONG_CLOCKS_MS, 0, 0, 2_000))

    def _put_back(self, one: Somebody) -> None:
        """Somebody puts an older file in the place of the newer one: what only that held is lost, and known to be."""
        older = one.failing.twin()
        one.note(1)
        if self.random.random() < 0.5:
            self.exchange(self.random.choice(self._everybody()), one)
        gone = one.identities() | one.beside()
        one.put_back(older)
        gone -= one.identities() | one.beside()
        self.lost |= gone

    def _copy_phone(self, one: Somebody) -> None:
        """A phone's file is carried to another phone by hand; the key stays behind."""
        at_once(sign_own_heads(one.store, one.keys))
        if len(self.people) < 6:
            name = f"copy {len(self.people)}"
            new = Somebody(name, Random(f"{self.seed} {name}"), lambda: self.time_ms)
            new.failing = one.failing.twin()
            self.people.append(new)
            new.note(1)

    def _suffer_the_cheat(self, one: Somebody) -> None:
        assert self.cheat is not None
        act, lines = self.cheat.attack(one)
        self._count(act)
        try:
            before = one.store.count()
            at_once(receive(one.record(), lines, now=one.now(), verifier=Checker(), limits=Limits()))
        except InputError:
            self._count("refused as a whole")
            assert one.store.count() == before

    # --- what must hold ---

    def settle(self) -> None:
        """All clocks are right again, everybody meets everybody until nothing happens, and everything must be well."""
        for one in self._everybody():
            one.offset_ms = 0
        self._until_quiet()
        self._check()
        # Years later the clocks that were ahead have been caught up with.
        self.time_ms += 80 * YEAR_MS
        for one in self.people:
            settle(one.store, KINDS, now=one.now())
        self._until_quiet()
        self._check()
        for one in self.people:
            aside = beside(one.store, now=one.now())
            assert not aside.ahead
            assert not aside.due
            kept = self._acknowledged()
            if self.lost:  # with an older file went what other events may have rested on: for those they wait
                kept -= {apart.event for apart in aside.missing}
            assert kept <= one.identities(), f"{one.name} lacks acknowledged events"

    def _until_quiet(self) -> None:
        for _ in range(MOST_ROUNDS):
            before = [self._state(one) for one in self.people]
            for taker in self.people:
                for giver in self.people:
                    if taker is not giver:
                        self.exchange(taker, giver)
            if before == [self._state(one) for one in self.people]:
                return
        raise AssertionError("the exchange does not end")

    def _check(self) -> None:
        first, *others = self.people
        order = [one.id for one in first.store.events_in_order()]
        for one in others:
            assert [event.id for event in one.store.events_in_order()] == order, f"{one.name} has another record"
            assert one.beside() == first.beside(), f"{one.name} has other events beside its record"
            assert list(one.store.signed_heads()) == list(first.store.signed_heads())
            assert list(one.store.texts()) == list(first.store.texts())
            assert list(one.store.blob_digests()) == list(first.store.blob_digests())
        written = set().union(*(one.failing.written for one in self.people))
        honest = {device for one in self.people for device in one.keys.devices}
        for one in self.people:
            report = verify(one.store, KINDS)
            assert report.unbroken, report
            assert at_once(false_signatures(one.record(), Checker())) == ()
            forged = [entry.id for entry in one.store.index() if entry.device in honest and entry.id not in written]
            assert not forged, f"{one.name} took forged events"
            assert all(event.envelope.record == one.store.record_id() for event in one.record().events())
            told = [event.payload for event in one.record().events_of_kind(TEXT_ERASED)]
            told += [KINDS.decode(body).payload for body in one.store.waiting()]
            digests = {payload.digest for payload in told if isinstance(payload, TextErased)}
            gone = {text.digest for text in one.store.texts() if text.erased}
            assert gone <= digests, f"{one.name} lost a name that nobody erased"
            latest = latest_acceptable_ms(one.now())
            assert latest is not None
            assert one.store.latest_clock().wall_ms <= latest, f"{one.name} believes in a year to come"
            missing = self._acknowledged() - one.identities() - one.beside()
            assert not missing, f"{one.name} lost acknowledged events"
            proved = {proof.device for proof in fork_proofs(one.store)}
            assert not proved & honest, f"{one.name} holds proof against an honest device"
            forked = {device for device, _ in one.store.forked_places()}
            assert forked - honest <= proved, f"{one.name} lacks proof against the cheat"

    def _acknowledged(self) -> set[str]:
        """What somebody was told is recorded, apart from what was lost with the only store that had it."""
        everything = set().union(*(one.acknowledged for one in self.people))
        return everything - (self.lost - self._anywhere())

    def _anywhere(self) -> set[str]:
        return set().union(*(one.identities() | one.beside() for one in self.people))

    def _state(self, one: Somebody) -> tuple[object, ...]:
        return (
            sorted(one.identities()),
            sorted(one.beside()),
            list(one.store.signed_heads()),
            list(one.store.texts()),
            list(one.store.blob_digests()),
        )

    def _everybody(self) -> list[Somebody]:
        return [*self.people, self.cheat.somebody] if self.cheat is not None else self.people

    def _admit(self, hub: Somebody, new: Somebody) -> None:
        at_once(sign_own_heads(hub.store, hub.keys))
        asked = knowledge_of_nothing(hub.store.record_id(), now=new.now())
        rest = ""
        while True:
            part = chunk(hub.store, asked, now=hub.now(), rest=rest)
            checked = at_once(check_heads(part.lines, Checker()))
            merge(new.store, KINDS, checked.lines, now=new.now(), vouched=checked.heads, adopt=True)
            rest = part.rest
            if not rest:
                return

    def _count(self, what: str) -> None:
        what = what.strip("_").replace("_", " ")
        self.happened[what] = self.happened.get(what, 0) + 1
