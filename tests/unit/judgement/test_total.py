"""A verdict is given for whatever the record holds: what is written wrongly or with ill will proves nothing."""

from __future__ import annotations

from dataclasses import replace

import msgspec
import pytest

from loopworthy.judgement.book import Book
from loopworthy.judgement.events import (
    EvidenceRecorded,
    HoldPassed,
    HoldReleased,
    LimitSet,
    RepairMade,
    WaiverGiven,
)
from loopworthy.judgement.replay import check_passings, fold
from loopworthy.judgement.standing import State
from loopworthy.judgement.verdict import Word, judge_unit
from loopworthy.record.events import EventWithdrawn
from loopworthy.unit.events import ChangeMade, EpisodeBegan, PartFitted, ThingsSame
from loopworthy.vocabulary.errors import RecordError, UnknownNameError
from loopworthy.vocabulary.reading import Reading
from tests.unit.judgement.builder import SENSORS, Scene, minute

ONE, TWO, THREE = SENSORS
NOBODY = "e" * 64


def reading(value: str, unit: str) -> dict[str, tuple[Reading, ...]]:
    """One entry of the leak test."""
    return {"loss": (Reading(value=value, unit=unit),)}


@pytest.mark.parametrize(
    ("value", "unit"),
    [
        ("2", "V"),
        ("2", "psi"),
        ("0", "mbar"),
        ("-5", "mbar"),
        ("9" * 400, "mbar"),
        ("." + "0" * 300 + "1", "mbar"),
    ],
)
def test_a_reading_in_a_strange_unit_or_size_breaks_nothing(value: str, unit: str) -> None:
    scene = Scene()
    scene.pad.morning()
    payload = EvidenceRecorded(
        unit=scene.unit, step="tight", subject=scene.unit, readings=reading(value, unit), second=scene.people["bo"]
    )
    scene.pad.write(payload, scene.unit, at=31)
    state = scene.state("tight", 32)
    assert state in (State.CURRENT, State.FAILED, State.CANNOT_TELL)
    if unit in ("V", "psi"):
        assert state is State.CANNOT_TELL


@pytest.mark.parametrize(
    "payload",
    [
        EvidenceRecorded(unit=NOBODY, step="tight", subject=NOBODY, answers={"done": "yes"}),
        EvidenceRecorded(unit=NOBODY, step="no-such-step", subject="", answers={"done": "yes"}, used=(NOBODY,)),
        EvidenceRecorded(unit="", step="air", subject="~~~", answers={"mv": "yes"}, instruments=(NOBODY,)),
        WaiverGiven(unit=NOBODY, step="weight", subject=NOBODY, reason="none", hearer=NOBODY),
        LimitSet(unit=NOBODY, limit="tight.loss", value="∞", source="nowhere"),
        LimitSet(unit=NOBODY, limit="no.such", value="1", source="nowhere"),
        RepairMade(unit=NOBODY, mends=(NOBODY, NOBODY), cause="none", done="nothing"),
        HoldReleased(unit=NOBODY, hold=NOBODY, cause="", repair="", test=""),
        HoldPassed(unit=NOBODY, hold="H9", verdict="ready", catalogue="", engine=""),
        EventWithdrawn(event=NOBODY, reason="there is no such event"),
        ChangeMade(change="loop-opened", positions=("nowhere",)),
        EpisodeBegan(episode="dive-day"),
        PartFitted(position="nowhere"),
        ThingsSame(),
    ],
    ids=lambda payload: type(payload).__name__,
)
@pytest.mark.parametrize("subjects", [(), (NOBODY,), (NOBODY, NOBODY), ("", "")])
def test_what_is_about_nothing_that_is_known_breaks_nothing(payload: msgspec.Struct, subjects: tuple[str, ...]) -> None:
    scene = Scene()
    scene.pad.morning()
    scene.pad.write(payload, *subjects, at=31)
    assert scene.verdict(32).word is Word.READY
    check_passings(tuple(scene.events), scene.catalogue, scene.unit)


