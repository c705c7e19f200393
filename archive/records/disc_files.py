"""Derived pictures as files: the north-up disc as FITS, and pictures as JPEG and AVIF, without private metadata."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.observation import LARGE_PX, Disc
from archive.records.fits_files import Card, noise_of, packed_fits, unpacked_fits

__all__ = [
    "FLAT_QUALITY",
    "LIGHT_QUALITIES",
    "WholeDisc",
    "avif_bytes",
    "avif_levels",
    "fits_bytes",
    "levels_jpeg_bytes",
    "read_disc",
    "shrunk_levels",
    "small_jpeg_bytes",
    "whole_disc",
    "whole_levels",
    "whole_picture_bytes",
]

# Ten years of days fit into 1 GB (`tests/whole/test_day_size.py`). Of the contrast of granulation (1 to 4 px) in one
# sharp picture from space and one of a small telescope 0.97 is left in the JPEG, which is for feeds, tints and
# browsers without AVIF, 0.93 and 0.89 in the AVIF that pages show, and 0.86 and 0.80 in the flat one.
_QUALITY, _SMALL_QUALITY = 45, 76
LIGHT_QUALITIES = {256: 55, 512: 50, 1024: 45}
FLAT_QUALITY = 40
# A whole picture has as good a quality as this many bytes let it have, foretold from a part of its disc: over the range
# of qualities the bytes fall by some 6.5 % a step. Of the same contrast 0.7 and 0.8 are left; spots keep their shapes.
_WHOLE_BYTES = 62_000
_PROBE_PX, _PROBE_QUALITY, _FALL = 384, 50, 0.065
_WHOLE_QUALITIES = (30, 60)
_STEP_NOISES = 1 / 2
_GAP = 2.0  # a picture made much smaller is first made smaller by a whole number, to twice the side wanted
_LEAST_LEVELS, _MOST_LEVELS = 300, 32000
_STRIP = 1_000_000


def fits_bytes(disc: NDArray[np.float32], cards: Sequence[Card]) -> bytes:
    """Return a disc, north up, as FITS of whole numbers (linear), compressed; see `whole_disc`."""
    return whole_disc(disc).fits_bytes(cards)


@dataclass(frozen=True)
class WholeDisc:
    """A disc in whole numbers (S, S) of steps, as its FITS holds it."""

    numbers: NDArray[np.int16]
    step: float

    @property
    def shares(self) -> NDArray[np.float32]:
        """The disc as `read_disc` returns it."""
        return self.numbers.astype(np.float32) * np.float32(self.step)

    def fits_bytes(self, cards: Sequence[Card]) -> bytes:
        """Return it as FITS, compressed."""
        named = [*cards, ("BUNIT", "", "share of the original's white, linear")]
        return packed_fits(self.numbers, named, name="DISC", step=self.step)


def whole_disc(disc: NDArray[np.float32]) -> WholeDisc:
    """Return a disc in whole numbers.

    Their step is half of the noise, which leaves brightness measured over a few pixels as it was; without noise it
    is that of sixteen bits.
    """
    most = max(float(np.abs(disc).max()), 1e-6)
    step = _two_digits(min(max(noise_of(disc) * _STEP_NOISES, most / _MOST_LEVELS), most / _LEAST_LEVELS))
    return WholeDisc(np.rint(disc * np.float32(1.0 / step)).astype(np.int16), step)


def _two_digits(step: float) -> float:
    """A round number, so that the last digit of the noise, which computers may differ in, makes no difference."""
    return float(f"{step:.1e}")


def read_disc(disc: bytes) -> NDArray[np.float32]:
    """Return the disc of a file made by `fits_bytes`, top row first."""
    return unpacked_fits(disc)


def levels_jpeg_bytes(levels: NDArray[np.uint8]) -> bytes:
    """Levels of a screen, a disc's, shape (H, W) or (H, W, 3), as JPEG."""
    return _jpeg_bytes(levels, _QUALITY)


