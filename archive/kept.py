"""Files that carry a check of this computer, so that damage, and what was written elsewhere, is not believed."""

from __future__ import annotations

from archive.computer_key import keyed_check

__all__ = ["checked", "checked_words"]


def checked(words: bytes, name: str) -> bytes:
    """Return the content of the file `name`: a line with the check of its words, and these."""
    return _check(words, name) + b"\n" + words


def checked_words(content: bytes, name: str) -> bytes:
    """Return the words of a file that `checked` made under that name.

    Raises
    ------
    ValueError
        They are not what was written, or were not written on this computer.
    """
    check, _, words = content.partition(b"\n")
    if check != _check(words, name):
        raise ValueError("damaged, or kept by another computer")
    return words


def _check(words: bytes, name: str) -> bytes:
    return keyed_check(name.encode(), words).hex().encode("ascii")
