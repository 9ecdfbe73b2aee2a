"""How long a verdict takes from a record of five years, against reading the same events once.

Run it from the root of the repository: ``.venv/bin/python benchmarks/bench_verdict.py [days] [rounds]``. One invented
day of a unit (fills, absorbent, a full morning, a dive, what is asked after it) is worked through with the functions
that people use, then told again with new fills and identities, every third or fourth day for five years. Ratios in one
run matter, not seconds: the best of several rounds counts, because a busy computer only ever adds.
"""

from __future__ import annotations

import gc
import re
import sys
import time
from collections.abc import Callable
from datetime import date, datetime, timedelta
from random import Random

import msgspec

from loopworthy.bootstrap import memory_workplace, registry
from loopworthy.desk import days
from loopworthy.desk.changes import Declared, record_change
from loopworthy.desk.demo.circumstances import Circumstances
from loopworthy.desk.demo.walk import Hands, Plan, WalkingClock, confirm_all_limits, fit_out, walk
from loopworthy.desk.people import add_person
from loopworthy.desk.units import NewThing, add_instrument, create_unit
from loopworthy.judgement.book import Book
from loopworthy.judgement.catalogue.load import load_catalogue
from loopworthy.judgement.catalogue.model import Catalogue
from loopworthy.judgement.snapshot import from_bytes, to_bytes
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.unit.configuration import ready_configurations
from loopworthy.vocabulary.event import Envelope, Event, HybridTime, decode_envelope, encode
from loopworthy.vocabulary.identity import event_id
from loopworthy.vocabulary.time import Moment, moment

BEGIN = Moment(at="2021-06-14T05:30:00+02:00", zone="Europe/Malta")
STRIDE_DAYS = 3.65
"""From dive day to dive day: a hundred a year."""

_IDENTITY = re.compile(rb"\b[0-9a-f]{64}\b")
_DATE = re.compile(rb"\b\d{4}-\d\d-\d\d\b")


def one_day() -> tuple[list[bytes], int, int, str]:
    """A record of one day: events, how many lie before the day, where the morning ends, and the unit."""
    clock = WalkingClock(BEGIN)
    workplace = memory_workplace(clock=clock)
    reader = add_person(workplace, "Pim Example")
    second = add_person(workplace, "Juno Example")
    analyser = add_instrument(workplace, "Analyser", "analyser", typed_by=reader)
    configuration = ready_configurations()["electronic-back-three-sensors"]
    unit = create_unit(workplace, "Lantern", configuration, serial="T-1", typed_by=reader)
    fit_out(workplace, unit, {"diver": reader}, typed_by=reader)
    confirm_all_limits(workplace, unit, source="Manual of the trial unit", owner=reader)
    before = len(workplace.record.events())
    chance = Random(7)
    hands = Hands(reader=reader, second=second, analyser=analyser)

    def circumstances() -> Circumstances:
        today = date.fromisoformat(BEGIN.at[:10])
        return Circumstances(world=workplace.world, unit=unit, configuration=configuration, today=today, chance=chance)

    days.begin(workplace, (unit,), "dive-day", typed_by=reader)
    days.begin(workplace, (unit,), "assembly", typed_by=reader)
    for change, position in (
        ("oxygen-changed", "cylinder-oxygen"),
        ("diluent-changed", "cylinder-diluent"),
        ("absorbent-changed", "canister-1"),
    ):
        fills = {position: NewThing(batch="L-1")}
        record_change(workplace, unit, Declared(change=change, positions=(position,), fills=fills), person=reader)
    walk(workplace, unit, clock, hands, circumstances)
    morning = len(workplace.record.events())
    clock.advance(50)
    record_change(workplace, unit, Declared(change="dive-made"), person=reader)
    walk(workplace, unit, clock, hands, circumstances, Plan(pages=("after-dive", "under-water")), again=True)
    walk(workplace, unit, clock, hands, circumstances, Plan(pages=("again",)), again=True)
    return [one.body for one in workplace.record.events()], before, morning, unit


