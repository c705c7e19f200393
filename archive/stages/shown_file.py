"""A picture file made smaller, as pages show it: without metadata, and nothing measured in it."""

from __future__ import annotations

from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.reading import Content, read_pixels
from archive.records.disc_files import small_jpeg_bytes, whole_levels

__all__ = ["MOST_SHOWN_PX", "ShownFile", "shown_file"]

MOST_SHOWN_PX = 1600  # of the longer side: the text's width twice, for sharp screens


class ShownFile(msgspec.Struct, frozen=True):
    """A picture as JPEG, and its size."""

    jpeg: bytes
    width_px: int
    height_px: int


def shown_file(data: Content, name: str) -> ShownFile | PictureError:
    """Return a picture of any kind that can be read, as displayed and of `MOST_SHOWN_PX` at most; or why it is none.

    Parameters
    ----------
    data : bytes or mapped file
    name : str
        For messages.
    """
    try:
        pixels = read_pixels(data, name)
    except PictureError as error:
        return error
    levels = _at_most(whole_levels(pixels.values, full_scale=pixels.full_scale), MOST_SHOWN_PX)
    return ShownFile(small_jpeg_bytes(levels), levels.shape[1], levels.shape[0])


def _at_most(levels: NDArray[np.uint8], most_px: int) -> NDArray[Any]:
    from PIL import Image

    height, width = levels.shape[:2]
    scale = most_px / max(height, width)
    if scale >= 1.0:
        return levels
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return np.asarray(Image.fromarray(levels).resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0))
