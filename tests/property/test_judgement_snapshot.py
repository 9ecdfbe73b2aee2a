"""A book that was kept short gives the verdicts of the whole one, or says that it cannot."""

from __future__ import annotations

import pytest
from hypothesis import Phase, event, given, settings
from hypothesis import strategies as st

from loopworthy.judgement.book import Book
from loopworthy.judgement.replay import in_order
from loopworthy.judgement.snapshot import from_bytes, to_bytes
from loopworthy.judgement.standing import Bench, Standing
from loopworthy.judgement.verdict import judge_unit
from loopworthy.vocabulary.errors import InputError, RecordError
from tests.property.judgement_strategies import HISTORIES, Act, Story, live, perform
from tests.unit.judgement.builder import DAY, Scene, minute
from tests.unit.judgement.small_catalogue import catalogue_with

QUICK = tuple(phase for phase in Phase if phase is not Phase.explain)
"""A failing story is long; explaining it takes minutes and says little."""


def taken_up(story: Story, *, twice: bool) -> Book:
    """The story's record as a short book."""
    catalogue = story.scene.catalogue
    kept = from_bytes(to_bytes(story.scene.book(), catalogue, through=7), catalogue)
    assert kept.through == 7
    return from_bytes(to_bytes(kept.book, catalogue), catalogue).book if twice else kept.book


def standings(book: Book, scene: Scene, at: float) -> dict[tuple[str, str, str], Standing]:
    """How everything stands that a step can be about now."""
    bench = Bench(book, scene.catalogue, minute(at))
    return {
        (kind, step.id, subject.key or subject.position): bench.standing(scene.unit, step, kind, subject)
        for step in scene.catalogue.steps.values()
        for subject in bench.subjects_of(scene.unit, step)
        for kind in step.makes
    }


@settings(max_examples=60, deadline=None, phases=QUICK)
@given(acts=HISTORIES, later=HISTORIES, ahead=st.integers(0, 3000), twice=st.booleans())
def test_a_short_book_goes_on_as_the_whole_one_does(acts: list[Act], later: list[Act], ahead: int, twice: bool) -> None:
    story = live(acts)
    scene, at = story.scene, story.end + 200 + ahead
    book = taken_up(story, twice=twice)
    assert judge_unit(book, scene.catalogue, scene.unit, minute(at)) == scene.verdict(at)
    assert standings(book, scene, at) == standings(scene.book(), scene, at)
    known = {one.id for one in scene.events}
    for act in later:
        at += act.minutes
        perform(scene, story.devices, act, at)
        try:
            for one in in_order(one for one in scene.events if one.id not in known):
                book.take(one, scene.catalogue)
                known.add(one.id)
        except RecordError:
            event("reached back")
            return
        asked = at + 200
        assert judge_unit(book, scene.catalogue, scene.unit, minute(asked)) == scene.verdict(asked)
        assert standings(book, scene, asked) == standings(scene.book(), scene, asked)
    event("went on to the end")


def test_weeks_of_ordinary_days_are_kept_in_a_fraction_and_give_the_same_verdict() -> None:
    scene = Scene()
    for day in range(40):
        scene.pad.begin("dive-day", at=day * DAY - 10)
        scene.pad.begin("assembly", at=day * DAY - 10)
        scene.pad.change("oxygen-changed", at=day * DAY - 5, position="cylinder-oxygen")
        scene.pad.fill(scene.at("cylinder-oxygen"), at=day * DAY - 5)
        scene.pad.morning(at=day * DAY)
        if day < 39:
            scene.pad.change("dive-made", at=day * DAY + 60)
            scene.pad.do("stored", at=day * DAY + 70)
    at = 39 * DAY + 31
    whole = scene.book()
    book = from_bytes(to_bytes(whole, scene.catalogue), scene.catalogue).book
    assert judge_unit(book, scene.catalogue, scene.unit, minute(at)) == scene.verdict(at)
    assert scene.verdict(at).word.value == "ready"
    assert len(book.items) < len(whole.items) / 3
    assert len(book.changes.all) < len(whole.changes.all)


class TestOfNoUse:
    def test_bytes_that_are_none(self) -> None:
        with pytest.raises(InputError, match="snapshot"):
            from_bytes(b"rubbish", Scene().catalogue)

    def test_one_of_another_catalogue(self) -> None:
        scene = Scene()
        kept = to_bytes(scene.book(), scene.catalogue)
        with pytest.raises(InputError, match="catalogue"):
            from_bytes(kept, catalogue_with("# another text"))

    def test_for_a_moment_before_its_end(self) -> None:
        scene = Scene()
        scene.pad.morning()
        book = from_bytes(to_bytes(scene.book(), scene.catalogue), scene.catalogue).book
        with pytest.raises(RecordError, match="answers only from"):
            judge_unit(book, scene.catalogue, scene.unit, minute(29))

    @pytest.mark.parametrize(
        "what",
        ["earlier event", "old reading withdrawn", "limit", "two are one", "old part", "late", "built otherwise"],
    )
    def test_for_an_event_that_reaches_back(self, what: str) -> None:
        scene = Scene()
        done = scene.pad.morning()
        spare = scene.pad.create("oxygen-sensor", at=30)
        phone = scene.device("phone")
        book = from_bytes(to_bytes(scene.book(), scene.catalogue), scene.catalogue).book
        match what:
            case "earlier event":
                phone.do("weight", at=5)
            case "old reading withdrawn":
                scene.pad.withdraw(done["weight"], at=40)
            case "limit":
                scene.pad.set_limit("tight.loss", "1", at=40)
            case "two are one":
                scene.pad.same(scene.people["ada"], scene.people["bo"], at=40)
            case "old part":
                scene.pad.fit("oxygen-sensor-1", spare, at=40)
            case "built otherwise":
                scene.pad.configure("electronic-two-controllers-five-sensors", at=40)
            case "late":
                scene.pad.change("loop-opened", at=40, occurred=10)
        with pytest.raises(RecordError):
            book.take(scene.events[-1], scene.catalogue)
