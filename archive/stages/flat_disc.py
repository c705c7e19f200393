"""Derived discs without limb darkening, the last few of them held: maps, comparisons and films ask in turn."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.tone import flatten_disc
from archive.records.disc_files import read_disc
from archive.store import StoredBlob

__all__ = ["flat_disc"]


@lru_cache(maxsize=12)  # 4 MB each
def flat_disc(disc: StoredBlob) -> NDArray[np.float32]:
    """Return a north-up disc (FITS) flattened; it is not to be changed.

    Raises
    ------
    DamagedBlobError
        It is gone or holds something else.
    """
    flat = flatten_disc(read_disc(disc.read()), STANDARD_FRAME)
    flat.flags.writeable = False
    return flat
