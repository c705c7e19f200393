"""FITS files as we write them: one picture of whole numbers, its tiles compressed, and read again.

Reference: FITS Standard 4.0 (2018), section 10 (Rice's method, 10.4.1); Pence, Seaman & White 2009, PASP 121, 414:
steps well below the noise cost measured brightness nothing.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["BLANK", "Card", "noise_of", "packed_fits", "unpacked_fits"]

Card = tuple[str, str | int | float, str]

BLANK = -32768
_BLOCK = 2880  # bytes of which a file is made
_RICE_BLOCK = 32  # pixels
_TILE_ROWS = 32  # in tiles of a row each, reading takes twice as long
_NORMAL = 1.4826  # standard deviation of even chance over its median distance


def packed_fits(whole: NDArray[np.int16], cards: Sequence[Card], *, name: str, step: float, zero: float = 0.0) -> bytes:
    """Return whole numbers, top row first, as compressed FITS, bottom row first.

    Parameters
    ----------
    whole : ndarray of shape (H, W)
        `BLANK` where there is nothing.
    cards : sequence of (keyword, value, comment)
    name : str
        Of the picture in its file (EXTNAME).
    step, zero : float
        What the numbers mean: ``zero + step * number``.
    """
    from astropy.io import fits

    bottom_first = np.ascontiguousarray(whole[::-1])
    tiles = [_rice(bottom_first[row : row + _TILE_ROWS]) for row in range(0, len(whole), _TILE_ROWS)]
    lengths = np.array([len(tile) for tile in tiles])
    places = np.stack([lengths, np.cumsum(lengths) - lengths], axis=-1).astype(">i4").tobytes()
    header = fits.Header([*_table_cards(whole.shape, lengths), ("EXTNAME", name, ""), *cards])
    header["BSCALE"], header["BZERO"] = step, zero
    if BLANK in whole:
        header["BLANK"] = BLANK
    primary = fits.Header([("SIMPLE", True, "FITS standard"), ("BITPIX", 8), ("NAXIS", 0), ("EXTEND", True)])
    table = b"".join([places, *tiles])
    return b"".join([_header_bytes(primary), _header_bytes(header), table, bytes(-len(table) % _BLOCK)])


def _rice(tile: NDArray[np.int16]) -> bytes:
    import imagecodecs

    return bytes(imagecodecs.rcomp_encode(tile, nblock=_RICE_BLOCK))


def _table_cards(shape: tuple[int, ...], lengths: NDArray[np.intp]) -> list[Card]:
    """Return the cards of a table whose rows are the tiles of a picture; Standard, tables 17 and 36 to 38."""
    height, width = shape
    return [
        ("XTENSION", "BINTABLE", ""),
        ("BITPIX", 8, ""),
        ("NAXIS", 2, ""),
        ("NAXIS1", 8, "bytes a row: length and place of a tile"),
        ("NAXIS2", len(lengths), "tiles"),
        ("PCOUNT", int(lengths.sum()), "bytes of the tiles"),
        ("GCOUNT", 1, ""),
        ("TFIELDS", 1, ""),
        ("TTYPE1", "COMPRESSED_DATA", ""),
        ("TFORM1", f"1PB({lengths.max()})", ""),
        ("ZIMAGE", True, "a compressed picture"),
        ("ZTENSION", "IMAGE", ""),
        ("ZBITPIX", 16, ""),
        ("ZNAXIS", 2, ""),
        ("ZNAXIS1", width, ""),
        ("ZNAXIS2", height, ""),
        ("ZPCOUNT", 0, ""),
        ("ZGCOUNT", 1, ""),
        ("ZTILE1", width, ""),
        ("ZTILE2", _TILE_ROWS, ""),
        ("ZCMPTYPE", "RICE_1", ""),
        ("ZNAME1", "BLOCKSIZE", ""),
        ("ZVAL1", _RICE_BLOCK, "pixels a block"),
        ("ZNAME2", "BYTEPIX", ""),
        ("ZVAL2", 2, "bytes a pixel"),
    ]


def _header_bytes(header: Any) -> bytes:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a comment that its card has no room for
        text: str = header.tostring()
    return text.encode("ascii")


def unpacked_fits(data: bytes) -> NDArray[np.float32]:
    """Return the picture of a file made by `packed_fits`, top row first."""
    from astropy.io import fits

    with fits.open(io.BytesIO(data), memmap=False) as units:
        return np.ascontiguousarray(units[1].data[::-1], dtype=np.float32)


def noise_of(picture: NDArray[np.float32]) -> float:
    """Return the noise in the middle of a picture: by how much pixels differ, less what neighbours share."""
    height, width = picture.shape
    middle = picture[height // 4 : height - height // 4, width // 4 : width - width // 4]
    # Third differences, in which slopes and bends are gone: Stoehr et al. 2008, ASPC 394, 505.
    apart = 2.0 * middle[:, 2:-2] - middle[:, :-4] - middle[:, 4:]
    return float(_NORMAL * np.median(np.abs(apart)) / np.sqrt(6.0))