def _jpeg_bytes(levels: NDArray[np.uint8], quality: int) -> bytes:
    """By the encoder that makes the same bytes as Pillow's in less than half of its time."""
    import imagecodecs

    subsampling = "420" if levels.ndim == 3 else "444"
    whole = np.ascontiguousarray(levels)
    return bytes(imagecodecs.jpeg8_encode(whole, level=quality, subsampling=subsampling, optimize=True))


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


def shrunk_levels(levels: NDArray[np.uint8], *, size_px: int) -> NDArray[np.uint8]:
    """Levels of a screen, a square of them, shrunk to `size_px`."""
    from PIL import Image

    if len(levels) == size_px:
        return levels
    image = Image.fromarray(levels).resize((size_px, size_px), Image.Resampling.LANCZOS, reducing_gap=_GAP)
    return np.asarray(image)


def small_jpeg_bytes(levels: NDArray[np.uint8]) -> bytes:
    """Levels of a screen, of a small picture, as JPEG."""
    return _jpeg_bytes(levels, _SMALL_QUALITY)


def whole_picture_bytes(levels: NDArray[np.uint8], disc: Disc) -> bytes:
    """Return a whole picture, as it came, as AVIF in as few bytes as a free host can keep; a large one as JPEG.

    Of a large one AVIF would take many times the memory.

    Parameters
    ----------
    levels : ndarray of shape (H, W) or (H, W, 3)
    disc : Disc
        Most of the bytes are spent on it.
    """
    height, width = levels.shape[:2]
    if height * width > LARGE_PX:
        return _large_jpeg_bytes(levels, _QUALITY)
    half = min(_PROBE_PX, height, width) // 2
    column = int(np.clip(disc.x_px, half, width - half))
    row = int(np.clip(disc.y_px, half, height - half))
    probe = levels[row - half : row + half, column - half : column + half]
    disc_share = min(math.pi * disc.radius_px**2, float(height * width)) / max(1, probe.shape[0] * probe.shape[1])
    foretold = len(avif_bytes(probe, quality=_PROBE_QUALITY)) * disc_share
    wanted = _PROBE_QUALITY - math.log(max(foretold, 1.0) / _WHOLE_BYTES) / _FALL
    return avif_bytes(levels, quality=round(min(max(wanted, _WHOLE_QUALITIES[0]), _WHOLE_QUALITIES[1])))


def avif_levels(data: bytes, *, size_px: int) -> NDArray[np.uint8]:
    """Return the levels of a grey AVIF, a square of them, shrunk to `size_px`."""
    import imagecodecs

    return shrunk_levels(np.ascontiguousarray(imagecodecs.avif_decode(data)[..., 0]), size_px=size_px)


def avif_bytes(levels: NDArray[np.uint8], *, quality: int) -> bytes:
    """Levels of a screen, shape (H, W) or (H, W, 3), as AVIF."""
    import imagecodecs

    # In one thread, so that the bytes do not depend on the machine; tiles would serve several, for 1 % more bytes.
    # Speed 8 takes twice as long for 10 % fewer bytes; Pillow, otherwise the same, a third more.
    colours = levels if levels.ndim == 3 else np.repeat(levels[..., None], 3, axis=2)
    made = imagecodecs.avif_encode(
        np.ascontiguousarray(colours),
        level=quality,
        speed=9,
        pixelformat="420",
        # Those of sRGB, its curve, and luma as in JFIF: ITU-T H.273, tables 2 to 4.
        primaries=1,
        transfer=13,
        matrix=6,
        numthreads=1,
    )
    return bytes(made)


def _whole_levels(picture: NDArray[np.float32]) -> NDArray[np.uint8]:
    levels: NDArray[np.uint8] = np.rint(np.clip(picture, 0.0, 1.0) * 255.0).astype(np.uint8)
    return levels
