"""Kept values as files: a check stands before the words, so that damage is told from what was written."""

from __future__ import annotations

import hashlib

__all__ = ["checked", "checked_words"]

_CHECK_BYTES = 16


def checked(words: bytes) -> bytes:
    """Return a file's content: a line with the check of its words, and these."""
    return _check(words) + b"\n" + words


def checked_words(content: bytes) -> bytes:
    """Return the words of a file that `checked` made; those of earlier versions, JSON alone, have no check.

    Raises
    ------
    ValueError
        They are not what was written.
    """
    if content[:1] in (b"{", b"["):
        return content
    check, _, words = content.partition(b"\n")
    if check != _check(words):
        raise ValueError("damaged")
    return words


def _check(words: bytes) -> bytes:
    return hashlib.blake2b(words, digest_size=_CHECK_BYTES).hexdigest().encode("ascii")