def five_years(count: int) -> tuple[list[bytes], str, Moment]:
    """The day told `count` times, without what follows the last morning; the unit and the end of that morning."""
    template, before, morning, unit = one_day()
    bodies, previous = list(template[:before]), event_id(template[before - 1])
    names: dict[bytes, bytes] = {}
    for day in range(count):
        shift = timedelta(days=round(day * STRIDE_DAYS))
        told = template[before : morning if day == count - 1 else None]
        for body in told:
            envelope = _told_again(decode_envelope(body), names, shift, len(bodies) + 1, previous)
            new = encode(envelope)
            previous = event_id(new)
            names[event_id(body).encode()] = previous.encode()
            bodies.append(new)
    return bodies, unit, decode_envelope(bodies[-1]).recorded_at


def _told_again(one: Envelope, names: dict[bytes, bytes], shift: timedelta, sequence: int, previous: str) -> Envelope:
    def renamed(raw: bytes) -> bytes:
        return _IDENTITY.sub(lambda found: names.get(found[0], found[0]), raw)

    def dated(found: re.Match[bytes]) -> bytes:
        return (date.fromisoformat(found[0].decode()) + shift).isoformat().encode()

    occurred, recorded = _later(one.occurred_at, shift), _later(one.recorded_at, shift)
    return msgspec.structs.replace(
        one,
        sequence=sequence,
        clock=HybridTime(wall_ms=recorded.epoch_ms, counter=sequence),
        occurred_at=occurred,
        recorded_at=recorded,
        subjects=tuple(renamed(subject.encode()).decode() for subject in one.subjects),
        payload=msgspec.Raw(_DATE.sub(dated, renamed(bytes(one.payload)))),
        previous=previous,
    )


def _later(when: Moment, shift: timedelta) -> Moment:
    return moment(datetime.fromisoformat(when.at) + shift, when.zone)


def best_of(rounds: int, work: Callable[[], object]) -> float:
    """Shortest time of some work. [s]"""
    times = []
    for _ in range(rounds):
        gc.collect()
        began = time.perf_counter()
        work()
        times.append(time.perf_counter() - began)
    return min(times)


def folded(events: list[Event], catalogue: Catalogue) -> Book:
    """All events, filed."""
    book = Book()
    for event in events:
        book.take(event, catalogue)
    return book


def main() -> int:
    """Measure and print; 1 where a snapshot does not give the verdict of the fold."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    catalogue, kinds = load_catalogue(), registry()
    bodies, unit, at = five_years(count)
    events = [kinds.decode(body) for body in bodies]
    reading_s = best_of(rounds, lambda: [kinds.decode(body) for body in bodies])
    fold_s = best_of(rounds, lambda: folded(events, catalogue))

    def first_verdict() -> Verdict:
        return judge_unit(folded(events, catalogue), catalogue, unit, at)

    book = folded(events, catalogue)
    verdict = judge_unit(book, catalogue, unit, at)
    whole_s = best_of(rounds, first_verdict)
    again_s = best_of(rounds, lambda: judge_unit(book, catalogue, unit, at))
    kept = to_bytes(book, catalogue)
    keeping_s = best_of(1, lambda: to_bytes(book, catalogue))
    taking_up_s = best_of(rounds, lambda: from_bytes(kept, catalogue))

    def verdict_from_snapshot() -> Verdict:
        return judge_unit(from_bytes(kept, catalogue).book, catalogue, unit, at)

    short_s = best_of(rounds, verdict_from_snapshot)
    print(
        f"{len(events)} events, {count} dive days, verdict: {verdict.word.value}, {len(list(verdict.requirements()))}"
    )
    print(f"{'':42}{'ms':>9}{'times reading':>15}")
    for name, seconds in (
        ("reading and decoding every event once", reading_s),
        ("fold", fold_s),
        ("fold and first verdict", whole_s),
        ("one more verdict on the same book", again_s),
        ("keeping a snapshot", keeping_s),
        ("taking a snapshot up", taking_up_s),
        ("taking a snapshot up, and the verdict", short_s),
    ):
        print(f"{name:42}{seconds * 1000:9.1f}{seconds / reading_s:15.3f}")
    print(f"snapshot: {len(kept) / 1024:.0f} KiB, {len(kept) / sum(map(len, bodies)):.4f} of the events")
    same = verdict_from_snapshot() == verdict
    print("the snapshot gives the same verdict" if same else "THE SNAPSHOT GIVES ANOTHER VERDICT")
    return 0 if same else 1


if __name__ == "__main__":
    raise SystemExit(main())
