"""Digests of files' stamps: by one number it is known that none of a folder's files has changed."""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterable

from archive.disk.folder import Folder, Stamp, stamp_of

__all__ = ["stamp_digest", "stamps_digest", "summed"]

_PACKED = struct.Struct("<qqqQ")
_DIGEST_BYTES = 16


def stamps_digest(site: Folder) -> bytes:
    """Return a digest of the stamps of all files in a folder: where it is the same, none has changed.

    Raises
    ------
    FileNotFoundError
        There is no such folder.
    """
    return summed(stamp_digest(file, stamp_of(status)) for file, status in site.walk())


def stamp_digest(file: str, stamp: Stamp) -> int:
    """Return a digest of a file's name and stamp, to be summed."""
    packed = file.encode("utf-8", "surrogateescape") + b"\0" + _PACKED.pack(*stamp)
    return int.from_bytes(hashlib.blake2b(packed, digest_size=_DIGEST_BYTES).digest(), "little")


def summed(digests: Iterable[int]) -> bytes:
    """Return the digest of files in any order: the sum of theirs, so that a million of them need not be held."""
    return (sum(digests) % (1 << 8 * _DIGEST_BYTES)).to_bytes(_DIGEST_BYTES, "little")
