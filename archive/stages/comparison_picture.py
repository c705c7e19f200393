"""A day's disc derotated to the moment of another day."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from archive.disc.aligned import STANDARD_FRAME
from archive.disc.derotation import SPOT_LAW, Canvas, ViewGeometry, WeightedSurface, disc_canvas, visible_surface
from archive.disc.painted import Palette, disc_palette, painted
from archive.records.disc_files import FLAT_QUALITY, levels_jpeg_bytes
from archive.stages.flat_disc import flat_disc_of

__all__ = ["derotated_disc", "derotated_picture"]


def derotated_picture(disc: bytes, seen_at: ViewGeometry, at: ViewGeometry) -> bytes:
    """A disc (FITS, as derived) as seen from another standpoint, as JPEG; see `derotated_disc`."""
    turned = derotated_disc(flat_disc_of(disc), seen_at, at)
    return levels_jpeg_bytes(np.ascontiguousarray(turned[..., 0]), quality=FLAT_QUALITY)  # without a tint


def derotated_disc(flat: NDArray[np.float32], seen_at: ViewGeometry, at: ViewGeometry) -> NDArray[np.uint8]:
    """Return a flattened disc in the standard frame in another view geometry, in the flat look.

    What was not visible is hatched.
    """
    canvas, palette = _canvas()
    share = WeightedSurface(visible_surface(flat, STANDARD_FRAME, seen_at), 1.0, 1.0)
    return painted((share,), canvas, at, drift=SPOT_LAW, palette=palette, shape=(STANDARD_FRAME.size_px,) * 2)


@cache  # 20 MB: the same for all days
def _canvas() -> tuple[Canvas, Palette]:
    canvas = disc_canvas(STANDARD_FRAME)
    return canvas, disc_palette(STANDARD_FRAME, canvas, "flat")
