"""The number of pixels from a file's first bytes, before decoding, so that large pictures are processed alone."""

from __future__ import annotations

import re

from archive.reading import jpeg
from archive.reading.kinds import picture_kind
from archive.reading.mapped import Content, as_file
from archive.reading.shared_formats import opened_picture
from archive.reading.tiff_directories import check_directories

__all__ = ["pixel_count"]

_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}  # ITU-T T.81, table B.1
_FITS_AXES = re.compile(rb"Z?NAXIS([12]) *= *(\d{1,9})")
_FITS_HEADERS_BYTES = 1 << 17


def pixel_count(data: Content) -> int:
    """Return width times height according to the file, unchecked; 0 where it is not understood."""
    kind = picture_kind(data)
    if kind == "png":
        return int.from_bytes(data[16:20], "big") * int.from_bytes(data[20:24], "big")
    if kind == "jpeg":
        return _jpeg_count(data)
    if kind == "tiff":
        return _tiff_count(data)
    if kind == "fits":
        sides = {1: 0, 2: 0}
        for axis, side in _FITS_AXES.findall(data[:_FITS_HEADERS_BYTES]):
            sides[int(axis)] = max(sides[int(axis)], int(side))
        return sides[1] * sides[2]
    return 0 if kind is None else _shared_count(data, kind)


def _shared_count(data: Content, kind: str) -> int:
    try:
        with opened_picture(data, kind) as picture:
            return picture.width * picture.height
    except Exception:  # damaged; reported when the picture is read
        return 0


def _jpeg_count(data: Content) -> int:
    try:
        size = next((body for marker, body in jpeg.segments(data) if marker in _FRAME_HEADERS), b"")
    except ValueError:  # too many segments; reported when the picture is read
        return 0
    return int.from_bytes(size[1:3], "big") * int.from_bytes(size[3:5], "big")


def _tiff_count(data: Content) -> int:
    import tifffile

    try:
        check_directories(data)
        with tifffile.TiffFile(as_file(data)) as file:
            return max(int(page.imagewidth) * int(page.imagelength) for page in file.pages)
    except Exception:  # damaged; reported when the picture is read
        return 0
