"""Derived pictures as files: the north-up disc as FITS, and pictures as JPEG and AVIF, without private metadata."""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.observation import LARGE_PX

__all__ = [
    "avif_bytes",
    "fits_bytes",
    "jpeg_bytes",
    "levels_jpeg_bytes",
    "read_disc",
    "small_jpeg_bytes",
    "whole_levels",
]

_LEVELS = 65535
_STRIP = 1_000_000


def fits_bytes(disc: NDArray[np.float32], cards: Sequence[tuple[str, str | int | float, str]]) -> bytes:
    """A disc, north up, as 16-bit FITS (linear, scaled to its own range), bottom row first.

    The scaling costs 1/130000 of the range at most, far below a picture's noise, and halves the file.
    """
    from astropy.io import fits

    low, high = float(disc.min()), float(disc.max())
    step = max(high - low, 1e-9) / _LEVELS
    whole = np.rint((disc[::-1] - low) / step) - (_LEVELS + 1) // 2
    header = fits.Header()
    for keyword, value, comment in cards:
        header[keyword] = (value, comment)
    header["BUNIT"] = ("", "share of the original's white, linear")
    unit = fits.PrimaryHDU(whole.astype(np.int16), header=header)
    unit.header["BSCALE"] = step
    unit.header["BZERO"] = low + step * ((_LEVELS + 1) // 2)
    stream = io.BytesIO()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        unit.writeto(stream)
    return stream.getvalue()


def read_disc(disc: bytes) -> NDArray[np.float32]:
    """The disc as it was given to `fits_bytes`, top row first; from a file's content."""
    from astropy.io import fits

    with fits.open(io.BytesIO(disc), memmap=False) as units:
        return np.ascontiguousarray(units[0].data[::-1], dtype=np.float32)


def jpeg_bytes(picture: NDArray[np.float32], *, quality: int = 90) -> bytes:
    """Values 0 to 1, shape (H, W) or (H, W, 3), as JPEG."""
    return levels_jpeg_bytes(_whole_levels(picture), quality=quality)


def levels_jpeg_bytes(levels: NDArray[np.uint8], *, quality: int = 90) -> bytes:
    """Levels of a screen, shape (H, W) or (H, W, 3), as JPEG."""
    if levels.shape[0] * levels.shape[1] > LARGE_PX:
        return _large_jpeg_bytes(levels, quality)
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(levels).save(stream, format="JPEG", quality=quality, optimize=True, progressive=True, subsampling=0)
    return stream.getvalue()


def _large_jpeg_bytes(levels: NDArray[np.uint8], quality: int) -> bytes:
    """By an encoder that takes no memory beside the picture; it shows from the top downwards, not ever sharper."""
    import simplejpeg

    colour = levels.ndim == 3
    made: bytes = simplejpeg.encode_jpeg(
        np.ascontiguousarray(levels if colour else levels[..., None]),
        quality=quality,
        colorspace="RGB" if colour else "GRAY",
        colorsubsampling="444" if colour else "Gray",
        fastdct=False,
    )
    return made


def whole_levels(values: NDArray[Any], *, full_scale: float) -> NDArray[np.uint8]:
    """Numbers of any kind, of which `full_scale` is white, as levels of a screen; made strip by strip."""
    if values.dtype == np.uint8 and full_scale == 255.0:
        return values
    if values.dtype.kind == "u":
        table = whole_levels(np.arange(np.iinfo(values.dtype).max + 1).astype(np.float32), full_scale=full_scale)
    levels = np.empty(values.shape, dtype=np.uint8)
    rows = max(1, _STRIP * len(values) // max(values.size, 1))
    for top in range(0, len(values), rows):
        part = values[top : top + rows]
        if values.dtype.kind == "u":
            levels[top : top + rows] = table[part]
        else:
            levels[top : top + rows] = _whole_levels(np.multiply(part, 1.0 / full_scale, dtype=np.float32))
    return levels


def small_jpeg_bytes(picture: NDArray[np.float32], *, size_px: int) -> bytes:
    """A square picture, values 0 to 1, shrunk to `size_px`."""
    from PIL import Image

    image = Image.fromarray(_whole_levels(picture)).resize((size_px, size_px), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    image.save(stream, format="JPEG", quality=88, optimize=True)
    return stream.getvalue()


def avif_bytes(picture: NDArray[np.float32], *, size_px: int) -> bytes:
    """A square picture, values 0 to 1, shrunk to `size_px`, as AVIF."""
    from PIL import Image

    image = Image.fromarray(_whole_levels(picture))
    if image.size != (size_px, size_px):
        image = image.resize((size_px, size_px), Image.Resampling.LANCZOS)
    stream = io.BytesIO()
    # In one thread, so that the bytes do not depend on the machine.
    image.save(stream, format="AVIF", quality=70, speed=8, max_threads=1)
    return stream.getvalue()


def _whole_levels(picture: NDArray[np.float32]) -> NDArray[np.uint8]:
    levels: NDArray[np.uint8] = np.rint(np.clip(picture, 0.0, 1.0) * 255.0).astype(np.uint8)
    return levels
