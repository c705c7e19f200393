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

_MOST_HELD = 24  # 2 MB each
_STEPS = 16000  # of the quiet disc: far below noise, and 4, the most there is, still fits
_held: OrderedDict[str, NDArray[np.uint16]] = OrderedDict()


def flat_disc(disc: StoredBlob) -> NDArray[np.float32]:
    """Return a north-up disc (FITS) flattened.

    Raises
    ------
    DamagedBlobError
        It is gone or holds something else.
    """
    held = _held.get(disc.blob.sha256)
    return flat_disc_of(disc.read()) if held is None else _as_shares(held)


def flat_disc_of(disc: bytes) -> NDArray[np.float32]:
    """Return a north-up disc (FITS) flattened."""
    held = _held.get(_name(disc))
    return _as_shares(keep_flat(disc, flatten_disc(read_disc(disc), STANDARD_FRAME)) if held is None else held)


def keep_flat(disc: bytes, flat: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Hold what `flat_disc` returns of a disc (FITS); held or made again, it is the same to the last digit."""
    steps = (flat * np.float32(_STEPS) + np.float32(0.5)).astype(np.uint16)
    _held[_name(disc)] = steps
    while len(_held) > _MOST_HELD:
        _held.popitem(last=False)
    return steps


def _as_shares(steps: NDArray[np.uint16]) -> NDArray[np.float32]:
    return np.multiply(steps, np.float32(1.0 / _STEPS), dtype=np.float32)


def _name(disc: bytes) -> str:
    return hashlib.sha256(disc).hexdigest()
