"""What a device would have said at a past moment is what it did say, whatever the record has grown into since."""

from __future__ import annotations

from hypothesis import Phase, given, settings

from loopworthy.judgement.replay import fold, known_by, replay
from loopworthy.judgement.verdict import Verdict, judge_unit
from loopworthy.vocabulary.event import Event
from tests.property.judgement_strategies import HISTORIES, Act, beginning, perform
from tests.unit.judgement.builder import Scene

QUICK = tuple(phase for phase in Phase if phase not in (Phase.explain, Phase.shrink))
"""A failing story is long; to make it shorter takes minutes."""


@settings(max_examples=60, deadline=None, phases=QUICK)
@given(acts=HISTORIES)
def test_a_replay_as_known_then_is_the_verdict_that_the_device_gave_live(acts: list[Act]) -> None:
    scene, devices, at = beginning()
    had = {one.name: {event.id: event for event in scene.events} for one in devices}
    said: dict[tuple[str, int], Verdict] = {}
    for act in acts:
        if act.what == "twin":  # of a copied store nobody can say which of the two is asked
            continue
        at += act.minutes
        before = len(scene.events)
        if act.what == "meet":
            had[devices[act.device].name] |= had[devices[act.other].name]
        perform(scene, devices, act, at)
        for event in scene.events[before:]:
            name = event.envelope.device
            had[name][event.id] = event
            now_ms = event.envelope.recorded_at.epoch_ms
            # Of answers in one minute the last counts; and where its clock went back, it had more by then.
            said = {key: verdict for key, verdict in said.items() if key[0] != name or key[1] < now_ms}
            said[name, now_ms] = _live(scene, had[name], event)
    for (name, at_ms), verdict in said.items():
        moment = verdict.moment
        assert moment.epoch_ms == at_ms
        assert replay(tuple(scene.events), scene.catalogue, scene.unit, moment, device=name).verdict == verdict


def _live(scene: Scene, had: dict[str, Event], last: Event) -> Verdict:
    assert {one.id for one in known_by(scene.events, last)} | {last.id} == set(had)
    book = fold(had.values(), scene.catalogue)
    return judge_unit(book, scene.catalogue, scene.unit, last.envelope.recorded_at)
