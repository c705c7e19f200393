"""Small known pictures, and PNG files written byte by byte from the specification.

No library at hand writes every kind of PNG (interlaced, colour-keyed, 16-bit grey with alpha), and a file
written by the library that reads it would prove little.
"""

import struct
import zlib

import numpy as np

HEIGHT, WIDTH = 37, 45  # odd and unequal, so that swapped axes and lost remainders show
COLOUR_TYPES = {"grey": 0, "rgb": 2, "palette": 3, "grey-alpha": 4, "rgb-alpha": 6}
# Adam7 passes: first column and row, steps (PNG specification, third edition, section 8.2).
ADAM7 = ((0, 0, 8, 8), (4, 0, 8, 8), (0, 4, 4, 8), (2, 0, 4, 4), (0, 2, 2, 4), (1, 0, 2, 2), (0, 1, 1, 2))


def noise(dtype, *, channels=None, top=None):
    """Values over the whole range of the type, so that one lost bit shows."""
    shape = (HEIGHT, WIDTH) if channels is None else (HEIGHT, WIDTH, channels)
    rng = np.random.default_rng(20260603)
    if np.dtype(dtype).kind == "f":
        return rng.random(shape).astype(dtype)
    info = np.iinfo(dtype)
    return rng.integers(info.min, (info.max if top is None else top) + 1, shape).astype(dtype)


def png_chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png_file(values, colours, *, bits=8, extra=b"", interlaced=False, idat_bytes=1000):
    """A PNG file of integer `values`; `extra` holds whole chunks that go before the data."""
    packed = zlib.compress(_passes(values, bits) if interlaced else _rows(values, bits))
    data = b"".join(png_chunk(b"IDAT", packed[i : i + idat_bytes]) for i in range(0, len(packed), idat_bytes))
    height, width = values.shape[:2]
    header = struct.pack(">IIBBBBB", width, height, bits, COLOUR_TYPES[colours], 0, 0, int(interlaced))
    return b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + extra + data + png_chunk(b"IEND", b"")


def _rows(values, bits):
    rows = values.reshape(len(values), -1)
    if bits == 16:
        return b"".join(b"\0" + row.astype(">u2").tobytes() for row in rows)
    if bits == 8:
        return b"".join(b"\0" + row.astype("u1").tobytes() for row in rows)
    planes = (rows[..., None] >> np.arange(bits - 1, -1, -1)) & 1
    return b"".join(b"\0" + np.packbits(row.ravel()).tobytes() for row in planes)


def _passes(values, bits):
    return b"".join(_rows(values[y::dy, x::dx], bits) for x, y, dx, dy in ADAM7)


def exif_block(*tags, byteorder="<"):
    """A TIFF-structured EXIF block of short or ASCII tags, one directory (EXIF 2.32, section 4.6.2)."""
    start = 8 + 2 + 12 * len(tags) + 4
    entries, tail = b"", b""
    for tag, value in sorted(tags):
        if isinstance(value, int):
            entries += struct.pack(byteorder + "HHIHH", tag, 3, 1, value, 0)
        else:
            text = value.encode("ascii") + b"\0"
            entries += struct.pack(byteorder + "HHII", tag, 2, len(text), start + len(tail))
            tail += text
    mark = b"II*\0" if byteorder == "<" else b"MM\0*"
    head = mark + struct.pack(byteorder + "IH", 8, len(tags))
    return head + entries + struct.pack(byteorder + "I", 0) + tail
