"""Derived discs without limb darkening, the last few of them held: looks, maps and comparisons ask in turn."""

from __future__ import annotations

import hashlib
from collections import OrderedDict

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import flatten_disc
from archive.records.disc_files import read_disc
from archive.store import StoredBlob

__all__ = ["flat_disc", "flat_disc_of", "keep_flat"]

_MOST_HELD = 12  # 4 MB each
_held: OrderedDict[str, NDArray[np.float32]] = OrderedDict()


def flat_disc(disc: StoredBlob) -> NDArray[np.float32]:
    """Return a north-up disc (FITS) flattened; it is not to be changed.

    Raises
    ------
    DamagedBlobError
        It is gone or holds something else.
    """
    held = _held.get(disc.blob.sha256)
    return flat_disc_of(disc.read()) if held is None else held


def flat_disc_of(disc: bytes) -> NDArray[np.float32]:
    """Return a north-up disc (FITS) flattened; it is not to be changed."""
    held = _held.get(_name(disc))
    if held is None:
        held = flatten_disc(read_disc(disc), STANDARD_FRAME)
        keep_flat(disc, held)
    return held


def keep_flat(disc: bytes, flat: NDArray[np.float32]) -> None:
    """Hold what `flat_disc` returns of a disc (FITS)."""
    flat.flags.writeable = False
    _held[_name(disc)] = flat
    while len(_held) > _MOST_HELD:
        _held.popitem(last=False)


def _name(disc: bytes) -> str:
    return hashlib.sha256(disc).hexdigest()
