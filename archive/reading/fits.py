"""FITS: the first picture of the file, with size and checksums verified, and its header cards.

Reference: Pence et al. 2010 and the FITS Standard 4.0 (2018), sections 3, 4, 5 and 10.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.errors import PictureError
from archive.model.observation import LARGE_PX
from archive.reading.fits_tiles import check_tiles, is_compressed
from archive.reading.mapped import Content, as_file, release_memory
from archive.reading.raster import check_size

__all__ = ["Cards", "Headers", "read_fits", "read_headers"]

Cards = Mapping[str, object]
# The standard (4.4.1.1, 7.3.1) has at most 999 axes and columns; the library would create any number. With a
# negative size it would go back, and read the same unit forever.
LONG_COUNT = re.compile(rb"(?:NAXIS|TFIELDS) *= *\+?0*[1-9]\d{3}")
NEGATIVE_SIZE = re.compile(rb"(NAXIS|PCOUNT|GCOUNT)...= *-")

_CARD_BYTES = 80
# Measured (astropy 7, one processor at 2 GHz): a unit costs 0.25 ms and 3 kB, a card 15 to 25 us.
MOST_UNITS = 1000
MOST_CARDS = 50_000  # of all headers together
_STRIP_NUMBERS = 1_000_000


@dataclass(frozen=True)
class Headers:
    """The cards of the picture's header and of the primary header, which may be the same."""

    picture: Cards
    primary: Cards


def read_fits(data: Content, name: str) -> NDArray[Any]:
    """Decode as displayed: (H, W) or (H, W, 3). By the standard's advice the first row is the lowest."""
    with _opened(data, checksum=True) as (_, hdu, seen):
        rows, columns = hdu.shape[-2:]
        check_size(columns, rows, name=name)
        if len(hdu.shape) != 2 and (len(hdu.shape) != 3 or hdu.shape[0] not in (1, 3)):
            shape = " x ".join(map(str, hdu.shape[::-1]))
            raise PictureError(f"{name}: FITS picture of {shape}; save it as one plane, or three for RGB")
        planes = hdu.shape[0] if len(hdu.shape) == 3 else 1
        check_size(columns, rows, name=name, bytes_a_pixel=planes * abs(int(hdu.header["BITPIX"])) // 8)
        _check_whole(hdu, seen, len(data))
        if is_compressed(hdu):
            check_tiles(hdu, data)
        values = _in_strips(hdu) if rows * columns > LARGE_PX else np.asarray(hdu.data)
    if values.ndim == 3:
        values = np.moveaxis(values, 0, -1) if values.shape[0] == 3 else values[0]
    if values.dtype.kind == "i" and values.dtype.itemsize == 2 and values.min() >= 0:
        # The standard has no unsigned 16-bit type but by an offset.
        values = values.astype(values.dtype.newbyteorder("="), copy=False).view(np.uint16)
    return values if rows_from_top(_cards(hdu.header)) else values[::-1]


def read_headers(data: Content) -> Headers:
    """Return the header cards, without reading the pixels; values that cannot be parsed are left out."""
    with _opened(data, checksum=False) as (primary, hdu, _):
        return Headers(picture=_cards(hdu.header), primary=_cards(primary.header))


def rows_from_top(picture: Cards) -> bool:
    """Return whether the first row is the highest: the common keyword ROWORDER says so."""
    return str(picture.get("ROWORDER", "")).strip().upper() == "TOP-DOWN"


@contextmanager
def _opened(data: Content, *, checksum: bool) -> Iterator[tuple[Any, Any, list[warnings.WarningMessage]]]:
    """The primary unit, the first unit with a picture, and the warnings seen on the way to it."""
    from astropy.io import fits

    lines = _header_lines(data, 0, MOST_CARDS)
    with warnings.catch_warnings(record=True) as seen:
        warnings.simplefilter("always")
        # Units are read one by one, each after a look at it: `checksum=True` would have the library read all at once.
        with fits.open(as_file(data), memmap=False, checksum=int(checksum)) as units:
            found = None
            for unit in _each_unit(units, data, lines):
                if found is None and unit.is_image and len(unit.shape or ()) >= 2:
                    found = unit
                    if not checksum:
                        break
            if found is None:
                raise ValueError("it holds no picture")
            yield units[0], found, seen


def _each_unit(units: Any, data: Content, lines: int) -> Iterator[Any]:
    """Yield the units in order, up to the first invalid one; too many are refused."""
    for number in range(MOST_UNITS):
        unit = units[number]
        yield unit
        place = unit.fileinfo()
        after = place["datLoc"] + place["datSpan"]
        if data[after : after + 8] != b"XTENSION":
            return
        lines += _header_lines(data, after, MOST_CARDS - lines)
        release_memory(data)
    raise ValueError(f"over {MOST_UNITS} units; a finished picture is one")


def _header_lines(data: Content, start: int, most: int) -> int:
    """Return the number of lines of the header that starts there, refusing lines that would mislead the library."""
    for number, at in enumerate(range(start, len(data), _CARD_BYTES), start=1):
        if number > most:
            raise ValueError(f"headers of over {MOST_CARDS} lines")
        card = data[at : at + _CARD_BYTES]
        if LONG_COUNT.match(card):
            raise ValueError("it claims over 999 axes or columns")
        if negative := NEGATIVE_SIZE.match(card):
            raise ValueError(f"{negative[1].decode()} is negative")
        if card.startswith(b"END "):
            return number
    return 0


def _in_strips(hdu: Any) -> NDArray[Any]:
    """Return the values of a picture, read some rows at a time, because the library copies when scaling."""
    rows, columns = hdu.shape[-2:]
    # A compressed tile is decompressed as a whole, so strips consist of whole tiles.
    tall = hdu.tile_shape[-2] if is_compressed(hdu) else 1
    strip = max(1, _STRIP_NUMBERS // (columns * tall)) * tall
    kind = hdu.section[..., :1, :].dtype
    # Doubles that become infinite are blank, as they are among all others.
    narrow = np.dtype(np.float32) if kind.kind == "f" or kind.itemsize > 2 else kind.newbyteorder("=")
    values = np.empty(hdu.shape, dtype=narrow)
    with np.errstate(over="ignore"):
        for top in range(0, rows, strip):
            values[..., top : top + strip, :] = hdu.section[..., top : top + strip, :]
    return values


def _check_whole(hdu: Any, seen: list[warnings.WarningMessage], file_bytes: int) -> None:
    place = hdu.fileinfo()
    # For a compressed picture `size` is the decompressed size.
    needed = place["datSpan"] if is_compressed(hdu) else max(place["datSpan"], hdu.size)
    if place["datLoc"] + needed > file_bytes:
        raise ValueError("it ends before its last row")
    for warning in seen:
        text = str(warning.message).strip()
        if "verification failed" in text or "truncated" in text:
            raise ValueError(text)


def _cards(header: Any) -> dict[str, object]:
    cards: dict[str, object] = {}
    for key in header:
        try:
            value = header[key]
        except Exception:  # one card that cannot be parsed must not hide the others
            continue
        if isinstance(value, str | int | float):
            cards[str(key)] = value
    return cards
