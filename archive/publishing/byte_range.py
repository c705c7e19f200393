"""A part of a file, as players ask for it to jump within a film (RFC 9110, section 14)."""

from __future__ import annotations

import re

__all__ = ["asked_range"]

# A number of more digits is no place in any file.
_ONE_RANGE = re.compile(r"bytes=([0-9]{0,18})-([0-9]{0,18})", re.ASCII)


def asked_range(header: str | None, size: int) -> range | None:
    """Return the bytes that a Range header asks for.

    Parameters
    ----------
    header : str or None
    size : int
        Of the whole file.

    Returns
    -------
    range or None
        Empty where nothing of the file is asked for; None where the whole file is to be sent: no header, several
        ranges, or one that is not understood.
    """
    found = _ONE_RANGE.fullmatch((header or "").strip())
    if found is None or found[0] == "bytes=-":
        return None
    first, last = found.groups()
    if not first:
        return range(max(0, size - int(last)), size)
    if last and int(last) < int(first):
        return None
    return range(int(first), min(int(last) + 1, size) if last else size)
