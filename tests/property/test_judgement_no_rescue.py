"""Nothing that is declared, taken back or waited for brings evidence to life."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from loopworthy.judgement.verdict import Word
from tests.property.judgement_strategies import HISTORIES, Act, change, counting, live


@settings(max_examples=120, deadline=None)
@given(
    acts=HISTORIES,
    pick=st.integers(0, 10_000),
    back=st.sampled_from((0, 0, 1, 10, 35, 60, 500)),
    stranger=st.booleans(),
    ahead=st.integers(0, 60),
)
def test_a_further_change_makes_nothing_count_that_did_not(
    acts: list[Act], pick: int, back: int, stranger: bool, ahead: int
) -> None:
    story = live(acts)
    scene, at = story.scene, story.end + ahead
    before, ready = counting(scene, at), scene.verdict(at).word is Word.READY
    # A stranger's device knows of nothing and nobody knows of it; its event may lie anywhere in the record.
    device = scene.device("stranger") if stranger else story.devices[pick % len(story.devices)]
    written = at - back if stranger else at
    change(scene, device, pick, written, at - back)
    assert counting(scene, at) <= before
    assert ready or scene.verdict(at).word is not Word.READY


@settings(max_examples=120, deadline=None)
@given(acts=HISTORIES, pick=st.integers(0, 10_000), device=st.integers(0, 2), ahead=st.integers(0, 60))
def test_taking_an_event_back_makes_nothing_count_that_did_not(
    acts: list[Act], pick: int, device: int, ahead: int
) -> None:
    story = live(acts)
    scene, at = story.scene, story.end + ahead
    before, ready = counting(scene, at), scene.verdict(at).word is Word.READY
    story.devices[device].withdraw(scene.events[-1 - pick % min(len(scene.events), 80)].id, at=at)
    assert counting(scene, at) <= before
    assert ready or scene.verdict(at).word is not Word.READY


@settings(max_examples=80, deadline=None)
@given(acts=HISTORIES, first=st.integers(0, 100), then=st.sampled_from((1, 10, 100, 1500, 50_000)))
def test_time_alone_makes_nothing_count_that_did_not(acts: list[Act], first: int, then: int) -> None:
    story = live(acts)
    at = story.end + 200 + first  # later than any device of the story has written, or claims to have
    assert counting(story.scene, at + then) <= counting(story.scene, at)
