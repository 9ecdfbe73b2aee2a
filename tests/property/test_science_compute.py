"""The JSON door for any request: an answer in finite numbers, or a refusal in words; never anything else."""

from __future__ import annotations

import json
import math
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from loopworthy.desk.compute import CALCULATIONS, calculate
from loopworthy.vocabulary.errors import InputError

leaves = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.floats(-100, 1100)
    | st.text(max_size=8)
    | st.sampled_from(["negative", "positive", "sea", "bar"])
)
trees = st.recursive(
    leaves, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4)
)


@st.composite
def damaged_requests(draw: st.DrawFn) -> tuple[str, Any]:
    """An example with one value, anywhere in it, replaced, removed or doubled."""
    name = draw(st.sampled_from(list(CALCULATIONS)))
    request = json.loads(json.dumps(dict(CALCULATIONS[name].example)))
    place: Any = request
    while True:
        keys = list(place) if isinstance(place, dict) else list(range(len(place)))
        key = draw(st.sampled_from(keys))
        if isinstance(place[key], dict | list) and place[key] and draw(st.booleans()):
            place = place[key]
            continue
        if draw(st.integers(0, 4)) == 0:
            del place[key]
        else:
            place[key] = draw(trees)
        return name, request


def _refused_or_finite(name: str, text: str) -> None:
    refusal, answer = None, b""
    try:
        answer = calculate(name, text)
    except InputError as error:
        refusal = error
    if refusal is not None:
        assert refusal.name
        assert refusal.limit
        return

    def walk(tree: Any) -> None:
        if isinstance(tree, dict):
            assert tree
            for value in tree.values():
                walk(value)
        elif isinstance(tree, list):
            for value in tree:
                walk(value)
        elif isinstance(tree, float):
            assert math.isfinite(tree)

    walk(json.loads(answer))


@given(damaged_requests())
def test_a_damaged_request_is_refused_in_words_or_answered_in_finite_numbers(damaged: tuple[str, Any]) -> None:
    name, request = damaged
    _refused_or_finite(name, json.dumps(request))


@given(st.sampled_from(list(CALCULATIONS)), st.text(max_size=40) | trees.map(json.dumps))
def test_any_text_at_all_is_refused_in_words(name: str, text: str) -> None:
    _refused_or_finite(name, text)
