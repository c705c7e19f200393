"""PNG: checked chunks, and the pixels at their full depth.

Reference: W3C, Portable Network Graphics (PNG) Specification (Third Edition), chapters 5 and 11.
"""

from __future__ import annotations

import os
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from typing import Any

import numpy as np
from numpy.typing import NDArray

from archive.model.observation import LARGE_PX
from archive.reading.mapped import PIECE_BYTES, Content, release_memory
from archive.reading.raster import check_size, over_black

__all__ = ["SIGNATURE", "chunks", "read_png"]

# The most that a byte of deflate data can decompress to (RFC 1951: 258 bytes for two bits).
MAX_INFLATION = 1032
# The largest picture in the 8 kB chunks that the common writers make takes 190 000. Each costs 6 us and 0.8 kB.
MOST_CHUNKS = 250_000
CHANNELS = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
PALETTE = 3
_INFLATE_BYTES = 1 << 18

SIGNATURE = b"\x89PNG\r\n\x1a\n"


def chunks(data: Content) -> Iterator[tuple[bytes, memoryview]]:
    """Yield each chunk's name and content up to IEND; data after IEND are ignored.

    Raises
    ------
    ValueError
        Where a chunk is cut off or its check sum is wrong, or there are too many chunks.
    """
    view, start, chunk, release_at = memoryview(data), len(SIGNATURE), b"", PIECE_BYTES
    for _ in range(MOST_CHUNKS):
        if chunk == b"IEND":
            return
        end = start + 8 + int.from_bytes(view[start : start + 4], "big")
        if end + 4 > len(data):
            raise ValueError("it ends before its last chunk")
        chunk = bytes(view[start + 4 : start + 8])
        if _crc(data, view[start + 4 : end]) != int.from_bytes(view[end : end + 4], "big"):
            raise ValueError(f"wrong checksum of chunk {chunk!r}")
        yield chunk, view[start + 8 : end]
        start = end + 4
        if start > release_at:
            release_memory(data)
            release_at = start + PIECE_BYTES
    raise ValueError(f"over {MOST_CHUNKS} chunks")


def read_png(data: Content, name: str) -> NDArray[Any]:
    """Decode as stored: (H, W) or (H, W, 3), uint8 or uint16; palettes applied, alpha over black."""
    import imagecodecs

    content = list(chunks(data))
    chunk, header = content[0]
    if chunk != b"IHDR" or len(header) != 13:
        raise ValueError("it does not begin with an image header")
    width_px, height_px = int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big")
    bits = header[8] * CHANNELS.get(header[9], 1)
    check_size(width_px, height_px, name=name, bytes_a_pixel=-(-bits // 8))
    packed_bytes = sum(len(body) for chunk, body in content if chunk == b"IDAT")
    if packed_bytes * MAX_INFLATION * 8 < width_px * height_px * bits:
        raise ValueError("it is too short for its size")
    # libpng keeps 16 bits, applies palettes and refuses compressed data that end early; Pillow (13.0)
    # does none of the three for every file. It does not ask for IEND, `chunks` does.
    if width_px * height_px > LARGE_PX and _is_plain(content):
        return _in_strips(data, content)
    with _stderr_suppressed() if header[12] else nullcontext():
        return _without_alpha(imagecodecs.png_decode(_essential_chunks(content)))


def _crc(data: Content, part: memoryview) -> int:
    """Return the checksum of a chunk; the memory of a large one is released while reading."""
    crc = 0
    for start in range(0, len(part), PIECE_BYTES):
        crc = zlib.crc32(part[start : start + PIECE_BYTES], crc)
        if len(part) > PIECE_BYTES:
            release_memory(data)
    return crc


def _without_alpha(values: NDArray[Any]) -> NDArray[Any]:
    if values.ndim == 3 and values.shape[2] in (2, 4):
        values = over_black(values[..., :-1], values[..., -1])
    return values[..., 0] if values.ndim == 3 and values.shape[2] == 1 else values


def _is_plain(content: list[tuple[bytes, memoryview]]) -> bool:
    """Return whether the rows come in order and hold the values themselves, in whole bytes."""
    header = content[0][1]
    keyed = any(chunk == b"tRNS" for chunk, _ in content)
    return header[8] in (8, 16) and header[9] != PALETTE and not header[12] and not keyed


def _in_strips(data: Content, content: list[tuple[bytes, memoryview]]) -> NDArray[Any]:
    """Decode a large picture some rows at a time, each strip by the library as a small picture of its own.

    So neither the packed nor the filtered rows are there as a whole. A row may be filtered by the one above, so each
    strip begins with the last row of the strip before, unfiltered.
    """
    import imagecodecs

    header = content[0][1]
    width_px, height_px = int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big")
    row_bytes = width_px * CHANNELS[header[9]] * header[8] // 8
    strip_rows = max(1, PIECE_BYTES // row_bytes)
    rows = _filtered(data, content, most=(row_bytes + 1) * height_px, piece=(row_bytes + 1) * strip_rows)
    above, values, top = bytes(row_bytes), np.empty(0), 0
    for piece in rows:
        count = len(piece) // (row_bytes + 1)
        packed = zlib.compress(b"".join((b"\0", above, piece)), 0)
        size = header[:4].tobytes() + (count + 1).to_bytes(4, "big") + header[8:].tobytes()
        others = [one for one in content[1:] if one[0] not in (b"IDAT", b"IEND")]
        strip = imagecodecs.png_decode(
            _essential_chunks(
                [(b"IHDR", memoryview(size)), *others, (b"IDAT", memoryview(packed)), (b"IEND", memoryview(b""))]
            )
        )[1:]
        last = strip[-1].astype(strip.dtype.newbyteorder(">"))
        above = last.tobytes()
        shown = _without_alpha(strip)
        if top == 0:
            values = np.empty((height_px, *shown.shape[1:]), dtype=shown.dtype)
        values[top : top + count] = shown
        top += count
    return values


def _filtered(data: Content, content: list[tuple[bytes, memoryview]], *, most: int, piece: int) -> Iterator[bytes]:
    """Yield the inflated rows, some at a time; data after the last are ignored.

    Raises
    ------
    ValueError
        The data end early.
    """
    inflate, held, left = zlib.decompressobj(), bytearray(), most
    for chunk, body in content:
        for start in range(0, len(body) if chunk == b"IDAT" else 0, _INFLATE_BYTES):
            packed: bytes | memoryview = body[start : start + _INFLATE_BYTES]
            while left and len(packed):
                held += inflate.decompress(packed, min(piece, left) - len(held))
                packed = inflate.unconsumed_tail
                if len(held) == min(piece, left):
                    yield bytes(held)
                    left -= len(held)
                    held.clear()
                    release_memory(data)
    if left:
        raise ValueError("its compressed data end early")


@contextmanager
def _stderr_suppressed() -> Iterator[None]:
    """Suppress the library's messages on interlaced pictures, which it reads correctly."""
    try:
        stderr = os.dup(2)
    except OSError:  # closed by whoever started this
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(stderr, 2)
        os.close(stderr)
        os.close(nowhere)


def _essential_chunks(content: list[tuple[bytes, memoryview]]) -> bytes:
    """Return the file without text, profiles and the like, about which the library would print warnings."""
    parts: list[bytes | memoryview] = [SIGNATURE]
    for chunk, body in content:
        if chunk[:1].isupper() or chunk == b"tRNS":  # an upper-case letter marks critical chunks
            crc = zlib.crc32(body, zlib.crc32(chunk))
            parts += [len(body).to_bytes(4, "big"), chunk, body, crc.to_bytes(4, "big")]
    return b"".join(parts)
