"""Salted hashes of what may have to be erased."""

from __future__ import annotations

import hashlib

from loopworthy.record.erasable import is_true, keep, text_digest, tombstone
from loopworthy.record.store import KeptText
from tests.contract.record_makers import tokens


def test_the_digest_is_the_hash_of_salt_and_text() -> None:
    assert text_digest("Zoë", b"0123456789abcdef") == hashlib.sha256("0123456789abcdefZoë".encode()).hexdigest()


def test_a_kept_text_is_true_and_a_tombstone_too() -> None:
    text = keep("Ann Example", tokens("x"))
    assert is_true(text)
    assert not text.erased
    assert is_true(tombstone(text.digest))
    assert tombstone(text.digest).erased


def test_a_text_with_other_words_another_salt_or_half_of_both_is_not_true() -> None:
    text = keep("Ann Example", tokens("x"))
    assert text.salt is not None
    assert not is_true(KeptText(digest=text.digest, salt=text.salt, words="Ben Example"))
    assert not is_true(KeptText(digest=text.digest, salt=bytes(16), words="Ann Example"))
    assert not is_true(KeptText(digest=text.digest, salt=text.salt, words=None))
    assert not is_true(KeptText(digest=text.digest, salt=None, words="Ann Example"))


def test_moving_a_letter_between_salt_and_text_does_not_make_another_true_text() -> None:
    text = keep("Ann Example", tokens("x"))
    assert text.salt is not None
    moved = KeptText(digest=text.digest, salt=text.salt + b"A", words="nn Example")
    assert hashlib.sha256(text.salt + b"A" + b"nn Example").hexdigest() == text.digest
    assert not is_true(moved)
