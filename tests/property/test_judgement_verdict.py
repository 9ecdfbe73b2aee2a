"""A verdict is a pure function of the record, the moment and the catalogue, however the record came together."""

from __future__ import annotations

from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from loopworthy.judgement.book import Book
from loopworthy.judgement.replay import fold, in_order
from loopworthy.judgement.standing import COUNTING
from loopworthy.judgement.verdict import LONGEST_READY_MS, Word, judge_unit
from loopworthy.vocabulary.time import moment_from_epoch_ms
from tests.property.judgement_strategies import HISTORIES, Act, live
from tests.unit.judgement.builder import ZONE, minute


@settings(max_examples=60, deadline=None)
@given(acts=HISTORIES, batches=st.lists(st.integers(1, 40), max_size=8), ahead=st.integers(0, 3000))
def test_events_taken_in_batches_with_verdicts_between_give_the_verdict_of_one_fold(
    acts: list[Act], batches: list[int], ahead: int
) -> None:
    story = live(acts)
    scene, moment = story.scene, minute(story.end + ahead)
    ordered = in_order(scene.events)
    book, taken = Book(), 0
    for size in [len(ordered) - sum(batches), *batches]:
        for event in ordered[taken : taken + max(size, 0)]:
            book.take(event, scene.catalogue)
        taken += max(size, 0)
        if scene.unit in book.world.units():
            judge_unit(book, scene.catalogue, scene.unit, moment)  # what it remembers must not change what follows
    for event in ordered[taken:]:
        book.take(event, scene.catalogue)
    assert judge_unit(book, scene.catalogue, scene.unit, moment) == scene.verdict(story.end + ahead)


@settings(max_examples=40, deadline=None)
@given(acts=HISTORIES, seed=st.integers(0, 1000))
def test_the_order_and_the_number_of_arrivals_make_no_difference(acts: list[Act], seed: int) -> None:
    story = live(acts)
    scene = story.scene
    chance = Random(seed)
    shuffled = [*scene.events, *chance.sample(scene.events, k=min(10, len(scene.events)))]
    chance.shuffle(shuffled)
    again = judge_unit(fold(shuffled, scene.catalogue), scene.catalogue, scene.unit, minute(story.end))
    assert again == scene.verdict(story.end)


@settings(max_examples=60, deadline=None)
@given(acts=HISTORIES, ahead=st.integers(0, 3000))
def test_a_hold_is_ready_only_on_evidence_that_counts_and_a_verdict_only_until_its_last_moment(
    acts: list[Act], ahead: int
) -> None:
    story = live(acts)
    scene = story.scene
    verdict = scene.verdict(story.end + ahead)
    for hold in verdict.holds:
        if hold.word is Word.READY:
            assert all(one.standing.state in COUNTING for one in hold.requirements)
    if verdict.word is not Word.READY:
        return
    assert verdict.until_ms is not None
    assert verdict.until_ms >= verdict.moment.epoch_ms
    last = judge_unit(scene.book(), scene.catalogue, scene.unit, moment_from_epoch_ms(verdict.until_ms, ZONE))
    assert last.word is Word.READY
    after = judge_unit(scene.book(), scene.catalogue, scene.unit, moment_from_epoch_ms(verdict.until_ms + 1, ZONE))
    assert after.word is not Word.READY or verdict.until_ms == verdict.moment.epoch_ms + LONGEST_READY_MS
