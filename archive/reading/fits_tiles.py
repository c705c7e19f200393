"""Compressed FITS pictures: the size of their tiles, checked before the library decompresses them.

Reference: FITS Standard 4.0 (2018), section 10; the head of an HCOMPRESS stream as CFITSIO writes
it: two magic bytes, then the two sides of the tile.
"""

from __future__ import annotations

import math
import struct
import zlib
from collections.abc import Sequence
from typing import Any

from archive.reading.mapped import Content, release_memory

__all__ = ["check_tiles", "is_compressed"]

MOST_TILES = 100_000  # 16000 rows, the usual tiles, in each of six planes; each costs 20 us
_WIDEST_PIXEL_BYTES = 8
_GZIP = 31  # of zlib's window bits: a stream with gzip's head
_PIECE_BYTES = 1 << 14  # decompresses to 17 MB at most
_HCOMPRESS_HEAD = struct.Struct(">2sii")


def is_compressed(hdu: Any) -> bool:
    """Return whether a unit of the library is a compressed picture."""
    from astropy.io import fits

    return isinstance(hdu, fits.CompImageHDU)


def check_tiles(hdu: Any, data: Content) -> None:
    """Raise ValueError where a tile decompresses to more than its size.

    Parameters
    ----------
    hdu : astropy.io.fits.CompImageHDU
    data : bytes or mmap
        The file.
    """
    most_pixels = min(math.prod(hdu.tile_shape), math.prod(hdu.shape))
    kind = str(hdu.compression_type)
    if kind.startswith("HCOMPRESS"):
        _check_hcompress(_tiles(hdu, data, "COMPRESSED_DATA"), most_pixels)
    for column in ("COMPRESSED_DATA", "GZIP_COMPRESSED_DATA"):
        if kind.startswith("GZIP") or column.startswith("GZIP"):
            _check_gzip(_tiles(hdu, data, column), most_pixels * _WIDEST_PIXEL_BYTES)


def _tiles(hdu: Any, data: Content, column: str) -> Sequence[Any]:
    """Return the streams of a column, as arrays."""
    from astropy.io import fits

    place = hdu.fileinfo()
    table = fits.BinTableHDU.fromstring(data[place["hdrLoc"] : place["datLoc"] + place["datSpan"]])
    release_memory(data)
    if int(table.header["NAXIS2"]) > MOST_TILES:
        raise ValueError(f"over {MOST_TILES} compressed tiles")
    if column not in table.columns.names:
        return ()
    tiles: Sequence[Any] = table.data[column]
    if sum(tile.nbytes for tile in tiles) > len(data):
        raise ValueError("compressed tiles overlap")
    return tiles


def _check_gzip(tiles: Sequence[Any], most_bytes: int) -> None:
    for tile in tiles:
        stream, packed, found, end = zlib.decompressobj(_GZIP), tile.tobytes(), 0, 0
        while end < len(packed) and not stream.eof:
            found += len(stream.decompress(packed[end : end + _PIECE_BYTES]))
            end += _PIECE_BYTES
            if found > most_bytes:
                break
        if found > most_bytes or (stream.unused_data + packed[end:]).strip(b"\0"):
            raise ValueError("a compressed tile decompresses to more than its pixels")


def _check_hcompress(tiles: Sequence[Any], most_pixels: int) -> None:
    for tile in tiles:
        head = tile[: _HCOMPRESS_HEAD.size].tobytes()[: _HCOMPRESS_HEAD.size]
        if len(head) < _HCOMPRESS_HEAD.size:  # empty: the tile stands in another column
            continue
        _, across, up = _HCOMPRESS_HEAD.unpack(head)
        if min(across, up) < 1 or across * up > most_pixels:
            raise ValueError("a compressed tile decompresses to more than its pixels")
