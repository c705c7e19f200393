"""Validation of TIFF LZW streams before decoding: the decoder crashes on invalid codes.

Reference: Adobe, TIFF Revision 6.0 (1992), section 13: codes of 9 to 12 bits, most significant bit first, the width
growing one code early; 256 clears the table, 257 ends, and the table is cleared before it has 4095 entries.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["check_lzw"]

Whole = NDArray[np.integer[Any]]

_CLEAR, _END, _FIRST_FREE, _MOST_ENTRIES = 256, 257, 258, 4096
_FREE_CLEARS, _BYTES_A_CLEAR = 8, 500
# Of the codes after a clear: entries in the table when each is read, its width, and where it starts, in bits.
_ENTRIES = _FIRST_FREE + np.maximum(np.arange(_MOST_ENTRIES - _FIRST_FREE + 2) - 1, 0)
_WIDTHS = np.select([_ENTRIES >= 2047, _ENTRIES >= 1023, _ENTRIES >= 511], [12, 11, 10], 9)
_STARTS = np.cumsum(_WIDTHS) - _WIDTHS


def check_lzw(stream: bytes) -> None:
    """Raise ValueError where a stream holds an invalid code, or clears its table excessively."""
    if stream[:1] == b"\0" and stream[1:2] and stream[1] & 1:
        raise ValueError("LZW in the bit order used before 1992")
    padded = np.frombuffer(stream + bytes(4), dtype=np.uint8).astype(np.uint32)
    at, bits = 0, 8 * len(stream)
    # A full table takes 5.4 kB of codes. Each turn costs as much as a full one, however soon the next clear comes.
    for _ in range(_FREE_CLEARS + len(stream) // _BYTES_A_CLEAR):
        whole = int(np.searchsorted(_STARTS + _WIDTHS, bits - at, side="right"))
        if whole == 0:
            return
        codes = _codes(padded, at + _STARTS[:whole], _WIDTHS[:whole])
        marks = np.flatnonzero((codes == _CLEAR) | (codes == _END))
        used = int(marks[0]) if marks.size else whole
        # The first after a clear is a byte; a later one may be the entry that it makes itself.
        if used and (codes[0] >= _CLEAR or np.any(codes[:used] > _ENTRIES[:used])):
            raise ValueError("an LZW code is invalid")
        if not marks.size:
            if whole == len(_STARTS):
                raise ValueError("an LZW table overflows")
            return
        if codes[used] == _END:
            return
        at += int(_STARTS[used] + _WIDTHS[used])
    raise ValueError("an LZW table is cleared too often")


def _codes(padded: Whole, starts: Whole, widths: Whole) -> Whole:
    """Return the codes at these bits, out of bytes with four more at their end."""
    byte = starts >> 3
    word = (padded[byte] << 24) | (padded[byte + 1] << 16) | (padded[byte + 2] << 8) | padded[byte + 3]
    shifted = word << (starts & 7).astype(np.uint32)
    found: Whole = shifted >> (32 - widths).astype(np.uint32)
    return found
