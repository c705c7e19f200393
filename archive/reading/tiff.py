"""TIFF and BigTIFF: the first full-size page, with its whole depth.

Reference: Adobe, TIFF Revision 6.0 (1992), and the later compression numbers in common use.
"""

from __future__ import annotations

import logging
import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.reading.lzw import check_lzw
from archive.reading.mapped import PIECE_BYTES, Content, as_file
from archive.reading.raster import check_size, in_strips, over_black
from archive.reading.tiff_directories import check_directories

__all__ = ["SIGNATURES", "read_tiff"]

SIGNATURES = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

# none, LZW, deflate (two numbers), PackBits, LZMA, zstd: all without loss.
COMPRESSIONS = (1, 5, 8, 32946, 32773, 34925, 50000)
MIN_IS_WHITE, MIN_IS_BLACK, RGB, PALETTE, FILTER_MOSAIC, LINEAR_RAW = 0, 1, 2, 3, 32803, 34892
CHANNELS = {MIN_IS_WHITE: 1, MIN_IS_BLACK: 1, RGB: 3, PALETTE: 1}
REDUCED_OR_MASK = 0b101  # bits of NewSubfileType
MOST_SEGMENTS = 100_000  # 16000 rows as strips in each of six planes; each costs up to 100 us
LZW = 5
LEAST_BIT_FIRST = 2  # of FillOrder
_TURNED_BYTES = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
STRAIGHT_ALPHA = 2  # of ExtraSamples; 1 is premultiplied, which already lies over black
DNG_VERSION = 50706
SAVE_PLAIN = "save the finished picture as plain TIFF or PNG"

# The library reports oddities of tags to its log, which would reach the terminal unasked.
logging.getLogger("tifffile").addHandler(logging.NullHandler())


def read_tiff(data: Content, name: str) -> NDArray[Any]:
    """Decode as stored: (H, W) or (H, W, 3) of the file's own number type, alpha over black."""
    import tifffile

    check_directories(data)
    with tifffile.TiffFile(as_file(data)) as file:
        page = _full_size_page(list(file.pages))
        check_size(page.imagewidth, page.imagelength, name=name)
        _check_kind(page, name)
        bytes_a_pixel = page.samplesperpixel * page.dtype.itemsize
        check_size(page.imagewidth, page.imagelength, name=name, bytes_a_pixel=bytes_a_pixel)
        _check_segments(page, len(data), name)
        if int(page.compression) == LZW:
            _check_streams(page, data)
        values = page.asarray(buffersize=4 * PIECE_BYTES)  # what is read ahead of unpacking
        if page.axes.startswith("S"):
            values = np.moveaxis(values, 0, -1)
        return _colours(page, values.reshape(page.imagelength, page.imagewidth, -1))


def _full_size_page(pages: list[Any]) -> Any:
    """Return the first of the largest pages, thumbnails and masks aside."""
    full = [page for page in pages if not page.subfiletype & REDUCED_OR_MASK] or pages
    return max(full, key=lambda page: page.imagewidth * page.imagelength)


def _check_kind(page: Any, name: str) -> None:
    inner = page.pages or []  # raw files of cameras hold the mosaic below a small preview
    meanings = {int(one.photometric) for one in (page, *inner)}
    if DNG_VERSION in page.tags or meanings & {FILTER_MOSAIC, LINEAR_RAW}:
        raise PictureError(f"{name}: raw camera file; {SAVE_PLAIN}")
    if int(page.compression) not in COMPRESSIONS:
        raise PictureError(f"{name}: TIFF with compression {int(page.compression)}; {SAVE_PLAIN}")
    if int(page.photometric) not in CHANNELS:
        model = int(page.photometric)
        raise PictureError(f"{name}: TIFF with colour model {model}; {SAVE_PLAIN} in RGB or grey")
    if page.dtype is None or page.dtype.kind not in "buif" or page.imagedepth != 1:
        raise PictureError(f"{name}: TIFF with numbers of an unknown kind; {SAVE_PLAIN}")
    if page.samplesperpixel not in range(CHANNELS[int(page.photometric)], 9):
        raise PictureError(f"{name}: TIFF with {page.samplesperpixel} channels; {SAVE_PLAIN} in RGB or grey")


def _check_segments(page: Any, file_bytes: int, name: str) -> None:
    """Every strip or tile must lie in the file; the library would fill a missing one in silence."""
    if page.is_tiled:
        check_size(max(32, page.tilewidth), max(32, page.tilelength), name=name, bytes_a_pixel=page.dtype.itemsize)
    expected = math.prod(page.chunked)
    if expected > MOST_SEGMENTS:
        raise ValueError(f"over {MOST_SEGMENTS} strips or tiles")
    offsets, counts = page.dataoffsets[:expected], page.databytecounts[:expected]
    whole = len(offsets) == len(counts) == expected
    if not whole or any(o < 8 or n < 1 or o + n > file_bytes for o, n in zip(offsets, counts, strict=True)):
        raise ValueError("strips or tiles lie outside the file")
    if sum(counts) > max(file_bytes, 2 * page.nbytes):  # blank tiles may share their bytes, all may not
        raise ValueError("strips or tiles overlap")
    if int(page.compression) == 1 and sum(counts) * 8 < page.size * page.bitspersample:
        raise ValueError("strips or tiles are too short")


def _check_streams(page: Any, data: Content) -> None:
    for offset, count in zip(page.dataoffsets, page.databytecounts, strict=True):
        stream = data[offset : offset + count]
        check_lzw(stream.translate(_TURNED_BYTES) if page.fillorder == LEAST_BIT_FIRST else stream)


def _colours(page: Any, values: NDArray[Any]) -> NDArray[Any]:
    """Grey or RGB out of (H, W, samples): palette, few bits, min-is-white and alpha resolved."""
    meaning = int(page.photometric)
    if meaning == PALETTE:
        colour_map: NDArray[Any] = np.moveaxis(np.asarray(page.colormap), 0, -1)
        return in_strips(lambda part: colour_map[part], values[..., 0], colour_map.dtype)
    values = _whole_scale(values, page.bitspersample)
    channels = CHANNELS[meaning]
    colour = values[..., :channels] if channels == 3 else values[..., 0]
    if meaning == MIN_IS_WHITE:
        white = np.iinfo(colour.dtype).max if colour.dtype.kind == "u" else max(1.0, float(np.nanmax(colour)))
        colour = in_strips(lambda part: white - part, colour, colour.dtype)
    if STRAIGHT_ALPHA in page.extrasamples[:1]:
        return over_black(colour, values[..., channels])
    return colour


def _whole_scale(values: NDArray[Any], bits: int) -> NDArray[Any]:
    """Stretch unsigned values of 1 to 7, 9 to 15 ... bits over the type that holds them, one to one."""
    if values.dtype.kind == "b":
        values = values.astype(np.uint8)
    if values.dtype.kind != "u" or bits >= values.dtype.itemsize * 8:
        return values
    full = int(np.iinfo(values.dtype).max)
    return in_strips(lambda part: part.astype(np.uint64) * full // (2**bits - 1), values, values.dtype)
