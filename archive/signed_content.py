"""Files signed with this computer's key, so that damage, and what was written elsewhere, is not trusted."""

from __future__ import annotations

from archive.computer_key import keyed_hash

__all__ = ["signed_content", "verified_content"]


def signed_content(data: bytes, name: str) -> bytes:
    """Return the content of the file `name`: a line with its keyed hash, then the data."""
    return _check(data, name) + b"\n" + data


def verified_content(content: bytes, name: str) -> bytes:
    """Return the data of a file that `signed_content` made under that name.

    Raises
    ------
    ValueError
        They are not what was written, or were not written on this computer.
    """
    check, _, data = content.partition(b"\n")
    if check != _check(data, name):
        raise ValueError("damaged, or written by another computer")
    return data


def _check(data: bytes, name: str) -> bytes:
    return keyed_hash(name.encode(), data).hex().encode("ascii")
