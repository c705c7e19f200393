"""JPEG: the marker segments before the picture, and the pixels.

Reference: ITU-T T.81 (JPEG), annex B.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.reading.mapped import Content
from archive.reading.raster import check_size

__all__ = ["read_jpeg", "segments"]

START_OF_SCAN = 0xDA
_FILL = re.compile(rb"\xff+")
MOST_SEGMENTS = 10_000  # before the first scan: 640 MB in full ones
MOST_SCANS = 100  # a progressive picture has about ten; each scan costs the time of a whole picture


def segments(data: Content) -> Iterator[tuple[int, bytes]]:
    """Yield marker and content of each segment before the first scan; stop at the first incomplete one.

    Raises
    ------
    ValueError
        There are too many.
    """
    start = 2
    for _ in range(MOST_SEGMENTS):
        fill = _FILL.match(data, start)
        if fill is None or fill.end() + 3 > len(data):
            return
        start = fill.end() - 1  # any number of fill bytes may stand before a marker
        marker = data[start + 1]
        end = start + 2 + int.from_bytes(data[start + 2 : start + 4], "big")
        if marker == START_OF_SCAN or end > len(data):
            return
        yield marker, data[start + 4 : end]
        start = end
    raise ValueError(f"over {MOST_SEGMENTS} segments before the picture")


def read_jpeg(data: Content, name: str) -> NDArray[Any]:
    """Decode as stored: (H, W) or (H, W, 3) uint8. CMYK, as photo editors write it, becomes RGB."""
    # Strict decoding turns the codec's warnings into errors. Measured on seeded damage: it refuses every
    # truncation, lost end, lost or doubled block and stray marker that any decoder or a walk over the
    # markers refuses, and 15 to 60 % of single flipped bytes, where Pillow refuses 0 to 7 %. Other
    # flips leave a valid file with other pixels: JPEG has no check sum.
    import simplejpeg

    data = bytes(data)
    _check_scans(data, name)
    height_px, width_px, colours, _ = simplejpeg.decode_jpeg_header(data, strict=True)
    check_size(width_px, height_px, name=name, bytes_a_pixel=3)
    if colours in ("CMYK", "YCCK"):
        return _rgb_from_cmyk(simplejpeg.decode_jpeg(data, colorspace="CMYK", strict=True))
    if colours == "Gray":
        grey: NDArray[Any] = simplejpeg.decode_jpeg(data, colorspace="GRAY", strict=True)
        return grey[..., 0]
    colour: NDArray[Any] = simplejpeg.decode_jpeg(data, colorspace="RGB", strict=True)
    return colour


def _rgb_from_cmyk(inks: NDArray[Any]) -> NDArray[Any]:
    """Return RGB from CMYK, which photo editors store inverted (255 is no ink); row by row, to save memory."""
    mixed = np.empty((*inks.shape[:2], 3), dtype=np.uint8)
    for row, four in zip(mixed, inks, strict=True):
        wide = four.astype(np.uint32)
        row[:] = (wide[:, :3] * wide[:, 3:] + 127) // 255
    return mixed


def _check_scans(data: bytes, name: str) -> None:
    """Refuse too many scans: a few megabytes of empty ones take the decoder hours."""
    start = 2 + sum(len(body) + 4 for _, body in segments(data))
    scans = data.count(bytes((0xFF, START_OF_SCAN)), start)
    if scans > MOST_SCANS:
        raise PictureError(f"{name}: JPEG with {scans} scans; save the picture again")
