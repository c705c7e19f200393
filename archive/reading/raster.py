"""The decoded picture, and rules for all formats: size, depth, alpha, display orientation."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.model.observation import LARGE_PX

__all__ = [
    "MOST_BYTES",
    "PictureKind",
    "Pixels",
    "as_displayed",
    "check_size",
    "in_strips",
    "over_black",
    "pixels_of",
]

PictureKind = Literal["png", "jpeg", "tiff", "fits", "webp", "heif", "avif", "bmp"]
SUFFIXES: dict[PictureKind, str] = {
    "png": ".png",
    "jpeg": ".jpg",
    "tiff": ".tif",
    "fits": ".fits",
    "webp": ".webp",
    "heif": ".heic",
    "avif": ".avif",
    "bmp": ".bmp",
}

# Over twice the largest frames in use; a file that claims more is damaged, or made to fill the memory.
MOST_PIXELS = 256_000_000
MOST_VALUE = np.float32(1e30)  # larger values are blank, like NaN; this leaves headroom for arithmetic
MOST_BYTES = 2_000_000_000  # of a picture as decoded, and of its file
FEWEST_A_SIDE_PX = 32
_STRIP_NUMBERS = 1_000_000


@dataclass(frozen=True)
class Pixels:
    """A whole picture as displayed: row 0 at the top, column 0 at the left; one after the other unless it is large.

    `values` is (height, width) or (height, width, 3), uint8, uint16 or float32. `full_scale` is the
    value that means white: 255, 65535, or for float data 1.0 where nothing is larger, else the
    largest value. `bit_depth` is that of `values` (32 for float). `kind` and `suffix` follow the
    content of the file, not its name.
    """

    values: NDArray[Any]
    full_scale: float
    bit_depth: int
    kind: PictureKind
    suffix: str


def check_size(width_px: int, height_px: int, *, name: str, bytes_a_pixel: int = 1) -> None:
    """Refuse, before decoding, sizes too large or too small for a picture of the Sun."""
    if min(width_px, height_px) < FEWEST_A_SIDE_PX:
        raise PictureError(
            f"{name}: picture of {width_px} x {height_px} pixels; "
            f"give one with at least {FEWEST_A_SIDE_PX} pixels a side"
        )
    if width_px * height_px > MOST_PIXELS:
        raise PictureError(
            f"{name}: picture of {width_px} x {height_px} pixels; "
            f"give one with at most {MOST_PIXELS // 1_000_000} million pixels"
        )
    if width_px * height_px * bytes_a_pixel > MOST_BYTES:
        raise PictureError(
            f"{name}: picture of {width_px} x {height_px} pixels of {bytes_a_pixel} bytes; "
            f"give one with at most {MOST_BYTES // 10**9} GB, smaller or with 16 bits"
        )


def over_black(values: NDArray[Any], alpha: NDArray[Any]) -> NDArray[Any]:
    """Return straight (not premultiplied) colours composited over black.

    Parameters
    ----------
    values : (H, W) or (H, W, C) array
    alpha : (H, W) array of the same type; 0 is sky, 1.0 or the largest integer of the type is solid
    """
    if values.dtype not in (np.uint8, np.uint16):
        solid = np.iinfo(alpha.dtype).max if alpha.dtype.kind in "iu" else 1.0
        share: NDArray[Any] = (alpha / solid).reshape(alpha.shape + (1,) * (values.ndim - 2))
        faded: NDArray[Any] = values * share
        return faded
    full = int(np.iinfo(values.dtype).max)
    if alpha.min(initial=full) == full:
        return values
    laid = np.empty(values.shape, dtype=values.dtype)
    for row, colours, solid in zip(laid, values, alpha, strict=True):
        # 65535 * 65535 + 32767 still fits 32 bits.
        weight = solid.astype(np.uint32).reshape(solid.shape + (1,) * (values.ndim - 2))
        row[:] = (colours.astype(np.uint32) * weight + full // 2) // full
    return laid


def as_displayed(values: NDArray[Any], orientation: int) -> NDArray[Any]:
    """Return the picture as displayed by the EXIF/TIFF orientation (1 to 8)."""
    if orientation in (5, 6, 7, 8):
        values = values.swapaxes(0, 1)
    if orientation in (3, 4, 7, 8):
        values = values[::-1]
    if orientation in (2, 3, 6, 7):
        values = values[:, ::-1]
    return values


def pixels_of(values: NDArray[Any], kind: PictureKind) -> Pixels:
    """Return decoded values in one of the three supported number types, with their white level.

    uint8 and uint16 stay. Of other types nothing is rescaled: they become float32, whose 24 significant
    bits hold more than any camera gives; what is not a number (a blank pixel) becomes 0.
    """
    if values.dtype not in (np.uint8, np.uint16):
        values = in_strips(_without_blanks, values, np.float32)
        full_scale = max(1.0, float(values.max()))
    else:
        full_scale = float(np.iinfo(values.dtype).max)
    bit_depth = values.dtype.itemsize * 8
    whole = values if values.shape[0] * values.shape[1] > LARGE_PX else np.ascontiguousarray(values)
    return Pixels(whole, full_scale, bit_depth, kind, SUFFIXES[kind])


def in_strips(function: Callable[[NDArray[Any]], NDArray[Any]], values: NDArray[Any], kind: Any) -> NDArray[Any]:
    """Return the result of a pixel-wise function, applied to some rows at a time to save memory."""
    first = function(values[:1])
    made = np.empty((len(values), *first.shape[1:]), dtype=kind)
    rows = max(1, _STRIP_NUMBERS * len(values) // max(values.size, 1))
    for top in range(0, len(values), rows):
        made[top : top + rows] = function(values[top : top + rows])
    return made


def _without_blanks(values: NDArray[Any]) -> NDArray[Any]:
    # Doubles beyond the range of float32 become infinite, and so blank, without a warning.
    with np.errstate(over="ignore"):
        values = values.astype(np.float32)
    return np.where((values > -MOST_VALUE) & (values < MOST_VALUE), values, np.float32(0))
