"""A day's disc derotated to the moment of another day."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.derotation import SPOT_LAW, ViewGeometry, WeightedSurface, disc_canvas, visible_surface
from archive.disc.painted import disc_palette, painted
from archive.disc.tone import flatten_disc
from archive.records.disc_files import jpeg_bytes, read_disc

__all__ = ["derotated_disc", "derotated_picture"]


def derotated_picture(disc: bytes, seen_at: ViewGeometry, at: ViewGeometry) -> bytes:
    """Return a disc (FITS, as derived) in another view geometry, as JPEG; see `derotated_disc`."""
    turned = derotated_disc(flatten_disc(read_disc(disc), STANDARD_FRAME), seen_at, at)
    return jpeg_bytes(turned.astype(np.float32) / np.float32(255.0))


def derotated_disc(flat: NDArray[np.float32], seen_at: ViewGeometry, at: ViewGeometry) -> NDArray[np.uint8]:
    """Return a flattened disc in the standard frame in another view geometry, in the flat look.

    What was not visible is hatched.
    """
    canvas = disc_canvas(STANDARD_FRAME)
    share = WeightedSurface(visible_surface(flat, STANDARD_FRAME, seen_at), 1.0, 1.0)
    palette = disc_palette(STANDARD_FRAME, canvas, "flat")
    return painted((share,), canvas, at, drift=SPOT_LAW, palette=palette, size_px=STANDARD_FRAME.size_px)
