"""Names and health statements that can be erased without breaking a chain.

The event holds a salted hash, the text lies beside the chain. Erasing takes away text and salt together: without the
salt nobody can find out by trying names what the hash stands for.
"""

from __future__ import annotations

import hashlib

from loopworthy.record.store import KeptText, Token

SALT_BYTES = 16


def text_digest(words: str, salt: bytes) -> str:
    """SHA-256 over salt and text; what an event holds in place of the text."""
    return hashlib.sha256(salt + words.encode()).hexdigest()


def keep(words: str, token: Token) -> KeptText:
    """The text with a fresh salt and its digest, ready for a store."""
    salt = token(SALT_BYTES)
    return KeptText(digest=text_digest(words, salt), salt=salt, words=words)


def tombstone(digest: str) -> KeptText:
    """What stays of an erased text, so that it does not come back with an old copy."""
    return KeptText(digest=digest, salt=None, words=None)


def is_true(text: KeptText) -> bool:
    """Whether the digest is that of the text; a tombstone has nothing that could be wrong."""
    if text.words is None:
        return text.salt is None
    return text.salt is not None and len(text.salt) == SALT_BYTES and text_digest(text.words, text.salt) == text.digest
