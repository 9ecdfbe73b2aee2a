"""Base45 against the examples of RFC 9285."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loopworthy.record import base45
from loopworthy.vocabulary.errors import InputError


@pytest.mark.parametrize(
    ("body", "text"),
    [(b"AB", "BB8"), (b"Hello!!", "%69 VD92EX0"), (b"base-45", "UJCLQE7W581"), (b"ietf!", "QED8WEX0")],
)  # RFC 9285, sections 4.3 and 4.4
def test_the_published_examples_come_out(body: bytes, text: str) -> None:
    assert base45.encode(body) == text
    assert base45.decode(text) == body


@given(st.binary(max_size=200))
def test_bytes_come_back(body: bytes) -> None:
    text = base45.encode(body)
    assert base45.decode(text) == body
    assert set(text) <= set(base45.ALPHABET)


@pytest.mark.parametrize("text", ["A", "BB8A", "GGW", ":::", "ab8", "BB8Ü", "::"])
def test_other_texts_are_refused(text: str) -> None:
    with pytest.raises(InputError):
        base45.decode(text)