def test_evidence_of_a_step_that_the_catalogue_no_longer_has_is_kept_and_counts_for_nothing() -> None:
    scene = Scene()
    scene.pad.morning()
    payload = EvidenceRecorded(unit=scene.unit, step="own:gone", subject=scene.unit, answers={"done": "yes"})
    gone = scene.pad.write(payload, scene.unit, at=31)
    scene.pad.do("air", at=32, position=ONE, mv="10", used=(gone,))
    assert gone in scene.book().items
    newest = scene.book().of("air", scene.at(ONE))[-1]
    bench = scene.bench(33)
    assert bench.alone(scene.unit, newest, "AIR", bench.now).code == "used-before-read"
    assert bench.alone(scene.unit, scene.book().items[gone], "AIR", bench.now).code == "step-unknown"


def test_a_time_zone_that_is_not_known_here_leaves_the_offset() -> None:
    scene = Scene()
    about = scene.about("stamp", "cylinder-oxygen")
    payload = EvidenceRecorded(unit=scene.unit, step="stamp", subject=about.key, answers={"until": "2026-05-14"})
    event = scene.pad.write(payload, *about.things, at=1)
    body = scene.events[-1]
    strange = msgspec.structs.replace(body.envelope.occurred_at, zone="Mars/Olympus")
    scene.events[-1] = replace(body, envelope=msgspec.structs.replace(body.envelope, occurred_at=strange))
    assert scene.events[-1].id == event
    assert scene.state("stamp", 2) is State.CURRENT


@pytest.mark.parametrize("missing", ["loss", "percent"])
def test_evidence_without_what_its_step_asks_for_cannot_be_told(missing: str) -> None:
    scene = Scene()
    step, position = {"loss": ("tight", ""), "percent": ("gas", "cylinder-oxygen")}[missing]
    about = scene.about(step, position)
    payload = EvidenceRecorded(
        unit=scene.unit, step=step, subject=about.key, answers={"other": "yes"}, second=scene.people["bo"],
        instruments=(scene.analyser,),
    )  # fmt: skip
    scene.pad.do("check", at=0, off="0")
    scene.pad.write(payload, *about.things, at=1)
    assert scene.standing(step, 2).code == "not-entered"


def test_a_unit_that_is_not_there_is_named() -> None:
    with pytest.raises(UnknownNameError, match="unit"):
        judge_unit(Book(), Scene().catalogue, NOBODY, minute(0))


def test_a_unit_without_configuration_is_unproven() -> None:
    scene = Scene()
    bare = scene.pad.create("unit", at=0)
    verdict = scene.verdict(1, unit=bare)
    assert (verdict.word, verdict.code) == (Word.UNPROVEN, "no-configuration")
    scene.pad.change("fault", at=2, unit=bare)
    assert scene.verdict(3, unit=bare).word is Word.STOP


class TestTaking:
    def test_an_event_taken_twice_is_taken_once(self) -> None:
        scene = Scene()
        scene.pad.morning()
        book = scene.book()
        count = book.count
        book.take(scene.events[-1], scene.catalogue)
        assert book.count == count

    def test_an_event_that_belongs_before_the_last_one_is_refused(self) -> None:
        scene = Scene()
        scene.pad.morning()
        book = scene.book()
        with pytest.raises(RecordError, match="before the last one"):
            book.take(scene.events[3], scene.catalogue)
        assert not book.follows(scene.events[3])

    def test_events_in_any_order_and_number_make_the_same_book(self) -> None:
        scene = Scene()
        scene.pad.morning()
        shuffled = [*reversed(scene.events), *scene.events[5:20]]
        assert fold(shuffled, scene.catalogue).count == len(scene.events)
        assert judge_unit(fold(shuffled, scene.catalogue), scene.catalogue, scene.unit, minute(31)) == scene.verdict(31)
