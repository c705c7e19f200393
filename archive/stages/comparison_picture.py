"""A day's disc as it was at the moment of another day, by the rotation law."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.carried import SPOT_LAW, Share, Standpoint, disc_canvas, seen_surface
from archive.disc.painted import disc_palette, painted
from archive.disc.tone import flatten_disc
from archive.records.disc_files import FLAT_QUALITY, levels_jpeg_bytes, read_disc

__all__ = ["turned_disc", "turned_picture"]


def turned_picture(disc: bytes, seen_at: Standpoint, at: Standpoint) -> bytes:
    """A disc (FITS, as derived) as seen from another standpoint, as JPEG; see `turned_disc`."""
    turned = turned_disc(flatten_disc(read_disc(disc), STANDARD_FRAME), seen_at, at)
    return levels_jpeg_bytes(np.ascontiguousarray(turned[..., 0]), quality=FLAT_QUALITY)  # without a tint


def turned_disc(flat: NDArray[np.float32], seen_at: Standpoint, at: Standpoint) -> NDArray[np.uint8]:
    """Return a flattened disc in the standard frame as seen from another standpoint, in the flat look.

    What did not face us is hatched.
    """
    canvas = disc_canvas(STANDARD_FRAME)
    share = Share(seen_surface(flat, STANDARD_FRAME, seen_at), 1.0, 1.0)
    palette = disc_palette(STANDARD_FRAME, canvas, "flat")
    return painted((share,), canvas, at, drift=SPOT_LAW, palette=palette, size_px=STANDARD_FRAME.size_px)
