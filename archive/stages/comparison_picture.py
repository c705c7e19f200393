"""A day's disc derotated to the moment of another day."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME, DiscFrame
from archive.disc.derotation import SPOT_LAW, Canvas, ViewGeometry, WeightedSurface, disc_canvas, visible_surface
from archive.disc.painted import Palette, disc_palette, painted
from archive.records.disc_files import FLAT_QUALITY, avif_bytes
from archive.stages.flat_disc import flat_disc_of

__all__ = ["derotated_disc", "derotated_picture"]

# Pages show it where no script draws the comparison from the whole disc: half the side is a quarter of work and bytes.
_FRAME = DiscFrame(STANDARD_FRAME.size_px // 2)


def derotated_picture(disc: bytes, seen_at: ViewGeometry, at: ViewGeometry) -> bytes:
    """A disc (FITS, as derived) as seen from another standpoint, as AVIF of half the side; see `derotated_disc`."""
    flat = flat_disc_of(disc)
    # A pixel of this frame is just four of the other's.
    half = flat.reshape(_FRAME.size_px, 2, _FRAME.size_px, 2).mean(axis=(1, 3), dtype=np.float32)
    return avif_bytes(derotated_disc(half, _FRAME, seen_at, at), quality=FLAT_QUALITY)


def derotated_disc(
    flat: NDArray[np.float32], frame: DiscFrame, seen_at: ViewGeometry, at: ViewGeometry
) -> NDArray[np.uint8]:
    """Return a flattened disc in its frame in another view geometry, in the flat look.

    What was not visible is hatched.
    """
    canvas, palette = _canvas(frame)
    share = WeightedSurface(visible_surface(flat, frame, seen_at), 1.0, 1.0)
    return painted((share,), canvas, at, drift=SPOT_LAW, palette=palette, shape=(frame.size_px,) * 2)


@cache  # 5 MB: the same for all days
def _canvas(frame: DiscFrame) -> tuple[Canvas, Palette]:
    canvas = disc_canvas(frame)
    return canvas, disc_palette(frame, canvas, "flat")
