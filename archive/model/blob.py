"""A file by what it holds."""

from __future__ import annotations

import msgspec

__all__ = ["NO_BLOB", "Blob"]


class Blob(msgspec.Struct, frozen=True, gc=False):
    """What a file holds, by which it is found."""

    sha256: str
    size: int


NO_BLOB = Blob("", -1)  # in the place of one that could not be kept
