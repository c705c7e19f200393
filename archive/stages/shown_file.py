"""A picture file made smaller, as pages show it: without metadata, and nothing measured in it."""

from __future__ import annotations

import io
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.model.observation import LARGE_PX
from archive.reading import Content, Pixels, read_pixels
from archive.records.disc_files import small_jpeg_bytes, whole_levels

__all__ = ["MOST_SHOWN_PX", "ShownFile", "UnmeasuredFiles", "shown_file", "unmeasured_files"]

SMALL_PX, TINY_PX = 256, 72  # as of measured pictures
MOST_SHOWN_PX = 1600  # of the longer side: the text's width twice, for sharp screens


class ShownFile(msgspec.Struct, frozen=True):
    """A picture as JPEG, and its size."""

    jpeg: bytes
    width_px: int
    height_px: int


def shown_file(data: Content, name: str) -> ShownFile | PictureError:
    """Return a picture of any kind that can be read, as displayed and of `MOST_SHOWN_PX` at most; or why it is none.

    What is transparent is shown white, as the paper under a drawing.

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
    levels = _over_white(data, pixels)
    if levels is None:
        levels = whole_levels(pixels.values, full_scale=pixels.full_scale)
    levels = _at_most(levels, MOST_SHOWN_PX)
    return ShownFile(small_jpeg_bytes(levels), levels.shape[1], levels.shape[0])


def _over_white(data: Content, pixels: Pixels) -> NDArray[np.uint8] | None:
    """Return a whole picture over white, None where nothing of it is transparent."""
    if pixels.kind not in ("png", "webp") or pixels.values.shape[0] * pixels.values.shape[1] > LARGE_PX:
        return None
    from PIL import Image, ImageOps

    try:
        with Image.open(io.BytesIO(data)) as picture:
            if not picture.has_transparency_data:
                return None
            shown = ImageOps.exif_transpose(picture).convert("RGBA")
    except Exception:  # on odd data it raises all kinds of exceptions, where our own reader has read the picture
        return None
    return np.asarray(Image.alpha_composite(Image.new("RGBA", shown.size, "white"), shown).convert("RGB"))


class UnmeasuredFiles(msgspec.Struct, frozen=True):
    """An unmeasured picture as pages show it, and as JPEGs of small squares for lists."""

    whole: ShownFile
    small: bytes
    tiny: bytes


def unmeasured_files(data: Content, name: str) -> UnmeasuredFiles:
    """Return a picture that is not measured, for its day's page and for lists of days; see `shown_file`.

    Raises
    ------
    PictureError
        It is no whole picture.
    """
    pixels = read_pixels(data, name)
    levels = _at_most(whole_levels(pixels.values, full_scale=pixels.full_scale), MOST_SHOWN_PX)
    small, tiny = (small_jpeg_bytes(_in_square(levels, side_px)) for side_px in (SMALL_PX, TINY_PX))
    return UnmeasuredFiles(ShownFile(small_jpeg_bytes(levels), levels.shape[1], levels.shape[0]), small, tiny)


def _in_square(levels: NDArray[np.uint8], side_px: int) -> NDArray[np.uint8]:
    """Return all of a picture in the middle of a black square."""
    fitted = _at_most(levels, side_px)
    square = np.zeros((side_px, side_px, *levels.shape[2:]), dtype=np.uint8)
    top, left = ((side_px - length) // 2 for length in fitted.shape[:2])
    square[top : top + fitted.shape[0], left : left + fitted.shape[1]] = fitted
    return square


def _at_most(levels: NDArray[np.uint8], most_px: int) -> NDArray[Any]:
    from PIL import Image

    height, width = levels.shape[:2]
    scale = most_px / max(height, width)
    if scale >= 1.0:
        return levels
    size = max(1, round(width * scale)), max(1, round(height * scale))
    return np.asarray(Image.fromarray(levels).resize(size, Image.Resampling.LANCZOS, reducing_gap=2.0))
