"""Pictures of 64 x 64 pixels in files of very many parts, written byte by byte from the formats' own standards."""

from __future__ import annotations

import gzip
import io
import struct
import zlib

import numpy as np
from astropy.io import fits
from PIL import Image

from reading.drawn import png_chunk

STRIP = bytes(4096)


def _tags(*more: tuple[int, int, int, int]) -> list[tuple[int, int, int, int]]:
    usual = [(256, 4, 1, 64), (257, 4, 1, 64), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
             (273, 4, 1, 16), (277, 3, 1, 1), (278, 4, 1, 64), (279, 4, 1, len(STRIP))]  # fmt: skip
    replaced = {tag[0] for tag in more}
    return sorted([tag for tag in usual if tag[0] not in replaced] + list(more))


def _directory(tags: list[tuple[int, int, int, int]], after: int, *, big: bool = False) -> bytes:
    count, tag, offset = ("<Q", "<HHQQ", "<Q") if big else ("<H", "<HHII", "<I")
    return struct.pack(count, len(tags)) + b"".join(struct.pack(tag, *one) for one in tags) + struct.pack(offset, after)


def _head(first: int, *, big: bool = False) -> bytes:
    return b"II+\0" + struct.pack("<HHQ", 8, 0, first) if big else b"II*\0" + struct.pack("<I", first).ljust(12, b"\0")


def tiff_of_directories(number: int, *, big: bool = False) -> bytes:
    """Each leads to the next."""
    first, size = 16 + len(STRIP), len(_directory(_tags(), 0, big=big))
    places = [first + size * (one + 1) for one in range(number - 1)] + [0]
    return _head(first, big=big) + STRIP + b"".join(_directory(_tags(), after, big=big) for after in places)


def tiff_of_sub_directories(number: int) -> bytes:
    """All below the first one, whose tag 330 lists them."""
    first = 16 + len(STRIP)
    listed = first + len(_directory(_tags((330, 4, 1, 0)), 0))
    size, below = len(_directory(_tags(), 0)), listed + 4 * number
    places = struct.pack(f"<{number}I", *range(below, below + size * number, size))
    return (
        _head(first) + STRIP + _directory(_tags((330, 4, number, listed)), 0) + places + _directory(_tags(), 0) * number
    )


def tiff_of_tags(number: int, *, kind: int, values: int, file_bytes: int = 0) -> bytes:
    """In one directory, each with so many values, which all lie in the same place."""
    body = STRIP.ljust(file_bytes, b"\0")
    more = [(40000 + one, kind, values, 16) for one in range(number)]
    return _head(16 + len(body)) + body + _directory(_tags(*more), 0)


def tiff_of_strips(stream: bytes, compression: int, *, strips: int = 1) -> bytes:
    """Each of one row, or one of all; all the same bytes."""
    at = 16 + len(stream)
    lists = struct.pack("<I", 16) * strips + struct.pack("<I", len(stream)) * strips if strips > 1 else b""
    places = (at, at + 4 * strips) if strips > 1 else (16, len(stream))
    rows = (257, 4, 1, max(64, strips)), (278, 4, 1, 1 if strips > 1 else 64)
    tags = _tags(*rows, (259, 3, 1, compression), (273, 4, strips, places[0]), (279, 4, strips, places[1]))
    return _head(at + len(lists)) + stream + lists + _directory(tags, 0)


def lzw_of_clears(size: int) -> bytes:
    """A stream of nothing but the code that clears the table, nine bits each."""
    return np.packbits(np.tile([1, 0, 0, 0, 0, 0, 0, 0, 0], size * 8 // 9).astype(np.uint8)).tobytes()


def _header(*cards: str) -> bytes:
    text = "".join(card.ljust(80) for card in (*cards, "END"))
    return text.ljust(-(-len(text) // 2880) * 2880).encode()


def fits_of_units(number: int, *, picture_first: bool) -> bytes:
    """Units without data, after a picture or with none at all."""
    empty = ("BITPIX  =                    8", "NAXIS   =                    0")
    square = ("BITPIX  =                    8", "NAXIS   =                    2",
              "NAXIS1  =                   64", "NAXIS2  =                   64")  # fmt: skip
    first = _header("SIMPLE  =                    T", *(square if picture_first else empty))
    data = STRIP.ljust(5760, b"\0") if picture_first else b""
    more = ("PCOUNT  =                    0", "GCOUNT  =                    1")
    return first + data + _header("XTENSION= 'IMAGE   '", *empty, *more) * number


def fits_of_cards(number: int) -> bytes:
    """A picture whose header has so many lines of comment."""
    square = ("BITPIX  =                    8", "NAXIS   =                    2",
              "NAXIS1  =                   64", "NAXIS2  =                   64")  # fmt: skip
    return _header("SIMPLE  =                    T", *square, *["COMMENT x"] * number) + STRIP.ljust(5760, b"\0")


def fits_of_tiles(kind: str, *, tile_px: int = 64, side_px: int = 64) -> bytes:
    """A whole picture in compressed tiles."""
    values = np.arange(side_px * side_px, dtype=np.int16).reshape(side_px, side_px)
    unit = fits.CompImageHDU(values, compression_type=kind, tile_shape=(tile_px, tile_px))
    stream = io.BytesIO()
    fits.HDUList([fits.PrimaryHDU(), unit]).writeto(stream)
    return stream.getvalue()


def fits_of_a_tile_that_unfolds(to_bytes: int) -> bytes:
    """One tile of 64 x 64 pixels of two bytes, whose gzip stream holds more."""
    stream = np.frombuffer(gzip.compress(bytes(to_bytes), 9), np.uint8)
    column = fits.Column("COMPRESSED_DATA", "1PB()", array=np.array([stream, stream[:0]], dtype=object)[:1])
    table = fits.BinTableHDU.from_columns([column])
    for key, value in {"ZIMAGE": True, "ZBITPIX": 16, "ZNAXIS": 2, "ZNAXIS1": 64, "ZNAXIS2": 64, "ZTILE1": 64,
                       "ZTILE2": 64, "ZCMPTYPE": "GZIP_1"}.items():  # fmt: skip
        table.header[key] = value
    file = io.BytesIO()
    fits.HDUList([fits.PrimaryHDU(), table]).writeto(file)
    return file.getvalue()


def png_of_chunks(number: int, name: bytes) -> bytes:
    """Empty chunks before the data."""
    header = png_chunk(b"IHDR", struct.pack(">IIBBBBB", 64, 64, 8, 0, 0, 0, 0))
    data = png_chunk(b"IDAT", zlib.compress(bytes(65 * 64)))
    return b"\x89PNG\r\n\x1a\n" + header + png_chunk(name, b"") * number + data + png_chunk(b"IEND", b"")


def jpeg_with(extra: bytes) -> bytes:
    """A picture with these bytes after its first marker."""
    stream = io.BytesIO()
    Image.new("L", (64, 64)).save(stream, "JPEG")
    return stream.getvalue()[:2] + extra + stream.getvalue()[2:]
